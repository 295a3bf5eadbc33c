"""Lists of parts: names without a code and without a fault, a line each or between commas."""

from squibwise.intake.patterns import pattern
from squibwise.intake.report.clauses.lines import NAMED, read_line
from squibwise.intake.report.language.lexicon import Lexicon, tokenise
from squibwise.intake.report.language.words import (
    FAULTS,
    OF_ITS_OWN,
    PARTS,
    has_fault,
    stands_alone,
)
from squibwise.intake.report.line_words import without_codes
from squibwise.intake.report.sheet import Line

_ENDS_SENTENCE = pattern(r"\w{6,}\.\s*$")
_CALLS = pattern(r"[:!]\s*$")
_BETWEEN_BARS = pattern(r"\s+\|\s+|\t")
_MEASURED = pattern(r"(?i)\d\s?(?:ohms?\b|Ω)")
_BETWEEN_NAMES = pattern(r"[;,](?:\s+|$)")
PARTS_ONLY = "parts, no faults"  # why those of a list that were bought, say, tell of none
_SIGNS_OF_LIST = 2
_LISTED = 3  # names of parts that make a list of parts
_FEW_WORDS = 4  # of a name that may end with a stop: "Gurtschloss Fahrers."
_NAME_WORDS = 8  # of the longest name of a part


def is_bare_part(line: Line) -> bool:
    """Tell whether a line names a part and says nothing more of it, as lists of parts do."""
    words = line.words
    if line.role not in ("words", "unread") or line.is_keyed or len(line.tokens) > _NAME_WORDS:
        return False
    is_sentence = _ENDS_SENTENCE.search(line.text) and len(line.tokens) > _FEW_WORDS
    is_sentence = is_sentence and line.known_share < 1.0  # "sensor de peso banco passag."
    if (
        line.is_praised
        or words.statuses
        or words.voices
        or has_fault(words)
        or is_sentence
        or _CALLS.search(line.text)
    ):
        return False
    if words.features & {"unit"} and line.role == "words":
        return not words.features & FAULTS
    return line.known_share >= NAMED and bool(words.features & (PARTS | {"bag", "lamp"}))


def lists_parts(lines: list[Line]) -> bool:
    """Tell whether lines list parts: several bare names, or each among faults without a code.

    One name alone stands between two of these; two or more may begin or end the list.
    """
    bare = [at for at, line in enumerate(lines) if is_bare_part(line)]
    said = [ln for ln in lines if ln.why in (PARTS_ONLY, "found good")]  # of the same list
    judged = sum(not line.words.voices for line in said)
    some = [at for at, line in enumerate(lines) if line.role not in ("blank", "heading", "header")]
    is_all = len(bare) > 1 and all(at in bare or _is_fault(lines[at]) for at in some)
    is_list = (is_all and len(some) > len(bare)) or len(bare) + judged >= _LISTED
    return is_list or bool(bare and all(_is_among(lines, at) for at in bare))


def _is_among(lines: list[Line], at: int) -> bool:
    around = (lines[at - 1], lines[at + 1]) if 0 < at < len(lines) - 1 else ()
    return bool(around) and all(map(_is_fault, around))


def _is_fault(line: Line) -> bool:
    return line.role == "words" and not line.why and stands_alone(line.words)


def split_statements(line: Line, lexicon: Lexicon, language: str | None) -> list[Line]:
    """Return what stands between the bars of a line where each piece says what a part is like.

    ``driver bag 1 open | passenger bag 2 ok``: one piece's word must not speak for the others.
    """
    texts = [t for t in line.cells or _BETWEEN_BARS.split(line.text) if t.strip()]
    if len(texts) < _SIGNS_OF_LIST or line.codes:
        return [line]
    pieces: list[Line] = []
    for text in texts:  # thousands of them, of which the first mostly tells
        piece = read_piece(line, text, lexicon, language)
        if not _says_of_a_part(piece):
            return [line]
        pieces.append(piece)
    return pieces


def _says_of_a_part(line: Line) -> bool:
    """Tell whether a line says by itself what a part, or every other one, is like."""
    words = line.words
    if line.role == "clean" or "crashrecord" in words.features:
        return True
    told = has_fault(words) or "good" in words.voices or _MEASURED.search(line.text)
    return bool(told) and bool(words.features & (PARTS | {"bag", "lamp"}))


def split_names(line: Line, lexicon: Lexicon, language: str | None) -> list[Line]:
    """Return the names of a line that lists parts between commas, each as a line; else the line."""
    texts = [t.rstrip(" .") for t in _BETWEEN_NAMES.split(line.text) if t.strip(" .")]
    if len(texts) < _SIGNS_OF_LIST or line.codes or line.cells or line.role in ("blank", "meta"):
        return [line]
    pieces: list[Line] = []
    for text in reversed(texts):  # a fault or a status stands last
        piece = read_piece(line, text, lexicon, language)
        if not (is_bare_part(piece) and piece.words.features & OF_ITS_OWN):
            return [line]
        pieces.append(piece)
    return pieces[::-1]


def read_piece(line: Line, text: str, lexicon: Lexicon, language: str | None) -> Line:
    """Return a piece of a line, read as a line of its own."""
    piece = Line(number=line.number, raw=text.strip(), text=text.strip(), is_cut=line.is_cut)
    piece.tokens = tokenise(without_codes(piece))
    read_line(piece, lexicon, language)
    return piece
