"""A repair, and whether it held."""

import math
from fnmatch import fnmatchcase

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.history.closing import BACK, STAYS
from squibwise.isolate.bench import BenchRepair
from squibwise.isolate.context import Context
from squibwise.isolate.signs import runs_through
from squibwise.isolate.standing import (
    Room,
    Standing,
    apart_for,
    note,
    pay,
    refuse_apart,
    refuse_outcome,
)
from squibwise.isolate.suspects import Suspect, coming_steps, ranked
from squibwise.model.belief import Because
from squibwise.model.evidence import DoneWork, TestOutcome
from squibwise.model.names import split_loop
from squibwise.model.origin import Finding, Origin
from squibwise.numerics.troubleshoot.planner import FIXED, NOT_FIXED


def close(state: Standing, evidence: str, room: Room) -> Standing:
    """Return the state of a fault that is gone; one that was away before needs a second drive."""
    if room.context.may_hide and not state.unconfirmed:
        return msgspec.structs.replace(state, unconfirmed=evidence, powered=True)
    return msgspec.structs.replace(state, fixed=evidence, unconfirmed="", powered=True)


def drive_again(state: Standing, item: TestOutcome, room: Room) -> Standing:
    """Return the state after the second drive."""
    if item.outcome not in (STAYS, BACK):
        return note(state, refuse_outcome(item, [STAYS, BACK]))
    if item.outcome == BACK:
        return reopen(state, item.id, item.origin, room)
    return msgspec.structs.replace(state, fixed=item.id, unconfirmed="")


def enter_repair(state: Standing, item: TestOutcome, bench: BenchRepair, room: Room) -> Standing:
    """Return the state after a repair whose verification was entered."""
    if item.outcome not in (FIXED, NOT_FIXED):
        return note(state, refuse_outcome(item, [FIXED, NOT_FIXED]))
    if item.outcome == NOT_FIXED and (state.fixed or state.unconfirmed):
        return reopen(state, item.id, item.origin, room)
    again = state.unconfirmed and state.repair == bench.id
    paid = state if again else pay(state, bench, room)
    paid = msgspec.structs.replace(paid, done=state.done | {bench.id}, load_at="")
    opened = apart_for(item, room) if item.outcome == FIXED else ""
    if opened:
        return note(state, refuse_apart(item, opened))
    if item.outcome == FIXED:
        return close(msgspec.structs.replace(paid, repair=bench.id), item.id, room)
    reason = Because(text=f"{bench.id} was done and did not cure it.", evidence=(item.id,))
    left = _without(_eased(state.suspects, bench, room.catalog), bench, reason)
    behind = _left_behind(state.suspects, bench, bench.repair.leaves, room)
    left = _merged([*left, *behind], None)
    if not left:
        return msgspec.structs.replace(note(paid, _nothing_left(item)), exhausted=True)
    anew = {t.id for t in room.tests.values() if t.point.id in _joined_anew(bench, room.context)}
    return msgspec.structs.replace(
        paid,
        suspects=ranked(left),
        done=paid.done - anew,
        again=paid.again - anew,
        seen=frozenset((test, word) for test, word in paid.seen if test not in anew),
        told=tuple((test, word) for test, word in paid.told if test not in anew),
        fixed="",
        powered=True,
    )


def _joined_anew(bench: BenchRepair, context: Context) -> set[str]:
    """Return the wiring that a repair joined something to: what was read of it holds no more."""
    wire = _wire_beside(bench.point.id, context)
    return {wire} if any(cause.startswith("{wire}:") for cause in bench.repair.leaves) else set()


def _eased(
    suspects: tuple[Suspect, ...], bench: BenchRepair, catalog: Catalog
) -> tuple[Suspect, ...]:
    """Return the hypotheses after a connector was seated again without effect.

    Seating often takes a poor contact away for a while; that it did not speaks against one.
    """
    if not bench.id.startswith("reseat:"):
        return suspects
    stays = 1.0 - catalog.fact("isolation.seating-eases").number()
    contacts = bench.fixes[0].replace("not-seated", "bad-contact")
    return tuple(
        msgspec.structs.replace(s, p=s.p * stays)
        if any(fnmatchcase(p, contacts) for p in s.parts)
        else s
        for s in suspects
    )


def _nothing_left(item: TestOutcome) -> Finding:
    return Finding(
        code="causes-exhausted",
        severity="warning",
        message=f"Every cause on the list of {item.loop} is repaired and the fault is still there.",
        remedy="Check the outcomes entered, read a complete scan, or call the maker's specialist.",
        origin=item.origin,
    )


def reopen(state: Standing, evidence: str, origin: Origin, room: Room) -> Standing:
    """Return the search opened again: the repair that seemed to cure it did not hold."""
    bench = room.repairs.get(state.repair)
    named = _named_repair(state.repair, bench)
    reason = Because(
        text=f"'{named}' took the fault away for a while and did not hold.",
        evidence=(evidence,),
        weak="judgement",
    )
    point = state.repair.partition(":")[2] if bench is None else bench.point.id
    finding = Finding(
        code="repair-did-not-hold",
        severity="warning",
        message=f"'{named}' ({state.repair}) was entered as the cure of {room.context.loop}, "
        f"and {evidence} shows the fault again: it did not hold.",
        remedy="The search goes on from there; tests may be done again, and all outcomes count.",
        origin=origin,
    )
    return msgspec.structs.replace(
        note(state, finding),
        suspects=ranked(_after_return(state.suspects, bench, point, reason, room)),
        eased=state.eased | (eased_by(bench) if bench else frozenset()),
        done=frozenset(),
        seen=frozenset(),
        told=(),
        again=frozenset(),
        opened=frozenset(),
        fixed="",
        unconfirmed="",
        powered=True,
    )


def _named_repair(repair: str, bench: BenchRepair | None) -> str:
    """Return a repair as its card calls it."""
    if bench is None:
        return repair or "The repair"
    return bench.repair.title.format(element=bench.point.title)


def _after_return(
    suspects: tuple[Suspect, ...],
    bench: BenchRepair | None,
    point: str,
    reason: Because,
    room: Room,
) -> list[Suspect]:
    """Return the hypotheses once a fault is back that a repair seemed to cure.

    The repair was a test of its place. It may have failed; it may have left the fault in what it
    did not reach; or the fault sits elsewhere and handling, or chance, took it away for a while.
    What was away and is back comes and goes, so that causes which do so gain.
    """
    catalog = room.catalog
    failed = catalog.fact(_failing(bench)).number()
    coming = {} if room.context.reported.comes_and_goes else coming_steps(room.context, catalog)
    step = catalog.fact("isolation.step").number()
    behind = {} if bench is None else bench.repair.leaves | bench.repair.eases
    moved = []
    for suspect in [*_left_behind(suspects, bench, behind, room), *suspects]:
        left = tuple(p for p in suspect.parts if bench is None or not _mends(bench, p))
        here = any(p.startswith(f"{point}:") for p in suspect.parts)
        share = _away_by_chance(left, point, room) if left else failed
        steps = max((coming.get(p, 0.0) for p in left or suspect.parts), default=0.0)
        steps = max(0.0, steps) if here and left else steps
        because = (*suspect.because, reason) if here or not left else suspect.because
        p = suspect.p * share * step**steps
        moved.append(msgspec.structs.replace(suspect, p=p, because=because))
    return _second_try(_merged(moved, bench), bench, room)


def _second_try(suspects: list[Suspect], bench: BenchRepair | None, room: Room) -> list[Suspect]:
    """Return the hypotheses with at most so much left of what a repair has mended already.

    However sure it was before: that the fault is there after the repair says that it was led there
    wrongly, or that something else is at fault as well.
    """
    again = {s.id for s in suspects if bench and all(_mends(bench, p) for p in s.parts)}
    here = math.fsum(s.p for s in suspects if s.id in again)
    rest = math.fsum(s.p for s in suspects if s.id not in again)
    most = room.catalog.fact("isolation.second-try").number()
    allowed = rest * most / (1.0 - most)
    if here <= allowed or not rest:
        return suspects
    return [
        msgspec.structs.replace(s, p=s.p * allowed / here) if s.id in again else s for s in suspects
    ]


def _failing(bench: BenchRepair | None) -> str:
    """Return the fact that says how often a repair fails: less where something new was fitted."""
    renewed = bench is not None and bench.repair.part_minutes > 0.0
    return "isolation.renewed-did-not-hold" if renewed else "isolation.did-not-hold"


def _away_by_chance(parts: tuple[str, ...], point: str, room: Room) -> float:
    """Return the chance that work at a point seems to cure a fault that it does not remove.

    Certain at the same place, where handling takes a poor contact away; likely in what moves with
    it; else chance.
    """
    near = _moved_with(point, room.context)
    elements = {p.partition(":")[0] for p in parts}
    if point in elements:
        return 1.0
    if elements & near:
        return room.catalog.fact("isolation.held-next-to").number()
    by_chance = room.catalog.fact("isolation.held-by-chance").number()
    hidden = room.catalog.fact("isolation.hidden-when-it-comes-and-goes").number()
    return max(by_chance, hidden**2) if room.context.reported.comes_and_goes else by_chance


def _moved_with(point: str, context: Context) -> set[str]:
    """Return the elements that are moved when hands are at a point: those next to it."""
    order = [e.id for e in context.chain.element if e.role != "whole"]
    if point not in order:
        return set()
    at = order.index(point)
    return {*order[max(0, at - 1) : at], *order[at + 1 : at + 2]}


def _left_behind(
    suspects: tuple[Suspect, ...],
    bench: BenchRepair | None,
    behind: dict[str, float],
    room: Room,
) -> list[Suspect]:
    """Return what a repair did not reach, at the place it mended or made by the work itself.

    Each such cause takes a share of what was believed of those that the repair removed; less where
    it was there before and the outcomes so far spoke more against it than against another there.
    """
    if bench is None:
        return []
    removed = math.fsum(s.p for s in suspects if all(fixes(bench, p) for p in s.parts))
    wire = _wire_beside(bench.point.id, room.context)
    shares: dict[tuple[str, ...], float] = {
        (cause.format(point=bench.point.id, wire=wire),): share for cause, share in behind.items()
    }
    own = f"{bench.point.id}:"
    here = {f"{own}bad-contact", *(part for (part,) in shares if part.startswith(own))}
    seen = max(_so_far(part, suspects, room.first) for part in here)
    found = []
    for suspect in (s for s in suspects if s.parts in shares):
        was_there = suspect.parts[0].startswith(f"{bench.point.id}:")
        share = shares[suspect.parts]
        if was_there and seen:
            share *= min(1.0, _so_far(suspect.id, suspects, room.first) / seen)
        found.append(msgspec.structs.replace(suspect, p=removed * share))
    return found


def _so_far(cause: str, suspects: tuple[Suspect, ...], first: tuple[Suspect, ...]) -> float:
    """Return how far the outcomes so far have moved a cause from where it stood; 0 = not known."""
    now, before = (math.fsum(s.p for s in each if s.id == cause) for each in (suspects, first))
    return now / before if before else 0.0


def _wire_beside(point: str, context: Context) -> str:
    """Return the wiring that a repair connector is joined to: towards the unit, else the device."""
    order = [e for e in context.chain.element if e.role != "whole"]
    at = next((n for n, e in enumerate(order) if e.id == point), 0)
    wires = [e.id for e in [*order[at:], *reversed(order[:at])] if e.role in ("segment", "coil")]
    return next(iter(wires), "")


def _without(suspects: tuple[Suspect, ...], bench: BenchRepair, reason: Because) -> list[Suspect]:
    """Return what is left when a repair has removed its faults; pairs keep their other fault."""
    kept = (s for s in suspects if not all(fixes(bench, p) for p in s.parts))
    why = [msgspec.structs.replace(s, because=(*s.because[:8], reason)) for s in kept]
    return _merged(why, bench)


def _merged(suspects: list[Suspect], bench: BenchRepair | None) -> list[Suspect]:
    """Return hypotheses without the parts that a repair removed, each once.

    One all of whose parts were removed stays: that repair may have failed.
    """
    found: dict[tuple[str, ...], Suspect] = {}
    for suspect in suspects:
        titles = dict(zip(suspect.parts, suspect.title.split("; and "), strict=False))
        kept = tuple(p for p in suspect.parts if bench is None or not fixes(bench, p))
        parts = kept or suspect.parts
        known = found.get(parts)
        p = suspect.p + (known.p if known else 0.0)
        title = "; and ".join(titles.get(part, suspect.title) for part in parts)
        found[parts] = msgspec.structs.replace(known or suspect, parts=parts, title=title, p=p)
    return list(found.values())


def fixes(bench: BenchRepair, part: str) -> bool:
    """Return whether a repair removes a cause, written ``<element>:<fault>``."""
    return any(fnmatchcase(part, pattern) for pattern in bench.fixes)


def _mends(bench: BenchRepair, part: str) -> bool:
    """Return whether a repair removes a cause for good, and does not only ease it."""
    return fixes(bench, part) and part not in eased_by(bench)


def eased_by(bench: BenchRepair) -> frozenset[str]:
    """Return the causes that a repair may only take away for a while."""
    return frozenset(cause.replace("{point}", bench.point.id) for cause in bench.repair.eases)


def is_shared(item: TestOutcome, bench: BenchRepair, state: Standing, room: Room) -> bool:
    """Return whether a repair entered for another circuit was done on what this one shares with it.

    It counts where a fault of this circuit may well have lain there.
    """
    context = room.context
    if item.outcome not in (FIXED, NOT_FIXED) or context.reported.report is None:
        return False
    if context.reported.gone_since and context.position(item.id) < context.position(
        context.reported.gone_since
    ):
        return False  # read since, and not named
    other, point = split_loop(item.loop)[0], bench.point
    shared = point.role != "segment" and runs_through(point, other, context, room.catalog)
    here = math.fsum(s.p for s in state.suspects if all(fixes(bench, p) for p in s.parts))
    return shared and here >= room.catalog.fact("isolation.cause-counts").number()


def doubt(
    state: Standing, item: DoneWork | TestOutcome, bench: BenchRepair, room: Room
) -> Standing:
    """Return the state after a repair that was done but whose verification is not entered.

    A report that still names the fault afterwards makes what it fixes unlikely; without one the
    repair is not verified, and says so.
    """
    report, place = room.context.reported.report, room.context.position
    if (
        report is None
        or report.time is None
        or item.time is None
        or place(report.id) < place(item.id)
    ):
        state = msgspec.structs.replace(state, unverified=bench.id)
        return note(state, _unverified(item, bench))
    failed = room.catalog.fact("isolation.repair-failed").number()
    reason = Because(
        text=f"{bench.id} was done before the fault was read again.", evidence=(item.id,)
    )
    moved = [
        msgspec.structs.replace(s, p=s.p * failed, because=(*s.because, reason))
        if all(fixes(bench, p) for p in s.parts)
        else s
        for s in state.suspects
    ]
    return msgspec.structs.replace(state, suspects=ranked(_second_try(moved, bench, room)))


def _unverified(item: DoneWork | TestOutcome, bench: BenchRepair) -> Finding:
    return Finding(
        code="repair-not-verified",
        severity="warning",
        message=f"{bench.id} was done, but nothing entered shows whether it cured the fault.",
        remedy=f'Enter a test outcome with test = "{bench.id}" and outcome "fixed" or "not fixed".',
        origin=item.origin,
    )
