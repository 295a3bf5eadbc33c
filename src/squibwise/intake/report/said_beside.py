"""What a report says beside its clean result: stand-ins, other counts, words that take it back."""

import re
from itertools import pairwise

from squibwise.catalog.load import Catalog
from squibwise.intake.report.features import NO, YES
from squibwise.intake.report.lexicon import Lexicon, lexicon_of, tokenise
from squibwise.intake.report.line_words import language_of
from squibwise.intake.report.part_lists import read_piece
from squibwise.intake.report.phrases import find_claims, find_hits, find_layout
from squibwise.intake.report.sheet import Line, Sheet
from squibwise.model.report import Unread


def find_stand_ins(sheet: Sheet, catalog: Catalog) -> tuple[Unread, ...]:
    """Return the lines that name a load or a bridge, a fault's and a harmless one's too."""
    words = {*catalog.said.stories["stand_in"]}
    lines = (ln for ln in sheet.lines if words & set(re.findall(r"\w+", ln.text.lower())))
    return tuple(Unread(line=ln.number, raw=ln.raw) for ln in lines)


def find_more(sheet: Sheet, catalog: Catalog) -> tuple[Unread, ...]:
    """Return the lines that count faults of another status, or hidden ones, beside none.

    Also those that say more behind a "no faults" than that, and nobody understood what.
    """
    lexicon = lexicon_of(catalog)
    lines = (ln for ln in sheet.lines if not ln.codes and not ln.count and ln.unit != "other")
    return tuple(
        Unread(line=ln.number, raw=ln.raw)
        for ln in lines
        if _counts_status(ln, lexicon, catalog)
        or _says_more(ln, lexicon, sheet.language)
        or _takes_back(ln, lexicon, sheet.language)
    )


def _says_more(line: Line, lexicon: Lexicon, language: str | None) -> bool:
    """``No faults. Tests not complete.``: read by itself, the second sentence is no clean one."""
    if line.role not in ("clean", "count", "meta"):
        return False
    texts = [t for t in _SENTENCES.split(line.text) if _says_something(t)]
    for text in texts[:_MOST_SENTENCES] if len(_SENTENCES.split(line.text)) > 1 else ():
        piece = read_piece(line, text, lexicon, language)
        if piece.role in ("unread", "words") and (
            line.role != "meta" or "not" in piece.words.voices
        ):
            return True
    return False


def _says_something(text: str) -> bool:
    """``Lamp on`` is a sentence; ``i. O.`` and ``P. 2`` are none."""
    words = _WORDS.findall(text)
    return len(words) >= _SAYING and max(map(len, words)) >= _LONGER


def _takes_back(line: Line, lexicon: Lexicon, language: str | None) -> bool:
    """``All circuits ok: not checked``, ``all tests complete (3 of 14)``, ``all tests: no``.

    What stands behind the colon, or in brackets, says yes, calls it good or counts all of all;
    anything else takes back what stands before it.
    """
    sentences = _SENTENCES.split(line.text)[:_MOST_SENTENCES]
    if _BLANK.search(line.raw) and not find_claims(line.text, lexicon).isdisjoint(
        ("whole", "clean")
    ):
        return True  # a box that nobody ticked, an empty field, a question
    for before, text in pairwise(sentences):
        if _is_no(text, lexicon) and "whole" in find_claims(before, lexicon):
            return True  # "all tests complete - no"
    for before, text in pairwise(_DASH.split(line.text)[:_MOST_SENTENCES]):
        if "whole" in find_claims(before, lexicon) and not _stands(text, line, lexicon, language):
            return True  # "all circuits ok - except 2"
    for text in sentences if _VALUE.search(line.text) else ():
        found = _VALUE.search(text)
        if found is None or find_claims(text[: found.start()], lexicon).isdisjoint(
            ("whole", "clean")
        ):
            continue
        head = read_piece(line, text[: found.start()], lexicon, language)
        joined = read_piece(line, f"{head.text} {found[1]}", lexicon, language)
        is_told = head.is_whole or "clean" in find_claims(head.text, lexicon)
        is_kept = _affirms(found[1], head, lexicon, language) if is_told else joined.is_whole
        if not is_kept:
            return True
    return False


def _stands(text: str, line: Line, lexicon: Lexicon, language: str | None) -> bool:
    """Tell whether what stands behind a dash is of another matter, or leaves a claim standing."""
    piece = read_piece(line, text, lexicon, language)
    return piece.role in ("meta", "count") or _affirms(text, piece, lexicon, language)


def _is_no(text: str, lexicon: Lexicon) -> bool:
    words = [t.text for t in tokenise(text)]
    return bool(words) and all(w.isalpha() and (w in NO or w in lexicon.denying) for w in words)


def _affirms(text: str, head: Line, lexicon: Lexicon, language: str | None) -> bool:
    """Tell whether what stands behind a claim leaves it standing."""
    words = [t.text for t in tokenise(text)]
    numbers = [int(w) for w in words if w.isdecimal()]
    if not words:
        return False  # "all circuits ok:", a field that nobody filled in
    if all(w in YES for w in words) or _DATED.fullmatch(text.strip()):
        return True
    if numbers and not any(numbers):
        return not head.is_whole  # "no fault codes: 0"
    if numbers:
        return len(numbers) == _ALL_OF_ALL and len(set(numbers)) == 1
    piece = read_piece(head, text, lexicon, language)
    is_good = bool(piece.words.voices & {"good", "fine"}) and "not" not in piece.words.voices
    return piece.role in ("clean", "heading") or piece.is_whole or is_good


_VALUE = re.compile(r"\s*[:=(\[]\s*([^\])]*)")
_DATED = re.compile(r"\d{1,4}[-:./]\d{1,2}(?:[-:./]\d{1,4})?(?:[ T]\d{1,2}:\d{2})?")
_ALL_OF_ALL = 2  # numbers of "14 of 14"
_SENTENCES = re.compile(r"[.,;!?]+\s+|\s+[-\u2013]\s+|\t")
_DASH = re.compile(r"\s+[-\u2013]\s+")
_BLANK = re.compile(r"^\s*(?:\[\s*\]|\(\s*\)|[\u2610\u25a1])\s|_{2,}\s*$|[:=?]\s*$")
_WORDS = re.compile(r"[^\W\d_]{2,}")
_LONGER, _SAYING, _MOST_SENTENCES = (
    4,
    2,
    20,
)  # letters, words of a sentence; sentences of a line that are read again


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


_COUNTED = re.compile(r"0*[1-9]\d{0,2}")
