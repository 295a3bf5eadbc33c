"""From a file's bytes, or the numbered lines of a report, to everything that was read from it."""

from collections.abc import Sequence
from itertools import groupby

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.intake.importers import extract
from squibwise.intake.importers.base import Extract, RawLine
from squibwise.intake.report.faults import Entry, gather
from squibwise.intake.report.lines import Line
from squibwise.intake.report.meaning import CLEAR, Meaning, join
from squibwise.intake.report.notation import CodeToken
from squibwise.intake.report.parts import SURE_PARTS, Hand, Part, Scope
from squibwise.intake.report.report_findings import coverage, remarks
from squibwise.intake.report.sense import Sense, has_part
from squibwise.intake.report.sheet import Sheet, sort_lines
from squibwise.model.car import Car
from squibwise.model.names import Side, side_of
from squibwise.model.origin import Origin
from squibwise.model.report import Candidate, CodeLine, ReadReport, Unread
from squibwise.model.words import Status

_TWO_READINGS = 2
_MOST_REPEATS = 20
_UNIT = Part(kind="control-unit", place="centre")
_UNIT_FAULTS = ("configuration", "identity", "event-recorded", "internal")


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
    sheet = sort_lines(lines, name, catalog)
    gathered = gather(sheet, catalog)
    scope = Scope(
        catalog=catalog,
        hand=_hand(sheet, gathered.entries, car),
        car=car,
        has_plain_front=any(_is_plain_front(e) for e in gathered.entries),
    )
    for entry in gathered.entries:
        _take_group(entry)
        _place_kerb(entry.sense, scope.hand)
    meanings = [_meaning(e, scope) for e in gathered.entries]
    pairs = list(zip(gathered.entries, meanings, strict=True))
    read = [_code_line(e, m, scope, name) for e, m in pairs]
    read = _with_repeats(_without_gone(read))
    findings = (*sheet.findings, *remarks(pairs, read, gathered, sheet, scope, name))
    return ReadReport(
        vin=sheet.vin,
        lines=tuple(read),
        unread=tuple(_unread(list(g)) for _, g in groupby(gathered.unread, lambda u: u.number)),
        findings=findings,
        coverage=coverage(read, gathered, scope, name),
    )


def _hand(sheet: Sheet, entries: list[Entry], car: Car | None) -> Hand:
    """On which side the driver sits: the car's, or what the report itself shows."""
    if car is not None:
        return Hand(side=car.drive_hand, is_known=True)
    if sheet.hand is not None:
        return Hand(side="right" if sheet.hand == "right" else "left", is_known=True)
    votes = [v for e in entries if (v := _hand_of(e)) is not None]
    right = sum(v == "right" for v in votes)
    if votes and right in (0, len(votes)):
        return Hand(side=votes[0], is_known=True)
    kerb = any(e.sense.features & {"nearside", "offside"} for e in entries)
    return Hand(side="right" if kerb else "left", is_known=False)


def _hand_of(entry: Entry) -> Side | None:
    """The driver's side, where one line names seat and side together."""
    sense = entry.sense
    sides: list[Side] = [s for s in ("left", "right") if s in sense.sides]
    if len(sides) != 1 or len(sense.seats) != 1 or "rear" in sense.ends or sense.rows - {1}:
        return None
    other: Side = "right" if sides[0] == "left" else "left"
    return sides[0] if "driver" in sense.seats else other


def _unread(pieces: list[Line]) -> Unread:
    """What was read as no fault on one line, with what was recognised in it."""
    recognised: list[str] = []
    for piece in pieces:
        sense = piece.sense
        recognised += [c.printed for c in piece.codes] + sorted(sense.features - {"skip"})
        recognised += [*sorted(sense.seats), *sorted(sense.sides), *sense.statuses]
    return Unread(
        line=pieces[0].number,
        raw=" ".join(p.raw for p in pieces),
        why=", ".join(dict.fromkeys(p.why for p in pieces if p.why)),
        recognised=tuple(dict.fromkeys(recognised)),
    )


def _take_group(entry: Entry) -> None:
    """Add the side, seat or status that a heading of many faults says, where its own is missing."""
    sense, group = entry.sense, entry.group
    if group is None:
        return
    if not (sense.seats or sense.sides):
        sense.seats |= group.seats
        sense.sides |= group.sides
    if not sense.statuses:
        sense.statuses += group.statuses


def _meaning(entry: Entry, scope: Scope) -> Meaning:
    """What a fault means; another unit's faults name no part of the restraint system."""
    meaning = join(entry.sense, entry.token, _scope_of(entry, scope))
    if entry.unit == "unknown" and entry.module is None and meaning.parts:
        entry.unit = "restraint"
    if entry.unit == "restraint" and not meaning.parts and _is_of_unit(entry.sense, meaning):
        return msgspec.structs.replace(meaning, parts=(_UNIT,))
    if entry.unit == "restraint" or (entry.unit == "unknown" and entry.sense.features & SURE_PARTS):
        return meaning
    about = entry.sense.features & {"unit", "system", "airbagmodule", "bag"}
    if entry.unit == "other" and about and meaning.fault == "communication":
        return msgspec.structs.replace(meaning, parts=(_UNIT,), clash=())
    return msgspec.structs.replace(meaning, parts=(), clash=())


def _is_of_unit(sense: Sense, meaning: Meaning) -> bool:
    """Tell whether a fault that names no part and no place is one that only the unit can have."""
    placed = sense.seats or sense.sides or sense.ends or sense.rows
    return meaning.fault in _UNIT_FAULTS and not placed and not has_part(sense)


def _place_kerb(sense: Sense, hand: Hand) -> None:
    """Offside is the driver's side, nearside the other: words of British workshops."""
    if "offside" in sense.features:
        sense.sides.add(hand.side)
    if "nearside" in sense.features:
        sense.sides.add("left" if hand.side == "right" else "right")


def _is_plain_front(entry: Entry) -> bool:
    sense = entry.sense
    others = {
        "side",
        "buckle",
        "byside",
        "curtain",
        "knee",
        "pretension",
        "sensor",
        "middle",
        "cushion",
    }
    return (
        bool(sense.features & {"bag", "charge"})
        and bool(sense.seats)
        and not sense.features & others
    )


def _scope_of(entry: Entry, scope: Scope) -> Scope:
    return msgspec.structs.replace(scope, is_foreign=entry.unit == "other")


def _code_line(entry: Entry, meaning: Meaning, scope: Scope, name: str) -> CodeLine:
    part, token = meaning.part, entry.token
    raw = "\n".join(entry.raws)
    return CodeLine(
        line=entry.line,
        raw=raw,
        code=token.code if token and token.style != "cut" else None,
        failure_type=token.failure_type if token else None,
        status=_statuses(entry, meaning),
        component=part.component if part else None,
        kind=_shared(meaning, "kind"),
        place=_shared(meaning, "place"),
        side=_side(entry, scope),
        stage=_stage(meaning),
        fault=meaning.fault,
        candidates=_candidates(meaning, token, scope),
        basis=meaning.basis,
        sources=meaning.sources,
        weak=meaning.weak,
        module=entry.module,
        also=_also(token) if token else (),
        unit=entry.unit,
        present=not entry.absent and "cleared" not in entry.sense.statuses,
        origin=Origin(file=name, line=entry.line, raw=entry.raws[0]),
    )


def _also(token: CodeToken) -> tuple[str, ...]:
    """Other notations on the line; also how a code that was printed as hex digits stood there."""
    printed = (token.printed,) if token.style.startswith("hex") and token.is_exact else ()
    return (*printed, *token.also)


def _shared(meaning: Meaning, field: str) -> str | None:
    """Kind or place that the clearly likelier readings have in common."""
    shares: dict[str, float] = {}
    for part in meaning.parts:
        value = getattr(part, field)
        if value:
            shares[value] = shares.get(value, 0.0) + part.weight
    return next((v for v, share in shares.items() if share >= CLEAR), None)


def _stage(meaning: Meaning) -> int | None:
    """The stage, when every reading that counts has the same."""
    stages = {p.stage for p in meaning.parts if p.kind and p.weight > 1.0 - CLEAR}
    return next(iter(stages)) if len(stages) == 1 else None


def _side(entry: Entry, scope: Scope) -> Side | None:
    """Side of the car that the words name: by side, or by seat where the hand is known."""
    sense = entry.sense
    named: list[Side] = [s for s in ("left", "right") if s in sense.sides]
    by_seat = {side_of(s, scope.hand.side) for s in sense.seats} if scope.hand.is_known else set()
    if sense.is_driver_doubtful or len(named) > 1 or len(sense.seats) > 1:
        return None
    if named:
        return named[0] if not by_seat or named[0] in by_seat or len(sense.rows) else None
    return next(iter(by_seat)) if by_seat else None


def _statuses(entry: Entry, meaning: Meaning) -> tuple[Status, ...]:
    found = list(entry.sense.statuses)
    token = entry.token
    if token is not None and token.status_byte is not None and token.is_exact:
        found += [s for s in byte_statuses(token.status_byte) if s not in found]
    if meaning.status is not None and meaning.status not in found:
        found.append(meaning.status)
    return tuple(found)


def byte_statuses(byte: int) -> tuple[Status, ...]:
    """Return the status words of a status byte.

    Source: iso-14229-1: bit 0 test failed, 2 pending, 3 confirmed, 4 and 6 test not completed,
    5 failed since clear. Pending or failed since clear, but not failing now, is intermittent.
    """
    failing, pending, confirmed = byte & 0x01, byte & 0x04, byte & 0x08
    found: list[Status] = []
    if failing:
        found.append("present")
    if pending:
        found.append("pending")
    if confirmed:
        found.append("stored")
    if not failing and pending and byte & 0x20:
        found.append("intermittent")
    if byte & 0x50:
        found.append("not-tested")
    return tuple(found)


def _candidates(meaning: Meaning, token: CodeToken | None, scope: Scope) -> tuple[Candidate, ...]:
    found = meaning.candidates()
    if token is not None and token.style == "camera":
        found = found or (Candidate(component=None, fault=meaning.fault, weight=1.0),)
        return tuple(msgspec.structs.replace(c, code=token.readings[0]) for c in found)
    if found or token is None or token.is_exact:
        return found
    if token.style == "cut":
        return _completions(token, scope)
    share = 1.0 / max(len(token.readings), 1)
    if len(token.readings) < _TWO_READINGS:
        return (Candidate(component=None, fault="unknown", weight=1.0, code=token.code),)
    return tuple(
        Candidate(component=None, fault="unknown", weight=share, code=r) for r in token.readings
    )


def _completions(token: CodeToken, scope: Scope) -> tuple[Candidate, ...]:
    """Codes of the tables that a code cut short may have been."""
    codes = [c for c in sorted(scope.catalog.codes.codes) if c.startswith(token.code)]
    return tuple(
        Candidate(component=None, fault="unknown", weight=1.0 / len(codes), code=c) for c in codes
    )


def _without_gone(read: list[CodeLine]) -> list[CodeLine]:
    """A code that is told to be gone is so wherever the report lists it."""
    gone = {ln.code for ln in read if not ln.present and not ln.status} - {None}
    return [
        msgspec.structs.replace(ln, present=False) if ln.code in gone and ln.present else ln
        for ln in read
    ]


def _with_repeats(read: list[CodeLine]) -> list[CodeLine]:
    """Point each line at the earlier ones that tell of the same fault; at most a few of them."""
    seen: dict[tuple[object, ...], list[int]] = {}
    found = []
    for line in read:
        keys = _sameness(line)
        same = dict.fromkeys(n for key in keys for n in seen.get(key, ()))
        found.append(msgspec.structs.replace(line, repeats=tuple(same)[:_MOST_REPEATS]))
        for key in keys:
            seen.setdefault(key, []).append(line.line)
            del seen[key][_MOST_REPEATS:]
    return found


def _sameness(line: CodeLine) -> list[tuple[object, ...]]:
    """What two lines of one fault have in common: code and reading, or part, stage and fault."""
    keys: list[tuple[object, ...]] = []
    if line.code is not None:
        keys.append((line.code, line.failure_type, line.module, line.component, line.fault))
    if line.component is not None and line.fault not in ("unknown", "event-recorded"):
        keys.append((line.component, line.stage, line.fault))
    return keys


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
    read = understand(found.lines, name, catalog, car)
    return ReadReport(
        vin=read.vin,
        lines=read.lines,
        unread=read.unread,
        findings=found.findings + read.findings,
        coverage=read.coverage,
    )


def vin_in(found: Extract, name: str, catalog: Catalog) -> str | None:
    """Return the VIN that a report names, without understanding the rest of it."""
    return sort_lines(found.lines, name, catalog).vin
