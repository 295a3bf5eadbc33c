"""What must be done: what it comes to, the list in order, cautions, then the money."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby

from squibwise.catalog.load import Catalog
from squibwise.model.case import Case
from squibwise.model.cost import Cost
from squibwise.model.work import Caution, Work, WorkItem
from squibwise.present.figures import counted, minutes, percent, ranges
from squibwise.present.phrases import (
    LIKELY,
    in_words,
    source_title,
    standing,
    tell_car,
    tell_cautions,
    tell_findings,
    tell_reasons,
)
from squibwise.present.tell_cost import tell_sums
from squibwise.present.telling import (
    Block,
    Bullets,
    Entry,
    Section,
    Step,
    Steps,
    Table,
    Telling,
    Text,
    filled,
    section,
)

_COUNTED = ("replace", "trace", "inspect", "calibrate")
_HERE = " Here: "
_SURE = 0.995  # a chance is told below it


def tell_work(case: Case, todo: Work, costs: Sequence[Cost], catalog: Catalog) -> Telling:
    """Return the list in order, with what each item waits for."""
    listed = [i for i in todo.items if i.action != "keep"]
    numbers = {item.id: n for n, item in enumerate(listed, start=1)}
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=tell_car(case),
        sections=filled(
            (
                tell_work_shortly(todo, catalog),
                _gates(listed, catalog),
                section("Work, in this order", *_in_order(listed, numbers)),
                _kept(todo.items),
                _numbered_cautions(listed, numbers),
                _spread(todo),
                tell_sums(case.currency, costs),
                _notices(todo.notices),
                tell_findings((*case.findings, *todo.findings)),
                Section(blocks=(Text(text="Why? `squibwise work CASE --why ITEM`", tone="quiet"),)),
            )
        ),
        closing=standing(catalog),
    )


def tell_work_shortly(todo: Work, catalog: Catalog) -> Section:
    """Return what the whole list comes to."""
    rules = f"rules: {todo.profile}"
    if len(todo.spread) > 1:
        rules = f"rules not known: the strictest of {len(todo.spread)} kinds of rules"
    open_items = [i for i in todo.items if not i.done and i.action != "keep"]
    by_action = {a: [i for i in open_items if i.action == a] for a in _COUNTED}
    rows = [("replace", _replaced(by_action["replace"], todo, catalog))]
    first = [i for i in open_items if i.component is None and i.strict == "inspect-first"]
    if first:
        told = (f"{i.title} ({percent(i.probability)})" for i in first)
        rows.insert(0, ("look first", "\n".join(told)))
    for action in ("trace", "calibrate"):
        names = ", ".join(i.component or i.id for i in by_action[action])
        rows += [(action, names)] if names else []
    rows.append(("inspect", counted(len(by_action["inspect"]), "component")))
    waits = sum(i.hold_minutes for i in open_items)
    rows.append(("time", f"{_hands_on(open_items)}, {minutes(waits)} of waiting"))
    done = sum(i.done for i in todo.items)
    rows += [("done already", counted(done, "item"))] if done else []
    return section("What it comes to", Table(rows=tuple(rows)), note=rules)


def _hands_on(items: Sequence[WorkItem]) -> str:
    """Return the hands-on time that is to be expected, and that of everything on the list."""
    whole = sum(i.minutes for i in items)
    expected = round(sum(i.minutes * i.probability for i in items))
    if expected == whole:
        return f"{minutes(whole)} hands-on"
    return f"{minutes(expected)} hands-on to be expected ({minutes(whole)} if all of it)"


def _replaced(items: Sequence[WorkItem], todo: Work, catalog: Catalog) -> str:
    """Name what every profile replaces before what only some do, or what is not sure."""
    least = catalog.fact("present.named-from").number()
    likely = [i for i in items if i.probability >= LIKELY]
    every = [i for i in likely if all(_asks(todo, name, i.id) for name in todo.spread)]
    maybe = [i for i in items if least <= i.probability < LIKELY]
    told = [
        _names("", every),
        _names("only some profiles: ", [i for i in likely if i not in every]),
        _names("perhaps: ", maybe),
    ]
    rest = len(items) - len(likely) - len(maybe)
    told += [f"unlikely, under {percent(least)} each: {rest} more"] if rest else []
    return "\n".join(line for line in told if line) or "nothing"


def _names(head: str, items: Iterable[WorkItem]) -> str:
    names = ", ".join(i.component or i.id for i in items)
    return f"{head}{names}" if names else ""


def _asks(todo: Work, profile: str, item: str) -> bool:
    """Say whether a profile, taken alone, more likely than not asks for an item."""
    chance = todo.chances.get(profile, {}).get(item, 1.0)
    return item in todo.spread[profile] and chance >= LIKELY


def _in_order(items: Sequence[WorkItem], numbers: Mapping[str, int]) -> list[Block]:
    """Return the items in their order, each group of neighbours under its common reason."""
    blocks: list[Block] = []
    told: dict[str, int] = {}
    for reason, group in groupby(items, key=_common):
        together = list(group)
        first = numbers[together[0].id]
        if reason:
            head = _headed(reason, told.setdefault(reason, first), first)
            blocks.append(Text(text=head, tone="quiet"))
        blocks.append(Steps(steps=tuple(_step(i, numbers) for i in together)))
    return blocks


def _headed(reason: str, told_at: int, here: int) -> str:
    if told_at == here:
        return reason
    return f"{reason.partition(':')[0]}: as item {told_at}"


def _common(item: WorkItem) -> str:
    """The first reason without what is particular to this car; steps speak for themselves."""
    if item.component is None or not item.because:
        return ""
    weak = item.because[0].weak
    told = f"{item.action.capitalize()}: {item.because[0].text.partition(_HERE)[0]}"
    return f"{told} ({in_words(weak)})" if weak else told


def _step(item: WorkItem, numbers: Mapping[str, int]) -> Step:
    return Step(
        done=item.done,
        number=str(numbers[item.id]),
        title=item.id if item.component else f"{item.title} ({item.id})",
        notes=() if item.done else tuple(_holds(item)),
    )


def _holds(item: WorkItem) -> Iterable[str]:
    """Return what holds an item up, and how sure it is that it is needed."""
    if item.hold_minutes:
        yield f"wait {minutes(item.hold_minutes)} before it"
    if item.blocked_by:
        yield f"held by {', '.join(item.blocked_by)}"
    if item.probability < _SURE:
        yield f"needed with {percent(item.probability)}"
    if item.strict in ("inspect-first", "advice"):
        yield in_words(item.strict)


def _gates(items: Iterable[WorkItem], catalog: Catalog) -> Section | None:
    words = dict.fromkeys(word for i in items if not i.done for word in i.blocked_by)
    texts = catalog.tasks.gates
    rows = tuple((w, f"{texts[w].text} {texts[w].remedy}" if w in texts else "") for w in words)
    note = "the work behind them does not start before they are passed"
    return section("Closed gates", Table(rows=rows, tone="strong"), note=note) if rows else None


def _notices(notices: Iterable[Caution]) -> Section | None:
    told = tuple(f"{n.text}{' (from memory)' if n.basis == 'from-memory' else ''}" for n in notices)
    return section("Law and custom", Bullets(items=told)) if told else None


def _numbered_cautions(items: Iterable[WorkItem], numbers: Mapping[str, int]) -> Section | None:
    where: dict[str, list[int]] = {}
    for item in items:
        for caution in item.cautions if not item.done else ():
            where.setdefault(caution.text, []).append(numbers[item.id])
    return tell_cautions(f"{t} (item{'s' * (len(at) > 1)} {ranges(at)})" for t, at in where.items())


def _kept(items: Iterable[WorkItem]) -> Section | None:
    kept = ", ".join(i.component for i in items if i.action == "keep" and i.component)
    note = "once its inspection has passed, where one is asked"
    return section("Stays in the car", Text(text=kept), note=note) if kept else None


def _spread(todo: Work) -> Section | None:
    if len(todo.spread) < 2:
        return None
    heading = "What each kind of rules asks for"
    likely = {name: [i for i in ids if _asks(todo, name, i)] for name, ids in todo.spread.items()}
    if len({frozenset(ids) for ids in likely.values()}) == 1:
        return section(heading, note="all ask for the same")
    rows = tuple(
        (name, *(str(sum(i.endswith(f":{a}") for i in ids)) for a in _COUNTED))
        for name, ids in likely.items()
    )
    table = Table(rows=rows, head=("", *_COUNTED), right=(1, 2, 3, 4))
    replaced = Counter(i for ids in likely.values() for i in ids if i.endswith(":replace"))
    asked = {item.rpartition(":")[0]: count for item, count in replaced.items()}
    some = ", ".join(f"{c} ({n})" for c, n in asked.items() if n < len(todo.spread))
    told = f"Only some replace (how many of {len(todo.spread)}): {some}."
    texts = (Text(text=told),) if some else ()
    return section(heading, table, *texts, note="which is yours is not known")


def tell_item(case: Case, item: WorkItem, catalog: Catalog) -> Telling:
    """Return one item with its reasons, tools, cautions and what it waits for."""
    because = tell_reasons(item.because, case, catalog)
    cautions = (f"{c.text} ({source_title(c.source, catalog)})" for c in item.cautions)
    entry = tell_entry(entry_for(item, catalog) | {"by": "your name"})
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=tell_car(case),
        sections=filled(
            (
                section(item.title, _about(item), note=item.id),
                section("Because", because, note="strongest first"),
                tell_cautions(cautions),
                None
                if item.done
                else section("Write it into case.toml", entry, note="once it is done"),
            )
        ),
        closing=standing(catalog),
    )


def _about(item: WorkItem) -> Table:
    rows = [("action", item.action), ("rule", in_words(item.strict))]
    rows += [("needed with", percent(item.probability))] if item.component else []
    rows += [("hands-on", minutes(item.minutes))]
    rows += [("wait before it", minutes(item.hold_minutes))] if item.hold_minutes else []
    rows += [("after", ", ".join(item.after))] if item.after else []
    rows += [("held by", ", ".join(item.blocked_by))] if item.blocked_by else []
    rows += [("tools", ", ".join(item.tools))] if item.tools else []
    rows += [("counts as done when", item.passes_when)] if item.passes_when else []
    return Table(rows=tuple(rows))


def entry_for(item: WorkItem, catalog: Catalog) -> dict[str, str]:
    """Return the entry that records an item as done; a gate is recorded by its own word."""
    if item.action == "replace":
        component = item.component or ""
        return {"kind": "done", "what": "replaced", "component": component, "item": item.id}
    task = item.id.removeprefix("step:")
    word = next((g.word for g in catalog.tasks.gates.values() if g.step == task), item.id)
    return {"kind": "passed", "what": word, "result": "passed"}


def tell_entry(pairs: Mapping[str, str]) -> Entry:
    """Return an entry as it is written into a case file."""
    lines = (f'{key} = "{value}"' for key, value in pairs.items())
    return Entry(lines=("[[evidence]]", *lines))
