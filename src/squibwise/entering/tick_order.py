"""The order in which operations may be ticked: what must come first, and after which wait."""

import datetime as dt
import re
from collections.abc import Collection, Iterator, Sequence

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.entering.tick_before import (
    BEFORE_DRIVE,
    FIT_LOADS,
    HEAT_OUT,
    IN_AN_AREA,
    MAKING_SAFE,
    POWERING,
    RETURN_LOADS,
    STRUCTURE,
    all_before,
    denies_heat,
    find_missing,
    is_ticked,
    must_precede,
    own_openings,
)
from squibwise.entering.tick_seat import SEAT_NOTES, tell_unweighed
from squibwise.entering.tick_times import tell_backdated, tell_haste, tell_too_early
from squibwise.errors import InputError
from squibwise.history.order import read_history
from squibwise.history.power import KEY_ON_GATES, is_powered_down, is_powered_since_safe
from squibwise.history.signed import find_loads
from squibwise.model.evidence import Evidence
from squibwise.model.words import CLOSED_AREAS, RECORD_GONE
from squibwise.model.work import Operation, Order, Work

ORDER_CLOSED = "step:order-closed"
LAMP, SCAN = "step:lamp-check", "step:final-scan"
SAFE_STEPS = frozenset(("step:make-safe", "step:second-make-safe"))
ASKING_A_WORD = ("step:live-charges", ORDER_CLOSED, *SEAT_NOTES)
AGAIN_STEPS = ("step:power-down", "step:make-safe")


class Tick(msgspec.Struct, frozen=True, kw_only=True):
    """What somebody ticks at once.

    Attributes:
        todo: The work of the case.
        chosen: Ids of the demands and steps that are ticked.
        catalog: The gates.
        evidence: Of the case, for when the power came off.
        at: When it was done; None = not stated.
        safe: Whoever signs says of the gates among them that they hold.
        along: Ids of what is written down with it in another way, such as what the lamp did.
        loaded: Circuits that get a substitute load.
        ohm: What each of these loads measures. [ohm] None = nobody says.
        note: What is said with it.
    """

    todo: Work
    chosen: frozenset[str]
    catalog: Catalog
    evidence: tuple[Evidence, ...] = ()
    at: dt.datetime | None = None
    safe: bool = False
    along: frozenset[str] = frozenset()
    loaded: tuple[str, ...] = ()
    ohm: float | None = None
    note: str = ""

    @property
    def operations(self) -> tuple[Operation, ...]:
        """The operations that are ticked."""
        return tuple(o for o in self.todo.operations if is_ticked(o, self.chosen))

    @property
    def gates(self) -> dict[str, str]:
        """The word of each gate that is decided by ticking a step, by the id of that step.

        Loads that are out are counted back instead, each by its mark.
        """
        gates = self.catalog.tasks.gates.values()
        words = {f"step:{gate.step}": gate.word for gate in gates if gate.step}
        if find_loads(read_history(self.evidence)).out or self._is_due(FIT_LOADS):
            words.pop(RETURN_LOADS, None)
        return words

    @property
    def is_cold(self) -> bool:
        """Is it said with it that no heat came near anything live."""
        return denies_heat(self.note, self.catalog)

    def _is_due(self, step: str) -> bool:
        return any(o.id == step and not o.done for o in self.todo.operations)


def refuse_obstacles(tick: Tick) -> None:
    """Refuse what cannot be ticked so, with all that stands in the way and the way round it.

    Hands on the car before it is made safe, power before it is whole, a gate that nobody decided,
    what only a reading proves, a wait that is not over.

    Raises:
        InputError: Something stands in the way; the remedy is the commands, in order.
    """
    refuse_unsettled(_list_signed(tick), tick.todo)
    _refuse_key_on(tick)
    _refuse_live_hands(tick)
    history = read_history(tick.evidence)
    told = [
        *_tell_undecided(tick),
        *_tell_unproved(tick),
        *_tell_unmeasured(tick),
        *_tell_unnoted(tick),
        *tell_unweighed(tick.operations, tick.note, history, tick.catalog),
        *_tell_open_list(tick),
        *_tell_disorder(tick),
        *_tell_unpowered(tick),
        *_tell_times(tick),
        *_tell_held(tick),
    ]
    _refuse_told(told, tick)


def refuse_disorder(tick: Tick) -> None:
    """Refuse to sign by its word a gate that a step closes before what that step comes after.

    Raises:
        InputError: Something comes first; the remedy is the commands, in order.
    """
    _refuse_told([*_tell_disorder(tick)], tick)


def _refuse_told(told: Sequence[str], tick: Tick) -> None:
    if told:
        steps = "\n".join(_list_commands(tick))
        remedy = f"Nothing was written. Once each is done, in this order:\n{steps}"
        raise InputError("\n".join(told), remedy=remedy)


def _list_signed(tick: Tick) -> list[str]:
    """Return the gates that are signed as holding with what is ticked."""
    along = signed_along(tick.catalog) if tick.safe else frozenset()
    held = [w for o in tick.operations for w in o.blocked_by if w in along and _is_held(o)]
    return [*held, *(tick.gates[o.id] for o in tick.operations if o.id in tick.gates)]


def refuse_unsettled(gates: Collection[str], todo: Work) -> None:
    """Refuse to sign a key-on as safe while something else is known of the car.

    Raises:
        InputError: Water, fire, loads or bridges speak against it.
    """
    held = [w for w in gates if w in KEY_ON_GATES]
    if held and todo.unsettled:
        raise InputError(
            f"{held[0]} cannot be signed as safe: {'; '.join(todo.unsettled)}",
            remedy="Enter the work that settles it first; `squibwise work CASE` lists it. "
            "What was told by mistake is put right in case.toml.",
        )


def _refuse_key_on(tick: Tick) -> None:
    """Refuse that something was read with the key on while the car is known to be unsafe for it.

    Raises:
        InputError: Water, fire, loads or bridges speak against it.
    """
    read = (s for s in tick.catalog.tasks.steps.values() if s.phase == "read")
    held = [s for s in read if f"step:{s.id}" in tick.chosen]
    if held and tick.todo.unsettled:
        raise InputError(
            f"'{held[0].title}' needs the key on: {'; '.join(tick.todo.unsettled)}",
            remedy="What was read before that was known is added as its file: "
            "`squibwise add CASE FILE`.",
        )


def _refuse_live_hands(tick: Tick) -> None:
    """Refuse hands on the car after a power-up: the power comes off and is waited out again.

    Raises:
        InputError: The power is on since the car was last made safe.
    """
    history = read_history(tick.evidence)
    if tick.chosen & SAFE_STEPS or not is_powered_since_safe(history, tick.catalog, tick.at):
        return
    hands = [o for o in _list_hands(tick) if o.id not in MAKING_SAFE]
    if hands and not any(tell_backdated(hands, tick.at, history, tick.catalog)):
        off, safe = (tick.catalog.tasks.steps[w].number for w in ("power-down", "make-safe"))
        numbers = f"no. {write_numbers([o.n for o in hands])}"
        if is_powered_down(history, tick.catalog, tick.at):
            raise InputError(
                f"{numbers}: the power is off, and the wait is not signed as over.",
                remedy=f"Once it is over: squibwise did CASE {safe}",
            )
        again = "\nPower-up, lamp, drive and last scan come once more after that."
        was_final = any(o.done for o in tick.todo.operations if o.id in BEFORE_DRIVE)
        raise InputError(
            f"{numbers}: the power was switched on since the car was made safe.",
            remedy=f"Power off, then the whole wait: squibwise did CASE {off}, and {safe} when it "
            f"is over.{again if was_final else ''}",
        )


def list_due_again(evidence: tuple[Evidence, ...], catalog: Catalog) -> frozenset[str]:
    """Return the steps that are due once more though done: the power came on since."""
    history = read_history(evidence)
    if not is_powered_since_safe(history, catalog):
        return frozenset()
    return frozenset(AGAIN_STEPS[is_powered_down(history, catalog) :])


def _list_hands(tick: Tick) -> list[Operation]:
    """Return what is ticked that only hands do while the power is off, or that takes it off."""
    before = {o.id: set(o.after) for o in tick.todo.operations}
    return [
        o
        for o in tick.operations
        if o.id in (*MAKING_SAFE, FIT_LOADS)
        or o.action in (*IN_AN_AREA, "open")
        or (o.action == "look" and all_before(o.id, before) & SAFE_STEPS)
        or (o.is_cause and SAFE_STEPS & {*o.after})
    ]


def _tell_times(tick: Tick) -> Iterator[str]:
    """Yield what is dated before the power was last on, before what it needs, or too soon."""
    history = read_history(tick.evidence)
    yield from tell_backdated(_list_hands(tick), tick.at, history, tick.catalog)
    before, openings = {o.id: set(o.after) for o in tick.todo.operations}, own_openings(tick.todo)
    for operation in tick.operations:
        first, shut = all_before(operation.id, before), openings.get(operation.id, set())
        needed = [
            o
            for o in tick.todo.operations
            if o.id in shut or (o.id in first and must_precede(o, operation))
        ]
        yield from tell_too_early(operation, needed, tick.at, history)
    yield from tell_haste(tick.operations, tick.todo, tick.at, history, tick.catalog)


def _tell_undecided(tick: Tick) -> Iterator[str]:
    gates = [(o.n, tick.gates[o.id]) for o in tick.operations if o.id in tick.gates]
    if not tick.safe:
        for number, word in gates:
            yield (
                f"no. {number}, {word}, is a gate: a tick does not say which way it was decided. "
                "--safe when every point of it holds, --failed when one does not."
            )
    if gates and len(tick.operations) + len(tick.along) > 1:
        named = " and ".join(word for _, word in gates)
        yield f"{named}: a gate is decided on its own, not with others."


def _tell_unproved(tick: Tick) -> Iterator[str]:
    for operation in tick.operations:
        if operation.id == LAMP:
            yield f"no. {operation.n} is not done by a tick: say what the lamp did."
        if operation.id == SCAN:
            yield f"no. {operation.n} is not done by a tick: the scan itself stands for it."


def _tell_unmeasured(tick: Tick) -> Iterator[str]:
    if not tick.loaded:
        return
    if tick.ohm is None:
        yield (
            f"{len(tick.loaded)} substitute loads are fitted: {', '.join(tick.loaded)}. "
            "Measure each before it goes in, and mark it with its circuit."
        )
    elif not is_load(tick.ohm, tick.catalog):
        yield tell_no_load(tick.ohm, tick.catalog)


def is_load(ohm: float, catalog: Catalog) -> bool:
    """Return whether a substitute load may measure so, in ohm."""
    return catalog.fact("load.low").number() <= ohm <= catalog.fact("load.high").number()


def tell_no_load(ohm: float, catalog: Catalog) -> str:
    """Return what a substitute load measures, and what this one does, in ohm."""
    low, high = (catalog.fact(f"load.{end}").number() for end in ("low", "high"))
    return f"A substitute load measures {low:g} to {high:g} ohm; {ohm:g} ohm is none."


def _tell_unnoted(tick: Tick) -> Iterator[str]:
    """Yield stages of fired devices that are ticked as noted though nobody said what they are."""
    noting = [o for o in tick.operations if o.id == "step:live-charges" and not o.done]
    left = [loop for loop in tick.todo.unproven if loop not in tick.note]
    if noting and left and not _ARE_LIVE.search(tick.note):
        more = f" and {len(left) - 6} more" if left[6:] else ""
        yield (
            f"no. {noting[0].n} asks a word for each stage, and nothing was said of "
            f"{', '.join(left[:6])}{more}. Confirmed spent by the maker's way: "
            f"squibwise saw CASE {left[0]} confirmed-spent. What is not, is live: "
            f"squibwise did CASE {noting[0].n} --note 'all others live'."
        )


def _tell_open_list(tick: Tick) -> Iterator[str]:
    """Yield what may still add a line to the order list where that is closed without a word."""
    closing = [o for o in tick.operations if o.id == ORDER_CLOSED and not o.done]
    if not closing or tick.note:
        return
    asked = _list_adding_questions(tick.todo, tick.chosen)
    looks = [o.n for o in _list_open_looks(tick)]
    left = [f"no. {write_numbers(looks)} (looks)"] if looks else []
    left += [f"{', '.join(asked)} (questions)"] if asked else []
    unsure = [o for o in tick.todo.orders if o.kind == "look-first" and o.p >= 0.5 and not o.done]
    left += [f"{o.title} ({o.p:.0%}; {o.settled_by.rstrip('.?')})" for o in unsure]
    if left:
        ways = [f"Look, then: squibwise did CASE {write_numbers(looks)}."] if looks else []
        ways += [f"Look: squibwise saw CASE {_part_in_doubt(o, tick.todo)} WORD." for o in unsure]
        ways += (
            [f"Look; answer each: squibwise answer CASE {asked[0]} yes --source WHERE."]
            if asked
            else []
        )
        named = next((o.title for o in unsure), f"no. {write_numbers(looks)}")
        yield (
            f"no. {closing[0].n} closes the order list, and what may still add to it is open: "
            f"{' and '.join(left)}. {' '.join(ways)} Or close it with what stays open: "
            f"squibwise did CASE {closing[0].n} --note '{' '.join(asked) or named} later'."
        )


def _list_open_looks(tick: Tick) -> list[Operation]:
    """Return the looks that may still add to the order list, none of them ticked."""
    return [
        o
        for o in tick.todo.operations
        if o.action == "look"
        and not (o.done or o.is_advice or o.kind == "ask" or is_ticked(o, tick.chosen))
    ]


def _part_in_doubt(order: Order, todo: Work) -> str:
    """Return the part of an order whose look decides it."""
    own = (i for i in todo.items if i.id in order.demands and i.settled_by == order.settled_by)
    return next((i.component for i in own if i.component), order.contains[0])


def _list_adding_questions(todo: Work, chosen: Collection[str] = ()) -> list[str]:
    """Return the open questions whose answer may add a line to the order list.

    Whether closed areas are opened is no question once each was looked into.
    """
    looks = [o for o in todo.operations if o.action == "look" and o.kind == "ask"]
    seen = all(o.done or is_ticked(o, chosen) for o in looks)
    none = (*_ADD_NOTHING, *((CLOSED_AREAS,) if seen else ()))
    return [q.id for q in todo.questions if not q.answered and q.id not in none]


_ADD_NOTHING = ("cover", RECORD_GONE)
_ARE_LIVE = re.compile(r"\b(live|scharf|activ\w+)\b", re.IGNORECASE)


def _tell_disorder(tick: Tick) -> Iterator[str]:
    """Yield for operations what comes before them and is neither done nor ticked with them."""
    waiting: dict[tuple[Operation, ...], list[Operation]] = {}
    found = find_missing(tick.todo, tick.chosen, tick.along, cold=tick.is_cold)
    for operation, missing in found.items():
        waiting.setdefault(missing, []).append(operation)
    for missing, operations in waiting.items():
        numbers = ", ".join(str(o.n) for o in missing[:6])
        numbers += f" and {len(missing) - 6} more" if len(missing) > 6 else ""
        comes = "comes" if len(operations) == 1 else "come"
        yield (
            f"no. {write_numbers([o.n for o in operations])} {comes} after no. {numbers}: "
            f"{missing[0].title}{' and others' if len(missing) > 1 else ''}."
        )
        for fit in (o for o in missing if o.action == "fit" and o.kind == "look-first"):
            order = next(x for x in tick.todo.orders if {*x.contains} & {*fit.components})
            yield (
                f"no. {fit.n} is likely needed ({fit.p:.0%}): fit it, or look and write down what "
                f"is seen. Look: squibwise saw CASE {_part_in_doubt(order, tick.todo)} WORD."
            )
        welded = next((o for o in operations if o.id == STRUCTURE), None)
        if welded and any(o.id == HEAT_OUT for o in missing):
            yield (
                "With weld, heat or hammer near it, power that is off protects nobody from a live "
                "airbag or pretensioner. Where none came near: "
                f"squibwise did CASE {welded.n} --safe --note 'no heat used'."
            )


def _tell_unpowered(tick: Tick) -> Iterator[str]:
    """Yield what needs the key on while the power is off, but for what is ticked with it."""
    history = read_history(tick.evidence)
    if not is_powered_down(history, tick.catalog, tick.at) or {*POWERING} & tick.chosen:
        return
    visits = (v.operations for v in tick.todo.visits if v.power == "on")
    powered = {o.id for mine in visits if {*POWERING} & {o.id for o in mine} for o in mine}
    needing = [o.n for o in tick.operations if o.id in powered - {*POWERING}]
    if needing:
        yield f"no. {write_numbers(needing)}: the power is off; it was taken away since it was on."


def _tell_held(tick: Tick) -> Iterator[str]:
    """Yield the steps that an open gate holds.

    A part that was fitted all the same is recorded: what was done is never refused.
    """
    signed = signed_along(tick.catalog) if tick.safe else frozenset()
    for operation in filter(_is_held, tick.operations):
        held = sorted({*operation.blocked_by} - signed)
        if held:
            yield f"no. {operation.n} is held by an open gate: {', '.join(held)}."


def _is_held(operation: Operation) -> bool:
    return operation.id.startswith("step:")


def signed_along(catalog: Catalog) -> frozenset[str]:
    """Return the gates that no step closes: they are decided with the step they hold."""
    return frozenset(w for w, gate in catalog.tasks.gates.items() if not gate.step)


def _list_commands(tick: Tick) -> Iterator[str]:
    """Yield the commands that tick what was asked for and all that comes before it, in order."""
    needed = _with_what_comes_first(tick)
    if ORDER_CLOSED in tick.chosen and not tick.note:
        needed |= {o.id for o in _list_open_looks(tick)}
    for visit in tick.todo.visits:  # between two visits the power comes on or off
        together: list[int] = []
        for operation in visit.operations:
            if operation.done or not is_ticked(operation, needed):
                continue
            alone = find_command_alone(operation, tick)
            if not alone:
                together.append(operation.n)
                continue
            yield from _did(together)
            together = []
            yield alone
        yield from _did(together)


def _did(numbers: Collection[int]) -> Iterator[str]:
    if numbers:
        yield f"squibwise did CASE {write_numbers(numbers)}"


def write_numbers(numbers: Collection[int]) -> str:
    """Return numbers as they are typed: ``9-14,22``."""
    runs = find_runs(numbers)
    return ",".join(str(r[0]) if len(r) == 1 else f"{r[0]}-{r[-1]}" for r in runs)


def find_runs(numbers: Collection[int]) -> list[list[int]]:
    """Return numbers in runs without a gap; a range may span numbers that a job does not have."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return runs


def _with_what_comes_first(tick: Tick) -> frozenset[str]:
    closing = {word: step for step, word in tick.gates.items()}
    needed = tick.chosen
    while True:
        found = find_missing(tick.todo, needed, tick.along, cold=tick.is_cold)
        missing = {o.id for first in found.values() for o in first}
        held = (w for o in tick.todo.operations if is_ticked(o, needed) for w in o.blocked_by)
        more = needed | missing | {closing[w] for w in held if w in closing}
        if more == needed:
            return needed
        needed = more


def find_command_alone(operation: Operation, tick: Tick) -> str:
    """Return the command of an operation that is ticked alone; empty where others may go along."""
    if operation.id == SCAN:
        return "squibwise add CASE FILE --when after-repair --complete"
    if operation.action == "trace":
        return f"squibwise trace CASE {operation.components[0]}"
    is_decided = operation.id in tick.gates or (
        _is_held(operation) and {*operation.blocked_by} & signed_along(tick.catalog)
    )
    options = {LAMP: "--lamp SECONDS", FIT_LOADS: "--ohm OHM", **SEAT_NOTES}
    options |= {"step:live-charges": "--note live"} if tick.todo.unproven else {}
    asked = _list_adding_questions(tick.todo)
    options |= {ORDER_CLOSED: f"  (once answered: {', '.join(asked)})"} if asked else {}
    option = "--safe" if is_decided else options.get(operation.id, "")
    if operation.hold_minutes:
        option = f"  ({operation.hold_minutes} min after the power came off)"
    return f"squibwise did CASE {operation.n} {option}" if option else ""
