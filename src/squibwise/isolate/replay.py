"""What has been tested and repaired on this circuit so far, and whether it stayed away."""

import math

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.history.closing import AGAIN, BACK
from squibwise.history.returned import follow_repairs
from squibwise.isolate.bench import BenchRepair, BenchTest, outcome_chances, power_of
from squibwise.isolate.context import Context, counts_for
from squibwise.isolate.places import place_of
from squibwise.isolate.prose import reads_the_circuit
from squibwise.isolate.repaired import close, doubt, drive_again, enter_repair, is_shared, reopen
from squibwise.isolate.standing import (
    Room,
    Standing,
    apart_for,
    note,
    pay,
    refuse_apart,
    refuse_outcome,
)
from squibwise.isolate.suspects import Suspect, ranked
from squibwise.model.belief import Because, TestWeight
from squibwise.model.evidence import DoneWork, LampCheck, SeatTrial, Story, TestOutcome
from squibwise.model.names import split_loop
from squibwise.model.origin import Finding
from squibwise.model.report import Report

_ANY_SIGHT = "found"
_TRIAL = "empty-value"
_APART_KG = 10.0


def replay(
    context: Context,
    suspects: tuple[Suspect, ...],
    tests: tuple[BenchTest, ...],
    repairs: tuple[BenchRepair, ...],
    catalog: Catalog,
) -> Standing:
    """Return the hypotheses after every outcome and repair entered for this circuit, in order."""
    state = Standing(suspects=suspects)
    bench = Room(
        context=context,
        tests={t.id: t for t in tests},
        repairs={r.id: r for r in repairs},
        catalog=catalog,
        first=suspects,
    )
    own, car = split_loop(context.loop), context.case.car
    course = follow_repairs(context.history, car, catalog)
    shown = {told.shown for loop, told in course.ever if loop == own}
    trials = _read_trials(context, catalog)
    for item in context.case.evidence:
        if isinstance(item, TestOutcome):
            state = _loaded_beside(state, item, bench)
        if isinstance(item, TestOutcome) and split_loop(item.loop) == own:
            state = _entered(state, item, bench)
        elif isinstance(item, TestOutcome) and counts_for(item, own):
            state = _seen_from(state, item, bench)
        elif isinstance(item, TestOutcome) and (repair := bench.repairs.get(item.test)):
            state = (
                doubt(state, item, repair, bench)
                if is_shared(item, repair, state, bench)
                else state
            )
        elif isinstance(item, SeatTrial) and (word := trials.get(item.id)):
            told = TestOutcome(id=item.id, loop=context.loop, test=_TRIAL, outcome=word)
            state = _seen_from(state, told, bench)
        elif isinstance(item, DoneWork) and (repair := _named(item, bench)):
            state = doubt(state, item, repair, bench)
        elif isinstance(item, Report | LampCheck | Story) and item.id in shown:
            state = reopen(state, item.id, item.origin, bench)
    return state


def _entered(state: Standing, item: TestOutcome, bench: Room) -> Standing:
    state = msgspec.structs.replace(state, unverified="")
    if item.test == AGAIN:
        return drive_again(state, item, bench)
    if (state.fixed or state.unconfirmed) and item.outcome == BACK:
        return reopen(state, item.id, item.origin, bench)
    if item.test in bench.tests:
        return _tested(state, item, bench.tests[item.test], bench)
    if item.test in bench.repairs:
        return enter_repair(state, item, bench.repairs[item.test], bench)
    return note(state, _strange_test(item, [*bench.tests, *bench.repairs]))


def _seen_from(state: Standing, item: TestOutcome, bench: Room) -> Standing:
    """Return the state after what was seen for another circuit, at what this one shares with it.

    It costs this search nothing, and its connector need not be opened again.
    """
    test = bench.tests.get(item.test)
    if test is None or item.outcome not in test.test.outcomes:
        return state
    told = _tested(state, item, test, bench)
    return msgspec.structs.replace(told, spent=state.spent, weighed=state.weighed)


def _loaded_beside(state: Standing, item: TestOutcome, bench: Room) -> Standing:
    """Return the state with the load that a card of another stage of the device left in, or out."""
    component, stage = split_loop(item.loop)
    if component != bench.context.name.id or stage == bench.context.stage:
        return state
    loads = {n: at for n, at in state.loads_beside.items() if n != stage}
    test = bench.tests.get(item.test)
    at = "" if test is None else _load_after(state.loads_beside.get(stage, ""), item, test)
    return msgspec.structs.replace(state, loads_beside=loads | ({stage: at} if at else {}))


def _named(item: DoneWork, bench: Room) -> BenchRepair | None:
    """Return the repair that a piece of work names as ``<loop>:<repair>`` or ``<repair>``.

    A part of the circuit that was replaced since the fault was last read is its repair too.
    """
    named = bench.repairs.get((item.item or "").removeprefix(f"{bench.context.loop}:"))
    if named is not None or item.what != "replaced":
        return named
    report, place = bench.context.reported.report, bench.context.position
    if report is None or place(item.id) < place(report.id):
        return None
    parts = (r for r in bench.repairs.values() if r.repair.part)
    return next((r for r in parts if _is_renewed(r, item, bench.context)), None)


def _is_renewed(repair: BenchRepair, item: DoneWork, context: Context) -> bool:
    """Return whether a part that was replaced is the one that a repair renews."""
    if repair.repair.part == "device":
        return item.component == context.name.id
    kind = item.component.partition(".")[2]
    return repair.point.role in ("coil", "unit") and repair.point.kind == kind


def _strange_test(item: TestOutcome, known: list[str]) -> Finding:
    return Finding(
        code="unknown-test",
        severity="warning",
        message=f"'{item.test}' is no test or repair of {item.loop}; its outcome is not used.",
        remedy=f"Enter one of: {', '.join(sorted(known))}.",
        origin=item.origin,
    )


def _read_trials(context: Context, catalog: Catalog) -> dict[str, str]:
    """Return what loadings of the seat show, as the outcome of the trial of its value, by the last.

    Those since the last work on the circuit are read together: the same value under loads that are
    far apart stands still; one beyond the published example of a tolerance is off.
    """
    works = [context.position(w.id) for w in context.works if w.component == context.name.id]
    trials = [
        t
        for n, t in context.history.all_of(SeatTrial)
        if t.component == context.name.id and t.read_kg is not None and n > max(works, default=-1)
    ]
    read = [(t.applied_kg, t.read_kg) for t in trials if t.read_kg is not None]
    if not read:
        return {}
    most, empty = (catalog.fact(f"seat-trial.{i}").number() for i in ("tolerance", "empty"))
    (low, least), (high, largest) = min(read), max(read)
    if high - low >= _APART_KG and abs(largest - least) < most:
        return {trials[-1].id: "no-value"}
    if any(abs(shown - laid) > (most if laid else empty) for laid, shown in read):
        return {trials[-1].id: "off"}
    return {trials[-1].id: "follows"} if high - low >= _APART_KG else {}


# A test.


def _tested(state: Standing, item: TestOutcome, bench: BenchTest, room: Room) -> Standing:
    words = bench.test.outcomes
    if item.outcome not in words and not (item.outcome == _ANY_SIGHT and bench.test.sights):
        return note(state, refuse_outcome(item, list(words)))
    if (opened := apart_for(item, room)) and _needs_connector(bench):
        return note(state, refuse_apart(item, opened))
    title = bench.test.title.format(element=bench.point.title)
    reason = Because(text=f"{title}: {item.outcome}.", evidence=(item.id,), weak="judgement")
    before = [word for test, word in state.told if test == bench.id]
    weight = _weight_of_each(len(before) + 1, room.catalog)
    earlier = _weight_of_each(max(1, len(before)), room.catalog)
    change = weight - earlier
    moved = [
        msgspec.structs.replace(s, p=s.p * chance**weight * again, because=(*s.because, reason))
        for s in state.suspects
        for chance in [_chance(bench, s, item.outcome, room)]
        for again in [math.prod(_chance_of(bench, s, w, room) ** change for w in before)]
        if chance > 0.0
    ]
    if not moved:
        return note(state, _impossible(item))
    state = _told_apart(state, item, bench)
    cured = item.outcome == bench.test.cured
    state = msgspec.structs.replace(
        pay(state, bench, room),
        suspects=ranked(moved),
        done=state.done | {bench.id},
        seen=state.seen | {(bench.id, item.outcome)},
        told=(*state.told, (bench.id, item.outcome)),
        again=state.again | ({bench.id} & state.done),
        load_at=_load_after(state.load_at, item, bench),
        repair=bench.id if cured else state.repair,
        weighed=(
            *(
                _weigh_again(w, weight / earlier) if w.test == bench.id else w
                for w in state.weighed
            ),
            _weigh(state, item, bench, weight, room),
        ),
    )
    return close(state, item.id, room) if cured else state


def _weigh(
    state: Standing, item: TestOutcome, bench: BenchTest, weight: float, room: Room
) -> TestWeight:
    """Return how likely an outcome was by where the fault lies, over the causes left before it."""
    p: dict[str, float] = {}
    told: dict[str, float] = {}
    for suspect in (s for s in state.suspects if len(s.parts) == 1):
        place = place_of(suspect.parts[0], room.context)
        chance = _chance(bench, suspect, item.outcome, room) ** weight
        for word in {place, "part"} if place == "device" else {place}:
            p[word] = p.get(word, 0.0) + suspect.p
            told[word] = told.get(word, 0.0) + suspect.p * chance
    likely = {place: told[place] / p[place] for place in p if p[place] > 0.0}
    nothing = Suspect(parts=("codes:left-over",), title="", p=1.0)
    likely.setdefault("nowhere", _chance(bench, nothing, item.outcome, room) ** weight)
    places = p.keys() - {"device"}
    mean = math.fsum(told[w] for w in places) / math.fsum(p[w] for w in places)
    return TestWeight(
        evidence=item.id, test=item.test, outcome=item.outcome, likely=likely, otherwise=mean
    )


def _needs_connector(bench: BenchTest) -> bool:
    return reads_the_circuit(bench.test) and bench.test.igniters == "not-touched"


def _chance(bench: BenchTest, suspect: Suspect, word: str, room: Room) -> float:
    chances = outcome_chances(bench, suspect, room.context, room.catalog)
    if word in chances:
        return chances[word]
    return sum(chances[s.word] for s in bench.test.sights)


def _chance_of(bench: BenchTest, suspect: Suspect, word: str, room: Room) -> float:
    """Return the chance of an outcome that was there; 1 for a cause that it had ruled out."""
    return _chance(bench, suspect, word, room) or 1.0


def _load_after(load_at: str, item: TestOutcome, bench: BenchTest) -> str:
    """Return where the load is after a test: it stays where the fault stayed with it.

    The card of another test takes it out where hands go in.
    """
    if bench.test.rule == "split":
        return bench.point.id if item.outcome == bench.test.bad else ""
    return load_at if power_of(bench) in ("on", "any") else ""


def _weight_of_each(times: int, catalog: Catalog) -> float:
    """Return how much each outcome of a test tells that was done so often, in any order.

    A repeated test mostly repeats its outcome: all but one of them count for less.
    """
    return (1.0 + (times - 1) * catalog.fact("isolation.repeat").number()) / times


def _weigh_again(weight: TestWeight, power: float) -> TestWeight:
    """Return the weight of an outcome that counts for less, as its test was done again."""
    likely = {place: p**power for place, p in weight.likely.items()}
    return msgspec.structs.replace(weight, likely=likely, otherwise=weight.otherwise**power)


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
    return note(state, finding)


def _impossible(item: TestOutcome) -> Finding:
    return Finding(
        code="outcome-impossible",
        severity="warning",
        message=f"'{item.outcome}' of {item.test} fits no hypothesis that is left; it is not used.",
        remedy="Check the outcomes entered for this loop, or call the maker's specialist.",
        origin=item.origin,
    )
