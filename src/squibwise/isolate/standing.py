"""Where a search stands: what is left to suspect, what is open, powered, done and spent."""

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.history.apart import find_apart
from squibwise.isolate.bench import BenchRepair, BenchTest, access_of, power_of
from squibwise.isolate.context import Context, wait_minutes
from squibwise.isolate.suspects import Suspect
from squibwise.model.belief import TestWeight
from squibwise.model.evidence import TestOutcome
from squibwise.model.origin import Finding


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
        told: The same in order, one for each entry.
        again: Tests that were repeated since then.
        eased: Causes that a repair took away for a while, and that it does not mend for good.
        opened: Access clusters that are open.
        powered: Is the car powered.
        load_at: Element where a substitute load was last put by a test; empty when none is in.
        loads_beside: The same of the other stages of the device, by stage.
        fixed: Id of the evidence that says fixed and verified; empty while it is not.
        unconfirmed: Id of the evidence that says fixed of a fault that was away before, until a
            second drive confirms it.
        repair: The repair that said so.
        unverified: A repair that was done and of which nobody entered what came of it.
        exhausted: Every cause on the list was repaired and the fault is still there.
        spent: What it has cost.
        weighed: The outcomes of tests of this very circuit, in order.
        findings: What did not fit.
    """

    suspects: tuple[Suspect, ...]
    done: frozenset[str] = frozenset()
    seen: frozenset[tuple[str, str]] = frozenset()
    told: tuple[tuple[str, str], ...] = ()
    again: frozenset[str] = frozenset()
    eased: frozenset[str] = frozenset()
    opened: frozenset[str] = frozenset()
    powered: bool = True
    load_at: str = ""
    loads_beside: dict[int, str] = {}
    fixed: str = ""
    unconfirmed: str = ""
    repair: str = ""
    unverified: str = ""
    exhausted: bool = False
    spent: Spent = Spent()
    weighed: tuple[TestWeight, ...] = ()
    findings: tuple[Finding, ...] = ()


class Room(msgspec.Struct, frozen=True, kw_only=True):
    """What a search can be told of: its tests and repairs by id, and the circuit.

    Attributes:
        first: Hypotheses before the first outcome.
    """

    context: Context
    tests: dict[str, BenchTest]
    repairs: dict[str, BenchRepair]
    catalog: Catalog
    first: tuple[Suspect, ...] = ()


def note(state: Standing, finding: Finding) -> Standing:
    """Return the state with one more finding."""
    return msgspec.structs.replace(state, findings=(*state.findings, finding))


def pay(state: Standing, bench: BenchTest | BenchRepair, room: Room) -> Standing:
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


def apart_for(item: TestOutcome, room: Room) -> str:
    """Return what was open, so that the circuit's connector was apart when this was entered."""
    context = room.context
    place, car = context.position(item.id), context.case.car
    return find_apart(item, place, context.history, car, room.catalog)


def refuse_apart(item: TestOutcome, opened: str) -> Finding:
    """Return the finding of an outcome read while the connector was apart."""
    return Finding(
        code="read-while-apart",
        severity="warning",
        message=f"{item.test} of {item.loop}: its connector was apart ({opened} was open), so what "
        "was read is not this circuit; it is not used.",
        remedy="Plug it together and lock it, read again, and enter what came out then.",
        origin=item.origin,
    )


def list_doubted(state: Standing, tests: tuple[BenchTest, ...], context: Context) -> frozenset[str]:
    """Return the tests to be done before anything is renewed, as outcomes contradict each other.

    Wiring measured sound between a load that left the fault there and one that took it away is
    measured once more. A test that came out both ways asks for one in which seat or wheel moves.
    """
    measured = {f"meter:{w}" for w in _between_loads(state, context)}
    sound = {t.id for t in tests if (t.id, t.test.clear) in state.seen}
    once = measured - state.again if measured <= sound else set()
    moving = {t.id for t in tests if t.test.moves} - state.done
    return frozenset(once | (moving if list_both_ways(state, tests) else set()))


def list_both_ways(state: Standing, tests: tuple[BenchTest, ...]) -> frozenset[str]:
    """Return the measurements and substitutions that came out good and bad."""
    told = [t for t in tests if t.test.meter or t.test.rule == "split"]
    return frozenset(t.id for t in told if {(t.id, t.test.clear), (t.id, t.test.bad)} <= state.seen)


def _between_loads(state: Standing, context: Context) -> list[str]:
    """Return the wiring in which loads say that the fault lies: it stays here, is gone there."""
    order = [e for e in context.chain.element if e.role != "whole"]
    stays = [n for n, e in enumerate(order) if (f"load-at:{e.id}", "stays") in state.seen]
    gone = [n for n, e in enumerate(order) if (f"load-at:{e.id}", "gone") in state.seen]
    between = order[max(stays) + 1 : min(gone)] if stays and gone else []
    return [e.id for e in between if e.role in ("segment", "coil")]


def tell_doubted(state: Standing, tests: tuple[BenchTest, ...], context: Context) -> list[Finding]:
    """Return that a measurement and the loads contradict each other."""
    wires = [t for t in list_doubted(state, tests, context) if t in state.done]
    return [
        Finding(
            code="outcomes-contradict",
            severity="warning",
            message=f"{wire} came out sound, and the loads say that the fault of {context.loop} "
            "lies there: one of them is wrong, or the fault comes and goes.",
            remedy="Measure it again, moving the harness, and look along it before anything is "
            "renewed.",
        )
        for wire in sorted(wires)
    ]


def refuse_outcome(item: TestOutcome, words: list[str]) -> Finding:
    """Return the finding of a word that is no outcome of its test."""
    return Finding(
        code="unknown-outcome",
        severity="warning",
        message=f"'{item.outcome}' is no outcome of {item.test}; it is not used.",
        remedy=f"Enter one of: {', '.join(words)}.",
        origin=item.origin,
    )
