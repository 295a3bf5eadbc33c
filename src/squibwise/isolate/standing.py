"""Where a search stands: what is left to suspect, what is open, powered, done and spent."""

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.history.apart import find_apart
from squibwise.isolate.bench import BenchRepair, BenchTest, access_of, power_of
from squibwise.isolate.context import Context, wait_minutes
from squibwise.isolate.suspects import Suspect
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
        again: Tests that were repeated since then.
        eased: Causes that a repair took away for a while, and that it does not mend for good.
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
    again: frozenset[str] = frozenset()
    eased: frozenset[str] = frozenset()
    opened: frozenset[str] = frozenset()
    powered: bool = True
    load_at: str = ""
    fixed: str = ""
    unconfirmed: str = ""
    repair: str = ""
    exhausted: bool = False
    spent: Spent = Spent()
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


def refuse_outcome(item: TestOutcome, words: list[str]) -> Finding:
    """Return the finding of a word that is no outcome of its test."""
    return Finding(
        code="unknown-outcome",
        severity="warning",
        message=f"'{item.outcome}' is no outcome of {item.test}; it is not used.",
        remedy=f"Enter one of: {', '.join(words)}.",
        origin=item.origin,
    )
