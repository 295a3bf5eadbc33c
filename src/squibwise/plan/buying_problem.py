"""What is decided when parts are bought and work is planned: needs, offers, tasks, terms, aims."""

import datetime as dt
import math
from bisect import bisect_left
from collections.abc import Callable, Mapping, Sequence
from typing import Literal

import msgspec
from msgspec.structs import astuple

from squibwise.model.cost import from_major
from squibwise.model.market import (
    HERE_STATES,
    KEPT_STATES,
    PAID_STATES,
    WEEKDAYS,
    Days,
    Need,
    Offer,
    ShopTerms,
    Supplier,
)

NOW, LATER = 0, 1
_FARTHEST = 2000  # days that a calendar is drawn up for
RISK_SCALE = 1_000_000  # scale of -ln(1 - chance); rounded up, against the user
_MOST_LINES = 10  # of a shipment whose value is weighed case by case
Option = tuple[int, int]


class Task(msgspec.Struct, frozen=True, kw_only=True):
    """One operation.

    Attributes:
        minutes: Hands-on, or working time that an outside service keeps the car. [min]
        after: Ids of the tasks before it.
        follows: Ids of tasks that have to be finished too, without any wait.
        hold: Wait once those of ``after`` are finished. [min]
        needs: Keys of the parts it fits.
        outside: Somebody else does it, by appointment: it starts with a day and takes none of
            the technicians.
        notice: Days from today before which there is no appointment. [day]
        price: What somebody else asks for it. [minor units]
        number: Of the operation on the work list.
        visit: Stretch of work that it belongs to, in words.
        rooms: Parts of the car that it takes, each with room for one person.
        lacks: Title of a part that it fits and nobody offers.
    """

    id: str
    title: str = ""
    minutes: int
    after: tuple[str, ...] = ()
    follows: tuple[str, ...] = ()
    hold: int = 0
    needs: tuple[str, ...] = ()
    outside: bool = False
    notice: int = 0
    price: int = 0
    number: int = 0
    visit: str = ""
    rooms: tuple[str, ...] = ()
    lacks: str = ""


class OpenDays(msgspec.Struct, frozen=True):
    """The days on which there is work, counted from today; none listed = every day.

    Parts travel and the car stands on every day of the calendar; work counts open days only.
    """

    days: tuple[int, ...] = ()

    def calendar(self, working: int) -> int:
        """Return the calendar day of a working day, both from 0."""
        return self.days[working] if self.days else working

    def working(self, calendar: int) -> int:
        """Return the first working day on or after a calendar day."""
        return bisect_left(self.days, calendar) if self.days else calendar

    def next_open(self, calendar: int) -> int:
        """Return the first day of work on or after a calendar day, in days of the calendar."""
        return self.calendar(self.working(calendar))


def list_open_days(today: dt.date | None, terms: ShopTerms) -> OpenDays:
    """Return the days on which the shop works; without a date, every day."""
    if today is None:
        return OpenDays()
    dates = ((n, today + dt.timedelta(days=n)) for n in range(_FARTHEST))
    works = {WEEKDAYS.index(w) for w in terms.works}
    return OpenDays(tuple(n for n, d in dates if d.weekday() in works and d not in terms.closed))


class Problem(msgspec.Struct, frozen=True, kw_only=True):
    """Everything that is decided together.

    Attributes:
        offers: Usable ones, with the key of the need each fits.
        looks: Task that settles whether a need is one, by its key.
        open_days: Days on which there is work.
    """

    needs: tuple[Need, ...]
    offers: tuple[tuple[str, Offer], ...]
    suppliers: tuple[Supplier, ...]
    tasks: tuple[Task, ...]
    terms: ShopTerms
    currency: str
    looks: dict[str, str] = {}
    open_days: OpenDays = OpenDays()

    def minor(self, amount: float) -> int:
        """Return an amount of the terms in minor units."""
        return from_major(amount, self.currency).minor

    def offers_for(self, need: str) -> list[int]:
        """Return the offers for a need, in their order."""
        return [i for i, (key, _) in enumerate(self.offers) if key == need]

    def kept_for(self, need: str) -> int | None:
        """Return the offer that was ordered for a need: what is here first, then the soonest."""
        kept = [i for i in self.offers_for(need) if self.offers[i][1].state in PAID_STATES]

        def sooner(index: int) -> tuple[bool, int]:
            offer = self.offers[index][1]
            return offer.state not in HERE_STATES, expect_lead(self.terms, offer)

        return min(kept, key=sooner, default=None)

    def sets(self) -> tuple[tuple[int, ...], ...]:
        """Return the offers that are one set for several needs: all of it is taken, or nothing."""
        found: dict[str, list[int]] = {}
        for index, (_, offer) in enumerate(self.offers):
            if offer.pieces == 0:
                found.setdefault(offer.id, []).append(index)
        return tuple(tuple(mine) for mine in found.values() if len(mine) > 1)

    def reject_risk(self, index: int) -> int:
        """Return what an offer adds to the risk of rejects; a set does so once."""
        key, offer = self.offers[index]
        is_more = any(index in mine[1:] for mine in self.sets())
        is_spent = any(n.key == key and n.chance <= 0.0 for n in self.needs)
        return 0 if is_more or is_spent else reject_risk(offer)

    def is_late(self, index: int) -> bool:
        """Was an offer ordered, and is it told to come later than it should."""
        offer = self.offers[index][1]
        return offer.state == "ordered" and offer.id in self.terms.late


class Aim(msgspec.Struct, frozen=True, kw_only=True):
    """What a plan is for.

    Attributes:
        first: What is made least before the total: nothing, the ``day``, or the ``money`` paid out.
        ready_by: Latest day; None = any.
        only: Options that may be taken, by need; empty = any.
        rejects: Whether the accepted chance of a failed used part binds.
    """

    name: str
    first: Literal["", "day", "money"] = ""
    ready_by: int | None = None
    only: dict[str, tuple[Option, ...]] = {}
    rejects: bool = True


RECOMMENDED = Aim(name="recommended")
CHEAPEST = Aim(name="cheapest", first="money")
SOONEST = Aim(name="soonest", first="day")


def lead_day(offer: Offer, chance: float) -> int:
    """Return the day by which an offer is there with this chance, its days being triangular."""
    a, c, b = offer.lead.low, offer.lead.likely, offer.lead.high
    if b == a:
        return a
    turn = (c - a) / (b - a)
    if chance <= turn:
        day = a + math.sqrt(chance * (b - a) * (c - a))
    else:
        day = b - math.sqrt((1.0 - chance) * (b - a) * (b - c))
    return math.ceil(day - 1e-9)


def expect_lead(terms: ShopTerms, offer: Offer) -> int:
    """Return the days after its order on which an offer is counted on."""
    if offer.state in HERE_STATES:
        return 0
    late = terms.late.get(offer.id)
    return late if late is not None else lead_day(offer, terms.lead_chance)


def still_to_wait(offer: Offer, today: dt.date | None) -> Offer:
    """Return an offer that was ordered with the days that are left of its lead time."""
    if today is None or offer.ordered_on is None or offer.state != "ordered":
        return offer
    gone = max(0, (today - offer.ordered_on).days)
    least = int(gone > offer.lead.high)  # what is overdue comes tomorrow at the soonest
    low, likely, high = (max(least, d - gone) for d in astuple(offer.lead))
    return msgspec.structs.replace(offer, lead=Days(low=low, likely=likely, high=high))


def latest_day(problem: Problem) -> int:
    """Return a day by which everything can be done, whatever is chosen, by one technician.

    What fits into a day and not into what is left of it leaves less idle than its own length.
    """
    tasks, working, terms = problem.tasks, problem.open_days.working, problem.terms
    days = math.ceil(sum(t.minutes + t.hold for t in tasks) / terms.day_minutes)
    mornings = sum(t.outside for t in tasks)
    notice = max((working(t.notice) for t in tasks), default=0)
    lead = max((working(expect_lead(terms, o)) for _, o in problem.offers), default=0)
    fitted: set[str] = set()  # what some part has to be there for
    for t in tasks:
        if t.needs or fitted & {*t.after, *t.follows}:
            fitted.add(t.id)
    waits = 2 + len(fitted & set(problem.looks.values()))
    return 2 * days + mornings + notice + waits * (lead + 1) + 1


def list_options(problem: Problem, need: Need, aim: Aim) -> list[Option]:
    """Return what may be taken for a need; one that was ordered stays, unless it is late."""
    kept = problem.kept_for(need.key)
    stages = [NOW, LATER] if need.key in problem.looks else [NOW]
    options = [] if kept is None else [(kept, NOW)]
    if kept is None or problem.is_late(kept):
        offers = [(i, problem.offers[i][1]) for i in problem.offers_for(need.key)]
        open_ones = [i for i, offer in offers if offer.state not in KEPT_STATES]
        options += [(i, s) for i in open_ones for s in stages]
    allowed = aim.only.get(need.key)
    return [o for o in options if allowed is None or o in allowed]


def cancel_cost(need: Need, offer: Offer, terms: ShopTerms) -> int:
    """Return what cancelling an order costs, in minor units, rounded up."""
    return math.ceil(_lost_share(offer, terms) * offer.sum_for(need) - 1e-6)


def _lost_share(offer: Offer, terms: ShopTerms) -> float:
    """Return the share of its price that does not come back with an offer."""
    returns = offer.restock if offer.return_days is not None else 1.0
    return terms.cancel.get(offer.id, returns)


def expected_price(need: Need, offer: Offer, stage: int, terms: ShopTerms) -> int:
    """Return what a choice is expected to cost, in minor units, rounded up.

    A part that turns out needless goes back, or is lost where nothing is said of returns.
    """
    whole = offer.sum_for(need)
    if stage == LATER:
        return math.ceil(need.chance * whole - 1e-6)
    lost = _lost_share(offer, terms)
    return math.ceil(whole * (need.chance + (1.0 - need.chance) * lost) - 1e-6)


def kept_freight(problem: Problem) -> int:
    """Return the freight of what is ordered already, in minor units: it is paid whatever comes.

    What one supplier was sent on one day is one shipment.
    """
    suppliers = {s.name: s for s in problem.suppliers}
    sent: dict[tuple[str, dt.date | None], list[tuple[Need, Offer]]] = {}
    for need in problem.needs:
        kept = problem.kept_for(need.key)
        if kept is not None:
            offer = problem.offers[kept][1]
            sent.setdefault((offer.supplier, offer.ordered_on), []).append((need, offer))
    return sum(_freight_of(suppliers[name], lines) for (name, _), lines in sent.items())


def reach_tier(
    lines: Sequence[tuple[str, float, int]], tier: int
) -> list[tuple[float, tuple[int, ...]]]:
    """Return with which chance what is needed of a shipment comes to a value, by what is in it.

    Each holds where nothing of its second part is in the box; the least of those that hold counts.
    Parts are needed independently. Of more than ten lines those that bring most are counted on.

    Args:
        lines: Need, chance that it is one and goods, of each line that may be ordered.
        tier: The value. [minor units]
    """
    by_weight = sorted(range(len(lines)), key=lambda i: -lines[i][1] * lines[i][2])
    counted = sorted(by_weight[:_MOST_LINES])
    boxes: dict[frozenset[int], dict[int, float]] = {frozenset(): {0: 1.0}}
    for i in counted:
        key, chance, goods = lines[i]
        for box, worth in [*boxes.items()]:
            if all(lines[other][0] != key for other in box):
                more: dict[int, float] = {}
                for so_far, p in worth.items():
                    both = min(tier, so_far + goods)
                    more[so_far] = more.get(so_far, 0.0) + p * (1.0 - chance)
                    more[both] = more.get(both, 0.0) + p * chance
                boxes[box | {i}] = more
    share = {box: worth.get(tier, 0.0) for box, worth in boxes.items()}
    return [
        (p, tuple(i for i in counted if i not in box))
        for box, p in share.items()
        if all(share.get(box | {i}, 2.0) > p for i in counted if i not in box)
    ]


def replace_failed(problem: Problem, need: Need, index: int) -> tuple[int, int]:
    """Return what a part costs that takes the place of a failed one, and its days after that.

    What the failed one brings when it goes back is taken off. Where what takes its place may fail
    too, the best that does not counts by that chance. In minor units.
    """
    failed, best = problem.offers[index][1], find_instead(problem, need, index)
    kept = failed.restock if failed.return_days is not None else 1.0
    back = (1.0 - kept) * failed.sum_for(need)
    paid, days = float(_cost_alone(problem, need, best)), float(expect_lead(problem.terms, best))
    sure = _find_sure(problem, need, index)
    if best.fails > 0.0 and sure is not None:
        paid += best.fails * _cost_alone(problem, need, sure)
        days += best.fails * expect_lead(problem.terms, sure)
    return max(0, math.ceil(paid - back - 1e-6)), math.ceil(days - 1e-6)


def find_instead(problem: Problem, need: Need, index: int) -> Offer:
    """Return the best offer that takes the place of a failed one.

    The least for its price, its freight and the days it takes; of one that may fail too, the best
    that does not by that chance. Where no other offer is sure it is the best of those, else one
    more of the same.
    """
    sure = _find_sure(problem, need, index)
    last = 0.0 if sure is None else _weigh_instead(problem, need, sure)

    def weigh(offer: Offer) -> float:
        return _weigh_instead(problem, need, offer) + offer.fails * last

    return min(_others(problem, need, index) or [problem.offers[index][1]], key=weigh)


def _find_sure(problem: Problem, need: Need, index: int) -> Offer | None:
    """Return the best other offer that does not fail; None = there is none."""
    sure = [o for o in _others(problem, need, index) if o.fails <= 0.0]
    return min(sure, key=lambda o: _weigh_instead(problem, need, o), default=None)


def _others(problem: Problem, need: Need, index: int) -> list[Offer]:
    """Return the other offers for a need that can still be ordered."""
    rest = (problem.offers[i][1] for i in problem.offers_for(need.key) if i != index)
    return [o for o in rest if o.state not in KEPT_STATES]


def _weigh_instead(problem: Problem, need: Need, offer: Offer) -> float:
    """Return what an offer costs alone with the days that the car stands for it. [minor units]."""
    days = expect_lead(problem.terms, offer)
    return _cost_alone(problem, need, offer) + days * problem.minor(problem.terms.bay_day)


def _cost_alone(problem: Problem, need: Need, offer: Offer) -> int:
    """Return what an offer costs as a shipment of its own."""
    supplier = next(s for s in problem.suppliers if s.name == offer.supplier)
    return offer.sum_for(need) + _freight_of(supplier, [(need, offer)])


def _freight_of(supplier: Supplier, lines: Sequence[tuple[Need, Offer]]) -> int:
    """Return the freight of one shipment, in minor units."""
    goods = sum(o.sum_for(n) for n, o in lines)
    is_free = supplier.free_from is not None and goods >= supplier.free_from.minor
    freight = 0 if is_free else supplier.shipping.minor
    if supplier.dangerous is not None and any(n.live for n, _ in lines):
        freight += supplier.dangerous.minor
    return freight


def reject_risk(offer: Offer) -> int:
    """Return -ln(1 - chance that it fails on arrival) in millionths, rounded up."""
    if offer.state in HERE_STATES:
        return 0
    return math.ceil(-RISK_SCALE * math.log1p(-offer.fails) - 1e-6)


def accepted_risk(terms: ShopTerms) -> int | None:
    """Return the most that risks may sum to at the accepted chance, rounded down; None = any."""
    if terms.rejects >= 1.0:
        return None
    return math.floor(-RISK_SCALE * math.log1p(-terms.rejects) + 1e-6)


def habits(problem: Problem) -> tuple[Aim, ...]:
    """Return what three habits would choose: the cheapest offer each, one supplier, all at once.

    The first keeps the accepted chance of rejected parts; the second asks nothing but who sells.
    """
    options: dict[str, list[int]] = {}
    for key in dict.fromkeys(k for k, _ in problem.offers):
        kept = problem.kept_for(key)
        options[key] = problem.offers_for(key) if kept is None else [kept]

    def cheapest(indexes: Sequence[int]) -> int:
        return min(indexes, key=lambda i: (problem.offers[i][1].price.minor, i))

    def taken(choice: Mapping[str, int], stages: tuple[int, ...]) -> dict[str, tuple[Option, ...]]:
        return {key: tuple((i, s) for s in stages) for key, i in choice.items()}

    each = _keep_limit(problem, options, {key: cheapest(mine) for key, mine in options.items()})
    counts = {
        s.name: [k for k, mine in options.items() if any(_sells(problem, i, s) for i in mine)]
        for s in problem.suppliers
    }
    one = dict(each)
    if counts:
        main = max(counts, key=lambda n: (len(counts[n]), n))
        supplier = next(s for s in problem.suppliers if s.name == main)
        one |= {
            k: cheapest([i for i in options[k] if _sells(problem, i, supplier)])
            for k in counts[main]
        }
    both = (NOW, LATER)
    return (
        Aim(name="cheapest offer each", only=taken(each, both), rejects=False),
        Aim(name="one supplier for all", only=taken(one, both), rejects=False),
        Aim(
            name="everything at once",
            only={k: tuple((i, NOW) for i in mine) for k, mine in options.items()},
        ),
    )


def _keep_limit(
    problem: Problem, options: Mapping[str, list[int]], choice: dict[str, int]
) -> dict[str, int]:
    """Return a choice with used parts changed for safer ones until the accepted chance holds.

    As a person would: the change that costs least for what it takes off the risk comes first.
    """
    most = accepted_risk(problem.terms)
    if most is None:
        return choice
    offers = [offer for _, offer in problem.offers]
    choice = dict(choice)
    while sum(problem.reject_risk(i) for i in choice.values()) > most:
        changes = [
            ((offers[i].price.minor - offers[now].price.minor) / gained, key, i)
            for key, now in choice.items()
            for i in options[key]
            for gained in [reject_risk(offers[now]) - reject_risk(offers[i])]
            if gained > 0
        ]
        if not changes:
            return choice
        _, key, index = min(changes)
        choice[key] = index
    return choice


def simple_choices(
    problem: Problem, options: Mapping[str, Sequence[Option]]
) -> tuple[dict[str, Option], ...]:
    """Return choices that need no search: cheapest, soonest and safest, now or after the looks.

    Args:
        problem: Offers and terms.
        options: What may be taken, by need.
    """
    offers = [offer for _, offer in problem.offers]
    by_offer = {key: [i for i, _ in mine] for key, mine in options.items()}
    wishes: tuple[Callable[[int], tuple[float, ...]], ...] = (
        lambda i: (offers[i].price.minor,),
        lambda i: (expect_lead(problem.terms, offers[i]), offers[i].price.minor),
        lambda i: (reject_risk(offers[i]), offers[i].price.minor),
    )
    found = []
    for wish in wishes:
        wished = {key: min(mine, key=wish) for key, mine in by_offer.items()}
        kept = _keep_limit(problem, by_offer, wished)
        for now in (True, False):
            mine = {key: [o for o in options[key] if o[0] == i] for key, i in kept.items()}
            choice = {key: min(o) if now else max(o) for key, o in mine.items()}
            found += [choice] if choice not in found else []
    return tuple(found)


def _sells(problem: Problem, index: int, supplier: Supplier) -> bool:
    return problem.offers[index][1].supplier == supplier.name
