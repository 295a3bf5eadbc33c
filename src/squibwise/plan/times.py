"""How long a piece of work takes: least, usual and most minutes."""

from squibwise.catalog.load import Catalog
from squibwise.model.names import split_component
from squibwise.model.work import WorkItem

MINUTES_PER_HOUR = 60
Minutes = tuple[int, int, int]


def minutes_of(item: WorkItem, catalog: Catalog) -> Minutes:
    """Return least, usual and most minutes of an item; all alike when only one is known."""
    known = catalogued(item, catalog)
    return known if known[1] == item.minutes else (item.minutes,) * 3


def catalogued(item: WorkItem, catalog: Catalog) -> Minutes:
    """Return the catalogue's minutes for this kind of work; nothing when it has none."""
    step = catalog.tasks.steps.get(item.id.removeprefix("step:"))
    if step is not None:
        return (step.low, step.minutes, step.high)
    if item.component is None or item.action not in ("replace", "inspect", "calibrate"):
        return (0, 0, 0)
    task = catalog.tasks.work.get(split_component(item.component).kind)
    minutes: Minutes = getattr(task, item.action) if task else (0, 0, 0)
    return minutes
