"""Which thing of the order list an offer is for: by its key, a part in it, or people's words."""

import re
from collections.abc import Iterable, Mapping, Sequence

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.story_words import plain
from squibwise.model.case import Case
from squibwise.model.market import KEPT_STATES, JudgedOffer, Need, Offer
from squibwise.model.names import side_of, split_component
from squibwise.model.origin import Finding


class Likeness(msgspec.Struct, frozen=True, kw_only=True):
    """From which likeness of names, of 100, something is said of them.

    Attributes:
        like: A part is taken for what it is like.
        near: A part is named as perhaps meant.
        ahead: So much the first is above the second; a place of its own that is named counts so.
        same: Nobody is asked to make sure.
        side_less: What a name counts less that was found without the word side.
    """

    like: float
    near: float
    ahead: float
    same: float
    side_less: float


def read_likeness(catalog: Catalog) -> Likeness:
    """Return the limits of the catalogue."""
    words = {w: f"market.name-{w.replace('_', '-')}" for w in Likeness.__struct_fields__}
    return Likeness(**{w: catalog.fact(word).number() for w, word in words.items()})


class _Named(msgspec.Struct, frozen=True):
    """A need, and how people name it.

    Attributes:
        names: What it is called, without the words for its place, and the words for a place that
            such a name asks for: a "centre airbag" is the centre one only where that is said.
        places: Words for its place that may stand beside a name.
        is_alone: There is no twin of it at another place of a car.
    """

    need: Need
    names: tuple[tuple[str, frozenset[str]], ...]
    places: frozenset[str]
    is_alone: bool


def assembly_of(key: str) -> str:
    """Return the assembly of what is needed, by its key."""
    return key.partition("@")[0]


class Names(msgspec.Struct, frozen=True):
    """Everything that is to be bought by its names, and the words that names are read with.

    Attributes:
        assemblies: Which assemblies a name is one of, those that are not to be bought too.
        limits: From which likeness something is said.
        spots: Places of one side that a part may sit at, by how words of people for it begin.
    """

    needs: tuple[_Named, ...]
    places: dict[str, str]
    filler: frozenset[str]
    limits: Likeness
    assemblies: dict[str, set[str]] = {}
    spots: dict[str, str] = {}

    def is_elsewhere(self, need: Need, text: str) -> bool:
        """Does a text name a door or a pillar where the need is at the other of them."""
        mine = {split_component(c).place.partition("-")[0] for c in need.contains}
        said = re.findall(r"\w+", plain(text).replace("-", " "))
        named = {spot for w in said for begin, spot in self.spots.items() if w.startswith(begin)}
        return bool(named and mine & {*self.spots.values()}) and not mine & named

    def sold_as(self, part: str) -> set[str]:
        """Return the assemblies that have just this name, in whatever order its words stand."""
        return self.assemblies.get(_in_order(part), set())

    def is_other(self, named: _Named, part: str) -> bool:
        """Does a name hold a word that only other parts are called by: "side" of "side airbag"."""
        told = {w for w in part.split() if any(w in name.split() for name in self.assemblies)}
        return not told <= {w for name, _ in named.names for w in name.split()}

    def part(self, text: str) -> tuple[str, frozenset[str]]:
        """Return a name without place and filler, and the places it names."""
        small = re.sub(r"\b(?:d|l|dell|all|sull)'(?!h\b)", " ", plain(text))  # d'airbag
        small = re.sub(r"(?<=\w)'s?\b", "", small).replace("l/h", "lh").replace("r/h", "rh")
        words = re.findall(r"\w+", small)
        found = {p for w in words for p in self.places.get(w, "").split()}
        found -= {"front"} if "door" in words else set()  # "front left door": the door itself
        kept = (w for w in words if w not in self.places and w not in self.filler)
        return " ".join(kept), frozenset(found)


def _in_order(name: str) -> str:
    return " ".join(sorted(name.split()))


def name_needs(wanted: Sequence[Need], case: Case, catalog: Catalog) -> Names:
    """Return everything that is wanted by the names that people have for it."""
    words = catalog.market.words
    known = Names(
        needs=(),
        places={w: x.means for x in words if x.column == "part-place" for w in x.words},
        filler=frozenset(w for x in words if x.column == "part-filler" for w in x.words),
        limits=read_likeness(catalog),
        spots={w: x.means for x in words if x.column == "part-spot" for w in x.words},
    )
    called: dict[str, list[str]] = {}
    for word in words:
        if word.column == "part":
            called.setdefault(word.means, []).extend(word.words)
    assemblies: dict[str, set[str]] = {}
    for sold, texts in called.items():
        for text in texts:
            assemblies.setdefault(_in_order(known.part(text)[0]), set()).add(sold)
    named = []
    for need in wanted:
        mine, names = frozenset(_places_of(need, case)), []
        titles = (need.title, need.title.partition(", ")[0])
        for text in (*titles, *called.get(assembly_of(need.key), ())):
            if known.is_elsewhere(need, text):
                continue
            name, places = known.part(re.sub(r"\(.*?\)", "", text))
            names += [(name, places - mine)] if name else []
        assembly = catalog.assemblies.get(assembly_of(need.key))
        alone = assembly is not None and (len(assembly.places) == 1 or assembly.same_number)
        told = mine.union(*(p for _, p in names))
        named.append(_Named(need, tuple(dict.fromkeys(names)), told, alone))
    return msgspec.structs.replace(known, needs=tuple(named), assemblies=assemblies)


def _places_of(need: Need, case: Case) -> Iterable[str]:
    """Yield the words that may stand for where a part is: its side, its end, its seat."""
    return _words_for(list_places(need), case)


def _words_for(places: Iterable[str], case: Case) -> Iterable[str]:
    for place in places:
        side = side_of(place, case.car.drive_hand)
        if side:
            yield side
            yield "driver" if side == case.car.drive_hand else "passenger"
        if not place.startswith(("door", "pillar")):
            yield "rear" if place.startswith("row") or place == "tail" else "front"
        if "centre" in place:
            yield "centre"


def match_need(offer: Offer, names: Names) -> tuple[Need | None, list[Finding]]:
    """Return the need an offer is for: by its key, a component in it, or what people call it.

    A place that the offer names has to be the need's; what fits two needs alike fits neither.
    """
    wanted = [n.need for n in names.needs]
    exact = [n for n in wanted if offer.fits in (n.key, *_other_keys(n), *n.contains)]
    exact = exact or [n for n in wanted if offer.fits.lower() == n.title.lower()]
    if exact:
        return exact[0], []
    part, places = names.part(offer.fits)
    known = names.sold_as(part)
    on_list = {assembly_of(n.key) for n in wanted}
    if places and (known & on_list or not known):
        known = known | names.sold_as(_without_side(part))
    limits = names.limits
    scored = sorted(
        (
            (_name_likeness(part, places, named, limits), named.need.key, named)
            for named in names.needs
            if part and (not known or assembly_of(named.need.key) in known)
        ),
        key=lambda s: (-s[0] - limits.ahead * _is_at(s[2].need, places), s[1]),
    )
    mine = (s for s in scored if known or not names.is_other(s[2], part))
    at_hand = (s for s in mine if not names.is_elsewhere(s[2].need, offer.fits))
    fitting = [s for s in at_hand if places <= s[2].places]
    if fitting and fitting[0][0] >= limits.like and _is_ahead(fitting, places, limits):
        score, _, found = fitting[0]
        is_sure = score >= limits.same and (places or found.is_alone)
        return found.need, [] if is_sure else [_guessed(offer, found.need)]
    near = [n for score, _, n in fitting if score >= limits.near and _shares_word(part, n)]
    is_known = bool(fitting) and fitting[0][0] >= limits.like
    return None, [fits_nothing(offer, [n.need for n in near[:2]], is_known=is_known)]


def _shares_word(part: str, named: _Named) -> bool:
    return any({*part.split()} & {*name.split()} for name, _ in named.names)


def _other_keys(need: Need) -> Iterable[str]:
    """Yield the key of a need at each of its places: three sensors are one line of the list."""
    assembly = assembly_of(need.key)
    return (f"{assembly}@{split_component(c).place}" for c in need.contains)


def _name_likeness(part: str, places: frozenset[str], named: _Named, limits: Likeness) -> float:
    """Return how alike a name is to those of a need, of 100."""
    from rapidfuzz import fuzz, process

    whole = _without_side(part) if places else part
    names = [n for n, asks in named.names if asks <= places]
    found = [process.extractOne(w, names, scorer=fuzz.token_sort_ratio) for w in (part, whole)]
    scores = (
        one[1] - less for one, less in zip(found, (0.0, limits.side_less), strict=True) if one
    )
    return max(scores, default=0.0)


def _without_side(part: str) -> str:
    """Return a name without 'side': "driver side" may name the place, "side airbag" the part."""
    return " ".join(w for w in part.split() if w != "side")


def _is_at(need: Need, places: frozenset[str]) -> bool:
    """Is a need's own seat or side named: 'driver' is said of the driver's seat first."""
    return any(split_component(c).place in places for c in need.contains)


def _is_ahead(
    fitting: Sequence[tuple[float, str, _Named]], places: frozenset[str], limits: Likeness
) -> bool:
    """Is the first of them clearly likelier than the second."""
    ranks = [score + limits.ahead * _is_at(n.need, places) for score, _, n in fitting[:2]]
    return len(ranks) == 1 or ranks[0] - ranks[1] >= limits.ahead


def _guessed(offer: Offer, need: Need) -> Finding:
    return Finding(
        code="offer-part-guessed",
        severity="note",
        message=f"'{offer.fits}' is taken for {need.title}.",
        remedy=f"Write '{need.key}' in the column of the part to be sure.",
        origin=offer.origin,
    )


def fits_nothing(offer: Offer, near: Sequence[Need] = (), *, is_known: bool = False) -> Finding:
    """Tell a line that is for nothing on the list, or for one of several things."""
    names = " or ".join(f"'{n.key}'" for n in near)
    if is_known:
        message = f"'{offer.fits}' may be more than one thing on the order list: it is in no plan."
        remedy = f"Write which: {names}."
    else:
        message = f"'{offer.fits}' is not on the order list of this car: it is in no plan."
        remedy = "Nothing is to do if it is for other work. If it is for a part of the list, write "
        remedy += f"its key: {names}." if near else "its key: `buy CASE --request` prints them."
    return Finding(
        code="offer-fits-nothing",
        severity="warning",
        message=message,
        remedy=remedy,
        origin=offer.origin,
    )


class Cover(msgspec.Struct, frozen=True):
    """What an offer is for, of an assembly that is sold under one number for several places.

    Attributes:
        need: With the places it covers only; None = with none of the list.
        place: The one that it names; empty = none, or more than one.
    """

    need: Need | None
    place: str


def cover_pieces(
    matched: Mapping[str, tuple[Offer, Need | None]],
    wanted: Sequence[Need],
    names: Names,
    case: Case,
    catalog: Catalog,
) -> dict[str, Cover]:
    """Return what each offer is for, by its id, where one number is sold for several places.

    An offer that names one of them is for that one where others name others; else it is for all.
    What was ordered is for as many as were ordered, however the list is cut by later looks.

    Args:
        matched: Offers with what each fits by its name, by their ids.
        wanted: Everything that may be bought or is fitted.
        names: Of these.
        case: The car.
        catalog: For the assemblies.
    """
    found: dict[str, Cover] = {}
    for sold in dict.fromkeys(assembly_of(n.key) for n in wanted):
        if sold not in catalog.assemblies or not catalog.assemblies[sold].same_number:
            continue
        needs = [n for n in wanted if assembly_of(n.key) == sold]
        places = {p: n.fitted for n in needs for p in list_places(n)}
        mine = [o for o, n in matched.values() if _is_sold_as(sold, o, n, names, case, catalog)]
        at = {o.id: _named_place(o, catalog.assemblies[sold].places, names, case) for o in mine}
        apart = len({place for place in at.values() if place}) > 1
        own = {
            o.id
            for o in mine
            if at[o.id]
            and (count_pieces(o) == 1 or (o.quantity is None and apart and o.pieces == 1))
        }
        filled: set[str] = set()
        for offer in sorted(mine, key=lambda o: (o.state not in KEPT_STATES, o.id not in own)):
            one, count = at[offer.id], count_pieces(offer)
            is_kept = offer.state in KEPT_STATES
            if offer.id in own:
                covers = [p for p in places if p == one]
            elif is_kept:
                is_in = offer.state == "fitted"
                left = [p for p in places if p not in filled]
                left.sort(key=lambda p: (p != one, places[p] != is_in))
                covers = left[:count]
            else:
                is_here = one in ("", *places) or matched[offer.id][1] is not None
                covers = [p for p, is_fitted in places.items() if is_here and not is_fitted]
            filled.update(covers if is_kept else ())
            found[offer.id] = Cover(_together(needs, covers), one)
    return found


def _together(needs: Sequence[Need], places: Sequence[str]) -> Need | None:
    """Return what is needed at some places, as one; None = nothing is."""
    mine = [n for n in needs if {*list_places(n)} & {*places}]
    if not mine:
        return None
    inside = (c for n in mine for c in n.contains if split_component(c).place in places)
    return msgspec.structs.replace(mine[0], contains=tuple(inside), quantity=len(places))


def list_places(need: Need) -> tuple[str, ...]:
    """Return the places of what is needed, each once."""
    inside = tuple(dict.fromkeys(split_component(c).place for c in need.contains))
    return inside or (need.key.partition("@")[2],)


def count_pieces(offer: Offer) -> int | None:
    """Return how many pieces an offer holds; None = as many as are asked for."""
    return None if offer.quantity is None or not offer.pieces else offer.quantity * offer.pieces


def _is_sold_as(
    sold: str, offer: Offer, need: Need | None, names: Names, case: Case, catalog: Catalog
) -> bool:
    if need is not None:
        return assembly_of(need.key) == sold
    is_part = offer.fits.rpartition(".")[2] in catalog.assemblies[sold].key
    return (
        is_part
        or assembly_of(offer.fits) == sold
        or tell_sold(offer, names, case, catalog) == {sold}
    )


def tell_sold(offer: Offer, names: Names, case: Case, catalog: Catalog) -> set[str]:
    """Return the assemblies that an offer's words may name, on the list or not, at its place."""
    part, told = names.part(offer.fits)
    return {
        word
        for word in names.sold_as(part)
        if any(told <= {*_words_for([p], case)} for p in catalog.assemblies[word].places)
    }


def _named_place(offer: Offer, places: Sequence[str], names: Names, case: Case) -> str:
    """Return the one of several places that an offer names; empty = none, or more than one."""
    key = offer.fits.partition("@")[2] or offer.fits.rpartition(".")[0]
    if key in places:
        return key
    told = names.part(offer.fits)[1]
    at = {p: set(_words_for([p], case)) for p in places}
    fitting = [p for p, words in at.items() if told <= words]
    return fitting[0] if told and len(fitting) == 1 else ""


def cut_needs(needs: Iterable[Need], judged: Sequence[JudgedOffer]) -> tuple[Need, ...]:
    """Return needs, one for each place where something is offered for some of its places only."""
    counted = [(j.need, set(j.covers)) for j in judged if j.covers is not None and j.counts]
    found: list[Need] = []
    for need in needs:
        places = list_places(need)
        covers = (c & {*places} for key, c in counted if assembly_of(key) == assembly_of(need.key))
        is_cut = any(0 < len(some) < len(places) for some in covers)
        found += [_at(need, p) for p in places] if is_cut else [need]
    return tuple(found)


def _at(need: Need, place: str) -> Need:
    """Return what is needed at one of the places of a need."""
    return msgspec.structs.replace(
        need,
        key=f"{assembly_of(need.key)}@{place}",
        title=f"{need.title.partition(': ')[0]}, {place}",
        contains=tuple(c for c in need.contains if split_component(c).place == place),
        quantity=1,
    )


def pair_offers(needs: Sequence[Need], judged: Iterable[JudgedOffer]) -> tuple[JudgedOffer, ...]:
    """Return each offer once for every need that it covers; the price of a set is shared out."""
    found: list[JudgedOffer] = []
    for one in judged:
        same = [n for n in needs if assembly_of(n.key) == assembly_of(one.need)]
        mine = [n for n in same if one.covers and {*list_places(n)} & {*one.covers}]
        found += _share(one, mine) if mine else [one]
    return tuple(found)


def _share(one: JudgedOffer, mine: Sequence[Need]) -> list[JudgedOffer]:
    offer, pieces = one.offer, sum(n.quantity for n in mine)
    whole = msgspec.structs.replace(mine[0], quantity=pieces)
    is_kept = offer.state in KEPT_STATES and offer.quantity is not None
    times = offer.quantity if is_kept and offer.quantity else offer.times(whole)
    if offer.pieces == 1 or (len(mine) == 1 and times == offer.times(whole)):
        return [msgspec.structs.replace(one, need=n.key) for n in mine]
    found, until, paid = [], 0, 0
    for need in mine:
        until += need.quantity
        share = offer.price.minor * times * until // pieces - paid
        paid += share
        price = msgspec.structs.replace(offer.price, minor=share)
        part = msgspec.structs.replace(offer, price=price, pieces=0, quantity=None)
        found.append(msgspec.structs.replace(one, need=need.key, offer=part))
    return found
