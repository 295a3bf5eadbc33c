"""What a report says beside its clean result: stand-ins, other counts, words that take it back."""

import re
from functools import lru_cache

from squibwise.catalog.load import Catalog
from squibwise.catalog.small_words import SmallWords
from squibwise.catalog.vocabulary import FEATURES, VALUES, VOICES
from squibwise.intake.patterns import pattern
from squibwise.intake.report.claims.asides import excepts
from squibwise.intake.report.clauses.part_lists import read_piece
from squibwise.intake.report.language.features import YES
from squibwise.intake.report.language.lexicon import Lexicon, Token, lexicon_of, tokenise
from squibwise.intake.report.language.phrases import Hit, find_claims, find_hits, find_layout
from squibwise.intake.report.language.words import FAULTS, PARTS, has_fault, has_part
from squibwise.intake.report.line_words import BULLET, language_of
from squibwise.intake.report.sheet import Line, Sheet
from squibwise.model.report import Unread


def find_stand_ins(sheet: Sheet, catalog: Catalog) -> tuple[Unread, ...]:
    """Return the lines that name a load or a bridge, a fault's and a harmless one's too."""
    words = {*catalog.said.stories["stand_in"]}
    lines = (ln for ln in sheet.lines if words & set(re.findall(r"\w+", ln.text.lower())))
    return tuple(Unread(line=ln.number, raw=ln.raw) for ln in lines)


def find_more(sheet: Sheet, catalog: Catalog) -> tuple[Unread, ...]:
    """Return the lines that count faults of another status, or hidden ones, beside none.

    Also those that call all circuits, the memory or a part good and say more than that, and those
    that name a part and say nothing of it that is known.
    """
    lexicon = lexicon_of(catalog)
    lines = (ln for ln in sheet.lines if not ln.codes and not ln.count and ln.unit != "other")
    return tuple(
        Unread(line=ln.number, raw=ln.raw)
        for ln in lines
        if _counts_status(ln, lexicon, catalog)
        or _says_more(ln, lexicon, sheet.language)
        or (_calls_good(ln, lexicon) and not is_only_praise(ln, lexicon, sheet.language))
        or (ln.role == "aside" and excepts(ln.text, lexicon))
        or _is_a_share(ln)
        or _denies_some(ln)
        or _rides_on_a_label(ln, lexicon, sheet.language)
        or _states_odd_volts(ln, catalog)
    )


def _is_a_share(line: Line) -> bool:
    """``Page 1/3``, ``Circuits read: 12/24``, ``Faults 3/3``: a part of a whole, or faults."""
    shares = [(int(m[1]), int(m[2])) for m in _SHARE.finditer(line.raw)]
    return any(a != b or (a and has_fault(line.words)) for a, b in shares)


def _denies_some(line: Line) -> bool:
    """``No other faults``, ``no hard faults``, ``sin fallos actuales``: others may be there."""
    is_denied = line.role == "aside" and line.why == "denied"
    is_general = "defect" in line.words.features and not has_part(line.words)
    is_current = line.count == 0 and {*line.words.statuses} == {"present"}
    return is_current or (is_denied and is_general)


def _rides_on_a_label(line: Line, lexicon: Lexicon, language: str | None) -> bool:
    """``Vehicle: airbag lamp lit``, ``Page 1 of 3``, ``Time 14:31 - scan aborted``.

    Behind the label of a measure or a name stand words of a state, a page that is not the last, or
    a second piece that is neither number nor name of the unit.
    """
    is_label = line.role in ("meta", "heading", "header")
    if not is_label and not (line.role in ("words", "unread") and ":" in line.raw):
        return False
    pages = _PAGES.search(line.raw)
    is_more = pages is not None and int(pages[1]) != int(pages[2])
    spoken = language_of(line, lexicon, language)
    is_more = is_more or _follows_a_number(line, lexicon)
    return is_more or _names_a_state(line, lexicon, spoken) or _goes_on(line, lexicon, spoken)


def _follows_a_number(line: Line, lexicon: Lexicon) -> bool:
    """``Software 1.0 read aborted``, ``Fault counter: 3``: words behind a number, or a count."""
    small, words = lexicon.small, [t.text for t in tokenise(_DATED.sub(" ", line.raw))]
    counted = [n for n, w in enumerate(words) if w.endswith(tuple(small.counters))]
    if counted and any(_COUNTED.fullmatch(w) for w in words):
        return True
    heads = _heads(lexicon)
    labels = (n for n, w in enumerate(words[:_LABEL_WORDS]) if _is_numbered(w, small, heads))
    at = next(iter((*labels, *counted)), None)
    plain = small.numbered_labels | small.number_words | small.affirming
    rest = words[at + 1 :] if at is not None else []
    return any(w.isalpha() and len(w) >= _WORD and w not in plain for w in rest)


@lru_cache(maxsize=4)
def _heads(lexicon: Lexicon) -> tuple[str, ...]:
    return tuple(w for w in lexicon.small.numbered_labels if len(w) > _SHORT)


def _is_numbered(word: str, small: SmallWords, heads: tuple[str, ...]) -> bool:
    """``software``, ``softwarestand``: a label of a number, alone or in front of another word."""
    return word in small.numbered_labels or word.startswith(heads)


def _names_a_state(line: Line, lexicon: Lexicon, spoken: str | None) -> bool:
    """``Vehicle: airbag lamp lit``: words of a state, and not only a label such as ``faults``."""
    words = tokenise(line.raw)
    hits = (h for h in find_hits(lexicon, words, spoken) if _STATES.intersection(h.means))
    return any(h.last > h.first + 1 or not _is_label(words[h.first], lexicon) for h in hits)


def _goes_on(line: Line, lexicon: Lexicon, spoken: str | None) -> bool:
    """``Scan status: aborted``, ``Time 14:31 - scan aborted``: unknown words where none belong.

    Behind the label of a state, or in a second piece.
    """
    label, _, value = line.raw.partition(":")
    named = [t.text for t in tokenise(label) if t.text.isalpha()]
    is_state = bool({*named[-1:]} & lexicon.small.state_labels)
    behind = value if is_state else " ".join(_PIECES.split(line.raw)[1:_MOST_SENTENCES])
    tokens = tokenise(_DATED.sub(" ", _MEASURED.sub(" ", behind)))
    known = _known_places(tokens, find_hits(lexicon, tokens, spoken), lexicon, _OF_UNIT)
    labels = {n for n, t in enumerate(tokens) if _is_label(t, lexicon)}
    known = known - labels if is_state else known | labels
    plain = lexicon.small.affirming | lexicon.small.number_words
    known |= {n for n, t in enumerate(tokens) if t.text in plain}
    return any(t.text.isalpha() and at not in known for at, t in enumerate(tokens))


def _is_label(token: Token, lexicon: Lexicon) -> bool:
    """``fault`` alone is a label of what follows; behind ``System status:`` it is the state."""
    return bool(
        {"key", "meta", "count", "header"}.intersection(find_layout(lexicon, (token.text,), 0)[0])
    )


def _states_odd_volts(line: Line, catalog: Catalog) -> bool:
    """``All tests complete. 7.0 V``: a voltage at which no unit tests, whatever it is called."""
    low, high = (catalog.fact(f"unit-volts.{end}").number() for end in ("low", "high"))
    told = (float(v.replace(",", ".")) for v in _VOLTS.findall(line.text))
    return not all(low <= v <= high for v in told)


def _says_more(line: Line, lexicon: Lexicon, language: str | None) -> bool:
    """``Date 2026-03-07. Tests not complete.``: the second sentence is none of a measure."""
    texts = _SENTENCES.split(line.text) if line.role == "meta" else []
    for text in texts[:_MOST_SENTENCES] if len(texts) > 1 else ():
        piece = read_piece(line, text, lexicon, language)
        if piece.role in ("unread", "words") and "not" in piece.words.voices:
            return True
    return False


def _calls_good(line: Line, lexicon: Lexicon) -> bool:
    """Tell whether a line is good news of every circuit, of the memory, or speaks of a part."""
    is_clean = line.role == "clean" or line.why == "found good"
    if line.is_whole or is_clean or "whole" in find_claims(line.text, lexicon):
        return True
    return _is_of_part(line) and line.role in ("aside", "meta", "count")


def _is_of_part(line: Line) -> bool:
    """Tell whether a line names a part of the restraint system, and not only ``the squibs``."""
    told = line.words.features
    return bool(told & _PARTS) or ("bag" in told and has_part(line.words))


def is_only_praise(line: Line, lexicon: Lexicon, language: str | None) -> bool:
    """Tell whether every word and sign of a line belongs to its good news, or is its label.

    ``All circuits ok, but driver loop``, ``if all circuits ok``, ``all circuits ok -> 0``: what
    takes a claim back can be worded in any way, so only what is known leaves it standing.
    """
    is_part = _is_of_part(line)
    if _BLANK.search(line.raw) or (is_part and not _is_good(line)):
        return False
    text = BULLET.sub("", _TICKED.sub("", line.raw), count=1)
    text = _OF_ALL.sub(" ", _DATED.sub(" ", _MEASURED.sub(" ", text)))
    text = _without_none(text, lexicon)
    if _ODD_SIGN.search(text):
        return False
    tokens = tokenise(text)
    means = _OF_PARTS if is_part else _OF_UNIT
    means = means | _DENIED if line.why == "denied" else means
    means = means | _STORED if line.count == 0 and not line.is_whole else means
    hits = find_hits(lexicon, tokens, language_of(line, lexicon, language))
    known = _known_places(tokens, hits, lexicon, means)
    small = lexicon.small.affirming | lexicon.small.everything | YES
    return all(
        at in known or t.text in small or (is_part and t.text.isdecimal())
        for at, t in enumerate(tokens)
    )


def _without_none(text: str, lexicon: Lexicon) -> str:
    """Return a text without its counts of none: ``0 stored``, ``fault codes: 0``."""
    left = _NONE_OF.sub(" ", text)
    for found in _LABELLED_NONE.finditer(left):
        if find_claims(found[1], lexicon) & {"count", "total"}:
            left = left.replace(found[0], found[1])
    return left


def _is_good(line: Line) -> bool:
    """Tell whether a line of a part calls it good, or denies a fault of it."""
    is_denied = line.why == "denied" and has_fault(line.words)
    return line.role == "clean" or line.why == "found good" or is_denied


def _known_places(
    tokens: tuple[Token, ...], hits: tuple[Hit, ...], lexicon: Lexicon, means: frozenset[str]
) -> set[int]:
    """Return where the words of a text stand that praise, or name what is praised."""
    texts = tuple(t.text for t in tokens)
    known: set[int] = set()
    for at in range(len(texts)):
        told, length = find_layout(lexicon, texts, at)
        if _PRAISING.intersection(told):
            known.update(range(at, at + length))
    for hit in hits:
        if means.issuperset(hit.means):
            known.update(range(hit.first, hit.last))
    return known


_PARTS = PARTS - {"switch", "charge"}
_PRAISING = frozenset("clean whole count total key module meta".split())
_OF_UNIT = frozenset("good fine tested unit airbagmodule system bag charge loop battery".split())
_PLACES = {f"{key}:{v}" for key in ("side", "seat", "end", "row", "stage") for v in VALUES[key]}
_OF_PARTS = (FEATURES - FAULTS - VOICES - {"skip"}) | _OF_UNIT | _PLACES
_DENIED = FAULTS | {"not"}
_STORED = {"status:present", "status:stored"}
_LABELS = {"voltage", "calibration", "configuration", "identity", "performance"}
_STATES = (FAULTS - _LABELS) | {"not", "before", "lamp", "offlamp", "crashrecord"}
_STATES |= {f"status:{word}" for word in ("cleared", "intermittent", "not-tested")}
_PAGES = pattern(r"(?i)\b(\d{1,3})\s*(?:of|von|de|di|van|z)\s*(\d{1,3})\b")
_TICKED = pattern(r"(?i)^\s*(?:\[\s*x\s*\]|\(\s*x\s*\)|[\u2611\u2612\u2713\u2714\u2705])\s*")
_DATED = pattern(r"\b\d{1,4}([-./])\d{1,2}\1\d{1,4}\b|\b\d{1,2}:\d{2}(?::\d{2})?\b")
_OF_ALL = pattern(r"(?i)\b(\d+)\s*(?:of|/|von|de|di|van|z)\s*\1\b")
_MEASURED = pattern(r"(?i)\d+(?:[.,]\d+)?\s?(?:ohms?|\u03a9|V)(?!\w)")
_VOLTS = pattern(r"(?<![\w.,])(\d{1,3}(?:[.,]\d+)?)\s?[Vv]\b")
_ODD_SIGN = pattern(
    r"[^\w\s.,:;!()\[\]|'\"&+*#\u2019\u2022\u00b7\u2013\u2014-]|\.{2,}|->|_{2,}|\*\s*$"
)
_SENTENCES = pattern(r"[.,;!?]+\s+|\s+[-\u2013]\s+|\t")
_PIECES = pattern(r"[,;!?(]+(?!\d)\s*|[.]\s+|\s+[-\u2013]\s+|\t")
_BLANK = pattern(r"^\s*(?:\[\s*\]|\(\s*\)|[\u2610\u25a1])\s|_{2,}\s*$|[:=?]\s*$")
_NONE_OF = pattern(r"\b0+\s+[^\W\d_]+")
_LABELLED_NONE = pattern(r"([^\W\d_]+)\s*[:=]\s*0\b")
_SHARE = pattern(r"(?<![\d./,-])(\d{1,3})\s*/\s*(\d{1,3})(?![\d./,-])")
_LABEL_WORDS, _WORD, _SHORT = 3, 3, 5  # a label is among the first words; letters of words
_MOST_SENTENCES = 20  # of a line, that are read again


def _counts_status(line: Line, lexicon: Lexicon, catalog: Catalog) -> bool:
    """``3 stored``, ``2 faults pending``, ``3 hidden by filter``, ``stored: 3``."""
    tokens = line.tokens
    numbers = [n for n, tok in enumerate(tokens) if _COUNTED.fullmatch(tok.text)]
    if not numbers:
        return False
    hits = find_hits(lexicon, tokens, language_of(line, lexicon, None))
    statuses = [h for h in hits if any(m.startswith("status:") for m in h.means)]
    begins = {h.first for h in statuses}
    begins |= {n for n, tok in enumerate(tokens) if tok.text in catalog.said.stories["hidden"]}
    labels = {h.last for h in statuses}
    words = tuple(t.text for t in tokens)
    for at in numbers if begins or labels else ():
        means, length = find_layout(lexicon, words, at + 1)
        after = at + 1 + (length if "count" in means else 0)
        if begins & {at + 1, after} or (at in labels and _labelled(line, tokens[at].text)):
            return True
    return False


def _labelled(line: Line, number: str) -> bool:
    """Tell whether a number stands behind a colon, and is no part of a time or a measure."""
    return re.search(rf"[:=]\s*{number}(?![\w.:/-])", line.text) is not None


_COUNTED = pattern(r"0*[1-9]\d{0,2}")
