"""Buying and bidding: offers, suppliers, what is bought, what a job may come to, the bid."""

import datetime as dt
import math
from typing import Literal, get_args

import msgspec

from squibwise.errors import ModelError
from squibwise.model.cost import Money
from squibwise.model.origin import Finding, Origin

Condition = Literal["new", "recycled", "rebuilt"]
CONDITIONS: tuple[Condition, ...] = get_args(Condition)
"""From the safest to the most doubtful."""
Policy = Literal["allow", "allow-with-documents", "price-only", "forbid"]
POLICIES: tuple[Policy, ...] = get_args(Policy)
"""From the mildest to the strictest."""
LineState = Literal["asked", "quoted", "ordered", "arrived", "rejected", "fitted", "returned"]
LINE_STATES: tuple[LineState, ...] = get_args(LineState)
HERE_STATES: tuple[LineState, ...] = ("arrived", "fitted")
"""States of a line whose part is there."""
KEPT_STATES: tuple[LineState, ...] = ("ordered", *HERE_STATES)
"""States of a line that a new plan keeps as it is."""
BACK_STATES: tuple[LineState, ...] = ("rejected", "returned")
"""States of a line whose part goes back, or went."""
PAID_STATES: tuple[LineState, ...] = (*KEPT_STATES, *BACK_STATES)
"""States of a line that money was spent on."""
Weekday = Literal["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
WEEKDAYS: tuple[Weekday, ...] = get_args(Weekday)


MOST_DAYS = 1000
"""Farthest day from today that anything of a car is planned for."""


class Days(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Days until a part is there: least, usual, most."""

    low: int
    likely: int
    high: int

    def __post_init__(self) -> None:
        if not 0 <= self.low <= self.likely <= self.high:
            raise ModelError(f"days {self.low}, {self.likely}, {self.high} are out of order")


class Supplier(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Who sells, and what sending costs.

    Attributes:
        shipping: Of one shipment, whatever is in it.
        free_from: Value of goods from which a shipment costs nothing; None = never.
        dangerous: Added to a shipment that holds a live device, whatever its value.
    """

    name: str
    shipping: Money
    free_from: Money | None = None
    dangerous: Money | None = None


class Need(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A part that has to be bought, or may have to be.

    Attributes:
        key: ``<assembly>@<place>``, as in the ids of the operations that fit it.
        contains: Components that come with it.
        chance: That it is needed; 0 = it was ordered, and nothing asks for it any more.
        live: It holds a charge.
        usual_low: Lowest usual price of a new one; None = not known.
        usual_high: Highest usual price of a new one; None = not known.
        settled_by: The look that settles whether it is needed; empty = nothing to settle.
        asks_maker: Only an answer of the maker decides whether it is needed.
        question: The question to the maker that decides on it too; empty = none.
        fitted: It is on the car; what was paid for it stays in the sums.
    """

    key: str
    title: str
    contains: tuple[str, ...] = ()
    quantity: int = 1
    chance: float = 1.0
    live: bool = False
    usual_low: Money | None = None
    usual_high: Money | None = None
    settled_by: str = ""
    asks_maker: bool = False
    question: str = ""
    fitted: bool = False


class Offer(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A part that somebody offers.

    Attributes:
        id: Unique in the sheet it came from.
        fits: What it is for, as written: a key, a component id or words.
        price: Of one piece, or of one set.
        pieces: That the price is for; 0 = as many as belong together.
        quantity: Pieces or sets that are there; None = not stated, as many as are asked for.
        lead: Days until it is there.
        donor_vin: Car a used part was taken out of; empty = not stated.
        documents: Papers that come with it, such as ``receipt``, ``recall-check``.
        fails: Chance that it does not pass the inspection on arrival. [0..1]
        return_days: Days within which it may be sent back; None = not stated.
        restock: Share of the price that a return costs. [0..1]
        state: How far the line has come.
        ordered_on: Day from which its lead time runs; None = not ordered, or today.
        label_number: On the label of what arrived; empty = nobody has read it.
        label_side: Side that is printed on it; empty = none, or nobody has read it.
        label_what: What the label calls it; empty = nobody has read it.
        answered: What an answered request says of what was asked for, by column (``side``,
            ``stages``, ``connectors``, ``vin``).
    """

    id: str
    fits: str
    supplier: str
    price: Money
    condition: Condition = "new"
    part_number: str = ""
    pieces: int = 1
    quantity: int | None = None
    lead: Days
    donor_vin: str = ""
    documents: tuple[str, ...] = ()
    fails: float = 0.0
    return_days: int | None = None
    restock: float = 0.0
    state: LineState = "quoted"
    quoted_on: dt.date | None = None
    ordered_on: dt.date | None = None
    label_number: str = ""
    label_side: str = ""
    label_what: str = ""
    answered: dict[str, str] = {}
    origin: Origin = Origin()

    def __post_init__(self) -> None:
        counted = (self.quantity is None or self.quantity >= 1) and self.pieces >= 0
        if not (0.0 <= self.fails < 1.0 and 0.0 <= self.restock <= 1.0 and counted):
            raise ModelError(f"offer {self.id}: chance, share or quantity out of range")

    def times(self, need: Need) -> int:
        """Return how often its price is paid for a need."""
        return math.ceil(need.quantity / self.pieces) if self.pieces else 1

    def sum_for(self, need: Need) -> int:
        """Return what everything of a need costs. [minor units]."""
        return self.times(need) * self.price.minor


class ColumnGuess(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A heading of a sheet and the column it was taken for.

    Attributes:
        column: Our word; empty = not used.
        sure: The heading is one of the known words, or the user confirmed it.
    """

    heading: str
    column: str
    sure: bool


class OfferSheet(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a sheet of offers says.

    Attributes:
        columns: In the order of the sheet.
        findings: Every row that was not used, by line, and what is doubtful.
    """

    offers: tuple[Offer, ...] = ()
    suppliers: tuple[Supplier, ...] = ()
    columns: tuple[ColumnGuess, ...] = ()
    findings: tuple[Finding, ...] = ()


class JudgedOffer(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An offer, the need it fits, and whether it may be bought here.

    Attributes:
        need: Key of the need.
        policy: The strictest rule that applies.
        is_usable: It may be bought.
        is_wrong: It arrived and is another part than was ordered: it is not fitted.
        is_barred: A rule or its price forbids to fit it as things stand: ordered or not, it is not
            the part that is needed.
        why: Reasons, the deciding one first, each with its source.
        lacks: Papers and particulars that the deciding one asks for and the offer does not name.
        covers: Places that it is for, where one number is sold for several places; None = it is
            for all that is needed.
        spent: What was ordered and is for nothing that is needed, as needed by no chance; None =
            it is for the need.
    """

    offer: Offer
    need: str
    policy: Policy
    is_usable: bool
    is_wrong: bool = False
    is_barred: bool = False
    why: tuple[str, ...] = ()
    lacks: tuple[str, ...] = ()
    covers: tuple[str, ...] | None = None
    spent: Need | None = None

    @property
    def counts(self) -> bool:
        """May it be bought, or was it ordered: what is not to be fitted is neither."""
        is_unfit = self.is_wrong or self.is_barred
        return self.is_usable or (self.offer.state in PAID_STATES and not is_unfit)


class Service(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Work that somebody else does, by appointment.

    Attributes:
        days: Working days the car is there.
        notice: Days from today before which there is no appointment.
        price: In whole units of the case's currency.
    """

    days: float = 0.5
    notice: int = 0
    price: float = 0.0

    def __post_init__(self) -> None:
        fine = 0.0 <= self.days <= MOST_DAYS and 0 <= self.notice <= MOST_DAYS
        if not (fine and self.price >= 0.0):
            raise ModelError(
                f"service: days or notice not from 0 to {MOST_DAYS}, or price below nothing"
            )


class ShopTerms(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the shop works under: ``buying.toml``. Money in whole units of the case's currency.

    Attributes:
        technicians: One or two.
        day_starts: When a working day begins.
        day_hours: Working hours of a day.
        delivered: Working hours of a day after which what comes that day is there.
        works: Days of the week on which there is work.
        closed: Other days without work.
        hour: Cost of one hour of work; None = what the case says of it.
        bay_day: Cost of a day that the car stands, whether there is work on it or not.
        deadline: Day the car should be ready, counted from today; None = no deadline.
        late_day: Cost of a day beyond it.
        rejects: Accepted chance that any used part is rejected on arrival. [0..1]
        lead_chance: A part is counted on from the day it is there with this chance. [0..1]
        seconds: Most that one search may take.
        services: Operations that somebody else does, by their id.
        late: Days from today until an ordered part is there after all, by offer id.
        cancel: Share of its price that cancelling an ordered part costs, by offer id; not named =
            as its seller's return terms say, else all of it. [0..1]
        supplier: Who sent the sheet of offers, for its rows that name nobody.
        columns: Which heading of the sheet is which column.
    """

    technicians: int = 1
    day_starts: dt.time = dt.time(8)
    day_hours: float = 8.0
    delivered: float = 4.0
    works: tuple[Weekday, ...] = WEEKDAYS[:5]
    closed: tuple[dt.date, ...] = ()
    hour: float | None = None
    bay_day: float = 0.0
    deadline: int | None = None
    late_day: float = 0.0
    rejects: float = 1.0
    lead_chance: float = 0.8
    seconds: float = 20.0
    services: dict[str, Service] = {}
    late: dict[str, int] = {}
    cancel: dict[str, float] = {}
    supplier: str = ""
    columns: dict[str, str] = {}

    def __post_init__(self) -> None:
        fine = self.technicians in (1, 2) and 0.5 <= self.day_hours <= 24.0
        fine = fine and 0.0 < self.seconds <= 3600.0 and 0.0 <= self.delivered <= self.day_hours
        if not (fine and 0.0 < self.rejects <= 1.0 and 0.0 < self.lead_chance < 1.0):
            raise ModelError(
                "buying: technicians, day_hours, delivered, seconds, rejects or lead_chance out of "
                "range"
            )
        days = (self.deadline or 0, *self.late.values())
        if not all(0 <= d <= MOST_DAYS for d in days):
            raise ModelError(f"buying: deadline or late is not from 0 to {MOST_DAYS} days")
        if not all(0.0 <= s <= 1.0 for s in self.cancel.values()):
            raise ModelError("buying: cancel is no share from 0 to 1")
        if not (
            (self.hour or 0.0) >= 0.0
            and self.bay_day >= 0.0
            and self.late_day >= 0.0
            and self.works
        ):
            raise ModelError("buying: hour, bay_day or late_day below nothing, or no day of work")

    @property
    def day_minutes(self) -> int:
        """Working time of a day. [min]."""
        return round(self.day_hours * 60)

    @property
    def delivery_minutes(self) -> int:
        """Working time of a day after which what comes that day is there. [min]."""
        return round(self.delivered * 60)


class Purchase(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One line to order.

    Attributes:
        need: Key of the need.
        after_look: Ordered only once the look has said that it is needed.
        chance: That it is bought; 0 = it was, and nothing asks for it any more.
        quantity: Pieces.
        price: Of one piece, or of a set of them.
        times: How often it is paid.
        as_set: The price is for all pieces together.
        question: What the maker is still asked where the look finds nothing; empty = nothing.
        instead: What is ordered in its place if it fails; empty = it is here or does not fail.
        arrives_day: Day it is counted on. [day from today]
        kept: It was ordered already.
        here: It has arrived.
    """

    need: str
    title: str
    offer: str
    supplier: str
    condition: Condition
    part_number: str = ""
    quantity: int
    price: Money
    times: int
    as_set: bool = False
    after_look: bool = False
    chance: float = 1.0
    question: str = ""
    instead: str = ""
    arrives_day: int
    kept: bool = False
    here: bool = False


class ScheduledTask(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One operation in the day plan; ``start`` and ``end`` count working time, days end to end.

    Attributes:
        day: It begins on this day. [day from today]
        minute: Working minute of that day at which it begins. [min]
        number: Of the operation on the work list; 0 = not on one.
        visit: Stretch of work between two changes of power that it belongs to, in words.
        technician: Who does it, from 1; 0 = somebody outside.
        waits_for: What it waited for longest: a part's key, a wait, or nothing.
        powered: The car is under power meanwhile.
        lacks: Title of a part that it fits and nobody offers; it waits for none.
    """

    id: str
    title: str
    day: int
    start: int
    end: int
    outside: bool = False
    minute: int = 0
    number: int = 0
    visit: str = ""
    technician: int = 1
    waits_for: str = ""
    powered: bool = False
    lacks: str = ""


class LateLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An ordered part that is late: waiting for it beside cancelling it and ordering elsewhere.

    Attributes:
        there_day: Day it is counted on after all. [day from today]
        lost: What cancelling it costs.
        cancel: The recommended plan cancels it.
        instead: Offer taken in its place where it is cancelled; empty = nobody else offers one.
        waited: Everything that is weighed, if it is waited for.
        elsewhere: The same, if it is cancelled; None = nobody else offers one.
    """

    need: str
    title: str
    offer: str
    supplier: str
    there_day: int
    lost: Money
    cancel: bool
    instead: str = ""
    waited: Money
    elsewhere: Money | None = None


class ReadyBelief(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """When the car is ready if lead times fall as they may, no part being rejected.

    Attributes:
        p50: Day that is kept with even chance. [day from today]
        p80: Day that is kept four times in five.
        on_time: Chance of the plan's own day, or of the deadline where there is one.
        draws: How often it was drawn.
    """

    p50: int
    p80: int
    on_time: float
    draws: int


class BuyPlan(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which offers, which shipments, when each operation runs.

    Attributes:
        name: ``cheapest``, ``soonest``, ``recommended``, a habit, or ``by day N``.
        total: Everything that is weighed, expected.
        ready_day: Day of the last operation, if everything doubtful is needed; the car stands as
            many days. [day from today]
        optimal: Proven that nothing costs less.
        bound: No plan can cost less than this.
        labour: The hours of this plan.
        outside: What others ask for the operations that they do.
        all_pass: Chance that every used part passes its inspection.
        ready: When it is ready as lead times vary; None = not drawn.
        broken: Limits of the user that a habit breaks, in words.
        cancelled: What cancelling late orders costs.
        cancels: Those offers.
    """

    name: str
    purchases: tuple[Purchase, ...]
    schedule: tuple[ScheduledTask, ...]
    total: Money
    parts: Money
    shipping: Money
    labour: Money
    outside: Money
    standing: Money
    late: Money
    rework: Money
    ready_day: int
    optimal: bool
    bound: Money
    all_pass: float
    ready: ReadyBelief | None = None
    broken: tuple[str, ...] = ()
    cancelled: Money
    cancels: tuple[str, ...] = ()


class CurvePoint(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The least cost of being ready by a day, what standing costs left out."""

    day: int
    cost: Money
    optimal: bool


class BuyAnswer(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The answer of ``buy``.

    Attributes:
        plans: Cheapest, soonest, recommended.
        habits: What three habits would come to, with the same offers and work.
        curve: Least cost against the day the car is ready.
        judged: Every offer with the rule that applies to it.
        without_offer: Needs that nobody offers a usable part for, by title.
        missing: The same needs.
        asked: What an answer of the maker or a look on no day decides: in no plan, its price asked.
        late_orders: Ordered parts that are late, each weighed against ordering elsewhere.
    """

    plans: tuple[BuyPlan, ...]
    habits: tuple[BuyPlan, ...] = ()
    curve: tuple[CurvePoint, ...] = ()
    judged: tuple[JudgedOffer, ...] = ()
    without_offer: tuple[str, ...] = ()
    missing: tuple[Need, ...] = ()
    asked: tuple[Need, ...] = ()
    late_orders: tuple[LateLine, ...] = ()
    findings: tuple[Finding, ...] = ()
