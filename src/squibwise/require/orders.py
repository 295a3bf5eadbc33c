"""What is ordered: demands on components become assemblies, each asked for once, each of a kind."""

from collections.abc import Iterable, Iterator, Sequence

import msgspec

from squibwise.catalog.assemblies import Assembly
from squibwise.catalog.load import Catalog
from squibwise.history.prices import PriceBook, price_levels, read_price_book
from squibwise.model.belief import Because, Located
from squibwise.model.car import Price, Profile
from squibwise.model.case import Case
from squibwise.model.cost import from_major
from squibwise.model.evidence import Look
from squibwise.model.names import split_component, split_loop
from squibwise.model.work import Demand, DemandKind, Order, PriceRange

KINDS: tuple[DemandKind, ...] = ("certain", "rule", "look-first", "ask")
FASTENERS = "bolts-kit"


class Piece(msgspec.Struct, frozen=True, kw_only=True):
    """One assembly that the car has.

    Attributes:
        place: Where it sits.
        contains: Components of the car that come inside it or with it.
        key: Those whose replacement stands for the whole.
        number: Of its operations: taking it out; fitting and tracing have theirs from it.
    """

    assembly: Assembly
    place: str
    contains: tuple[str, ...]
    key: tuple[str, ...]
    number: int

    @property
    def id(self) -> str:
        """Word in the ids of operations: ``front-belt@driver``."""
        return f"{self.assembly.id}@{self.place}"


Asked = dict[str, tuple[Piece, list[Demand]]]


def find_pieces(case: Case, catalog: Catalog, located: Iterable[Located] = ()) -> tuple[Piece, ...]:
    """Return every assembly a car has; each component is inside one.

    What comes with an assembly on some cars only is in it where the case says so.

    Args:
        case: The car, and what it says of how parts are sold.
        catalog: For the assemblies.
        located: Faults that tests located: in a branch that is sold alone, the branch is bought.
    """
    at: dict[str, list[str]] = {}
    for component in case.car.components:
        at.setdefault(split_component(component).place, []).append(component)
    parts = [a for a in catalog.assemblies.values() if a.instead and _is_bought(a, case)]
    kept = {kind for a in parts for kind in a.key}
    found = [
        piece
        for assembly in catalog.assemblies.values()
        if assembly in parts or not (assembly.instead or kept.intersection(assembly.key))
        for index, place in enumerate(assembly.places)
        for piece in _pieces(assembly, place, index, at.get(place, []), case.profile)
    ]
    for branch in _branches(located, case, catalog):
        found = [p for p in found if not set(branch.key) & set(p.key)]
        found.append(branch)
    return tuple(sorted(found, key=lambda p: p.number))


def _branches(located: Iterable[Located], case: Case, catalog: Catalog) -> Iterator[Piece]:
    """Yield what is bought of a whole that nobody saw damaged: the branch that is at fault."""
    seen = {e.component for e in case.evidence if isinstance(e, Look) and e.seen not in _WHOLE}
    branches = {a.element: a for a in catalog.assemblies.values() if a.element}
    for fault in located:
        place = split_component(split_loop(fault.loop)[0]).place
        branch = branches.get(fault.element)
        if branch and place in branch.places and fault.component not in seen:
            yield Piece(
                assembly=branch,
                place=place,
                contains=(fault.component,),
                key=(fault.component,),
                number=branch.operation.number + branch.places.index(place),
            )


_WHOLE = ("intact", "not-seen")


def _is_bought(assembly: Assembly, case: Case) -> bool:
    """Does the maker keep the whole part, of which this is sold, and did no eye see it damaged."""
    hurt = any(
        isinstance(e, Look)
        and e.seen == "damaged"
        and split_component(e.component).kind in assembly.key
        for e in case.evidence
    )
    return bool(assembly.where_kept and not hurt) and any(
        r.component in assembly.key and r.when == assembly.where_kept and r.action != "replace"
        for r in case.profile.rules
    )


def _pieces(
    assembly: Assembly, place: str, index: int, here: Sequence[str], sold: Profile
) -> list[Piece]:
    kinds = {c: split_component(c).kind for c in here}
    keys = [c for c in here if kinds[c] in assembly.key]
    if not keys or any(k in assembly.unless for k in kinds.values()):
        return []
    inside = assembly.held_kinds(sold)
    with_it = [c for c in here if kinds[c] in inside]
    number = assembly.operation.number + index
    return [
        Piece(
            assembly=assembly,
            place=place,
            contains=tuple(sorted({*keys, *with_it})),
            key=tuple(keys),
            number=number,
        )
    ]


def find_piece(component: str, pieces: Iterable[Piece]) -> Piece | None:
    """Return the assembly that is ordered when a component is bad; None when none holds it."""
    kind = split_component(component).kind
    inside = [p for p in pieces if component in p.contains]
    asked = [p for p in inside if kind in (*p.assembly.key, *p.assembly.holds)]
    return next(iter(sorted(asked or inside, key=lambda p: kind not in p.assembly.holds)), None)


def list_orders(
    demands: Iterable[Demand], pieces: Sequence[Piece], case: Case, catalog: Catalog
) -> tuple[Order, ...]:
    """Return the order list: certain first, then by rule, by look, by asking.

    Args:
        demands: Demands to replace; each with its kind.
        pieces: Assemblies of the car.
        case: For the prices the user entered.
        catalog: For titles.
    """
    asked: Asked = {}
    for demand in demands:
        piece = find_piece(demand.component or "", pieces)
        if piece is not None:
            asked.setdefault(piece.id, (piece, []))[1].append(demand)
    least = catalog.fact("require.list-from").number()
    listed = [_order(piece, items, case, catalog) for piece, items in _gathered(asked).values()]
    orders = [o for o in listed if o.p >= least]
    likely = catalog.fact("require.likely").number()
    others = [o for o in orders if o.assembly != FASTENERS and not o.body_work]
    kit = [o for o in orders if o.assembly == FASTENERS]
    if all(o.p < likely or o.kind == "ask" for o in others):
        kit = []
    kit = [_as_sure_as(others, o) for o in kit]
    outside = [o for o in orders if o.body_work]
    return tuple(sorted(_merged([*others, *outside, *kit], catalog), key=_rank))


def _as_sure_as(others: Sequence[Order], kit: Order) -> Order:
    """Return the fasteners as sure as the surest part they belong to, no more and no less."""
    surest = min(others, key=_rank)
    return msgspec.structs.replace(
        kit,
        kind=surest.kind,
        p=min(kit.p, surest.p),
        profiles=surest.profiles,
        of_profiles=surest.of_profiles,
    )


def _rank(order: Order) -> tuple[int, bool, float]:
    """Return the place of an order: the surest first, fasteners behind what they belong to."""
    return KINDS.index(order.kind), order.assembly == FASTENERS, -round(order.p, _ALIKE)


_ALIKE = 9  # digits: what two sides of a car share is not put in order by how it was summed up


def _gathered(asked: Asked) -> Asked:
    """Return what is asked for, with pieces that come along put to the one that brings them."""
    kept = dict(asked)
    for word, (piece, items) in asked.items():
        bringer = next(
            (
                other
                for other, (p, i) in kept.items()
                if other != word and set(piece.contains) <= set(p.contains) and _is_sure(i)
            ),
            None,
        )
        if bringer is not None:
            kept[bringer] = (kept[bringer][0], [*kept[bringer][1], *items])
            del kept[word]
    return kept


def _is_sure(items: Sequence[Demand]) -> bool:
    return any(i.kind in ("certain", "rule") for i in items)


def _order(piece: Piece, items: Sequence[Demand], case: Case, catalog: Catalog) -> Order:
    lead = min(items, key=lambda i: (KINDS.index(i.kind), i.component not in piece.key, -i.needed))
    alike = [i for i in items if i.kind == lead.kind]
    assembly = piece.assembly
    return Order(
        assembly=assembly.id,
        title=_title(piece),
        contains=piece.contains,
        kind=lead.kind,
        profiles=tuple(sorted({n for i in alike for n in i.profiles})),
        of_profiles=lead.of_profiles,
        p=max(i.needed for i in alike),
        settled_by=lead.settled_by,
        question=lead.question,
        because=_reasons(alike),
        price=_price(piece, case, catalog),
        used_price=_range(assembly.used, assembly, case.currency, catalog),
        lead_days=assembly.lead_days,
        live=assembly.live,
        note=_note(assembly),
        body_work=assembly.body_work,
        done=all(i.done for i in items),
        demands=tuple(i.id for i in items),
    )


def _title(piece: Piece) -> str:
    title = piece.assembly.title_at(piece.place)
    is_alone = piece.place == "centre" or len(piece.assembly.places) == 1
    return title if is_alone else f"{title}, {piece.place}"


def _reasons(items: Iterable[Demand]) -> tuple[Because, ...]:
    return tuple(dict.fromkeys(b for i in items for b in i.because))


def _note(assembly: Assembly) -> str:
    parts = [f"Often sold apart: {assembly.sold_apart}." if assembly.sold_apart else ""]
    parts.append(f"To the parts desk: {assembly.to_desk}." if assembly.to_desk else "")
    parts.append(f"New each time: {assembly.one_time}." if assembly.one_time else "")
    parts.append(f"Used refused: {assembly.used_refused}." if assembly.used_refused else "")
    return " ".join(p for p in parts if p)


def _price(piece: Piece, case: Case, catalog: Catalog) -> PriceRange | None:
    entered = find_price(piece, read_price_book(case))
    if entered is not None:
        return PriceRange(
            low=entered.low,
            likely=entered.likely,
            high=entered.high,
            basis="entered",
            on=entered.on.isoformat() if entered.on else "",
        )
    return _range(piece.assembly.new, piece.assembly, case.currency, catalog)


def _range(
    three: tuple[int, int, int] | None, assembly: Assembly, currency: str, catalog: Catalog
) -> PriceRange | None:
    """Return the catalogue's range; none in a currency whose level of prices nobody stated."""
    levels = price_levels(currency, catalog)
    if three is None or levels is None:
        return None
    low, likely, high = (
        from_major(round(v * level), currency) for v, level in zip(three, levels, strict=True)
    )
    return PriceRange(
        low=low, likely=likely, high=high, basis=assembly.basis, on=assembly.read_on.isoformat()
    )


def find_price(piece: Piece, book: PriceBook) -> Price | None:
    """Return what the user entered for an assembly, the closest word first.

    Under a leading component, the assembly, the kind of a leading component, then what it contains.
    """
    kinds = (split_component(c).kind for c in piece.key)
    return book.find(*piece.key, piece.assembly.id, *kinds, *piece.contains)


def _merged(orders: Sequence[Order], catalog: Catalog) -> list[Order]:
    """Return the orders with those of one part number on one line."""
    lines: dict[tuple[object, ...], list[Order]] = {}
    for order in orders:
        same = catalog.assemblies[order.assembly].same_number
        place = order.title.partition(", ")[0] if same else order.title
        key = (order.assembly, order.kind, order.done, place, order.question)
        lines.setdefault(key, []).append(order)
    return [_together(alike) for alike in lines.values()]


def _together(same: Sequence[Order]) -> Order:
    first = same[0]
    if len(same) == 1:
        return first
    places = ", ".join(split_component(o.contains[0]).place for o in same)
    return msgspec.structs.replace(
        first,
        title=f"{first.title.partition(', ')[0]}: {places}",
        contains=tuple(c for o in same for c in o.contains),
        quantity=len(same),
        p=max(o.p for o in same),
        because=tuple(dict.fromkeys(b for o in same for b in o.because)),
        demands=tuple(d for o in same for d in o.demands),
    )
