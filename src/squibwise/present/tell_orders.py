"""What is ordered: pieces of one kind on one line, why, and for how much."""

from collections.abc import Iterable, Sequence

from squibwise.catalog.load import Catalog
from squibwise.history.order import read_history
from squibwise.history.signed import ORIGINAL, labelled
from squibwise.model.case import Case
from squibwise.model.cost import Money
from squibwise.model.evidence import Circumstance, Impact
from squibwise.model.names import Side, side_of, split_component
from squibwise.model.words import REACHING
from squibwise.model.work import Order, Question, Work
from squibwise.present.figures import about, bare_sum
from squibwise.present.telling import Section, Table, Telling, Text, filled, section
from squibwise.require.orders import FASTENERS
from squibwise.require.questions import CRASH


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


def is_crash_untold(case: Case, todo: Work) -> bool:
    """Return whether it is asked for what happened, or how far water or fire came."""
    told = [e for e in case.evidence if isinstance(e, Circumstance)]
    reaching = [e for e in told if e.what in REACHING]
    open_ended = {e.what for e in reaching if e.present} - {e.what for e in reaching if e.parts}
    nothing = not told and not any(isinstance(e, Impact) for e in case.evidence)
    return nothing or bool(open_ended) or CRASH in {q.id for q in open_questions(todo)}


def group_orders(orders: Iterable[Order]) -> list[tuple[Order, ...]]:
    """Return orders of the same assembly for the same reason together, in their order."""
    groups: dict[tuple[object, ...], list[Order]] = {}
    for one in orders:
        name = one.title.partition(", ")[0].partition(": ")[0]
        key = (one.assembly, name, one.kind, one.question, one.settled_by, one.price)
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
    amount = Money(minor=total, currency=price.likely.currency)
    is_guess = price.basis == "from-memory"
    return f"~{about(amount).rpartition(' ')[0]}" if is_guess else bare_sum(amount)


def tell_why(order: Order) -> str:
    """Return why an order stands on the list, in a few words."""
    if order.kind == "certain":
        return "certain"
    if order.kind == "rule":
        asking = len(order.profiles)
        if not order.of_profiles:
            return "maker's rule"
        is_few = 2 * asking < order.of_profiles
        return "most makers" if is_few else f"rule, {asking} of {order.of_profiles}"
    if order.kind == "look-first":
        return f"look: {order.settled_by.rpartition(': ')[2] or order.settled_by or 'at the part'}"
    return f"ask: {order.question}"


def tell_for_desk(case: Case) -> tuple[str, ...]:
    """Return which car it is, by what a parts desk looks parts up."""
    car = case.car
    about = f"model year {car.model_year or 'not stated'}, driver on the {car.drive_hand}"
    return (f"VIN {car.vin}, {about}",) if car.vin else (_NO_VIN, about)


def tell_order_list(case: Case, todo: Work, catalog: Catalog) -> Telling:
    """Return the order list as a parts desk reads it: each part with its side, nothing else."""
    british = (case.region or "").startswith("GB")
    now = order_now(todo)
    perhaps = tuple(o for o in may_be_added(todo) if o.assembly != FASTENERS)

    def listed(title: str, orders: Iterable[Order], note: str = "") -> Section | None:
        rows = tuple(row for o in orders for row in _desk_rows(o, case, catalog, british, now))
        return (
            section(title, Table(rows=rows, head=("", "part", "note")), note=note) if rows else None
        )

    least = catalog.fact("present.ask-price-from").number()
    unlikely = sum(o.p < least for o in perhaps)
    empty = "" if now else _NOTHING if not perhaps else _NOTHING_YET
    return Telling(
        title="Order list",
        subtitle=case.title or case.id,
        about=tell_for_desk(case),
        sections=filled(
            (
                listed("Order: certain", (o for o in now if o.kind == "certain")),
                listed(
                    "Order: by rule",
                    (o for o in now if o.kind != "certain"),
                    note="rules ask for it: those of this car, or of most makers",
                ),
                section("Order", Text(text=empty)) if empty else None,
                listed(
                    "Price and days only",
                    (o for o in perhaps if o.p >= least),
                    note="a look or the maker's rule decides first",
                ),
            )
        ),
        closing=(
            *((Text(text=_UNLIKELY.format(count=unlikely)),) if unlikely else ()),
            *((Text(text=_BY_VIN),) if now or unlikely < len(perhaps) else ()),
        ),
    )


_NOTHING = "Nothing to order: no part is known to be needed."
_NOTHING_YET = "Nothing to order yet: a look or the maker's rule decides on every part."
_UNLIKELY = "{count} more parts are unlikely and not asked for here: `squibwise work CASE --full`."
_NO_VIN = "VIN not stated: no parts desk sells by this list without it; enter it under [car]"
_BY_VIN = (
    "By VIN and equipment, not by looks: left and right, driver and passenger are different "
    "numbers; name the connector, the position code of a sensor, the trim colour. Ask of each: "
    "price, days, supersession, whether it is recalled. Dangerous goods go by ground freight."
)


def _desk_rows(
    order: Order, case: Case, catalog: Catalog, british: bool, now: Sequence[Order]
) -> Iterable[tuple[str, ...]]:
    """Return one row for each place, or one for all where the number is the same."""
    assembly = catalog.assemblies[order.assembly]
    places = list(dict.fromkeys(split_component(c).place for c in order.contains))
    hand = case.car.drive_hand
    notes = [_tell_apart(assembly.sold_apart)] if assembly.sold_apart else []
    notes += [assembly.to_desk] if assembly.to_desk else []
    notes += ["dangerous goods"] if order.live else []
    notes = [*_old_numbers(order, case), *notes]
    if order.assembly == FASTENERS:
        notes = [f"say which by the maker's page of each part: {_name_fasteners(now, catalog)}"]
    title = assembly.title_at(places[0], british=british) if places else order.title
    where = ", ".join(_where(p, hand) for p in places if p != "centre")
    alone = len(assembly.places) == 1 or not where
    yield str(order.quantity), title if alone else f"{title}, {where}", "; ".join(notes)


def _old_numbers(order: Order, case: Case) -> list[str]:
    """Return the numbers on the old parts, each with its place where they are many."""
    labels = [
        x
        for x in labelled(read_history(case.evidence))
        if x.component in order.contains and x.provenance == ORIGINAL
    ]
    told = (
        x.number if len(labels) == 1 else f"{split_component(x.component).place} {x.number}"
        for x in labels
    )
    return [f"on the old part: {', '.join(told)}"] if labels else []


def _name_fasteners(orders: Iterable[Order], catalog: Catalog) -> str:
    """Return which parts of an order list have fasteners that are new each time, and what."""
    used = [catalog.assemblies[word] for word in dict.fromkeys(o.assembly for o in orders)]
    told = (f"{a.short or a.title} ({a.one_time})" for a in used if a.one_time)
    return "; ".join(told) or "none is known of these"


def _tell_apart(sold_apart: str) -> str:
    """Return what is not in the part; a line that is several pieces is to be told apart first."""
    pieces, choose, which = sold_apart.partition(": say which")
    return f"say which{which} before it is ordered: {pieces}" if choose else f"sold apart: {pieces}"


def _where(place: str, hand: Side) -> str:
    side = side_of(place, hand)
    word = place.replace("row2", "second row").replace("row3", "third row").replace("-", " ")
    return f"{word} ({side})" if side and side not in place else word
