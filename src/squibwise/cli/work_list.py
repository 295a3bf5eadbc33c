"""The work list in order: neighbours with the same reason share it, so that it is said once."""

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby

from rich.console import RenderableType

from squibwise.cli import page
from squibwise.model.work import WorkItem

LIKELY = 0.5
SURE = 0.995
_HERE = " Here: "


def blocks(items: Sequence[WorkItem], numbers: Mapping[str, int]) -> list[RenderableType]:
    """Return the items in their order, each group of neighbours under its common reason."""
    shown: list[RenderableType] = []
    told: dict[str, int] = {}
    for reason, group in groupby(items, key=_common):
        together = list(group)
        first = numbers[together[0].id]
        if reason:
            shown.append(
                page.para(_headed(reason, told.setdefault(reason, first), first), style="dim")
            )
        shown.append(page.rows((_row(i, numbers) for i in together), right=(1,)))
    return shown


def _headed(reason: str, told_at: int, here: int) -> str:
    if told_at == here:
        return reason
    return f"{reason.partition(':')[0]}: as item {told_at}"


def _common(item: WorkItem) -> str:
    """The first reason without what is particular to this car; steps speak for themselves."""
    if item.component is None or not item.because:
        return ""
    weak = item.because[0].weak
    text = f"{item.action.capitalize()}: {item.because[0].text.partition(_HERE)[0]}"
    return f"{text} ({weak.replace('-', ' ')})" if weak else text


def _row(item: WorkItem, numbers: Mapping[str, int]) -> tuple[str, str, str]:
    box = "[x]" if item.done else "[ ]"
    name = item.id if item.component else f"{item.title} ({item.id})"
    return box, f"{numbers[item.id]:3}", "; ".join([name, *([] if item.done else notes(item))])


def notes(item: WorkItem) -> Iterable[str]:
    """Return what holds an item up, and how sure it is that it is needed."""
    told = []
    if item.hold_minutes:
        told.append(f"wait {page.minutes(item.hold_minutes)} before it")
    if item.blocked_by:
        told.append(f"held by {', '.join(item.blocked_by)}")
    if item.probability < SURE:
        told.append(f"needed with {page.percent(item.probability)}")
    if item.strict in ("inspect-first", "advice"):
        told.append(item.strict.replace("-", " "))
    return told
