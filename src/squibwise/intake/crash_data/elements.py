"""Recorder elements as ``name: value`` lines, one or several events in one file."""

import re
from collections.abc import Iterable

import msgspec

from squibwise.catalog.crash_data import Element
from squibwise.intake.crash_data.records import Settings
from squibwise.intake.crash_data.values import row
from squibwise.intake.importers.limits import MAX_LINES, refuse_many
from squibwise.model.origin import Finding

_SIGNS = re.compile(r"[:=\t|]")
_LONGEST_NAME = 200
_LONGEST_LINE = 20_000
_HEADING = re.compile(r"^[\W_]*(?:crash\s+)?event(?:\s+(?:record|data))?\s*(?:no\.?|#)?\s*(\d)\b")
_IN_NAME = re.compile(r"\bevent\s*#?\s*(\d)\b")
_ROWS = ("series", "times")


class Entry(msgspec.Struct, frozen=True, kw_only=True):
    """One element as written.

    Attributes:
        event: Number of the event it belongs to.
        element: What it is.
        name: The name as written, for its unit.
        value: The value as written.
        line: Line number.
    """

    event: int
    element: Element
    name: str
    value: str
    line: int


def entries_of(
    lines: Iterable[tuple[int, str]], settings: Settings
) -> tuple[list[Entry], list[Finding]]:
    """Return the elements of a text, and a finding for each line that names none.

    Raises:
        InputError: There are more lines than a record can have.
    """
    event, found, unread = 1, list[Entry](), list[tuple[int, str]]()
    for line, whole in lines:
        refuse_many(settings.name, line, MAX_LINES, "lines")
        text = whole[:_LONGEST_LINE]
        heading = _HEADING.match(text.casefold())
        if heading and not _is_pair(text, settings):
            event = int(heading[1])
            continue
        entry = _entry(line, text, event, settings)
        if entry is not None:
            found.append(entry)
        elif re.search(r"[A-Za-z0-9]", text):
            unread.append((line, text))
        if len(whole) > _LONGEST_LINE:
            unread.append((line, whole[_LONGEST_LINE:]))
    return found, _unread(unread, settings) if found else []


def _is_pair(text: str, settings: Settings) -> bool:
    split = _split(text)
    return split is not None and settings.words.named(split[0]) is not None and split[1] != ""


def _split(text: str) -> tuple[str, str] | None:
    """Return name and value: parted by the first sign, or by the last comma."""
    sign = _SIGNS.search(text)
    at = sign.start() if sign else max(text.rfind(","), text.rfind(";"))
    name, value = text[: max(at, 0)].strip(' "'), text[at + 1 :].strip(' "\t|:=')
    if len(name) > _LONGEST_NAME or not any(c.isalpha() for c in name):
        return None
    return name, value


def _entry(line: int, text: str, event: int, settings: Settings) -> Entry | None:
    split = _split(text)
    if split is None:
        return None
    name, value = split
    element = settings.words.named(name)
    if element is None:
        return None
    if element.kind in _ROWS and row(value) is None and element.kind == "times":
        return None
    inside = _IN_NAME.search(name.casefold())
    if inside and element.kind not in ("gap", "count"):
        event = int(inside[1])
    return Entry(event=event, element=element, name=name, value=value, line=line)


def _unread(lines: list[tuple[int, str]], settings: Settings) -> list[Finding]:
    return [
        settings.finding(
            "crash-data-unread",
            "note",
            f"'{text.strip()[:80]}' names no element that is known here; it was not used.",
            "Check it by eye if it matters.",
            line,
        )
        for line, text in lines[:20]
    ]
