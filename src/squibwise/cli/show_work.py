"""Show what must be done: what holds people up first, then the list in order, then the money."""

from collections.abc import Iterable, Sequence

from rich.console import RenderableType

from squibwise.catalog.load import Catalog
from squibwise.cli import page, show_cost
from squibwise.cli.known import known
from squibwise.model.case import Case
from squibwise.model.cost import Cost
from squibwise.model.work import Caution, Work, WorkItem

SURE = 0.995


def chosen(
    case: Case, todo: Work, costs: Sequence[Cost], catalog: Catalog, why: str | None
) -> list[RenderableType]:
    """Return the whole work list, or one item with its reasons.

    Raises:
        InputError: ``why`` names no item of the list.
    """
    if why is None:
        return blocks(case, todo, costs)
    return reasons(case, known(why, todo.items, "item of this work list"), catalog)


def blocks(case: Case, todo: Work, costs: Sequence[Cost]) -> list[RenderableType]:
    """Return the list in order, with what each item waits for."""
    shown = page.title(case)
    shown += _notices(todo.notices)
    numbers = {item.id: n for n, item in enumerate(todo.items, start=1)}
    open_items = [i for i in todo.items if not i.done and i.action != "keep"]
    note = f"rules: {todo.profile}; {len(open_items)} to do, {_time(open_items)} hands-on"
    shown.append(page.heading("Work, in this order", note))
    listed = [i for i in todo.items if i.action != "keep"]
    shown.append(page.rows((_row(i, numbers) for i in listed), right=(1,)))
    shown += _cautions(listed, numbers)
    shown += _kept(todo.items)
    shown += _spread(todo)
    shown += show_cost.summary(case, costs)
    shown += page.findings((*case.findings, *todo.findings))
    shown.append(page.para("\nWhy? `squibwise work CASE --why ITEM`", indent=0, style="dim"))
    return shown + page.standing()


def _notices(notices: Iterable[Caution]) -> list[RenderableType]:
    texts = [n.text for n in notices]
    return [page.heading("Before anything"), page.bullets(texts, mark="!")] if texts else []


def _time(items: Iterable[WorkItem]) -> str:
    return page.minutes(sum(i.minutes for i in items))


def _row(item: WorkItem, numbers: dict[str, int]) -> tuple[str, str, str]:
    box = "[x]" if item.done else "[ ]"
    return box, str(numbers[item.id]), "\n".join([f"{item.title} ({item.id})", *_notes(item)])


def _notes(item: WorkItem) -> list[str]:
    if item.done:
        return []
    notes = []
    if item.hold_minutes:
        notes.append(f"wait {page.minutes(item.hold_minutes)} before it")
    if item.blocked_by:
        notes.append(f"held by {', '.join(item.blocked_by)}")
    if item.probability < SURE:
        notes.append(f"needed with {page.percent(item.probability)}")
    if item.strict in ("inspect-first", "advice"):
        notes.append(item.strict.replace("-", " "))
    if item.because and item.component:
        notes.append(f"because {item.because[0].text}{_weak(item)}")
    return ["; ".join(notes)] if notes else []


def _weak(item: WorkItem) -> str:
    weak = item.because[0].weak
    return f" ({weak.replace('-', ' ')})" if weak else ""


def _cautions(items: Iterable[WorkItem], numbers: dict[str, int]) -> list[RenderableType]:
    where: dict[str, list[str]] = {}
    for item in items:
        for caution in item.cautions if not item.done else ():
            where.setdefault(caution.text, []).append(str(numbers[item.id]))
    if not where:
        return []
    told = [f"{text} (item {', '.join(at)})" for text, at in where.items()]
    return [page.heading("Cautions"), page.bullets(told, mark="!", style="bold red")]


def _kept(items: Iterable[WorkItem]) -> list[RenderableType]:
    kept = [i.component for i in items if i.action == "keep" and i.component]
    if not kept:
        return []
    head = page.heading("Stays in the car", "once its inspection has passed, where one is asked")
    return [head, page.para(", ".join(kept))]


def _spread(todo: Work) -> list[RenderableType]:
    if len(todo.spread) < 2:
        return []
    everywhere = set.intersection(*(set(ids) for ids in todo.spread.values()))
    table = [("asked for by every profile", str(len(everywhere)), "")]
    for name, ids in todo.spread.items():
        more = [i for i in ids if i not in everywhere]
        table.append((name, str(len(ids)), f"besides: {', '.join(more)}" if more else ""))
    head = page.heading("What each rule profile asks for", "yours is not known until you state it")
    return [head, page.rows(table, right=(1,))]


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
    return shown + page.standing()
