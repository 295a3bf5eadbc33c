"""Boxes beside several answers, on one line or a line each: only what is ticked is said.

``driver knee bag  [x] open  [ ] short`` says open; a row without a tick says nothing.
"""

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.lexicon import Lexicon
from squibwise.intake.report.language.phrases import likeliest
from squibwise.intake.report.language.words import has_fault
from squibwise.intake.report.line_words import words_in
from squibwise.intake.report.sheet import Line

_BOX = pattern(
    r"\[\s?_?(?P<square>[xX*✓✔✗✘])?_?\s?\]|\(\s?_?(?P<round>[xX*✓✔✗✘])?_?\s?\)"
    r"|[☐□▢]|(?P<drawn>[☑☒■✅])",
    needs="[(☐□▢☑☒■✅",
)
_LEADS = pattern(r"[\s|*-]*[\[(☐□▢☑☒■✅]")
_APART = pattern(r"\s{2,}|\t|\s*\|\s*")
_PIECE = pattern(r"[^\s|]+(?: [^\s|]+)*")
_LAST = pattern(r"(?:.*(?:\s{2,}|\t|[|:]\s*)|.*\s)(?=\S)")
_CODE = pattern(r"(?<![\w.])(?:[BCPU][0-9A-Fa-f]{4}(?:-\w\w)?|[0-9A-F]{4,6})(?![\w.])")
_ANSWERS = 2  # boxes on a line that are a choice
_ROWS = 60  # that one head of columns of boxes may have below it
UNMARKED = "[ ][ ] "  # before a row that nobody ticked


class _Row(msgspec.Struct, frozen=True):
    """A line with boxes.

    Attributes:
        lead: What stands before the answers.
        answers: Each, and whether it is ticked.
        rest: What stands behind them.
    """

    lead: str
    answers: tuple[tuple[str, bool], ...]
    rest: str = ""

    @property
    def ticked(self) -> str:
        """The answers that are ticked."""
        return ", ".join(text for text, is_ticked in self.answers if is_ticked)


def apply_boxes(lines: list[Line], lexicon: Lexicon) -> None:
    """Leave of each row of boxes what is ticked; mark one where no fault is as not ticked."""
    _pass_over_empty(lines)
    for at, line in enumerate(lines):
        row = _row_of(line, lines[max(at - _ROWS, 0) : at])
        if row is None:
            continue
        ticked = row.ticked
        line.cells = ()
        line.text = "   ".join(filter(None, (row.lead, ticked, row.rest)))
        if not ticked and _asks_for_fault(row, lexicon):
            line.text = UNMARKED + (_CODE.sub("", line.text) or line.raw)


def _pass_over_empty(lines: list[Line]) -> None:
    """Mark a fault in words beside its one box, empty in a list where others are ticked."""
    boxed = ((ln, [*_BOX.finditer(ln.text)]) for ln in lines)
    found = [(ln, boxes[0], _LEADS.match(ln.text)) for ln, boxes in boxed if len(boxes) == 1]
    ticked = {bool(leads) for _, box, leads in found if box.lastgroup}
    for line, box, leads in found:
        text = f"{line.text[: box.start()]} {line.text[box.end() :]}".strip(" -*|\t")
        if box.lastgroup is None and bool(leads) in ticked and not _CODE.search(text):
            line.text, line.cells = UNMARKED + text, ()


def _row_of(line: Line, above: list[Line]) -> _Row | None:
    """The answers of a line that offers several; None for another line."""
    text = line.text
    boxes = [*_BOX.finditer(text)]
    if len(boxes) < _ANSWERS or not any(m.lastgroup is None for m in boxes):
        return None
    ticks = [m.lastgroup is not None for m in boxes]
    ends = [*(m.start() for m in boxes[1:]), len(text)]
    after = [text[m.end() : end].strip(" \t|,;/") for m, end in zip(boxes, ends, strict=True)]
    lead = text[: boxes[0].start()].rstrip(" \t|:")
    if all(after):
        last, *rest = _APART.split(after[-1], maxsplit=1)
        labels = [_APART.split(a)[0] for a in (*after[:-1], last)]
        return _Row(lead, tuple(zip(labels, ticks, strict=True)), "".join(rest))
    if all(after[:-1]):  # each box stands behind its answer
        start = _LAST.match(lead)
        first = lead[start.end() :] if start else lead
        labels = [first, *after[:-1]]
        lead = lead[: start.end()].rstrip(" \t|:") if start else ""
        return _Row(lead, tuple(zip(labels, ticks, strict=True)))
    titles = _titles(above, len(boxes)) if not any(after) else []
    return _Row(lead, tuple(zip(titles, ticks, strict=True))) if titles else None


def _titles(above: list[Line], boxes: int) -> list[str]:
    """The headings of columns of boxes: of the nearest line above that has none."""
    plain = (ln.text for ln in reversed(above) if ln.text.strip() and not _BOX.search(ln.raw))
    head = next(plain, "")
    titles = _PIECE.findall(head.replace("\t", "  "))
    return titles[-boxes:] if len(titles) in (boxes, boxes + 1, boxes + 2) else []


def _asks_for_fault(row: _Row, lexicon: Lexicon) -> bool:
    """Tell whether a row asks which fault there is, and tells none itself."""
    texts = [text for text, _ in row.answers]
    language = likeliest(lexicon, (row.lead, *texts))
    told = [has_fault(words_in(text, lexicon, language)) for text in (row.lead, *texts)]
    return any(told[1:]) and not told[0]
