"""Odd reports with what a practitioner, who knows only the text, reads from each fault line.

A block begins with ``=== name hand=left`` and a remark. A fault line ends with one or more of
`` @@ code|component|stage|fault``; in a block
of lines that belong to one fault the last carries it.
``-`` = the line does not tell, ``?`` = not asked, ``/`` parts readings that are all honest,
``?.kind`` = the kind is told, its place is not.
"""

import re
from pathlib import Path
from typing import NamedTuple

from squibwise.model.names import Side, side_of
from squibwise.model.report import CodeLine


class Expected(NamedTuple):
    """What one fault line tells; each field holds every honest reading."""

    line: int
    code: str
    components: tuple[str, ...]
    stages: tuple[str, ...]
    faults: tuple[str, ...]


class OddReport(NamedTuple):
    """A report with its expectations."""

    name: str
    hand: Side
    text: str
    expected: tuple[Expected, ...]


def load(path: Path) -> list[OddReport]:
    blocks = re.split(r"(?m)^=== ", path.read_text(encoding="utf-8"))[1:]
    return [_report(block) for block in blocks]


def _report(block: str) -> OddReport:
    head, _, body = block.partition("\n")
    pieces = [line.split(" @@ ") for line in body.rstrip("\n").split("\n")]
    expected = [
        _expected(number, told) for number, line in enumerate(pieces, 1) for told in line[1:]
    ]
    text = "".join(line[0] + "\n" for line in pieces)
    hand: Side = "right" if "hand=right" in head else "left"
    return OddReport(head.split()[0], hand, text, tuple(expected))


def _expected(number: int, told: str) -> Expected:
    code, *fields = told.strip().split("|")
    components, stages, faults = (tuple(field.split("/")) for field in fields)
    return Expected(number, code, components, stages, faults)


def pair(
    expected: tuple[Expected, ...], read: tuple[CodeLine, ...]
) -> tuple[list[tuple[Expected, CodeLine | None]], list[CodeLine]]:
    """Return each expectation with the line that answers it, and the lines that answer none."""
    left = list(read)
    pairs: list[tuple[Expected, CodeLine | None]] = []
    for want in expected:
        same = [x for x in left if want.code not in "-?" and want.code in codes_of(x)]
        pairs.append((want, _take(left, same)))
    ends = [want.line for want in expected]
    for at, (want, line) in enumerate(pairs):
        if line is None:
            low = max((e for e in ends if e < want.line), default=0)
            high = min((e for e in ends if e > want.line), default=10**9)
            near = [x for x in left if low < x.line <= want.line]
            near += [x for x in left if want.line < x.line < high]
            pairs[at] = (want, _take(left, near))
    return pairs, left


def _take(left: list[CodeLine], found: list[CodeLine]) -> CodeLine | None:
    if not found:
        return None
    left.remove(found[0])
    return found[0]


def codes_of(line: CodeLine) -> set[str]:
    """Every notation of a line's code that the reader gives back."""
    return {line.code or "-", f"{line.code}{line.failure_type}", *line.also}


def is_code_right(want: Expected, line: CodeLine | None) -> bool:
    return line is not None and (want.code == "?" or want.code in codes_of(line))


def is_fault_right(want: Expected, line: CodeLine | None) -> bool:
    return line is not None and bool({"?", line.fault} & set(want.faults))


def is_component_right(want: Expected, line: CodeLine | None) -> bool:
    if line is None:
        return False
    told = {"?", line.component or "-"}
    if line.component is None:
        told |= {f"?.{line.kind}", "?.?", f"{line.place}.?"}
    return bool(told & set(want.components))


def is_place_wrong(want: Expected, line: CodeLine | None, hand: Side) -> bool:
    """A part's place, or a bare place's side, is given with certainty and is not the line's."""
    if line is None or "?" in want.components or line.place is None:
        return False
    places = {c.partition(".")[0] for c in want.components if c != "-"}
    if line.component is None and "?" in places:
        return False
    if line.component is None:
        return side_of(line.place, hand) not in {side_of(p, hand) for p in places if p != "?"}
    return line.place not in places


def is_stage_wrong(want: Expected, line: CodeLine | None) -> bool:
    if line is None or line.stage is None:
        return False
    return not {"?", str(line.stage)} & set(want.stages)
