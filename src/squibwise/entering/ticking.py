"""What a tick by number, or an answer to a question, is written as."""

import datetime as dt
import re
from collections.abc import Collection, Iterable, Mapping, Sequence

from squibwise.catalog.load import Catalog, component_title
from squibwise.entering.case_text import Pairs, lamp_entry, load_entry
from squibwise.entering.tick_before import FIT_LOADS, RETURN_LOADS
from squibwise.entering.tick_order import (
    LAMP,
    SCAN,
    Tick,
    find_runs,
    list_due_again,
    refuse_disorder,
    refuse_obstacles,
    refuse_unsettled,
    signed_along,
)
from squibwise.errors import InputError
from squibwise.history.order import read_history
from squibwise.history.signed import find_loads, is_seen_hurt
from squibwise.intake.case_file.checks import did_you_mean
from squibwise.model.evidence import Evidence
from squibwise.model.words import RELEASE_WORDS
from squibwise.model.work import Demand, Operation, Work
from squibwise.require.operations import list_numbers
from squibwise.require.progress import entry_for

_RANGE = re.compile(r"(\d{1,6})(?:-(\d{1,6}))?")
_MOST_NUMBERS = 2000


def read_numbers(words: Sequence[str], named: Mapping[str, int] | None = None) -> tuple[int, ...]:
    """Return the numbers that ``9-14,22`` stands for.

    Args:
        words: As they were typed.
        named: Numbers by the id of an operation, which may stand in their place.

    Raises:
        InputError: It is not such a list.
    """
    numbers: list[int] = []
    for word in ",".join(words).replace(" ", ",").split(","):
        if named and word in named:
            numbers.append(named[word])
            continue
        found = _RANGE.fullmatch(word.strip())
        if word.strip() and not found:
            raise InputError(f"'{word}' is no number.", remedy="Write 9-14,22.")
        if found:
            first, last = int(found[1]), int(found[2] or found[1])
            numbers += range(first, last + 1)
        if len(numbers) > _MOST_NUMBERS:
            raise InputError("those are too many numbers.", remedy="Write 9-14,22.")
    if not numbers:
        raise InputError("no number was named.", remedy="Write 9-14,22.")
    return tuple(dict.fromkeys(numbers))


def find_demands(words: Sequence[str], todo: Work) -> tuple[list[str], tuple[str, ...]]:
    """Return demands named by their ids as their numbers, with their parts; other words as is."""
    by_demand = {d: o.n for o in todo.operations if len(o.demands) > 1 for d in o.demands}
    if not words or not all(w in by_demand for w in words):
        return list(words), ()
    numbers = dict.fromkeys(str(by_demand[w]) for w in words)
    return list(numbers), tuple(w.rpartition(":")[0] for w in words)


def split_words(words: Sequence[str], catalog: Catalog) -> tuple[list[str], list[str]]:
    """Return the numbers, and the words that are signed for: gates and words of the release."""
    known = {*catalog.tasks.gates, *RELEASE_WORDS}
    signed = [w for w in words if w in known]
    return [w for w in words if w not in known], signed


def word_entries(
    words: Sequence[str],
    todo: Work,
    catalog: Catalog,
    common: Pairs,
    *,
    failed: bool,
    safe: bool,
    note: str = "",
) -> tuple[Pairs, ...]:
    """Return the entries that sign for gates and words of the release.

    Raises:
        InputError: A gate is signed undecided, with others, against what is known of the car or
            before what its step comes after; somebody answers for the car before its last scan.
    """
    gates = [w for w in words if w in catalog.tasks.gates]
    _refuse_undecided(gates, decided=safe or failed)
    _refuse_together(gates, len(words))
    if not failed:
        refuse_unsettled(gates, todo)
        closing = {f"step:{catalog.tasks.gates[w].step}" for w in gates}
        due = frozenset(o.id for o in todo.operations if o.id in closing and not o.done)
        refuse_disorder(Tick(todo=todo, chosen=due, catalog=catalog, safe=safe, note=note))
        _refuse_early_answer(words, todo)
    result = "failed" if failed else "passed"
    return tuple({"kind": "passed", "what": w, "result": result, **common} for w in words)


def _refuse_undecided(gates: Sequence[str], *, decided: bool) -> None:
    if gates and not decided:
        raise InputError(
            f"{gates[0]} is a gate: a tick does not say which way it was decided.",
            remedy="Write --safe when every point of it holds, --failed when one does not.",
        )


def _refuse_early_answer(words: Sequence[str], todo: Work) -> None:
    waiting = [o.n for o in todo.operations if o.id == SCAN and not o.done]
    if "release" in words and waiting:
        raise InputError(
            f"release comes last, after no. {waiting[0]}, the last scan: nobody answers for a car "
            "that is not proved.",
            remedy="`squibwise work CASE` prints what is still open. Nothing was written.",
        )


def _refuse_together(gates: Sequence[str], count: int) -> None:
    if gates and count > 1:
        raise InputError(
            f"{' and '.join(gates)} {'is a gate' if len(gates) == 1 else 'are gates'}: "
            "each is decided on its own.",
            remedy="Sign it alone, with --safe or --failed, and the rest in another command.",
        )


def add_note(entries: Iterable[Pairs], note: str) -> tuple[Pairs, ...]:
    """Return entries with what was found, or followed, at those that are signed for."""
    return tuple({**e, "note": note} if note and e["kind"] == "passed" else e for e in entries)


def tell_along(entries: Iterable[Pairs], todo: Work, catalog: Catalog) -> tuple[str, ...]:
    """Return what else is done with a gate that was signed as holding: the step it closes."""
    steps = {o.id: o for o in todo.operations}
    found = []
    for entry in entries:
        gate = catalog.tasks.gates.get(str(entry.get("what", "")))
        step = steps.get(f"step:{gate.step}") if gate is not None and gate.step else None
        if step is not None and entry.get("result") == "passed":
            found.append(f"{entry['what']} stands for no. {step.n}, done with it: {step.title}.")
    return tuple(found)


def numbered_items(todo: Work) -> dict[int, tuple[Demand, ...]]:
    """Return what each printed number of the work stands for."""
    by_id = {i.id: i for i in todo.items}
    return {o.n: tuple(_ticked(o, by_id)) for o in todo.operations}


def name_numbers(todo: Work, catalog: Catalog) -> dict[str, int]:
    """Return the number of each operation by its id, and by that of the one demand it stands for.

    A step keeps its number while it is not on the list.
    """
    named = {f"step:{s.id}": s.number for s in catalog.tasks.steps.values()}
    named |= {o.demands[0]: o.n for o in todo.operations if len(o.demands) == 1}
    return named | {o.id: o.n for o in todo.operations}


def _read_off_the_list(catalog: Catalog) -> dict[int, tuple[Demand, ...]]:
    """Return the steps that save what the unit holds: done is done, whatever is found later."""
    return {
        s.number: (
            Demand(id=f"step:{s.id}", action="do", component=None, title=s.title, strict="always"),
        )
        for s in catalog.tasks.steps.values()
        if s.phase == "read"
    }


def _ticked(operation: Operation, by_id: Mapping[str, Demand]) -> list[Demand]:
    """Return what an operation stands for: its demands, or itself when it answers none."""
    found = [by_id[d] for d in operation.demands if d in by_id]
    itself = Demand(
        id=operation.id,
        action="do",
        component=None,
        title=operation.title,
        strict="always",
        done=operation.done,
    )
    return found or [itself]


def _named_in(todo: Work, numbers: Sequence[int], parts: Sequence[str]) -> dict[str, Demand]:
    """Return the items of these operations that stand for these parts, by id.

    Raises:
        InputError: None of the operations stands for a part.
    """
    inside = [i for n in numbers for i in numbered_items(todo).get(n, ())]
    for part in parts:
        if part not in {i.component for i in inside}:
            known = sorted({i.component for i in inside if i.component})
            remedy = did_you_mean(part, known) or f"They hold {', '.join(known) or 'no part'}."
            raise InputError(f"'{part}' is not in these operations.", remedy=remedy)
    return {i.id: i for i in inside if i.component in parts}


def _refuse_vague(todo: Work, numbers: Sequence[int]) -> None:
    """Refuse to fail a whole look: what was seen is said of each thing.

    Raises:
        InputError: One of the operations is a look at several things.
    """
    for operation in todo.operations:
        if operation.n in numbers and operation.action == "look" and len(operation.demands) > 1:
            raise InputError(
                f"no. {operation.n} looks at several things: {', '.join(operation.components)}.",
                remedy=f"Say which failed: `did CASE {operation.n} --failed --of COMPONENT`, "
                "or what was seen: `saw CASE COMPONENT WORD`.",
            )


def drop_fallen(
    numbers: Sequence[int], todo: Work, catalog: Catalog
) -> tuple[tuple[int, ...], tuple[str, ...]]:
    """Return the numbers that stand for something, and what is told of those that do no more.

    A list that was printed goes out of date: a look that passed takes away what hung on it.
    """
    known = {o.n for o in todo.operations} | {*_read_off_the_list(catalog)}
    fallen = {r[0] for r in find_runs(numbers) if len(r) == 1} & list_numbers(catalog) - known
    told = (
        f"no. {n} is not on the list, or no more: nothing asks for it, and nothing was written of "
        'it. If it was done all the same, add it as [[evidence]] with kind = "done".'
        for n in sorted(fallen)
    )
    return tuple(n for n in numbers if n not in fallen), tuple(told)


def _find_known(
    todo: Work, numbers: Sequence[int], catalog: Catalog
) -> dict[int, tuple[Demand, ...]]:
    """Return what numbers stand for; one that was named alone may be off the list now.

    Raises:
        InputError: One stands for nothing.
    """
    known, off, runs = numbered_items(todo), _read_off_the_list(catalog), find_runs(numbers)
    known |= {n: off[n] for r in runs if not known.keys() & {*r} for n in r if n in off}
    strange = [run[0] for run in runs if not known.keys() & {*run}]
    if strange:
        remedy = f"`squibwise work CASE` prints the numbers, 1 to {max(known, default=0)}."
        told = " or ".join(map(str, strange))
        raise InputError(f"no operation has the number {told}.", remedy=remedy)
    return known


def entries_for(
    todo: Work,
    numbers: Sequence[int],
    catalog: Catalog,
    common: Pairs,
    *,
    failed: bool,
    safe: bool = False,
    parts: Sequence[str] = (),
    lamp: float | None = None,
    ohm: float | None = None,
    note: str = "",
    evidence: tuple[Evidence, ...] = (),
) -> tuple[Pairs, ...]:
    """Return the entries that tick operations by their numbers; what is done already is left out.

    Args:
        todo: The work of the case.
        numbers: As it was printed.
        catalog: Words of the gates.
        common: Keys that every entry gets: who, when.
        failed: It was looked at or tried, and failed.
        safe: Whoever signs says of the gates among them that they hold.
        parts: Only these components; empty = all.
        lamp: The lamp lit, went out after so long and stayed out. [s] None = nothing said of it.
        ohm: What each substitute load that is fitted measures. [ohm] None = nothing said of it.
        note: What is said with it, such as which charges are live.
        evidence: Of the case, for when the power came off and which loads are out.

    Raises:
        InputError: A number stands for nothing that can be recorded, or something is in its way.
    """
    items = _find_items(todo, numbers, catalog, parts, evidence, failed=failed)
    at, along = common.get("time"), frozenset(() if lamp is None else (LAMP,))
    left = [item for word, item in items.items() if word not in along]
    if failed:
        entries = _failed_entries(left, catalog)
    else:
        loops = _loops_to_load(items, todo, evidence)
        refuse_obstacles(
            Tick(
                todo=todo,
                chosen=frozenset(i.id for i in left),
                catalog=catalog,
                evidence=evidence,
                at=at if isinstance(at, dt.datetime) else None,
                safe=safe,
                along=along,
                loaded=tuple(loops),
                ohm=ohm,
                note=note,
            )
        )
        entries = _with_look(_done_entries(left, loops, evidence, ohm, catalog), todo)
        entries += [] if lamp is None else [lamp_entry(lamp)]
    if not entries:
        told = "these operations have nothing to record, or are done."
        raise InputError(told, remedy="Nothing was written.")
    return add_note(({**e, **_keys_for(e, common)} for e in entries), note)


def _find_items(
    todo: Work,
    numbers: Sequence[int],
    catalog: Catalog,
    parts: Sequence[str],
    evidence: tuple[Evidence, ...],
    *,
    failed: bool,
) -> dict[str, Demand]:
    """Return what numbers stand for and is due, by id; only of these parts where some are named.

    Raises:
        InputError: Something stands for nothing, or nothing is ticked but parts seen hurt.
    """
    known = _find_known(todo, numbers, catalog)
    if failed and not parts:
        _refuse_vague(todo, numbers)
    if parts:
        return _named_in(todo, numbers, parts)
    named = {i.id: i for n in numbers for i in known.get(n, ())}
    if failed:
        return named
    items = {w: i for w, i in named.items() if _is_due(i, evidence, catalog)}
    hurt = _find_hurt(items.values(), evidence, catalog)
    if items and len(hurt) == len(items):
        told = ", ".join(component_title(c, catalog) for c in hurt.values())
        raise InputError(
            f"{told}: an eye saw it hurt, and a tick does not make it whole.",
            remedy="Look again and write down what is seen: `saw CASE COMPONENT WORD`.",
        )
    return {w: i for w, i in items.items() if w not in hurt}


def _find_hurt(
    items: Iterable[Demand], evidence: tuple[Evidence, ...], catalog: Catalog
) -> dict[str, str]:
    """Return the parts among these that an eye saw hurt, by the inspection that stays open."""
    looks = {i.id: i.component or "." for i in items if i.action == "inspect"}
    history = read_history(evidence)
    return {word: c for word, c in looks.items() if is_seen_hurt(history, c, catalog)}


def tell_left_open(
    todo: Work, numbers: Sequence[int], evidence: tuple[Evidence, ...], catalog: Catalog
) -> tuple[str, ...]:
    """Return which parts of ticked looks stay open all the same, and how that ends."""
    inside = numbered_items(todo)
    return tuple(
        f"no. {n} stays open for the {component_title(part, catalog)}: an eye saw it hurt. "
        f"Look again: squibwise saw CASE {part} WORD."
        for n in numbers
        for part in _find_hurt(inside.get(n, ()), evidence, catalog).values()
    )


def _failed_entries(items: Sequence[Demand], catalog: Catalog) -> list[Pairs]:
    """Return the entries of what was looked at or tried, and failed."""
    tried = [entry_for(item, catalog) for item in items]
    return [{**e, "result": "failed"} for e in tried if e["kind"] == "passed"]


def _is_due(item: Demand, evidence: tuple[Evidence, ...], catalog: Catalog) -> bool:
    """Is an item to be done, or done again: the power comes off anew after it was switched on."""
    return not item.done or item.id in list_due_again(evidence, catalog)


def _done_entries(
    items: Sequence[Demand],
    loops: Sequence[str],
    evidence: tuple[Evidence, ...],
    ohm: float | None,
    catalog: Catalog,
) -> list[Pairs]:
    """Return the entries of what was done: gates signed with it, then loads and items in order."""
    entries = _gates_along(items, catalog)
    for item in items:
        moves = _move_loads(item.id, loops, evidence, ohm)
        entries += moves or [entry_for(item, catalog)]
    return entries


def _with_look(entries: Sequence[Pairs], todo: Work) -> list[Pairs]:
    """Return entries that say by which look an inspection passed: a lamp is not lit by one."""
    looks = {d: o.title for o in todo.operations if o.action == "look" for d in o.demands}
    return [
        {**e, "note": looks[e["what"]]}
        if e["kind"] == "passed" and e["what"] in looks and not e["what"].startswith("look:")
        else e
        for e in entries
    ]


def _keys_for(entry: Pairs, common: Pairs) -> Pairs:
    """Return the keys that an entry takes: nobody signs for a load, its mark speaks."""
    is_load = entry["kind"] == "substitute-load"
    return {k: v for k, v in common.items() if not (is_load and k == "by")}


def _loops_to_load(items: Collection[str], todo: Work, evidence: tuple[Evidence, ...]) -> list[str]:
    """Return the circuits that get a substitute load by what is ticked, and have none yet."""
    loaded = {load.loop for load in find_loads(read_history(evidence)).out}
    fits = (o for o in todo.operations if o.id == FIT_LOADS and o.id in items)
    return [loop for o in fits for loop in o.loads if loop not in loaded]


def _move_loads(
    step: str, loops: Sequence[str], evidence: tuple[Evidence, ...], ohm: float | None
) -> list[Pairs]:
    """Return an entry for each substitute load that a step fits or takes out; else none.

    A load is marked with the circuit it sits on.
    """
    if step == RETURN_LOADS:
        out = find_loads(read_history(evidence)).out
        return [load_entry(load.serial, load.loop, "returned") for load in out]
    if step != FIT_LOADS:
        return []
    return [{**load_entry(f"load {loop}", loop, "issued"), "ohm": ohm} for loop in loops]


def _gates_along(items: Sequence[Demand], catalog: Catalog) -> list[Pairs]:
    """Return the entries of gates that are signed with the step they hold."""
    held = {w for i in items if i.action == "do" for w in i.blocked_by}
    return [
        {"kind": "passed", "what": word, "result": "passed"}
        for word in sorted(held & signed_along(catalog))
    ]
