"""Lines as they are written, put as they are read: languages, umlauts, corners, seats."""

import re
from functools import lru_cache

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.japanese import in_english, is_japanese
from squibwise.intake.report.language.joints import one_of
from squibwise.intake.report.language.lexicon import Lexicon, flat
from squibwise.intake.report.language.phrases import without_umlauts
from squibwise.intake.report.layout.signs import spell_dittos, spell_numbers
from squibwise.intake.report.line_words import without_codes
from squibwise.intake.report.sheet import Line

_LANGUAGE = pattern(r"\s*[\[(](DE|EN|ES|FR|GB|IT|NL|PL|PT|BR|US)[\])]\s*(?=\w)")
_NO_UMLAUT = pattern(r"(?i)[aou]e")
_LETTERS = pattern(r"(?<![A-Za-z0-9])[A-Za-z]*(?:[aou]e|[AOU]E)[A-Za-z]*(?![A-Za-z0-9])")
_LANGUAGES = 3  # tags that show that they name languages
_CORNERS = (  # words that name a corner, and what the doubtful ones are beside them
    (frozenset({"fl", "rl"}), {"fr": "rf", "rr": "rhr"}),
    (frozenset({"lf", "rf", "lr"}), {"rr": "rhr"}),
)
_CORNER = pattern(r"(?i)\b(?:fr|rr)\b")
_FRONT_LEFT = re.compile(
    r"(?:(?<=\s\s)|(?<![^\t|;])|(?<=[|;]\s))DE(?=\s\s|\s?[\t|;]|$)"
)  # among DD, TE
_OTHERS = re.compile(r"\b(?:DD|TD|TE)\b")
_LED = pattern(r"(?i)\W*[dp] [^\W\d_]{3}")
_SEATS = {"d": "driver", "p": "passenger"}
_SIDES = frozenset({"lh", "rh", "left", "right", "l", "r"})


def spell_out(lines: list[Line], lexicon: Lexicon, catalog: Catalog) -> None:
    """Put words where lines have signs, other letters or the name of their language."""
    _strip_languages(lines)
    for line in lines if any(_OTHERS.search(ln.text) for ln in lines) else ():
        line.text, *cells = (_FRONT_LEFT.sub("LF", text) for text in (line.text, *line.cells))
        line.cells = (*cells,)
    _put_in_english(lines, catalog)
    _drop_leads(lines, lexicon)
    for line in lines:  # "alles weg op B1001 na"
        line.text = _around(lexicon).sub(rf"{lexicon.small.around[2]}\1", line.text)
    _part_sides(lines, lexicon)
    _spell_umlauts(lines, lexicon)
    spell_numbers(lines, lexicon)
    spell_dittos(lines, lexicon)


def _strip_languages(lines: list[Line]) -> None:
    """Take ``[FR]`` and its like off lines that several languages share."""
    tagged = [(line, m) for line in lines if (m := _LANGUAGE.match(line.text))]
    if len({m[1] for _, m in tagged}) >= _LANGUAGES:
        for line, tag in tagged:
            line.text = line.text[tag.end() :]


def _put_in_english(lines: list[Line], catalog: Catalog) -> None:
    """Read Japanese words by what they are in English; what is printed stays in the line."""
    for line in lines:
        if is_japanese(line.text):
            line.text = in_english(line.text, catalog.vocabulary.japanese)
            line.cells = tuple(in_english(c, catalog.vocabulary.japanese) for c in line.cells)


def _drop_leads(lines: list[Line], lexicon: Lexicon) -> None:
    """Take off what says nothing of its line.

    ``Ok so the left curtain reads open``: what a talk begins with calls nothing good;
    ``now / past: past``: a label offers what its value then says.
    """
    opener, offer = _leads(lexicon)
    for line in lines:
        if (found := opener.match(flat(line.text))) is not None:
            line.text = line.text[found.end() :]
        line.text, *cells = (offer.sub("", text) for text in (line.text, *line.cells))
        line.cells = (*cells,)


def _part_sides(lines: list[Line], lexicon: Lexicon) -> None:
    """``Curtains L+R`` are the left and the right one."""
    for line in lines:
        if "+" in line.text or "&" in line.text:
            for joined, both in _joined(lexicon):
                line.text = joined.sub(both, line.text)
                line.cells = tuple(joined.sub(both, cell) for cell in line.cells)


@lru_cache(maxsize=4)
def _joined(lexicon: Lexicon) -> tuple[tuple[re.Pattern[str], str], ...]:
    pairs = lexicon.small.joined_sides
    either = "|".join(rf"{left}\s?[+&]\s?{right}" for left, right in pairs)
    turned = "|".join(rf"{right}\s?[+&]\s?{left}" for left, right in pairs)
    return (
        (re.compile(rf"(?i)(?<![\w.+-])(?:{either})(?![\w+])"), "left + right"),
        (re.compile(rf"(?i)(?<![\w.+-])(?:{turned})(?![\w+])"), "right + left"),
    )


@lru_cache(maxsize=4)
def _around(lexicon: Lexicon) -> re.Pattern[str]:
    first, last, _ = lexicon.small.around
    return re.compile(rf"(?i)\b{first}((?:\s[\w:-]+){{1,5}})\s{last}(?=\s*(?:[.,;:!]|$))")


@lru_cache(maxsize=4)
def _leads(lexicon: Lexicon) -> tuple[re.Pattern[str], re.Pattern[str]]:
    said = one_of(lexicon.small.openers).replace(" ", r",?\s+")
    word, either = r"[^\W\d_]{1,20}", one_of(lexicon.small.any_or)
    offer = rf"(?i)(?<![\w/])\(?({word})\s?(?:[/|]\s?|\b{either}\s)({word})\)?\s?"
    offer += r"(?:[:=?]\s*|\t|\s{2,4})(?=(?:\1|\2)(?!\w))"
    return re.compile(rf"\W{{0,9}}{said}[,:\s]\s*(?=\w+\s\w)"), re.compile(offer)


def _spell_umlauts(lines: list[Line], lexicon: Lexicon) -> None:
    """Read ``Steuergeraet`` as the word that it stands for; what is printed stays in the line."""
    for line in lines:
        if _NO_UMLAUT.search(line.text):
            line.text = _LETTERS.sub(
                lambda m: without_umlauts(lexicon, m.group().lower()) or m.group(), line.text
            )


def read_corners(lines: list[Line]) -> None:
    """``FR`` and ``RR`` are corners where other corners are named, ``FL`` or ``LF`` and ``LR``."""
    told = {t.text for ln in lines for t in ln.tokens}
    corners = next((map_ for named, map_ in _CORNERS if named & told), None)
    if corners is None:
        return
    for line in lines:
        if not _SIDES.intersection(t.text for t in line.tokens):
            line.tokens = tuple(
                msgspec.structs.replace(t, text=corners.get(t.text, t.text)) for t in line.tokens
            )
            first = _CORNER.search(line.text)  # its clauses are read by themselves
            if first and all(c.end <= first.start() and not c.elsewhere for c in line.codes):
                line.text = _CORNER.sub(lambda m: corners.get(m[0].lower(), m[0]), line.text)


def read_seats(lines: list[Line]) -> None:
    """``D retractor``: a letter for the seat before each part, in a report in English."""
    led = [ln for ln in lines if ln.codes and _LED.match(without_codes(ln))]
    for line in led if len(led) > 1 else ():
        first = line.tokens[0]
        seat = msgspec.structs.replace(first, text=_SEATS[first.text])
        line.tokens = (seat, *line.tokens[1:])
