"""Tests and repairs of one loop, and the problem they make for the planner."""

import math
from fnmatch import fnmatchcase

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.loops import ENDS, Element, LoopRepair, LoopTest
from squibwise.isolate.context import LIKELY, Context, part_minutes, wait_minutes
from squibwise.isolate.prose import (
    check_moving,
    movements_of,
    read_moving,
    reads_the_circuit,
    told_of,
)
from squibwise.isolate.signs import voltage_out
from squibwise.isolate.suspects import Suspect
from squibwise.model.case import Case
from squibwise.numerics.troubleshoot.problem import Power, Problem, Repair, Result, Test

_MEMORY = "codes:"
EVERY_CONNECTOR = "{plugs}"


class BenchTest(msgspec.Struct, frozen=True, kw_only=True):
    """A test at one point of this loop.

    Attributes:
        id: To be entered with its outcome.
        point: Element it is done at.
        test: The catalogue's test.
        check_wait: Waiting for its second reading, where seat or wheel is set before it. [min]
        moved: Is it read with what brings the fault, seat or wheel, moved or set for it.
    """

    id: str
    point: Element
    test: LoopTest
    check_wait: float = 0.0
    moved: bool = False


class BenchRepair(msgspec.Struct, frozen=True, kw_only=True):
    """A repair of one element of this loop.

    Attributes:
        id: To be entered when it is done.
        point: Element it is done at.
        repair: The catalogue's repair.
        fixes: ``element:fault`` patterns, resolved.
        price: Its parts as minutes of work. [min]
        after: Tests that must have located the fault before it.
        unless: Outcomes, as test and word, that are enough without them.
        until: Tests that must be done besides, until it is believed in enough.
        enough: Outcomes, as test and word, each of which ends that.
        check_wait: Waiting for its verification, where something is moved with loads in. [min]
    """

    id: str
    point: Element
    repair: LoopRepair
    fixes: tuple[str, ...]
    price: float
    after: frozenset[str] = frozenset()
    unless: frozenset[tuple[str, str]] = frozenset()
    until: frozenset[str] = frozenset()
    enough: frozenset[tuple[str, str]] = frozenset()
    check_wait: float = 0.0


def tests_of(context: Context, catalog: Catalog) -> tuple[BenchTest, ...]:
    """Return every test that this loop and this fault allow."""
    cover = max(context.fired or 0.0, context.missing)
    crash = context.fired is not None and context.assessment.event.no_crash < LIKELY
    spent = cover >= catalog.fact("isolation.cover-worth").number()
    looks = (spent or crash) and not context.seen_spent
    worth = catalog.fact("isolation.kind-worth").number()
    words = {w for w, share in context.reported.weight.items() if share >= worth}
    moved = movements_of(context, catalog)
    told = {t.sign.id for t in told_of(context, catalog)}
    told |= {"crash"} if context.near_crash else set()
    return tuple(
        BenchTest(
            id=test.id.format(point=element.id),
            point=element,
            test=read_moving(test, moved, catalog),
            check_wait=wait_minutes(context.case, catalog) if read and test.power == "on" else 0.0,
            moved=read,
        )
        for test in catalog.loops.tests
        for read in [bool(moved) and not test.moves and reads_the_circuit(test)]
        for element in context.chain.element
        if _is_for(test, element, context)
        and (not test.symptoms or words & set(test.symptoms))
        and (not test.told or told & set(test.told))
        and (looks or not test.id.startswith("look-cover"))
        and not (_nothing_stored(context) and _finds_memory_only(test))
    )


def _nothing_stored(context: Context) -> bool:
    """Return whether the last complete report names no fault here: there is no code to clear."""
    return bool(context.reported.clean or context.reported.gone_since)


def _finds_memory_only(test: LoopTest) -> bool:
    """Return whether a test can only tell a stored code from a fault that is there."""
    return all(key.startswith(_MEMORY) for key in test.finds) and bool(test.finds)


def repairs_of(case: Case, context: Context, catalog: Catalog) -> tuple[BenchRepair, ...]:
    """Return every repair that this loop allows, priced in minutes."""
    kept = any(
        r.component.endswith("control-unit") and r.action in ("keep", "inspect")
        for r in case.profile.rules
    )
    moved = movements_of(context, catalog)
    return tuple(
        BenchRepair(
            id=repair.id.format(point=element.id),
            point=element,
            repair=check_moving(repair, moved, catalog),
            check_wait=wait_minutes(case, catalog) if moved and repair.power != "on" else 0.0,
            fixes=tuple(f.replace("{point}", element.id) for f in repair.fixes),
            price=part_minutes(case, context, element, repair, catalog),
            after=_awaited(repair, element, context, catalog),
            until=_telling_apart(repair, element, context),
            enough=frozenset(_outcome(u.replace("{point}", element.id)) for u in repair.enough),
            unless=frozenset(_outcome(u.replace("{point}", element.id)) for u in repair.unless),
        )
        for repair in catalog.loops.repairs
        for element in context.chain.element
        if _is_for(repair, element, context) and (kept or not repair.ruled)
        if repair.stored in (None, not _nothing_stored(context))
    )


def _awaited(
    repair: LoopRepair, element: Element, context: Context, catalog: Catalog
) -> frozenset[str]:
    """Return the tests that must locate the fault first; none where it is located already.

    That is so for a device that an eye found fired or gone, a locked crash record, a supply that
    the report itself read out of range, and a load that is on record or does not hide the part.
    """
    found = {
        "replace:device": context.seen_spent,
        "replace:unit": "locked" in context.reported.statuses,
        "restore:supply": voltage_out(context, catalog) is True,
        "take-out:load": bool(context.load_out or context.load_before) or not context.load_hides,
    }
    if found.get(repair.id, False):
        return frozenset()
    near = _nearest_connector(element, context)
    return frozenset(t.format(point=element.id, near=near) for t in repair.after)


def _telling_apart(repair: LoopRepair, element: Element, context: Context) -> frozenset[str]:
    """Return the tests that tell a place from what lies behind it, towards the control unit.

    In igniter circuits only; elsewhere the card's own test is enough.
    """
    if context.chain.circuit != "igniter":
        return frozenset()
    order = [e for e in context.chain.element if e.role != "whole"]
    at = order.index(element) if element in order else len(order)
    wires = (e.id for e in order[at + 1 :] if e.role in ("segment", "coil"))
    plugs = (e.id for e in order[at + 1 :] if e.role == "plug")
    words = {"wire": next(wires, ""), "behind": next(plugs, "")}
    return frozenset(t.format(**words) for t in repair.until)


def _nearest_connector(element: Element, context: Context) -> str:
    """Return the connector at which a piece of wire is best told from the rest.

    The one towards the device; for wire that ends at the device, the one behind it, where that
    is not the control unit's.
    """
    near = _connectors_beside(element, context)
    before, behind = ([e.id for e in n] for n in (near[0][-1:], near[1][:1]))
    if before == ["device-plug"] and behind and behind != ["unit-plug"]:
        return behind[0]
    return next(iter([*before, *behind]), "device-plug")


def _outcome(written: str) -> tuple[str, str]:
    test, _, word = written.rpartition("=")
    return test, word


def _is_for(record: LoopTest | LoopRepair, element: Element, context: Context) -> bool:
    kinds = record.kinds if isinstance(record, LoopTest) else ()
    return (
        record.at in (element.id, f"<{element.role}>")
        and (not record.circuits or context.chain.circuit in record.circuits)
        and (not record.chains or context.chain.id in record.chains)
        and (not kinds or context.name.kind in kinds)
    )


def chances_of(bench: BenchTest, part: str, context: Context, catalog: Catalog) -> dict[str, float]:
    """Return the chance of each outcome under one single fault."""
    test = bench.test
    cured = (_match(test.cures, part, bench, context) or 0.0) if test.cured else 0.0
    if test.sights:
        bad = _sights(bench, part, context)
    elif test.rule == "split":
        bad = {test.bad: _split(bench, part, context)}
    else:
        bad = {test.bad: _find(bench, part, context)}
    bad = {w: _with_coming(p, bench, part, context, catalog) for w, p in bad.items()}
    out = {test.clear: (1.0 - math.fsum(bad.values())) * (1.0 - cured)}
    out |= {w: p * (1.0 - cured) for w, p in bad.items()}
    return out | ({test.cured: cured} if test.cured else {})


def _sights(bench: BenchTest, part: str, context: Context) -> dict[str, float]:
    """Return the chance to see each thing that a look can show."""
    return {
        s.word: max(s.false_alarm, _match(s.finds, part, bench, context) or 0.0)
        for s in bench.test.sights
    }


def _split(bench: BenchTest, part: str, context: Context) -> float:
    """Return the chance that the fault stays although a load stands in for the device's side."""
    own = _match(bench.test.finds, part, bench, context)
    if own is not None:
        return own
    error = bench.test.false_alarm
    element = part.partition(":")[0]
    return error if _on_device_side(element, bench.point.id, context) else 1.0 - error


def _on_device_side(element: str, point: str, context: Context) -> bool:
    apart = _steps_apart(element, point, context)
    return element == "load" or (apart is not None and apart < 0)


def _steps_apart(element: str, point: str, context: Context) -> int | None:
    """Return how far an element lies from a point towards the unit; None for what has no place."""
    order = [e.id for e in context.chain.element if e.role != "whole"]
    placed = element in order and point in order
    return order.index(element) - order.index(point) if placed else None


def _find(bench: BenchTest, part: str, context: Context) -> float:
    own = _match(bench.test.finds, part, bench, context)
    return bench.test.false_alarm if own is None else max(own, bench.test.false_alarm)


def _match(
    chances: dict[str, float], part: str, bench: BenchTest, context: Context
) -> float | None:
    """Return the chance of the first key that names this fault; None when none does."""
    element, _, fault = part.partition(":")
    for key, chance in chances.items():
        where, _, what = key.partition(":")
        if fnmatchcase(fault, what) and _is_where(where, element, bench.point.id, context):
            return chance
    return None


def _is_where(where: str, element: str, point: str, context: Context) -> bool:
    """Return whether an element lies where a key of the catalogue says, seen from a point."""
    if where not in ("{unit-side}", "{beside}"):
        return fnmatchcase(element, where.replace("{point}", point))
    apart = _steps_apart(element, point, context)
    return apart is not None and (apart > 0 if where == "{unit-side}" else apart == -1)


def _with_coming(
    bad: float, bench: BenchTest, part: str, context: Context, catalog: Catalog
) -> float:
    """Return the chance of the bad outcome for a fault that may be away while it is read."""
    coming, floor = context.reported.comes_and_goes, bench.test.false_alarm
    if _finds_memory_only(bench.test):
        hidden = catalog.fact("isolation.hidden-when-it-comes-and-goes").number()
        return hidden if coming and not part.startswith(_MEMORY) else bad
    if bench.test.moves:
        share = 1.0 if coming else catalog.fact("isolation.step-when-steady").number()
        return floor + (bad - floor) * share
    if coming and not bench.test.steady and (bench.test.meter or bench.test.power != "off"):
        way = "while-moved" if bench.moved or bench.test.meter else "when-it-comes-and-goes"
        seen = 1.0 - catalog.fact(f"isolation.hidden-{way}").number()
        return bad if bad <= floor else floor + (bad - floor) * seen
    return bad


def outcome_chances(
    bench: BenchTest, suspect: Suspect, context: Context, catalog: Catalog
) -> dict[str, float]:
    """Return the chance of every outcome under a hypothesis; faults together act on their own.

    Of several things to be seen, the one whose fault shows it best is told.
    """
    each = [chances_of(bench, part, context, catalog) for part in suspect.parts]
    if len(each) == 1:
        return each[0]
    test = bench.test
    out = {test.clear: math.prod(e[test.clear] for e in each)}
    if test.cured:
        out[test.cured] = math.prod(e[test.cured] for e in each)
    left = 1.0 - math.fsum(out.values())
    words = [w for w in each[0] if w not in out]
    share = {w: math.fsum(e[w] for e in each) for w in words}
    total = math.fsum(share.values())
    return out | {w: left * share[w] / total for w in words}


def clusters_of(context: Context, tests: tuple[BenchTest, ...]) -> list[str]:
    """Return the access clusters of a circuit and of what its tests need besides."""
    clusters = list(dict.fromkeys(e.access for e in context.chain.element if e.access))
    extra = {a for t in tests for a in t.test.access if a != ENDS}
    return clusters + sorted(extra - set(clusters))


def problem_of(
    suspects: tuple[Suspect, ...],
    tests: tuple[BenchTest, ...],
    repairs: tuple[BenchRepair, ...],
    context: Context,
    case: Case,
    catalog: Catalog,
) -> Problem:
    """Return the planner's problem; everything powered and closed at the start."""
    clusters = clusters_of(context, tests)
    wait = wait_minutes(case, catalog)
    known = frozenset(t.id for t in tests)
    fixing = [_repair(r, suspects, clusters, context, known) for r in repairs]
    return Problem(
        hypotheses=tuple(frozenset(s.parts) for s in suspects),
        weight=tuple(s.p for s in suspects),
        tests=tuple(_test(t, suspects, clusters, context, wait, catalog) for t in tests),
        repairs=tuple(r for r in fixing if r.fixes),
        access_minutes=tuple(catalog.loops.access[c].minutes for c in clusters),
        wait_minutes=wait,
        power_up_minutes=catalog.fact("isolation.power-up").number(),
        powered=True,
        located=catalog.fact("isolation.located").number(),
        tried_factor=catalog.fact("isolation.tried-factor").number(),
    )


def access_of(bench: BenchTest | BenchRepair, context: Context) -> tuple[str, ...]:
    """Return the access clusters that a test or a repair needs."""
    record = bench.repair if isinstance(bench, BenchRepair) else bench.test
    own = [bench.point.access] if bench.point.access and record.opens else []
    for word in record.access:
        own += _meant(word, bench.point, context)
    return tuple(dict.fromkeys(own))


def _meant(word: str, point: Element, context: Context) -> list[str]:
    """Return the access clusters that a word of the catalogue stands for in this loop."""
    if word not in (ENDS, EVERY_CONNECTOR):
        return [word]
    order = [e for e in context.chain.element if e.role != "whole"]
    plugs = [e for e in order if e.role == "plug"]
    if word == ENDS:
        before, behind = _connectors_beside(point, context)
        plugs = [*before[-1:], *behind[:1]] if before and behind else order
    return [e.access for e in plugs if e.access]


def _connectors_beside(point: Element, context: Context) -> tuple[list[Element], list[Element]]:
    """Return the connectors of a loop on the device's side of a point and on the unit's."""
    order = [e for e in context.chain.element if e.role != "whole"]
    at = order.index(point) if point in order else 0
    before = [e for e in order[:at] if e.role == "plug"]
    return before, [e for e in order[at + 1 :] if e.role == "plug"]


def _test(
    bench: BenchTest,
    suspects: tuple[Suspect, ...],
    clusters: list[str],
    context: Context,
    wait: float,
    catalog: Catalog,
) -> Test:
    chances = _told_only([outcome_chances(bench, s, context, catalog) for s in suspects], bench)
    return Test(
        id=bench.id,
        minutes=bench.test.minutes,
        access=tuple(clusters.index(a) for a in access_of(bench, context)),
        power=power_of(bench),
        results=tuple(
            Result(
                word=word,
                chance=tuple(c[word] for c in chances),
                fixed=word == bench.test.cured,
                minutes=_refitting_minutes(bench, word, catalog),
                wait=bench.check_wait + (wait if _refitting_minutes(bench, word, catalog) else 0.0),
            )
            for word in chances[0]
        ),
    )


def _told_only(chances: list[dict[str, float]], bench: BenchTest) -> list[dict[str, float]]:
    """Return the chances of outcomes without the sights that nothing in question makes likelier.

    They would be seen by mistake only, and are planned for as nothing seen.
    """
    by_mistake = {s.word: 2.0 * s.false_alarm for s in bench.test.sights}  # two faults: twice
    vain = [w for w, most in by_mistake.items() if all(c[w] <= most for c in chances)]
    clear = bench.test.clear
    return [
        {w: p for w, p in c.items() if w not in vain}
        | {clear: c[clear] + math.fsum(c[w] for w in vain)}
        for c in chances
    ]


def power_of(bench: BenchTest | BenchRepair) -> Power:
    """Return the state of power that an action needs here: no wait where no charge is near."""
    record = bench.repair if isinstance(bench, BenchRepair) else bench.test
    power: Power = record.power  # type: ignore[assignment]  # checked by the catalogue
    if not bench.point.calm or _parts_connectors(bench):
        return power
    calm: dict[str, Power] = {"off": "any", "through": "on"}
    return calm.get(power, power)


def _parts_connectors(bench: BenchTest | BenchRepair) -> bool:
    """Say whether it takes connectors of the circuit apart, wherever the point itself lies."""
    if isinstance(bench, BenchTest):
        return bench.test.meter
    return EVERY_CONNECTOR in bench.repair.access


def _refitting_minutes(bench: BenchTest, word: str, catalog: Catalog) -> float:
    """Return the minutes of work that an outcome costs on top of its test.

    Where a test has parted a circuit and the fault went with the part taken off, the power goes
    off again, the circuit is joined and read once more: half the test, and a power-up.
    """
    if bench.test.rule == "split" and word in (bench.test.clear, bench.test.cured):
        return bench.test.minutes / 2.0 + catalog.fact("isolation.power-up").number()
    return 0.0


def _repair(
    bench: BenchRepair,
    suspects: tuple[Suspect, ...],
    clusters: list[str],
    context: Context,
    known: frozenset[str],
) -> Repair:
    faults = {part for s in suspects for part in s.parts}
    fixed = frozenset(f for f in faults if any(fnmatchcase(f, p) for p in bench.fixes))
    return Repair(
        id=bench.id,
        minutes=bench.repair.minutes,
        price=bench.price,
        check_minutes=bench.repair.check_minutes,
        check_wait=bench.check_wait,
        access=tuple(clusters.index(a) for a in access_of(bench, context)),
        power="on" if power_of(bench) == "on" else "through",
        fixes=fixed,
        after=bench.after & known,
        until=bench.until & known,
        enough=frozenset((t, w) for t, w in bench.enough if t in known),
        unless=frozenset((t, w) for t, w in bench.unless if t in known),
    )
