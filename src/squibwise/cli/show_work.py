"""Show what must be done: what it comes to, the list in order, cautions, then the money."""

from collections import Counter
from collections.abc import Iterable, Sequence

from rich.console import RenderableType

from squibwise.catalog.load import Catalog
from squibwise.cli import page, show_cost, work_list
from squibwise.cli.known import known
from squibwise.model.case import Case
from squibwise.model.cost import Cost
from squibwise.model.work import Caution, Work, WorkItem

WORTH_NAMING = 0.1  # what is less likely is counted, not named, in the summary
_COUNTED = ("replace", "trace", "inspect", "calibrate")


def chosen(
    case: Case, todo: Work, costs: Sequence[Cost], catalog: Catalog, why: str | None
) -> list[RenderableType]:
    """Return the whole work list, or one item with its reasons.

    Raises:
        InputError: ``why`` names no item of the list.
    """
    if why is None:
        return blocks(case, todo, costs, catalog)
    return reasons(case, known(why, todo.items, "item of this work list"), catalog)


def blocks(case: Case, todo: Work, costs: Sequence[Cost], catalog: Catalog) -> list[RenderableType]:
    """Return the list in order, with what each item waits for."""
    listed = [i for i in todo.items if i.action != "keep"]
    numbers = {item.id: n for n, item in enumerate(listed, start=1)}
    shown = page.title(case)
    shown += summary(todo)
    shown += _gates(listed, catalog)
    shown += [page.heading("Work, in this order"), *work_list.blocks(listed, numbers)]
    shown += _kept(todo.items)
    shown += _cautions(listed, numbers)
    shown += _spread(todo)
    shown += show_cost.summary(case, costs)
    shown += _notices(todo.notices)
    shown += page.findings((*case.findings, *todo.findings))
    shown.append(page.para("\nWhy? `squibwise work CASE --why ITEM`", indent=0, style="dim"))
    return shown + page.standing()


def summary(todo: Work) -> list[RenderableType]:
    """Return what the whole list comes to."""
    return [page.heading("What it comes to", _rules(todo)), page.rows(_sum(todo))]


def _rules(todo: Work) -> str:
    if len(todo.spread) < 2:
        return f"rules: {todo.profile}"
    return f"rules not known: the strictest of {len(todo.spread)} profiles"


def _sum(todo: Work) -> list[tuple[str, str]]:
    open_items = [i for i in todo.items if not i.done and i.action != "keep"]
    by_action = {a: [i for i in open_items if i.action == a] for a in _COUNTED}
    table = [("replace", _replaced(by_action["replace"], todo))]
    first = [i for i in open_items if i.component is None and i.strict == "inspect-first"]
    if first:
        told = (f"{i.title} ({page.percent(i.probability)})" for i in first)
        table.insert(0, ("look first", "\n".join(told)))
    for action in ("trace", "calibrate"):
        names = ", ".join(i.component or i.id for i in by_action[action])
        table += [(action, names)] if names else []
    table.append(("inspect", f"{len(by_action['inspect'])} components"))
    waits = sum(i.hold_minutes for i in open_items)
    table.append(("time", f"{_hands_on(open_items)}, {page.minutes(waits)} of waiting"))
    done = sum(i.done for i in todo.items)
    return [*table, ("done already", f"{done} item{'s' * (done > 1)}")] if done else table


def _hands_on(items: Sequence[WorkItem]) -> str:
    """Return the hands-on time that is to be expected, and that of everything on the list."""
    whole = sum(i.minutes for i in items)
    expected = round(sum(i.minutes * i.probability for i in items))
    if expected == whole:
        return f"{page.minutes(whole)} hands-on"
    return f"{page.minutes(expected)} hands-on to be expected ({page.minutes(whole)} if all of it)"


def _replaced(items: Sequence[WorkItem], todo: Work) -> str:
    """Name what every profile replaces before what only some do, or what is not sure."""
    likely = [i for i in items if i.probability >= work_list.LIKELY]
    every = [i for i in likely if all(asks(todo, name, i.id) for name in todo.spread)]
    maybe = [i for i in items if WORTH_NAMING <= i.probability < work_list.LIKELY]
    told = [
        _names("", every),
        _names("only some profiles: ", [i for i in likely if i not in every]),
        _names("perhaps: ", maybe),
    ]
    rest = len(items) - len(likely) - len(maybe)
    told += [f"unlikely, under {page.percent(WORTH_NAMING)} each: {rest} more"] if rest else []
    return "\n".join(line for line in told if line) or "nothing"


def _names(head: str, items: Iterable[WorkItem]) -> str:
    names = ", ".join(i.component or i.id for i in items)
    return f"{head}{names}" if names else ""


def asks(todo: Work, profile: str, item: str) -> bool:
    """Say whether a profile, taken alone, more likely than not asks for an item."""
    chance = todo.chances.get(profile, {}).get(item, 1.0)
    return item in todo.spread[profile] and chance >= work_list.LIKELY


def _gates(items: Iterable[WorkItem], catalog: Catalog) -> list[RenderableType]:
    words = dict.fromkeys(word for i in items if not i.done for word in i.blocked_by)
    texts = catalog.tasks.gates
    table = [(w, f"{texts[w].text} {texts[w].remedy}" if w in texts else "") for w in words]
    head = page.heading(
        "Closed gates", "the work behind them does not start before they are passed"
    )
    return [head, page.rows(table, style="bold")] if table else []


def _notices(notices: Iterable[Caution]) -> list[RenderableType]:
    texts = [f"{n.text}{' (from memory)' if n.basis == 'from-memory' else ''}" for n in notices]
    return [page.heading("Law and custom"), page.bullets(texts)] if texts else []


def _cautions(items: Iterable[WorkItem], numbers: dict[str, int]) -> list[RenderableType]:
    where: dict[str, list[int]] = {}
    for item in items:
        for caution in item.cautions if not item.done else ():
            where.setdefault(caution.text, []).append(numbers[item.id])
    told = [f"{text} (item{'s' * (len(at) > 1)} {ranges(at)})" for text, at in where.items()]
    return (
        [page.heading("Cautions"), page.bullets(told, mark="!", style="bold red")] if told else []
    )


def ranges(numbers: Sequence[int]) -> str:
    """Return numbers in order as people list them: ``1, 3-5``."""
    groups: list[list[int]] = []
    for number in sorted(set(numbers)):
        if groups and number == groups[-1][-1] + 1:
            groups[-1].append(number)
        else:
            groups.append([number])
    return ", ".join(str(g[0]) if len(g) == 1 else f"{g[0]}-{g[-1]}" for g in groups)


def _kept(items: Iterable[WorkItem]) -> list[RenderableType]:
    kept = [i.component for i in items if i.action == "keep" and i.component]
    if not kept:
        return []
    head = page.heading("Stays in the car", "once its inspection has passed, where one is asked")
    return [head, page.para(", ".join(kept))]


def _spread(todo: Work) -> list[RenderableType]:
    if len(todo.spread) < 2:
        return []
    likely = {name: [i for i in ids if asks(todo, name, i)] for name, ids in todo.spread.items()}
    if len({frozenset(ids) for ids in likely.values()}) == 1:
        return [page.heading("What each rule profile asks for", "all ask for the same")]
    counts = [
        (name, *(str(sum(i.endswith(f":{a}") for i in ids)) for a in _COUNTED))
        for name, ids in likely.items()
    ]
    head = page.heading("What each rule profile asks for", "which is yours is not known")
    shown = [head, page.rows([("", *_COUNTED), *counts], right=(1, 2, 3, 4))]
    replaced = Counter(i for ids in likely.values() for i in ids if i.endswith(":replace"))
    asked = {item.rpartition(":")[0]: count for item, count in replaced.items()}
    some = [f"{c} ({n})" for c, n in asked.items() if n < len(todo.spread)]
    text = f"Only some replace (how many of {len(todo.spread)}): {', '.join(some)}."
    return [*shown, page.para(text)] if some else shown


def reasons(case: Case, item: WorkItem, catalog: Catalog) -> list[RenderableType]:
    """Return one item with its reasons, tools, cautions and what it waits for."""
    shown = page.title(case)
    shown.append(page.heading(item.title, item.id))
    table = [("action", item.action), ("rule", item.strict.replace("-", " "))]
    table += [("needed with", page.percent(item.probability))] if item.component else []
    table += [("hands-on", page.minutes(item.minutes))]
    table += [("wait before it", page.minutes(item.hold_minutes))] if item.hold_minutes else []
    table += [("after", ", ".join(item.after))] if item.after else []
    table += [("held by", ", ".join(item.blocked_by))] if item.blocked_by else []
    table += [("tools", ", ".join(item.tools))] if item.tools else []
    table += [("counts as done when", item.passes_when)] if item.passes_when else []
    shown.append(page.rows(table))
    told = [page.reason(b, case, catalog) for b in item.because]
    shown += [page.heading("Because", "strongest first"), page.bullets(told)]
    if item.cautions:
        texts = [f"{c.text} ({page.source_title(c.source, catalog)})" for c in item.cautions]
        shown += [page.heading("Cautions"), page.bullets(texts, mark="!", style="bold red")]
    if not item.done:
        head = page.heading("Write it into case.toml", "once it is done")
        shown += [head, page.para("\n".join(entry_for(item, catalog)), indent=4)]
    return shown + page.standing()


def entry_for(item: WorkItem, catalog: Catalog) -> list[str]:
    """Return the lines that record an item as done; a gate is recorded by its own word."""
    if item.action == "replace":
        lines = ['kind = "done"', 'what = "replaced"', f'component = "{item.component}"']
        return ["[[evidence]]", *lines, f'item = "{item.id}"', 'by = "your name"']
    task = item.id.removeprefix("step:")
    word = next((g.word for g in catalog.tasks.gates.values() if g.step == task), item.id)
    lines = ['kind = "passed"', f'what = "{word}"', 'result = "passed"    # or failed']
    return ["[[evidence]]", *lines, 'by = "your name"']
