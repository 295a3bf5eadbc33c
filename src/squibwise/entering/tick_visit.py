"""A visit ticked in one go: what is sure and open, up to what stands alone."""

from collections.abc import Mapping, Sequence

import msgspec

from squibwise.catalog.load import Catalog, component_title
from squibwise.entering.tick_before import HEAT_OUT, POWERING, STRUCTURE
from squibwise.entering.tick_order import ASKING_A_WORD, Tick, find_command_alone, write_numbers
from squibwise.errors import InputError
from squibwise.model.evidence import Evidence
from squibwise.model.work import Operation, Work

VISIT = "visit"
ARRIVAL, KEY_ON = "step:arrival-record", "step:key-on-gate"
_HARNESS = "look:harness"
_TAKES_AWAY = ("step:power-down", *POWERING, "set:program", "step:clear")


class Stroke(msgspec.Struct, frozen=True, kw_only=True):
    """What is ticked in one go.

    Attributes:
        words: Numbers, or what was typed where no visit is named.
        then: The command of what stands alone after it; empty where nothing is left of the visit.
        left_out: What is told of looks that are no stroke in passing, each in a line.
    """

    words: list[str]
    then: str = ""
    left_out: tuple[str, ...] = ()

    @property
    def told(self) -> tuple[str, ...]:
        """What is told of the stroke."""
        return (*self.left_out, *((f"Then: {self.then}",) if self.then else ()))


def expand_visit(
    words: Sequence[str],
    todo: Work,
    catalog: Catalog,
    evidence: tuple[Evidence, ...] = (),
    note: str = "",
) -> Stroke:
    """Return words with ``visit 3`` put as the numbers of that visit that are ticked in one go.

    What is sure and still open, in order, up to what is decided, waited for or measured on its own.
    A look at something that may well fail is left out: nobody passes that unseen among others.

    Args:
        words: As they were typed.
        todo: The work of the case.
        catalog: Words of the gates.
        evidence: Of the case.
        note: What is said with it; what asks for a word is ticked alone with it.

    Raises:
        InputError: There is no such visit, nothing of it is open, or what comes next stands alone.
    """
    if VISIT not in " ".join(words).split():
        return Stroke(words=list(words))
    words = " ".join(words).split()
    number = words[-1] if len(words) == 2 else ""
    if not (number.isdecimal() and 1 <= int(number) <= len(todo.visits)):
        raise InputError(
            f"'{' '.join(words)}' names no visit.",
            remedy=f"Write `visit 3` and nothing else; this job has 1 to {len(todo.visits)}.",
        )
    tick = Tick(todo=todo, chosen=frozenset(), catalog=catalog, evidence=evidence, note=note)
    doubts = find_doubts(todo, catalog)
    visit = todo.visits[int(number) - 1]
    plain = [o for o in visit.operations if o.n not in doubts and o.action != "trace"]
    numbers, alone = _take_at_once(plain, tick)
    then = _find_command(alone, tick) if alone is not None else ""
    left = _tell_left_out(_reached(visit.operations, alone), doubts, tick)
    if numbers:
        return Stroke(words=[str(n) for n in numbers], then=then, left_out=left)
    told = f"visit {number} has nothing open{' but what is done by itself' if left else ''}."
    if alone is not None:
        told = f"visit {number} comes to no. {alone.n}, which is done on its own."
    ways = [*left, *([f"{then.strip()}."] if then else [])]
    raise InputError(told, remedy=" ".join(ways) or "`squibwise work CASE` prints what is open.")


def _reached(operations: Sequence[Operation], alone: Operation | None) -> Sequence[Operation]:
    """Return the operations up to the one that stands alone."""
    return operations if alone is None else operations[: operations.index(alone)]


def find_doubts(todo: Work, catalog: Catalog) -> dict[int, str]:
    """Return what may well fail the look that it is seen in, by the number of the look.

    Parts with the chance that each is to be replaced; and leads that water or fire was at, for
    green copper shows only to who opens the locks.
    """
    least = catalog.fact("require.look-alone-from").number()
    chances = {
        d.component: d.needed
        for d in todo.items
        if d.action == "replace" and d.kind == "look-first" and d.component and not d.done
    }
    found = {}
    for operation in (o for o in todo.operations if o.action == "look" and not o.done):
        inside = [
            f"{component_title(c, catalog)} {p:.0%} to be replaced"
            for c in operation.components
            if (p := chances.get(c, 0.0)) >= least
        ]
        if operation.id == _HARNESS:
            inside += [b.text.rstrip(".").lower() for b in operation.because]
        if inside:
            found[operation.n] = f"({', '.join(inside)})"
    return found


def _tell_left_out(
    operations: Sequence[Operation], doubts: Mapping[int, str], tick: Tick
) -> tuple[str, ...]:
    """Return what is told of looks that may well fail, and of circuits that are traced by cards."""
    looks = [o for o in operations if o.n in doubts and _is_sure(o)]
    told = [f"no. {o.n} {doubts[o.n]}" for o in looks]
    left = [
        f"Not ticked, for what may well fail is looked at by itself: {'; '.join(told)}. Whole: "
        f"squibwise did CASE {write_numbers([o.n for o in looks])}; else what is seen: "
        "squibwise saw CASE COMPONENT WORD."
    ]
    traced = [o for o in operations if o.action == "trace" and _is_sure(o)]
    cards = ", ".join(f"no. {o.n}, {find_command_alone(o, tick)}" for o in traced)
    return (
        *(left if looks else ()),
        *((f"Not ticked, for it is traced card by card: {cards}.",) if traced else ()),
    )


def tell_doubts(numbers: Sequence[int], todo: Work, catalog: Catalog) -> tuple[str, ...]:
    """Return what is told of looks that are ticked though a part in them may well fail.

    And of what is lost soon and was not saved.
    """
    doubts = find_doubts(todo, catalog)
    told = [f"no. {n} {doubts[n]}" for n in numbers if n in doubts]
    signed = (f"Signed as looked at and found whole: {'; '.join(told)}.",) if told else ()
    return (*signed, *tell_unsaved(numbers, todo))


def tell_unsaved(numbers: Sequence[int], todo: Work) -> tuple[str, ...]:
    """Return what is told of records of the car as it came that are open when they are lost soon.

    With the power gone, or a unit programmed or cleared, what nobody saved cannot be saved again.
    """
    ticked = [o for o in todo.operations if o.n in numbers]
    if not any(o.id in _TAKES_AWAY for o in ticked):
        return ()
    words = {ARRIVAL, KEY_ON} | {o.id for v in todo.visits if v.id == "read" for o in v.operations}
    left = [
        o for o in todo.operations if o.id in words and o.counted and not (o.done or o in ticked)
    ]
    if not left:
        return ()
    named = ", ".join(f"no. {o.n} ({o.short or o.title})" for o in left)
    return (
        f"Still open, and lost for good with the power, the old unit or a clear: {named}. Was it "
        f"done: squibwise did CASE {left[0].n} --time WHEN.",
    )


def _take_at_once(
    operations: Sequence[Operation], tick: Tick
) -> tuple[list[int], Operation | None]:
    """Return the numbers up to the first operation that stands alone, and that one."""
    numbers: list[int] = []
    for operation in filter(_is_sure, operations):
        waited = bool(operation.hold_minutes) and not numbers
        if _find_command(operation, tick) and not waited:
            says = bool(tick.note) and not numbers and operation.id in ASKING_A_WORD
            return ([operation.n], None) if says else (numbers, operation)
        numbers.append(operation.n)
    return numbers, None


def find_entering(
    operation: Operation, todo: Work, catalog: Catalog, evidence: tuple[Evidence, ...]
) -> tuple[str, str]:
    """Return the command by which an operation is entered, and when: a scan stands for itself."""
    tick = Tick(todo=todo, chosen=frozenset(), catalog=catalog, evidence=evidence)
    alone = find_command_alone(operation, tick) or f"squibwise did CASE {operation.n}"
    command, _, when = alone.partition("  (")
    return command.rstrip(), when.removesuffix(")") or "once it is done"


def _find_command(operation: Operation, tick: Tick) -> str:
    """Return the command of what is ticked alone in a visit; empty where others may go along.

    Nobody signs in passing that what is live is out of the heat: only whoever saw the body work
    knows where heat came.
    """
    if operation.id != HEAT_OUT:
        return find_command_alone(operation, tick)
    structure = tick.catalog.tasks.steps[STRUCTURE.removeprefix("step:")].number
    return (
        f"squibwise did CASE {operation.n}, once it is all out; where no heat comes near, "
        f"squibwise did CASE {structure} --safe --note 'no heat used'"
    )


def _is_sure(operation: Operation) -> bool:
    """Is an operation open, and one that the job surely has."""
    return operation.counted and not operation.done and operation.kind in ("certain", "rule")
