"""Put items into an order in which nothing comes before what it waits for."""

import heapq
from collections.abc import Iterable, Mapping

import msgspec

from squibwise.catalog.tasks import Step, TaskBook
from squibwise.errors import CatalogError
from squibwise.model.names import SEATS, Side, side_of, split_component
from squibwise.model.work import WorkItem
from squibwise.require.progress import STEP

CAUSE = "cause"
ALL = "all:"
_ANCHORS: dict[str, tuple[str, ...]] = {
    "inspect": ("make-safe", "strip"),
    "cause": ("make-safe",),
    "trace": ("make-safe", "all:cause", "second-scan"),
    "fit-base": ("make-safe", "strip", "structure"),
    "fit-charge": ("make-safe", "structure", "part-labels", "second-make-safe"),
    "fit-trim": ("make-safe", "structure", "second-make-safe", "all:fit-base"),
    "calibrate": ("final-power", "all:configure"),
}
_OWN_FIRST: dict[str, tuple[str, ...]] = {
    "fit-base": ("inspect",),
    "fit-charge": ("inspect", "trace"),
    "fit-trim": ("inspect",),
    "configure": ("inspect", "replace"),
    "calibrate": ("inspect", "trace", "replace"),
    "keep": ("inspect",),
}
_CONFIGURE_ANCHORS = ("first-power", "final-power")
_RANKS = {"inspect": 55, "cause": 58, "trace": 85, "configure": 82, "calibrate": 100}
_FIT_RANKS = {"fit-base": 70, "fit-charge": 90, "fit-trim": 94}


def item_class(item: WorkItem, tasks: TaskBook) -> str:
    """Return the class of an item: ``step``, ``cause``, ``inspect``, ``fit-base`` ..."""
    if item.component is None:
        return "step" if item.id.removeprefix(STEP) in tasks.steps else CAUSE
    kind = split_component(item.component).kind
    if item.action == "replace":
        return f"fit-{tasks.work[kind].fit}"
    if item.action == "calibrate" and kind == "control-unit":
        return "configure"
    return item.action


def ordered(
    items: Mapping[str, WorkItem], steps: Mapping[str, Step], tasks: TaskBook, hand: Side
) -> tuple[WorkItem, ...]:
    """Return the items in a stable order with ``after`` filled in, each edge said once.

    Raises:
        CatalogError: The catalogue's steps wait for each other in a circle.
    """
    classes = {i: item_class(x, tasks) for i, x in items.items()}
    edges = {i: _waits_for(x, items, classes, steps, tasks, hand) for i, x in items.items()}
    order = _sorted(edges, {i: _rank(x, classes[i], steps, tasks) for i, x in items.items()})
    slim = _reduced(order, edges)
    return tuple(msgspec.structs.replace(items[i], after=slim[i]) for i in order)


def _rank(
    item: WorkItem, group: str, steps: Mapping[str, Step], tasks: TaskBook
) -> tuple[int, int, str]:
    if group == "step":
        return steps[item.id.removeprefix(STEP)].rank, 0, item.id
    if item.component is None:
        return _RANKS[group], 0, item.id
    own = tasks.work[split_component(item.component).kind].rank
    if group == "keep":
        return _RANKS["inspect"], own, item.id
    return _RANKS.get(group, _FIT_RANKS.get(group, 0)), own, item.id


def _waits_for(
    item: WorkItem,
    items: Mapping[str, WorkItem],
    classes: Mapping[str, str],
    steps: Mapping[str, Step],
    tasks: TaskBook,
    hand: Side,
) -> set[str]:
    group = classes[item.id]
    if group == "step":
        words: Iterable[str] = steps[item.id.removeprefix(STEP)].after
    elif group == "configure":
        words = [next(w for w in _CONFIGURE_ANCHORS if STEP + w in items)]
    else:
        words = _ANCHORS.get(group, ())
    found = {i for w in words for i in _expand(w, items, classes, tasks)}
    if item.component is not None:
        found |= _neighbours(item, items, tasks, hand)
    return found - {item.id}


def _expand(
    word: str,
    items: Mapping[str, WorkItem],
    classes: Mapping[str, str],
    tasks: TaskBook,
) -> set[str]:
    """Return the items a word stands for.

    A step that is not on the list stands for the steps it would wait for; the classes it would
    wait for are left out, since they belong to what that step does.
    """
    if word.startswith(ALL):
        return {i for i, c in classes.items() if c == word.removeprefix(ALL)}
    if STEP + word in items:
        return {STEP + word}
    return {
        i
        for w in tasks.steps[word].after
        if not w.startswith(ALL)
        for i in _expand(w, items, classes, tasks)
    }


def _neighbours(
    item: WorkItem, items: Mapping[str, WorkItem], tasks: TaskBook, hand: Side
) -> set[str]:
    """Return the items on the same component and on its neighbours that come first."""
    component = item.component or ""
    own = {f"{component}:{a}" for a in _OWN_FIRST.get(item_class(item, tasks), ())}
    if item.action == "replace":
        kinds = tasks.work[split_component(component).kind].after
        own |= {
            x.id
            for x in items.values()
            if x.component is not None
            and x.action == "replace"
            and split_component(x.component).kind in kinds
            and _touch(component, x.component, hand)
        }
    return {i for i in own if i in items}


def _touch(one: str, other: str, hand: Side) -> bool:
    places = (split_component(one).place, split_component(other).place)
    if places[0] == places[1] or "centre" in places:
        return True
    if all(p in SEATS for p in places):
        return False
    sides = [side_of(p, hand) for p in places]
    return sides[0] is not None and sides[0] == sides[1]


def _sorted(
    edges: Mapping[str, set[str]], ranks: Mapping[str, tuple[int, int, str]]
) -> tuple[str, ...]:
    """Return the ids so that each comes after all it waits for, the lowest rank first."""
    waiting = {i: len(before) for i, before in edges.items()}
    followers: dict[str, list[str]] = {i: [] for i in edges}
    for i, before in edges.items():
        for b in before:
            followers[b].append(i)
    free = [ranks[i] for i, n in waiting.items() if n == 0]
    heapq.heapify(free)
    order: list[str] = []
    while free:
        done = heapq.heappop(free)[2]
        order.append(done)
        for i in followers[done]:
            waiting[i] -= 1
            if waiting[i] == 0:
                heapq.heappush(free, ranks[i])
    if len(order) < len(edges):
        stuck = sorted(set(edges) - set(order))
        raise CatalogError(f"tasks wait for each other in a circle: {', '.join(stuck)}")
    return tuple(order)


def _reduced(order: tuple[str, ...], edges: Mapping[str, set[str]]) -> dict[str, tuple[str, ...]]:
    """Return the edges without those that follow from the others, in the order of the list."""
    place = {i: n for n, i in enumerate(order)}
    before: dict[str, set[str]] = {}
    slim: dict[str, tuple[str, ...]] = {}
    for i in order:
        implied = {x for e in edges[i] for x in before[e]}
        slim[i] = tuple(sorted(edges[i] - implied, key=place.__getitem__))
        before[i] = edges[i] | implied
    return slim
