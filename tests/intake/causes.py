"""Short texts of our own, several in other words and languages for each cause of a misreading.

A text begins with ``=== cause-number hand=left language``, with ``csv`` or ``html`` where it is no
plain text. A line of it ends with one ``@@ code|component|stage|fault|status`` for each fault that
it tells; ``/`` parts what is equally right, ``?`` is not asked, ``place.?`` leaves the kind open.
Every other line tells of no present fault of the restraint system. Common practice, no source.
"""

import re
from pathlib import Path
from typing import NamedTuple

from squibwise.model.report import CodeLine


class Told(NamedTuple):
    """One fault that a text tells of."""

    codes: tuple[str, ...]
    parts: tuple[str, ...]
    stage: str
    faults: tuple[str, ...]
    status: str


class Text(NamedTuple):
    """A text with what it tells."""

    name: str
    ending: str
    hand: str
    text: str
    told: tuple[Told, ...]

    @property
    def cause(self) -> str:
        return self.name.rpartition("-")[0]


def load(path: Path) -> list[Text]:
    blocks = re.split(r"(?m)^=== ", path.read_text(encoding="utf-8"))[1:]
    return [_text(block) for block in blocks]


def _text(block: str) -> Text:
    head, _, body = block.partition("\n")
    name, *marks = head.split()
    rows = [row.split(" @@ ") for row in body.rstrip("\n").split("\n")]
    ending = next((m for m in marks if m in ("csv", "html")), "txt")
    hand = "right" if "hand=right" in marks else "left"
    text = "".join(row[0] + "\n" for row in rows)
    return Text(name, ending, hand, text, tuple(_told(mark) for row in rows for mark in row[1:]))


def _told(mark: str) -> Told:
    code, part, stage, fault, status = mark.strip().split("|")
    codes = tuple(plain(c) for c in code.split("/"))
    return Told(codes, tuple(part.split("/")), stage, tuple(fault.split("/")), status)


def plain(code: str | None) -> str:
    return re.sub(r"[^0-9A-Z]", "", (code or "").upper())


def is_live(line: CodeLine) -> bool:
    """Tell whether a line is a present fault of the restraint system."""
    return line.unit != "other" and line.present and "cleared" not in line.status


def differences(text: Text, lines: tuple[CodeLine, ...]) -> list[str]:
    """What differs between what a text tells and what was read of it."""
    left, found = [ln for ln in lines if is_live(ln)], []
    for told in text.told:
        line = next((ln for ln in left if _codes_of(ln) & {*told.codes}), None)
        if line is None:
            found.append(f"{text.name}: {told.codes[0]} was not read")
            continue
        left.remove(line)
        found += [f"{text.name}: {told.codes[0]} {wrong}" for wrong in _wrong(told, line)]
    more = (ln for ln in left if not ln.repeats)
    return found + [f"{text.name}: {ln.code} {ln.kind} {ln.raw!r} is no fault" for ln in more]


def _codes_of(line: CodeLine) -> set[str]:
    codes = {line.code, f"{line.code}{line.failure_type}", *line.also}
    return {plain(c) for c in (*codes, *(c.code for c in line.candidates))}


def _wrong(told: Told, line: CodeLine) -> list[str]:
    named = {line.component or "-", f"{line.place or '-'}.?"}
    wrong = {
        f"is of {line.component}, {line.place}": not {*told.parts} & {*named, "?"},
        f"has stage {line.stage}": told.stage not in ("?", "-", str(line.stage)),
        f"tells {line.fault}": not {*told.faults} & {line.fault, "?"},
        f"is {line.status}": told.status not in ("?", *line.status),
    }
    return [what for what, is_wrong in wrong.items() if is_wrong]
