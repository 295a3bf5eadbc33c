"""From a file's bytes, or the numbered lines of a report, to everything that was read from it."""

from collections.abc import Sequence
from itertools import groupby

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.intake.importers import extract
from squibwise.intake.importers.base import Extract, RawLine
from squibwise.intake.report.candidates import Hand, Scope
from squibwise.intake.report.clauses.left_out import list_left_out
from squibwise.intake.report.coverage import coverage
from squibwise.intake.report.faults import gather
from squibwise.intake.report.language.lexicon import lexicon_of
from squibwise.intake.report.language.words import KERB, Words
from squibwise.intake.report.meaning import fold_line, settle, take_group, tell
from squibwise.intake.report.report_findings import remarks
from squibwise.intake.report.sheet import Fault, Line, Sheet
from squibwise.intake.report.sorting import sort_lines
from squibwise.intake.report.whole.again import join_mentions
from squibwise.intake.report.whole.corrections import correct_faults
from squibwise.intake.report.whole.repeats import (
    join_either,
    name_code,
    once_a_line,
    with_repeats,
    without_gone,
)
from squibwise.intake.report.whole.returns import hear_returns
from squibwise.model.car import Car
from squibwise.model.names import Side
from squibwise.model.report import UNSURE, ReadReport, Unread

_SPECIAL = frozenset(
    "side buckle byside curtain knee pretension sensor middle cushion".split()
)  # what is said of airbags other than the front ones
_ENDED = frozenset({"gone", "denied", "found good"})  # what holds wherever a code is listed
_STORY = frozenset({"was", "own", "mine"})  # told of what was once, perhaps of another car


def understand(
    lines: Sequence[RawLine], name: str, catalog: Catalog, car: Car | None = None
) -> ReadReport:
    """Return the faults, coverage and doubts of a report.

    Args:
        lines: Numbered lines, whatever the format was.
        name: Of the file, for origins.
        catalog: The reviewed facts.
        car: The car it belongs to; None when not known: the driver is then taken to sit on the
            left, unless the report tells, and the report says so.
    """
    return settle_sheet(gather_lines(lines, name, catalog), catalog, car)


def gather_lines(lines: Sequence[RawLine], name: str, catalog: Catalog) -> Sheet:
    """Return the faults that lines tell of, before anything is known of the car."""
    sheet, lexicon = sort_lines(lines, name, catalog), lexicon_of(catalog)
    gather(sheet, lexicon)
    list_left_out(sheet, lexicon)
    join_mentions(sheet)
    correct_faults(sheet, lexicon)
    hear_returns(sheet, lexicon)
    return sheet


def settle_sheet(sheet: Sheet, catalog: Catalog, car: Car | None) -> ReadReport:
    """Return what the gathered faults mean on a car; see ``understand``. A sheet settles once."""
    _take_named(sheet, car)
    for fault in sheet.faults:
        take_group(fault)
    scope = Scope(
        catalog=catalog,
        hand=_hand(sheet, car),
        car=car,
        has_plain_front=any(_is_plain_front(f.words) for f in sheet.faults),
    )
    for fault in sheet.faults:
        _place_kerb(fault.words)
        settle(fault, scope)
    sheet.faults = once_a_line(join_either(sheet.faults))
    told = [tell(f, scope, sheet.name) for f in sheet.faults]
    each = zip(sheet.faults, told, strict=True)
    ended = [(f, name_code(ln)) for f, ln in each if f.absent in _ENDED]
    own = ((f.words, code) for f, code in ended if "same" not in f.words.features)  # "same here"
    gone = {code for words, code in own if not words.voices & _STORY}
    told = with_repeats(without_gone(told, gone, {code for _, code in ended}))
    return ReadReport(
        vin=sheet.vin,
        vin_part=sheet.vin_part,
        lines=tuple(told),
        unread=tuple(_unread(list(g)) for _, g in groupby(sheet.unread, lambda u: u.number)),
        findings=(*sheet.findings, *remarks(sheet, told, scope)),
        coverage=coverage(sheet, told, scope),
    )


def _take_named(sheet: Sheet, car: Car | None) -> None:
    """Make faults of unread lines that the car's own table names by their words."""
    named = (
        {fold_line(row.text) for row in car.codes if row.code == ""} if car is not None else set()
    )
    for _, group in groupby(list(sheet.unread), lambda u: u.number) if named else ():
        pieces = list(group)
        raws = [p.raw for p in pieces]
        if fold_line(" ".join(raws)) in named:
            first = pieces[0]
            fault = Fault(first=first, raws=raws, words=Words(), unit="restraint")
            sheet.faults.append(fault)
            sheet.faults.sort(key=lambda f: f.first.number)
            sheet.unread = [u for u in sheet.unread if u.number != first.number]


def _hand(sheet: Sheet, car: Car | None) -> Hand:
    """On which side the driver sits: the car's, or what the report itself shows."""
    if car is not None:
        return Hand(side=car.drive_hand, is_known=True)
    if sheet.hand is not None:
        return Hand(side=sheet.hand, is_known=True)
    sure = [e for e in sheet.faults if e.absent != UNSURE]
    votes = [v for e in sure if (v := _hand_of(e)) is not None]
    right = sum(v == "right" for v in votes)
    if votes and right in (0, len(votes)):
        return Hand(side=votes[0], is_known=True)
    kerb = any(e.words.features & KERB for e in sheet.faults)
    return Hand(side="right" if kerb else "left", is_known=False)


def _hand_of(fault: Fault) -> Side | None:
    """The driver's side, where one line names seat and side together."""
    words = fault.words
    sides: list[Side] = [s for s in ("left", "right") if s in words.sides]
    if len(sides) != 1 or len(words.seats) != 1 or "rear" in words.ends or words.rows - {1}:
        return None
    other: Side = "right" if sides[0] == "left" else "left"
    return sides[0] if "driver" in words.seats else other


def _unread(pieces: list[Line]) -> Unread:
    """What was read as no fault on one line, with what was recognised in it."""
    recognised: list[str] = []
    for piece in pieces:
        words = piece.words
        recognised += [c.printed for c in piece.codes] + sorted(words.features - {"skip"})
        recognised += [*sorted(words.seats), *sorted(words.sides), *words.statuses]
    raws = dict.fromkeys(p.raw for p in pieces)
    return Unread(
        line=pieces[0].number,
        raw=" ".join(r for r in raws if not any(r in more and r != more for more in raws)),
        why=", ".join(dict.fromkeys(p.why for p in pieces if p.why)),
        recognised=tuple(dict.fromkeys(recognised)),
    )


def _place_kerb(words: Words) -> None:
    """Nearside is the left, offside the right, wherever the driver sits: of left-hand traffic."""
    if "offside" in words.features:
        words.sides.add("right")
    if "nearside" in words.features:
        words.sides.add("left")


def _is_plain_front(words: Words) -> bool:
    """Tell whether words name a seat's airbag and no special one."""
    is_bag = bool(words.features & {"bag", "charge"})
    return is_bag and bool(words.seats) and not words.features & _SPECIAL


def read_report(data: bytes, name: str, catalog: Catalog, car: Car | None = None) -> ReadReport:
    """Return everything that was read from a report in any format.

    Args:
        data: The file's bytes.
        name: Its name as the user wrote it.
        catalog: The reviewed facts.
        car: The car it belongs to; None when not known.

    Raises:
        InputError: The file cannot be read at all.
        UnavailableError: It needs an optional part that is not installed.
    """
    return read_extract(extract(data, name), name, catalog, car)


def read_extract(found: Extract, name: str, catalog: Catalog, car: Car | None) -> ReadReport:
    """Return everything that was read from the lines of a report; see ``read_report``."""
    return settle_extract(found, gather_extract(found, name, catalog), catalog, car)


def gather_extract(found: Extract, name: str, catalog: Catalog) -> Sheet:
    """Return the faults of a file, its VIN and the driver's side, before a car is known."""
    return gather_lines(_with_gaps(found), name, catalog)


def settle_extract(found: Extract, sheet: Sheet, catalog: Catalog, car: Car | None) -> ReadReport:
    """Return what was read from a file whose faults are gathered already."""
    read = settle_sheet(sheet, catalog, car)
    return msgspec.structs.replace(read, findings=found.findings + read.findings)


def _with_gaps(found: Extract) -> list[RawLine]:
    """Return the lines of a text with one blank line where blank ones stood; others as they are."""
    if found.format not in ("text", "mail") or any(line.cells for line in found.lines):
        return list(found.lines)  # numbers of tables, pages and tags leave gaps of their own
    lines: list[RawLine] = []
    for line in found.lines:
        if lines and line.number > lines[-1].number + 1:
            lines.append(RawLine(number=lines[-1].number + 1, text=""))
        lines.append(line)
    return lines


def side_of_driver(sheet: Sheet) -> Side:
    """Return on which side the driver sits by a report's own words; the left where none tell."""
    return _hand(sheet, None).side
