"""The restraint share of many lots at once, by a short way through the catalogue.

A lot's parts are taken as independent within a size of crash, as in a bid. Instead of applying
every rule, an assembly counts where a part in it is not sound, and where makers ask for it because
something else fired, by their share. Prices are the catalogue's wide range.
"""

from bisect import bisect_right
from collections.abc import Iterable, Mapping, Sequence
from functools import lru_cache
from itertools import chain
from typing import Protocol

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.assemblies import Assembly
from squibwise.catalog.load import Catalog, holds_charge
from squibwise.model.bid import NO_LESSONS, BidSheet, Lessons
from squibwise.model.car import Car
from squibwise.model.case import Case
from squibwise.model.evidence import Circumstance
from squibwise.model.lots import LotBelief, LotRow, LotTerms
from squibwise.model.names import split_component
from squibwise.plan.bidding import correct_sheet, outlay, winning_excess
from squibwise.plan.cost_belief import triangle_on_grid
from squibwise.plan.left_over import list_sale_costs
from squibwise.plan.settling import correct_restraint, expect_comebacks

Array = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]
Places = npt.NDArray[np.intp]
_POINTS = 1024  # of the grid of sums: it reaches so many steps far
_BLOCK = 256
_DO_NOT_BID = "do not bid: even the least bid loses more often than you accept"
_NO_SALE = "no limit without --sheet: fees and accepted loss are not known"
LOT_WORLDS = 4
ASSUMED = "equipment assumed"
REACHED = {
    "flood": "stood in water: every part that it reached comes on top",
    "fire": "burnt: every part that heat reached comes on top",
}
"""What is said of a lot whose list does not tell which parts were reached."""


class WorldLike(Protocol):
    """A size of crash: its chance, and what it did to each part."""

    @property
    def weight(self) -> float:
        """Chance of it."""

    @property
    def fired(self) -> dict[str, float]:
        """Chance of having fired, by component id."""

    @property
    def sound(self) -> dict[str, float]:
        """Chance of being sound, by component id."""


class ScreenedLike(Protocol):
    """A lot as inference screened it."""

    @property
    def fired(self) -> dict[str, float]:
        """Chance of having fired, by charge."""

    @property
    def worlds(self) -> Sequence[WorldLike]:
        """Sizes of crash."""


class LotPiece(msgspec.Struct, frozen=True):
    """An assembly of a car, as screening counts it.

    Attributes:
        parts: Components in it.
        price: Low, likely, high, in whole units.
        minutes: Fitting and access. [min]
        follows: Components and the share of makers that ask for it when one of them fired.
    """

    key: str
    parts: tuple[str, ...]
    price: tuple[int, int, int]
    minutes: float
    follows: tuple[tuple[tuple[str, ...], float], ...]


def list_pieces(car: Car, catalog: Catalog) -> tuple[LotPiece, ...]:
    """Return the assemblies of a car that have a price, with what asks for them."""
    pieces = []
    kinds = {split_component(c).kind for c in car.components}
    charges = tuple(c for c in car.components if holds_charge(c, catalog))
    for assembly in catalog.assemblies.values():
        if assembly.new is None or assembly.body_work or set(assembly.unless) & kinds:
            continue
        for component in car.components:
            name = split_component(component)
            if name.kind in assembly.key and name.place in assembly.places:
                pieces.append(_piece(assembly, component, car, charges, catalog))
    return tuple({p.key: p for p in pieces}.values())


def _piece(
    assembly: Assembly, component: str, car: Car, charges: tuple[str, ...], catalog: Catalog
) -> LotPiece:
    place = split_component(component).place
    inside = (*assembly.key, *assembly.holds)
    parts = tuple(
        c
        for c in car.components
        if split_component(c).place == place and split_component(c).kind in inside
    )
    asked = tuple(
        (charges if f.after == ("any",) else tuple(c for c in f.after if c in charges), f.share)
        for f in catalog.lots.follows
        if f.assembly == assembly.id
    )
    return LotPiece(
        key=f"{assembly.id}@{place}",
        parts=parts or (component,),
        price=assembly.new or (0, 0, 0),
        minutes=_minutes(assembly, place, catalog),
        follows=tuple((after, share) for after, share in asked if after),
    )


def _minutes(assembly: Assembly, place: str, catalog: Catalog) -> float:
    """Return fitting and half of its access: what is opened is shared with about one other."""
    fitting = assembly.operation
    openings = [catalog.tasks.openings[o] for o in fitting.access_at(place)]
    access = sum(o.open[1] + o.close[1] for o in openings)
    return float(fitting.minutes[1]) + 0.5 * access


def price_cars(
    cases: Iterable[Case], screened: Sequence[ScreenedLike], terms: LotTerms, catalog: Catalog
) -> list[LotBelief]:
    """Return what is believed of each case, cars of one kind together, in their order."""
    members: dict[bytes, list[int]] = {}
    cars = [c.car for c in cases]
    for index, car in enumerate(cars):
        members.setdefault(msgspec.json.encode(car.components), []).append(index)
    found: dict[int, LotBelief] = {}
    for mine in members.values():
        pieces = list_pieces(cars[mine[0]], catalog)
        charges = sorted(screened[mine[0]].fired)
        lots = [screened[i].worlds for i in mine]
        found |= dict(zip(mine, price_lots(pieces, lots, charges, terms, catalog), strict=True))
    return [found[i] for i in range(len(cars))]


def write_lot(lot: LotRow, belief: LotBelief, terms: LotTerms) -> dict[str, object]:
    """Return the row that is written for a lot; ``noted`` is what its notes say but of money."""
    row: dict[str, object] = {
        "line": lot.line,
        "id": lot.id,
        "cost_p50": belief.p50,
        "cost_p80": belief.p80,
        "cost_at_risk": belief.at_risk,
        "bid_limit": None,
        "orders": " ".join(belief.orders),
        "look": belief.look,
        "noted": _noted(lot),
    }
    row |= {f"fired.{c}": round(p, 4) for c, p in belief.fired.items()}
    return row | limit_row(row, lot.resale, lot.other_costs, terms)


def _noted(lot: LotRow) -> tuple[str, ...]:
    """Return what must be known of a lot before its figures are relied on."""
    told = {e.what for e in lot.evidence if isinstance(e, Circumstance)}
    reached = (REACHED[what] for what in REACHED if what in told)
    return (*[ASSUMED] * lot.car.assumed, *reached)


def limit_row(
    row: Mapping[str, object], resale: float | None, other: float | None, terms: LotTerms
) -> dict[str, object]:
    """Return the columns of a row that hang on what the list says of money."""
    noted: tuple[str, ...] = row["noted"]  # type: ignore[assignment]
    notes = [*noted]
    notes += [] if resale is not None else ["no resale stated"]
    notes += [] if other is not None else ["restraint share only"]
    at_risk = float(str(row["cost_at_risk"]))
    is_reached = not set(REACHED.values()).isdisjoint(noted)
    limit = None if is_reached else find_limit(resale, other, at_risk, terms)
    notes += ["before any bid: title, unit, parts"] if limit is not None else []
    if limit is None and resale is not None and other is not None and not is_reached:
        notes += [_DO_NOT_BID if terms.bids else _NO_SALE]
    return {"bid_limit": limit, "notes": "; ".join(notes)}


def price_lots(
    pieces: Sequence[LotPiece],
    lots: Sequence[Sequence[WorldLike]],
    charges: Sequence[str],
    terms: LotTerms,
    catalog: Catalog,
) -> tuple[LotBelief, ...]:
    """Return what is believed of lots of one kind of car.

    Args:
        pieces: Of the car.
        lots: Worlds of each lot.
        charges: Components whose chance of having fired is told.
        terms: Hourly cost and the accepted chance of a loss.
        catalog: For minutes of the job as a whole.
    """
    job = _state_job(catalog)
    transforms = np.array([_transform(_scale(p.price, terms.parts), job.step) for p in pieces])
    reach = _reach(pieces)
    found: list[LotBelief] = []
    for start in range(0, len(lots), _BLOCK):
        block = lots[start : start + _BLOCK]
        chances = [_chances(lot, reach) for lot in block]
        weights = [np.array([w.weight for w in lot]) for lot in block]
        for lot, chance, weight in zip(block, chances, weights, strict=True):
            sums = _sum(lot, chance, weight, pieces, transforms, job, terms)
            found.append(_belief(lot, chance, weight, sums, pieces, charges, terms, job))
    return tuple(found)


class _Job(msgspec.Struct, frozen=True, kw_only=True):
    """What any lot's job is reckoned with, from the catalogue.

    Attributes:
        fixed: What comes beside fitting. [min]
        least: All labour at the least, as a share of the likely one: its lines move together.
        most: All labour at the most, likewise.
        step: Of the grid of sums, in whole units of money.
        look_from: A doubt that moves the sum by no more names no look, in whole units of money.
    """

    fixed: float
    least: float
    most: float
    step: float
    look_from: float


def _state_job(catalog: Catalog) -> _Job:
    swing = catalog.fact("lots.labour")
    return _Job(
        fixed=catalog.fact("lots.fixed-minutes").number(),
        least=swing.low or 1.0,
        most=swing.high or 1.0,
        step=catalog.fact("lots.step").number(),
        look_from=catalog.fact("lots.look-from").number(),
    )


def _scale(price: tuple[int, int, int], factor: float) -> tuple[int, int, int]:
    low, likely, high = (round(p * factor) for p in price)
    return low, likely, high


@lru_cache(maxsize=4096)
def _transform(price: tuple[int, int, int], step: float) -> Complex:
    return np.asarray(np.fft.rfft(triangle_on_grid(*price, step, _POINTS)))


class _Reach(msgspec.Struct, frozen=True):
    """Which parts speak for each assembly, as places in a list of a car's parts.

    Attributes:
        parts: Of the car.
        held: Places of the parts in each assembly, one after the other; ``starts`` where each
            begins.
        asked: Places of what asks for an assembly, likewise, with ``asks`` and, by these, the
            ``shares`` of makers and the assembly ``to`` which each belongs.
    """

    parts: tuple[str, ...]
    held: Places
    starts: Places
    asked: Places
    asks: Places
    shares: Array
    to: Places


def _reach(pieces: Sequence[LotPiece]) -> _Reach:
    follows = [(n, after, share) for n, p in enumerate(pieces) for after, share in p.follows]
    named = (c for p in pieces for c in (*p.parts, *(c for after, _ in p.follows for c in after)))
    parts = tuple(dict.fromkeys(named))
    place = {c: n for n, c in enumerate(parts)}
    held = [[place[c] for c in p.parts] for p in pieces]
    asked = [[place[c] for c in after] for _, after, _ in follows]
    return _Reach(
        parts=parts,
        held=np.array(list(chain(*held)), dtype=np.intp),
        starts=np.cumsum([0, *map(len, held[:-1])]),
        asked=np.array(list(chain(*asked)), dtype=np.intp),
        asks=np.cumsum([0, *map(len, asked[:-1])]),
        shares=np.array([share for *_, share in follows]),
        to=np.array([n for n, *_ in follows], dtype=np.intp),
    )


def _chances(lot: Sequence[WorldLike], reach: _Reach) -> Array:
    """Return the chance that each assembly is needed, by size of crash."""
    bad = 1.0 - np.array([[w.sound.get(c, 1.0) for c in reach.parts] for w in lot])
    found = np.maximum.reduceat(bad[:, reach.held], reach.starts, axis=1)
    if reach.to.size:
        fired = np.array([[w.fired.get(c, 0.0) for c in reach.parts] for w in lot])
        asks = np.maximum.reduceat(fired[:, reach.asked], reach.asks, axis=1) * reach.shares
        for n, place in enumerate(reach.to):
            np.maximum(found[:, place], asks[:, n], out=found[:, place])
    return np.asarray(np.minimum(found, 1.0))


def _sum(
    lot: Sequence[WorldLike],
    chances: Array,
    weights: Array,
    pieces: Sequence[LotPiece],
    transforms: Complex,
    job: _Job,
    terms: LotTerms,
) -> Array:
    """Return the chances of the sum on the grid: parts, and labour that moves as a whole."""
    mixed = np.zeros(_POINTS // 2 + 1, dtype=np.complex128)
    minutes = np.array([p.minutes for p in pieces])
    for world, chance, weight in zip(lot, chances, weights, strict=True):
        factors = 1.0 + chance[:, None] * (transforms - 1.0)
        work = chance @ minutes + job.fixed * max(world.fired.values(), default=0.0)
        paid = work / 60.0 * terms.hour * terms.labour
        cost = job.step * round(paid / job.step)  # few distinct ones: remembered
        swing = (round(job.least * cost), round(cost), round(job.most * cost))
        labour = _transform(swing, job.step)
        mixed += weight * factors.prod(axis=0) * labour
    return np.maximum(np.fft.irfft(mixed / weights.sum(), n=_POINTS), 0.0)


def _belief(
    lot: Sequence[WorldLike],
    chances: Array,
    weights: Array,
    sums: Array,
    pieces: Sequence[LotPiece],
    charges: Sequence[str],
    terms: LotTerms,
    job: _Job,
) -> LotBelief:
    reached = np.cumsum(sums)
    shares = weights / weights.sum()
    fired = {
        c: float(sum(s * w.fired.get(c, 0.0) for s, w in zip(shares, lot, strict=True)))
        for c in charges
    }
    mean = shares @ chances

    def quantile(chance: float) -> float:
        return float(np.searchsorted(reached, chance * reached[-1] - 1e-9)) * job.step

    return LotBelief(
        fired=fired,
        p50=quantile(0.5),
        p80=quantile(0.8),
        at_risk=quantile(1.0 - terms.loss_chance),
        orders=tuple(p.key for p, m in zip(pieces, mean, strict=True) if m >= 0.5),
        look=_find_look(fired, pieces, job.look_from),
    )


def _find_look(fired: Mapping[str, float], pieces: Sequence[LotPiece], least: float) -> str:
    """Return the charge whose doubt moves the sum most: its own price and what follows it.

    Nothing where the doubt moves it by no more than ``least``, in whole units of money.
    """
    swings: dict[str, float] = {}
    for c, p in fired.items():
        own = sum(x.price[1] for x in pieces if c in x.parts)
        more = sum(s * x.price[1] for x in pieces for after, s in x.follows if c in after[:4])
        swings[c] = p * (1.0 - p) * (own + more) ** 2
    best = max(swings, key=lambda c: (swings[c], c), default="")
    return f"look whether {best} fired" if best and swings[best] > least**2 else ""


def find_limit(
    resale: float | None, other: float | None, at_risk: float, terms: LotTerms
) -> float | None:
    """Return the largest bid of the scale at the accepted chance of a loss; None = no bid.

    The restraint share stands at its quantile; resale and other costs at what the list says.
    """
    if resale is None or other is None:
        return None
    sold = resale * terms.resale * terms.kept * (1.0 - terms.off)
    most = sold - other - at_risk - terms.costs - terms.comes_back - terms.target
    place = bisect_right(terms.outlays, most + 1e-9)
    return terms.bids[place - 1] if place else None


def state_terms(
    sheet: BidSheet | None,
    hour: float,
    catalog: Catalog,
    currency: str = "USD",
    lessons: Lessons = NO_LESSONS,
) -> LotTerms:
    """Return the terms of lots from what the user knows of the sale; without it no limit.

    Args:
        sheet: Fees, tax, brand discount, bidders, accepted chance of a loss, what the sale and the
            days until it take. Its trades are left to the list: other costs of each lot.
        hour: Cost of one hour of work.
        catalog: How much the user's own cars count beside what is stated; how far bids are tried.
        currency: Of the list.
        lessons: What settled cars teach; trades are no line of a list.
    """
    parts, labour = correct_restraint(lessons.factors)
    if sheet is None:
        return LotTerms(currency=currency, hour=hour, parts=parts, labour=labour)
    sheet = correct_sheet(sheet, lessons.factors)
    back = expect_comebacks(sheet.comebacks, lessons.came_back, catalog)
    most = catalog.fact("lots.most-bid").number()
    bids = [n * sheet.increment for n in range(1, int(most / sheet.increment) + 1)]
    worthy: list[tuple[float, float]] = []
    for bid in reversed(bids):  # fees jump: a bid is left out where a higher one costs no more
        paid = outlay(sheet, bid)
        if not worthy or paid < worthy[-1][1]:
            worthy.append((bid, paid))
    worthy.reverse()
    return LotTerms(
        currency=currency,
        hour=hour,
        bids=tuple(b for b, _ in worthy),
        outlays=tuple(paid for _, paid in worthy),
        loss_chance=sheet.loss_chance,
        kept=1.0 - sheet.brand_discount.mean,
        off=winning_excess(sheet.bidders) * sheet.estimate_error,
        target=sheet.target,
        parts=parts,
        labour=labour,
        resale=lessons.factors.get("resale", 1.0),
        costs=sum(c.mean for c in list_sale_costs(sheet)),
        comes_back=sum(chance * cost.mean for chance, cost in back),
    )
