"""What a line adds of the moment a fault came: ``... no signal | active | door open, ign on``."""

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.lexicon import Lexicon
from squibwise.intake.report.language.phrases import likeliest
from squibwise.intake.report.language.words import Words, has_fault, has_part
from squibwise.intake.report.line_words import words_in
from squibwise.intake.report.sheet import Line

_PIECES = pattern(r"\s*[|;]\s*|\t|\s{3,}|\s(?=\()")
_FEATURES = frozenset({"open", "door", "charge", "skip"})  # of a door, a bonnet, the ignition


def drop_circumstances(lines: list[Line], lexicon: Lexicon) -> None:
    """Take off a line what is open in the car, behind its part, its fault and its status.

    Or behind part and fault in brackets, with more beside it: ``(door open, key 2)``.
    """
    for line in lines:
        parts = [*_PIECES.finditer(line.text)]
        if not parts:
            continue
        language = likeliest(lexicon, (line.text,))
        ends = [*(m.start() for m in parts), len(line.text)]
        starts = [0, *(m.end() for m in parts)]
        pieces = [line.text[start:end] for start, end in zip(starts, ends, strict=True)]
        for at in range(len(pieces) - 1, 0, -1):
            piece = pieces[at]
            if not _is_circumstance(piece, words_in(piece, lexicon, language)):
                continue
            before = [words_in(text, lexicon, language) for text in pieces[:at]]
            if _is_told(before, is_apart=piece[:1] != "("):
                line.text = f"{line.text[: starts[at]]} {line.text[ends[at] :]}".rstrip()
                line.cells = tuple(c for c in line.cells if c.strip() != piece.strip())


def _is_circumstance(piece: str, words: Words) -> bool:
    """Tell whether words say that something is open, and of no part of the restraints."""
    is_open = "open" in words.features and not words.features - _FEATURES
    return is_open and ("," in piece or "door" in words.features)


def _is_told(before: list[Words], *, is_apart: bool) -> bool:
    """Tell whether part and fault stand before, and the status where there are columns."""
    is_whole = any(map(has_part, before)) and any(map(has_fault, before))
    return is_whole and (not is_apart or any(w.statuses for w in before))
