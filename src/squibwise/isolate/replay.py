"""What has been tested and repaired on this circuit so far, and whether it stayed away."""

from fnmatch import fnmatchcase

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.history.apart import list_apart
from squibwise.history.closing import AGAIN, BACK, STAYS
from squibwise.isolate.bench import (
    BenchRepair,
    BenchTest,
    access_of,
    outcome_chances,
    power_of,
    reads_the_circuit,
    wait_minutes,
)
from squibwise.isolate.context import Context
from squibwise.isolate.reported import lines_for
from squibwise.isolate.suspects import Suspect, ranked
from squibwise.model.belief import Because
from squibwise.model.evidence import DoneWork, LampCheck, TestOutcome
from squibwise.model.names import split_loop
from squibwise.model.origin import Finding, Origin
from squibwise.model.report import Report
from squibwise.numerics.troubleshoot.planner import FIXED, NOT_FIXED

_ANY_SIGHT = "found"


class Spent(msgspec.Struct, frozen=True, kw_only=True):
    """What was spent on the search so far, by the figures of the cards, in minutes."""

    work: float = 0.0
    wait: float = 0.0
    price: float = 0.0


class Standing(msgspec.Struct, frozen=True, kw_only=True):
    """Where the search stands.

    Attributes:
        suspects: Hypotheses after everything entered.
        done: Ids of tests and repairs that are done since the search was last opened.
        seen: Outcomes, as test and word, since then.
        opened: Access clusters that are open.
        powered: Is the car powered.
        load_at: Element where a substitute load was last put by a test; empty when none is in.
        fixed: Id of the evidence that says fixed and verified; empty while it is not.
        unconfirmed: Id of the evidence that says fixed of a fault that was away before, until a
            second drive confirms it.
        repair: The repair that said so.
        exhausted: Every cause on the list was repaired and the fault is still there.
        spent: What it has cost.
        findings: What did not fit.
    """

    suspects: tuple[Suspect, ...]
    done: frozenset[str] = frozenset()
    seen: frozenset[tuple[str, str]] = frozenset()
    opened: frozenset[str] = frozenset()
    powered: bool = True
    load_at: str = ""
    fixed: str = ""
    unconfirmed: str = ""
    repair: str = ""
    exhausted: bool = False
    spent: Spent = Spent()
    findings: tuple[Finding, ...] = ()


class _Bench(msgspec.Struct, frozen=True, kw_only=True):
    """What a search can be told of: its tests and repairs by id, and the circuit."""

    context: Context
    tests: dict[str, BenchTest]
    repairs: dict[str, BenchRepair]
    catalog: Catalog


def replay(
    context: Context,
    suspects: tuple[Suspect, ...],
    tests: tuple[BenchTest, ...],
    repairs: tuple[BenchRepair, ...],
    catalog: Catalog,
) -> Standing:
    """Return the hypotheses after every outcome and repair entered for this circuit, in order."""
    state = Standing(suspects=suspects)
    bench = _Bench(
        context=context,
        tests={t.id: t for t in tests},
        repairs={r.id: r for r in repairs},
        catalog=catalog,
    )
    for item in context.case.evidence:
        if isinstance(item, TestOutcome) and split_loop(item.loop) == split_loop(context.loop):
            state = _entered(state, item, bench)
        elif isinstance(item, DoneWork) and (repair := _named(item, bench)):
            state = _doubted(state, item, repair, bench)
        elif isinstance(item, Report | LampCheck) and _shows_again(item, state, context, catalog):
            state = _reopened(state, item.id, item.origin, bench)
    return state


def _entered(state: Standing, item: TestOutcome, bench: _Bench) -> Standing:
    if item.test == AGAIN:
        return _driven_again(state, item, bench)
    if (state.fixed or state.unconfirmed) and item.outcome == BACK:
        return _reopened(state, item.id, item.origin, bench)
    if item.test in bench.tests:
        return _tested(state, item, bench.tests[item.test], bench)
    if item.test in bench.repairs:
        return _repaired(state, item, bench.repairs[item.test], bench)
    return _noted(state, _strange_test(item, [*bench.tests, *bench.repairs]))


def _named(item: DoneWork, bench: _Bench) -> BenchRepair | None:
    """Return the repair that a piece of work names as ``<loop>:<repair>`` or ``<repair>``."""
    if item.item is None:
        return None
    return bench.repairs.get(item.item.removeprefix(f"{bench.context.loop}:"))


def _strange_test(item: TestOutcome, known: list[str]) -> Finding:
    return Finding(
        code="unknown-test",
        severity="warning",
        message=f"'{item.test}' is no test or repair of {item.loop}; its outcome is not used.",
        remedy=f"Enter one of: {', '.join(sorted(known))}.",
        origin=item.origin,
    )


def _noted(state: Standing, finding: Finding) -> Standing:
    return msgspec.structs.replace(state, findings=(*state.findings, finding))


# A test.


def _tested(state: Standing, item: TestOutcome, bench: BenchTest, room: _Bench) -> Standing:
    words = bench.test.outcomes
    if item.outcome not in words and not (item.outcome == _ANY_SIGHT and bench.test.sights):
        return _noted(state, _strange_outcome(item, list(words)))
    if (opened := _apart_then(item, room)) and _needs_connector(bench):
        return _noted(state, _read_apart(item, opened))
    title = bench.test.title.format(element=bench.point.title)
    reason = Because(text=f"{title}: {item.outcome}.", evidence=(item.id,), weak="judgement")
    weight = _weight_of_repeat(state, bench, room.catalog)
    moved = [
        msgspec.structs.replace(s, p=s.p * chance**weight, because=(*s.because, reason))
        for s in state.suspects
        for chance in [_chance(bench, s, item.outcome, room)]
        if chance > 0.0
    ]
    if not moved:
        return _noted(state, _impossible(item))
    state = _told_apart(state, item, bench)
    cured = item.outcome == bench.test.cured
    state = msgspec.structs.replace(
        _paid(state, bench, room),
        suspects=ranked(moved),
        done=state.done | {bench.id},
        seen=state.seen | {(bench.id, item.outcome)},
        load_at=_load_after(state, item, bench),
        repair=bench.id if cured else state.repair,
    )
    return _closed(state, item.id, room) if cured else state


def _needs_connector(bench: BenchTest) -> bool:
    return reads_the_circuit(bench.test) and bench.test.igniters == "not-touched"


def _apart_then(item: TestOutcome, room: _Bench) -> str:
    """Return what was open, so that the circuit's connector was apart when this was entered."""
    context = room.context
    if context.load_out:
        return ""
    place, car = context.position(item.id), context.case.car
    return list_apart(context.history, car, room.catalog, place).get(context.name.id, "")


def _read_apart(item: TestOutcome, opened: str) -> Finding:
    return Finding(
        code="read-while-apart",
        severity="warning",
        message=f"{item.test} of {item.loop}: its connector was apart ({opened} was open), so what "
        "was read is not this circuit; it is not used.",
        remedy="Plug it together and lock it, read again, and enter what came out then.",
        origin=item.origin,
    )


def _chance(bench: BenchTest, suspect: Suspect, word: str, room: _Bench) -> float:
    chances = outcome_chances(bench, suspect, room.context, room.catalog)
    if word in chances:
        return chances[word]
    return sum(chances[s.word] for s in bench.test.sights)


def _load_after(state: Standing, item: TestOutcome, bench: BenchTest) -> str:
    """Return where the load is after a test: it stays where the fault stayed with it."""
    if bench.test.rule != "split":
        return state.load_at
    return bench.point.id if item.outcome == bench.test.bad else ""


def _weight_of_repeat(state: Standing, bench: BenchTest, catalog: Catalog) -> float:
    """Return how much an outcome tells: a repeated test mostly repeats its outcome."""
    known = any(test == bench.id for test, _ in state.seen)
    return catalog.fact("isolation.repeat").number() if known else 1.0


def _told_apart(state: Standing, item: TestOutcome, bench: BenchTest) -> Standing:
    """Return the state with a finding when the same test said something else before."""
    before = sorted(w for t, w in state.seen if t == bench.id and w != item.outcome)
    if not before:
        return state
    finding = Finding(
        code="outcomes-contradict",
        severity="warning",
        message=f"{bench.id} came out '{before[0]}' before and '{item.outcome}' now: the fault "
        "comes and goes, or there are two faults.",
        remedy="Enter both as they were; watch the live value while seat, wheel or harness are "
        "moved, with loads in place of every igniter in reach.",
        origin=item.origin,
    )
    return _noted(state, finding)


def _strange_outcome(item: TestOutcome, words: list[str]) -> Finding:
    return Finding(
        code="unknown-outcome",
        severity="warning",
        message=f"'{item.outcome}' is no outcome of {item.test}; it is not used.",
        remedy=f"Enter one of: {', '.join(words)}.",
        origin=item.origin,
    )


def _impossible(item: TestOutcome) -> Finding:
    return Finding(
        code="outcome-impossible",
        severity="warning",
        message=f"'{item.outcome}' of {item.test} fits no hypothesis that is left; it is not used.",
        remedy="Check the outcomes entered for this loop, or call the maker's specialist.",
        origin=item.origin,
    )


def _paid(state: Standing, bench: BenchTest | BenchRepair, room: _Bench) -> Standing:
    """Return the state after an action: what is open, the power, and what it has cost."""
    access = access_of(bench, room.context)
    power = power_of(bench)
    up = room.catalog.fact("isolation.power-up").number()
    minutes = sum(room.catalog.loops.access[a].minutes for a in access if a not in state.opened)
    wait = wait_minutes(room.context.case, room.catalog) if power in ("off", "through") else 0.0
    price = 0.0
    if isinstance(bench, BenchRepair):
        minutes += bench.repair.minutes + bench.repair.check_minutes
        price = bench.price
    else:
        minutes += bench.test.minutes
    minutes += up if power == "through" or (power == "on" and not state.powered) else 0.0
    return msgspec.structs.replace(
        state,
        opened=state.opened | set(access),
        powered=state.powered if power == "any" else power != "off",
        spent=Spent(
            work=state.spent.work + minutes,
            wait=state.spent.wait + (wait if state.powered else 0.0) + bench.check_wait,
            price=state.spent.price + price,
        ),
    )


# A repair, and whether it held.


def _closed(state: Standing, evidence: str, room: _Bench) -> Standing:
    """Return the state of a fault that is gone; one that was away before needs a second drive."""
    if room.context.reported.may_hide and not state.unconfirmed:
        return msgspec.structs.replace(state, unconfirmed=evidence, powered=True)
    return msgspec.structs.replace(state, fixed=evidence, unconfirmed="", powered=True)


def _driven_again(state: Standing, item: TestOutcome, room: _Bench) -> Standing:
    if item.outcome not in (STAYS, BACK):
        return _noted(state, _strange_outcome(item, [STAYS, BACK]))
    if item.outcome == BACK:
        return _reopened(state, item.id, item.origin, room)
    return msgspec.structs.replace(state, fixed=item.id, unconfirmed="")


def _repaired(state: Standing, item: TestOutcome, bench: BenchRepair, room: _Bench) -> Standing:
    """Return the state after a repair whose verification was entered."""
    if item.outcome not in (FIXED, NOT_FIXED):
        return _noted(state, _strange_outcome(item, [FIXED, NOT_FIXED]))
    if item.outcome == NOT_FIXED and (state.fixed or state.unconfirmed):
        return _reopened(state, item.id, item.origin, room)
    again = state.unconfirmed and state.repair == bench.id
    paid = state if again else _paid(state, bench, room)
    paid = msgspec.structs.replace(paid, done=state.done | {bench.id}, load_at="")
    opened = _apart_then(item, room) if item.outcome == FIXED else ""
    if opened:
        return _noted(state, _read_apart(item, opened))
    if item.outcome == FIXED:
        return _closed(msgspec.structs.replace(paid, repair=bench.id), item.id, room)
    reason = Because(text=f"{bench.id} was done and did not cure it.", evidence=(item.id,))
    left = _without(_eased(state.suspects, bench, room.catalog), bench, reason)
    if not left:
        return msgspec.structs.replace(_noted(paid, _nothing_left(item)), exhausted=True)
    return msgspec.structs.replace(paid, suspects=ranked(left), fixed="", powered=True)


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


def _shows_again(
    item: Report | LampCheck, state: Standing, context: Context, catalog: Catalog
) -> bool:
    """Return whether an entry shows the fault again after it was called fixed."""
    if not (state.fixed or state.unconfirmed):
        return False
    if isinstance(item, LampCheck):
        return item.stayed_out is False or item.out_after_s is None
    lines = lines_for(item, context.name.id, context.stage, catalog)
    return any(share >= 0.5 and "cleared" not in line.status for line, _, share in lines)


def _reopened(state: Standing, evidence: str, origin: Origin, room: _Bench) -> Standing:
    """Return the search opened again: the repair that seemed to cure it did not hold.

    Handling a place takes a fault there away for a while; a fault elsewhere that comes and goes
    may have been away by chance.
    """
    bench = room.repairs.get(state.repair)
    point = state.repair.partition(":")[2] if bench is None else bench.point.id
    catalog = room.catalog
    failed = catalog.fact("isolation.did-not-hold").number()
    hidden = catalog.fact("isolation.hidden-when-it-comes-and-goes").number()
    elsewhere = catalog.fact("isolation.held-by-chance").number()
    if room.context.reported.comes_and_goes:
        elsewhere = max(elsewhere, hidden * hidden)
    reason = Because(
        text=f"{state.repair or 'The repair'} took the fault away for a while and did not hold.",
        evidence=(evidence,),
        weak="judgement",
    )
    moved = []
    for suspect in state.suspects:
        here = any(p.startswith(f"{point}:") for p in suspect.parts)
        cured = bench is not None and all(fixes(bench, p) for p in suspect.parts)
        share = failed if cured else 1.0 if here else elsewhere
        because = (*suspect.because, reason) if here or cured else suspect.because
        moved.append(msgspec.structs.replace(suspect, p=suspect.p * share, because=because))
    finding = Finding(
        code="repair-did-not-hold",
        severity="warning",
        message=f"{state.repair or 'The repair'} was entered as the cure of {room.context.loop}, "
        f"and {evidence} shows the fault again: it did not hold.",
        remedy="The search goes on from there; tests may be done again, and all outcomes count.",
        origin=origin,
    )
    return msgspec.structs.replace(
        _noted(state, finding),
        suspects=ranked(moved),
        done=frozenset(),
        seen=frozenset(),
        opened=frozenset(),
        fixed="",
        unconfirmed="",
        powered=True,
    )


def _without(suspects: tuple[Suspect, ...], bench: BenchRepair, reason: Because) -> list[Suspect]:
    """Return what is left when a repair has removed its faults; pairs keep their other fault."""
    left: dict[tuple[str, ...], Suspect] = {}
    for suspect in suspects:
        parts = tuple(p for p in suspect.parts if not fixes(bench, p))
        if not parts:
            continue
        known = left.get(parts)
        title = suspect.title if parts == suspect.parts else suspect.title.split("; and ")[-1]
        if parts != suspect.parts and parts[0] == suspect.parts[0]:
            title = suspect.title.split("; and ")[0]
        p = suspect.p + (known.p if known else 0.0)
        because = (*(known or suspect).because[:8], reason)
        left[parts] = Suspect(
            parts=parts, title=(known.title if known else title), p=p, because=because
        )
    return list(left.values())


def fixes(bench: BenchRepair, part: str) -> bool:
    """Return whether a repair removes a cause, written ``<element>:<fault>``."""
    return any(fnmatchcase(part, pattern) for pattern in bench.fixes)


def _doubted(state: Standing, item: DoneWork, bench: BenchRepair, room: _Bench) -> Standing:
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
        return _noted(state, _unverified(item, bench))
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
    return msgspec.structs.replace(state, suspects=ranked(moved))


def _unverified(item: DoneWork, bench: BenchRepair) -> Finding:
    return Finding(
        code="repair-not-verified",
        severity="warning",
        message=f"{bench.id} was done, but nothing entered shows whether it cured the fault.",
        remedy=f'Enter a test outcome with test = "{bench.id}" and outcome "fixed" or "not fixed".',
        origin=item.origin,
    )
