"""What is ordered: pieces of one kind on one line, why, and for how much."""

from collections.abc import Iterable, Sequence

from squibwise.model.cost import Money
from squibwise.model.work import Order, Question, Work
from squibwise.present.figures import bare_sum


def order_now(todo: Work) -> tuple[Order, ...]:
    """Return what is needed for certain or by rule, and is neither fitted nor body work."""
    return tuple(o for o in _due(todo) if o.kind in ("certain", "rule"))


def may_be_added(todo: Work) -> tuple[Order, ...]:
    """Return what only a look or the maker decides."""
    return tuple(o for o in _due(todo) if o.kind not in ("certain", "rule"))


def _due(todo: Work) -> Iterable[Order]:
    return (o for o in todo.orders if not o.done and not o.body_work)


def open_questions(todo: Work) -> tuple[Question, ...]:
    """Return the questions nobody has answered, most worth asking first."""
    return tuple(q for q in todo.questions if not q.answered)


def group_orders(orders: Iterable[Order]) -> list[tuple[Order, ...]]:
    """Return orders of the same assembly for the same reason together, in their order."""
    groups: dict[tuple[object, ...], list[Order]] = {}
    for one in orders:
        key = (one.assembly, one.kind, one.question, one.settled_by, one.price)
        groups.setdefault(key, []).append(one)
    return [tuple(group) for group in groups.values()]


def tell_titled(group: Sequence[Order]) -> str:
    """Return what is ordered, with the number of pieces and every place."""
    head, _, first = group[0].title.partition(", ")
    places = ", ".join(o.title.partition(", ")[2] for o in group)
    title = f"{head}: {places}" if len(group) > 1 and first else group[0].title
    pieces = sum(o.quantity for o in group)
    return f"{pieces} x {title}" if pieces > 1 else title


def tell_price(group: Sequence[Order]) -> str:
    """Return the likely price of a group; a figure from memory stands behind ``~``."""
    price = group[0].price
    if price is None:
        return "no price"
    total = price.likely.minor * sum(o.quantity for o in group)
    told = bare_sum(Money(minor=total, currency=price.likely.currency))
    return f"~{told}" if price.basis == "from-memory" else told


def tell_why(order: Order) -> str:
    """Return why an order stands on the list, in a few words."""
    if order.kind == "certain":
        return "certain"
    if order.kind == "rule":
        return f"rule, {len(order.profiles)} of {order.of_profiles}"
    if order.kind == "look-first":
        return f"look: {order.settled_by.rpartition(': ')[2] or order.settled_by or 'at the part'}"
    return f"ask: {order.question}" if order.question else "ask the maker"
