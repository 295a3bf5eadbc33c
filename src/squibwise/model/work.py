"""What must be done on the car: demands, what is ordered, operations in visits, questions."""

from typing import Literal

import msgspec

from squibwise.errors import ModelError
from squibwise.model.belief import Because
from squibwise.model.cost import Money
from squibwise.model.names import split_component
from squibwise.model.origin import Finding
from squibwise.model.words import Action, Basis


class Caution(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A hazard and what keeps people safe from it.

    Attributes:
        id: Catalogue id.
        text: What to do and what never to do.
        short: The same in a few words.
        source: Catalogue source id.
        basis: What it stands on; None when not stated.
    """

    id: str
    text: str
    short: str = ""
    source: str = ""
    basis: Basis | None = None


DemandKind = Literal["certain", "rule", "look-first", "ask"]
Power = Literal["as-found", "on", "off"]
ON_LOADS = "loaded"
"""After ``join:``: what was unplugged for access and stood on a load over the first power."""
UNDER_POWER = "power"
"""The one room of all work under power, in which one thing is done at a time."""


class Minutes(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Hands-on time in minutes: least, usual, most."""

    low: int = 0
    likely: int = 0
    high: int = 0

    def __post_init__(self) -> None:
        if not 0 <= self.low <= self.likely <= self.high:
            raise ModelError(f"minutes {self.low}, {self.likely}, {self.high} are out of order")

    def __add__(self, other: "Minutes") -> "Minutes":
        return Minutes(
            low=self.low + other.low,
            likely=self.likely + other.likely,
            high=self.high + other.high,
        )

    def times(self, share: float) -> "Minutes":
        """Return a multiple of it, rounded to whole minutes."""
        return Minutes(
            low=round(self.low * share),
            likely=round(self.likely * share),
            high=round(self.high * share),
        )


class Demand(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One demand on a component, or one step on the whole car; what evidence and gates speak of.

    Attributes:
        id: ``<component>:<action>`` for demands, ``step:<task>`` for steps of the procedure.
        action: ``replace``, ``inspect``, ``trace`` (a circuit), ``keep``, ``calibrate``, or ``do``
            for a step.
        component: Component id; None for a step on the whole car.
        title: What to do, in a mechanic's words.
        strict: How hard the rule is: ``always``, ``when-met``, ``inspect-first`` or ``advice``.
        probability: That the condition of the strictest rule holds; 1 for steps.
        needed: That it is needed, over the makers that may have built the car.
        because: Reasons, strongest first.
        after: Ids of the items that must be finished first.
        hold_minutes: Wait before this item may start, once those are finished. [min]
        minutes: Hands-on time. [min]
        tools: What is needed.
        cautions: Hazards that apply.
        done: Already done, by a ``done`` or ``passed`` evidence.
        blocked_by: Gates that are not passed and hold this item; empty when free.
        passes_when: What must be recorded for it to count as done.
        kind: ``certain`` (fired, broken or missing, or no rule is needed), ``rule`` (a maker's rule
            asks for it), ``look-first`` (a look decides), ``ask`` (only the maker can say).
        profiles: Rule profiles that surely ask for it, where a rule does.
        of_profiles: How many profiles were asked; 0 where no rule is needed.
        settled_by: What settles a doubt about it; empty = no doubt.
        question: Id of the question to the maker that decides it; empty = none.
    """

    id: str
    action: Action | str
    component: str | None
    title: str
    strict: str
    probability: float = 1.0
    needed: float = 1.0
    because: tuple[Because, ...] = ()
    after: tuple[str, ...] = ()
    hold_minutes: int = 0
    minutes: int = 0
    tools: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()
    done: bool = False
    blocked_by: tuple[str, ...] = ()
    passes_when: str = ""
    kind: DemandKind = "certain"
    profiles: tuple[str, ...] = ()
    of_profiles: int = 0
    settled_by: str = ""
    question: str = ""

    def __post_init__(self) -> None:
        if not (0.0 <= self.probability <= 1.0 and self.hold_minutes >= 0 and self.minutes >= 0):
            raise ModelError(f"demand {self.id}: probability or minutes out of range")


class PriceRange(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a part is known to cost, or what the user expects to pay.

    Attributes:
        basis: ``from-memory`` for the catalogue's dated range, ``entered`` for the user's own.
        on: When it was written down, as the catalogue or the user dated it.
    """

    low: Money
    likely: Money
    high: Money
    basis: str
    on: str = ""

    def __post_init__(self) -> None:
        if not self.low.minor <= self.likely.minor <= self.high.minor:
            raise ModelError("price is not low <= likely <= high")


class Order(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One line of the order list: an assembly as it is sold and fitted.

    Attributes:
        assembly: Catalogue id of the assembly; a component kind where it is sold on its own.
        title: What the trade calls it, with its place.
        contains: Components that come with it.
        quantity: Pieces.
        kind: As of a demand: that of the most certain demand inside it.
        profiles: Rule profiles that surely ask for it; empty where no rule is needed.
        of_profiles: How many profiles were asked; 0 where no rule is needed.
        p: Probability that it is needed.
        settled_by: The look that settles it; empty = nothing to settle.
        question: Id of the question that decides it; empty = none.
        because: Reasons, strongest first.
        price: New; None where nothing is known of it.
        used_price: Used; None where it is not sold used.
        lead_days: Least, usual and most days until it is there. [day]
        live: It holds a charge: dangerous goods until proven spent.
        note: What to mind when ordering.
        body_work: Named here, ordered and paid with the body work.
        done: Fitted already.
        demands: Ids of the demands it answers.
    """

    assembly: str
    title: str
    contains: tuple[str, ...]
    quantity: int = 1
    kind: DemandKind = "certain"
    profiles: tuple[str, ...] = ()
    of_profiles: int = 0
    p: float = 1.0
    settled_by: str = ""
    question: str = ""
    because: tuple[Because, ...] = ()
    price: PriceRange | None = None
    used_price: PriceRange | None = None
    lead_days: tuple[int, int, int] | None = None
    live: bool = False
    note: str = ""
    body_work: bool = False
    done: bool = False
    demands: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """Return ``<assembly>@<place>``: what offers and fitting operations name it by."""
        place = split_component(self.contains[0]).place if self.contains else "centre"
        return f"{self.assembly}@{place}"

    def __post_init__(self) -> None:
        if not (0.0 <= self.p <= 1.0 and self.quantity >= 1):
            raise ModelError(f"order {self.assembly}: probability or quantity out of range")


class Operation(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One line of work that is ticked as a whole.

    Attributes:
        n: Its number, the same for the life of the case.
        id: ``step:<task>``, ``open:<area>``, ``look:<area>``, ``out:<assembly>@<place>``,
            ``fit:<assembly>@<place>``, ``join:<area>``, ``close:<area>`` or ``<component>:trace``.
        action: ``do``, ``open``, ``look``, ``out``, ``fit``, ``join``, ``close``, ``trace`` or
            ``set`` (centred, zeroed, aimed, programmed).
        short: Title in a few words; empty where its action and parts say it.
        assembly: Catalogue id of the assembly it fits; None for other lines.
        components: Components it touches.
        minutes: Hands-on. [min]
        counted: Its minutes are in the sum of hours.
        is_advice: No gate of release waits for it.
        kind: As of the demand behind it.
        p: Probability that it is needed.
        done: Everything it contains is done.
        after: Ids of the operations that must be finished first.
        hold_minutes: Wait before it may start, once those are finished. [min]
        blocked_by: Gates that are not passed and hold it.
        rooms: Parts of the car that it is done in, each with room for one person; empty = it is in
            nobody's way.
        labelled: The origin of its part is noted before it is fitted.
        undoes: Components whose connectors it parts.
        joins: Components whose connectors it plugs in and locks.
        loads: Circuits that get a substitute load here; for ``step:return-loads`` those that lose
            it.
        demands: Ids of the demands and steps that evidence speaks of; ticking it ticks them all.
        sees: Components in the area that a look goes over, asked for or not.
        seen_hurt: Titles of parts among them that an eye saw hurt: ticking it leaves them open.
        passes_when: What must be recorded for it to count as done.
    """

    n: int
    id: str
    action: str
    title: str
    short: str = ""
    assembly: str | None = None
    components: tuple[str, ...] = ()
    minutes: Minutes = Minutes()
    counted: bool = True
    is_advice: bool = False
    kind: DemandKind = "certain"
    p: float = 1.0
    done: bool = False
    after: tuple[str, ...] = ()
    hold_minutes: int = 0
    blocked_by: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()
    tools: tuple[str, ...] = ()
    rooms: tuple[str, ...] = ()
    labelled: bool = False
    undoes: tuple[str, ...] = ()
    joins: tuple[str, ...] = ()
    loads: tuple[str, ...] = ()
    because: tuple[Because, ...] = ()
    demands: tuple[str, ...] = ()
    sees: tuple[str, ...] = ()
    seen_hurt: tuple[str, ...] = ()
    passes_when: str = ""

    @property
    def is_cause(self) -> bool:
        """True for what is done about a common cause that is believed, such as one connector."""
        return self.action == "do" and self.kind == "look-first"


class Area(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Operations in one area of the car, done in one go.

    Attributes:
        area: Id of an opening with its side or seat, such as ``pillar-left``, or a word for work
            on the whole car.
        phase: ``arrive``, ``read``, ``open``, ``body``, ``build``, ``prove``, ``fit``, ``final``.
        title: In a mechanic's words.
    """

    area: str
    phase: str
    title: str
    operations: tuple[Operation, ...]


class Visit(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The stretch of work between two changes of power.

    Attributes:
        id: ``arrive``, ``read``, ``strip``, ``prove``, ``fit`` or ``final``.
        power: Whether the car is powered throughout.
    """

    id: str
    title: str
    power: Power
    areas: tuple[Area, ...]

    @property
    def operations(self) -> tuple[Operation, ...]:
        """Operations in order, across its areas."""
        return tuple(o for a in self.areas for o in a.operations)


class Saving(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What an answer takes off the strictest list.

    Attributes:
        parts: Likely price of the parts that fall away; None where none is priced.
        minutes: Hands-on work that falls away. [min]
        orders: Orders that fall away, by title.
    """

    parts: Money | None = None
    minutes: int = 0
    orders: tuple[str, ...] = ()


class Question(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A question whose answer shrinks the list; most worth asking first.

    Attributes:
        id: What ``answer`` is given with.
        ask: ``maker`` (his procedure), ``owner``, ``parts-desk`` or ``place`` (law, insurer).
        answers: Words that may be answered.
        typical: The answer expected of most makers, with its share.
        share: How many makers of the last 15 years would say so; None = not known. [0..1]
        saves: What the favourable answer takes off.
        decides: Demands that hang on it.
        answered: The answer in the case; empty = open.
        because: Why it is asked.
    """

    id: str
    text: str
    ask: str = "maker"
    answers: tuple[str, ...] = ()
    typical: str = ""
    share: float | None = None
    saves: Saving = Saving()
    decides: tuple[str, ...] = ()
    answered: str = ""
    because: tuple[Because, ...] = ()


class Work(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The answer of ``work``.

    Attributes:
        profile: Name of the profile that is followed: the car's own, or ``unknown``.
        items: Demands and steps, in an order that respects every ``after``; under an unknown
            profile the strictest union.
        orders: What to order: certain first, then by rule, then what may be added.
        visits: Operations between changes of power.
        questions: Most worth asking first.
        hours: Hands-on work still open, of the job as a whole: ``certain`` (only what no rule is
            needed for), ``followed`` (and what most makers or this car's rules ask for, and looks
            more likely than not), ``strictest`` (all that any rule asks for), and each profile.
        not_counted: Work of others that no sum of hours holds.
        no_power: Why the car may not be switched on now; empty when nothing speaks against it.
        unsettled: Those of ``no_power`` that work settles, and no signature.
        spread: What each profile asks for: ``{profile: ("driver.front-bag:replace", ...)}``.
        chances: Probability of each id of ``spread``, by profile and item id.
        notices: Law and custom of the region, and the standing safety notice.
        findings: What is wrong or doubtful.
        unproven: Charges of fired parts that nobody confirmed spent, by their circuits.
    """

    profile: str
    items: tuple[Demand, ...]
    orders: tuple[Order, ...] = ()
    visits: tuple[Visit, ...] = ()
    questions: tuple[Question, ...] = ()
    hours: dict[str, Minutes] = {}
    not_counted: tuple[str, ...] = ()
    no_power: tuple[str, ...] = ()
    unsettled: tuple[str, ...] = ()
    spread: dict[str, tuple[str, ...]] = {}
    chances: dict[str, dict[str, float]] = {}
    notices: tuple[Caution, ...] = ()
    findings: tuple[Finding, ...] = ()
    unproven: tuple[str, ...] = ()

    @property
    def operations(self) -> tuple[Operation, ...]:
        """Operations in order, across the visits."""
        return tuple(o for v in self.visits for o in v.operations)
