"""What is believed of the event and of every component, and why."""

import math

import msgspec

from squibwise.errors import InputError, ModelError
from squibwise.model.origin import Finding
from squibwise.model.words import STATES, Basis, State

_SUM_TOLERANCE = 1e-9


def _check_sums(values: tuple[float, ...], what: str) -> None:
    if not all(v >= 0.0 for v in values) or not abs(math.fsum(values) - 1.0) <= _SUM_TOLERANCE:
        raise ModelError(f"{what}: probabilities {values} do not sum to one")


class StateBelief(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Probabilities of a component's states; they sum to one.

    Attributes:
        faulty: Electrically.
        damaged: Mechanically.
        missing: Not in the car, whatever its circuit says.
        unfit: The wrong part, or not configured.
    """

    sound: float
    fired: float
    faulty: float
    damaged: float
    missing: float = 0.0
    unfit: float

    def __post_init__(self) -> None:
        _check_sums(tuple(getattr(self, s) for s in STATES), "component")


class StageBelief(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Probabilities of one charge or circuit: fired, live and whole, or electrically faulty.

    Attributes:
        where: The same by where a fault of the circuit lies, as it is now: ``nowhere`` (good, so
            that a code is only left over), ``spent``, ``left-out`` (the device is not there),
            ``load`` (a load or a bridge in its place), ``own-connector``, ``shared-connector``,
            ``clock-spring``, ``part`` (the part or its own wiring; once tested, the part alone,
            and ``wiring``, ``contact``, ``unit``, ``supply`` for the rest). Sums to one. Empty =
            not worked out.
    """

    fired: float
    live: float
    faulty: float
    where: dict[str, float] = {}

    def __post_init__(self) -> None:
        _check_sums((self.fired, self.live, self.faulty), "stage")
        if self.where:
            _check_sums(tuple(self.where.values()), "places of a fault")


class Because(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One reason of a conclusion.

    Attributes:
        text: In words a mechanic reads.
        evidence: Ids of the evidence it rests on.
        sources: Catalogue source ids it rests on.
        weak: ``judgement`` or ``from-memory`` when it leans on such a fact; else None.
        alone_db: Weight of that evidence alone, for the likeliest state. [dB] None = not weighed.
        last_db: Its weight when everything else is known already. [dB] None = not weighed.
    """

    text: str
    evidence: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    weak: Basis | None = None
    alone_db: float | None = None
    last_db: float | None = None


class SettlingLook(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The one thing to do that settles a doubt about a component.

    Attributes:
        component: Where to look; mostly the doubtful component itself.
        look: A look word, ``substitute-load`` or ``second-scan``.
        text: How, in a mechanic's words.
        minutes: Hands-on, once its area is open. [min]
    """

    component: str
    look: str
    text: str
    minutes: float


class StateRange(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How far a probability moves within the stated ranges of the figures behind it.

    Attributes:
        low: Least.
        high: Most.
        figure: The few figures that move it most, taken together, in words.
    """

    low: float
    high: float
    figure: str


class ComponentBelief(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is believed of one component.

    Attributes:
        id: Component id.
        after_crash: States right after the crash, before anybody worked on the car.
        now: States after everything that was done since.
        stages: Circuits by stage, now; empty for parts without a circuit.
        prior_fired: Probability of having fired before any evidence of this car.
        likeliest: The state that ``now`` holds likeliest, which the weights speak of; None = not
            weighed.
        prior_db: Log odds of that state before any evidence of this car. [dB]
        posterior_db: Its log odds with all evidence. [dB]
        because: Reasons, strongest first.
        opposing: Strongest evidence against that state; None when nothing speaks against it.
        flip: The one observation that would most likely change what is done; empty when no
            single one would.
        prior_flip_db: How far the log odds of not being sound could move before what is done
            changes: positive = up to a replacement, negative = down to keeping. [dB] None = not
            weighed.
        settled_by: What settles the doubt about it, chosen once for every stage and screen; None
            when nothing is in doubt or nothing settles it.
        ranges: By state, where the stated ranges of the figures carry a conclusion across a limit
            of decision; empty = settled at both ends.
    """

    id: str
    after_crash: StateBelief
    now: StateBelief
    stages: dict[str, StageBelief] = {}
    prior_fired: float | None = None
    likeliest: State | None = None
    prior_db: float | None = None
    posterior_db: float | None = None
    because: tuple[Because, ...] = ()
    opposing: Because | None = None
    flip: str = ""
    prior_flip_db: float | None = None
    settled_by: SettlingLook | None = None
    ranges: dict[State, StateRange] = {}


class SpeedChange(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Quantiles of the resultant delta-V of the worst impact, in km/h."""

    p10: float
    p50: float
    p90: float


class EventBelief(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is believed of the crash itself.

    Attributes:
        zones: Probability that a zone was struck, by zone (they need not sum to one).
        delta_v_kmh: Severity; None when no crash is near certain.
        driver_belted: Probability that the driver's belt was latched.
        passenger_belted: The same for the front passenger.
        front_passenger: Probability of ``empty``, ``child-or-small`` and ``adult``.
        rollover: Probability of a rollover.
        second_impact: Probability of a second impact.
        no_crash: Probability that there was no crash at all.
        causes: Probability of each common cause, such as ``shared-plug:driver``; ``supply`` at
            fault and ``unit-stopped`` (it shows what it had noted, and tests no more) too.
    """

    zones: dict[str, float]
    delta_v_kmh: SpeedChange | None
    driver_belted: float
    passenger_belted: float
    front_passenger: dict[str, float]
    rollover: float
    second_impact: float
    no_crash: float
    causes: dict[str, float] = {}


class Contradiction(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Evidence that does not fit together; reported, never averaged away.

    Attributes:
        remedy: What to do about it.
        component: Component it is about; empty when it is about the whole car.
    """

    text: str
    evidence: tuple[str, ...]
    remedy: str
    component: str = ""


class NextLook(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One observation worth making.

    Attributes:
        component: Component to look at.
        look: What to do: a look, ``second-scan``, ``substitute-load`` ...
        text: How, in a mechanic's words.
        minutes: What it takes.
        settles: Probability that it changes what is done.
        saving: Expected saving per minute, in the unit of the loss table.
    """

    component: str
    look: str
    text: str
    minutes: float
    settles: float
    saving: float


class Assumption(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Something that was taken for granted, with its source and basis.

    Attributes:
        value: The figure that was learned from own cases; None for any other assumption.
    """

    text: str
    fact: str = ""
    source: str = ""
    basis: Basis = "judgement"
    value: float | None = None


class OpenQuestion(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Something a person may know that would change more than any look.

    Attributes:
        id: What to answer with, such as ``crash``.
        text: The question, in a mechanic's words.
        why: What hangs on it.
    """

    id: str
    text: str
    why: str


class TestWeight(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What one outcome of a fault-finding test says of where the fault of its circuit lies.

    Attributes:
        evidence: Id of the entry.
        test: Which test.
        outcome: What came out.
        likely: How likely it is by where the fault lies, in the words of ``StageBelief.where``;
            ``device`` is the part alone, without its wiring.
        otherwise: The same for a place that the circuit does not have.
    """

    __test__ = False  # no test of pytest's

    evidence: str
    test: str
    outcome: str
    likely: dict[str, float]
    otherwise: float


class StoryWeight(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the owner's story says of where the fault of a circuit lies.

    Attributes:
        component: The part whose circuit it is.
        stage: Which of its circuits.
        evidence: Ids of the entries that tell it.
        likely: How likely it is told by where the fault lies, as in ``TestWeight``; at most 1.
        otherwise: The same for a place that the circuit does not have.
    """

    component: str
    stage: int
    evidence: tuple[str, ...]
    likely: dict[str, float]
    otherwise: float


class Located(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A fault that looks, loads and meters have located in a part, so that the part is renewed.

    Attributes:
        component: The part.
        loop: Circuit whose fault it is, as ``trace`` takes it.
        element: Element of that circuit which is renewed.
        p: Probability that it lies there.
        evidence: Ids of the outcomes that located it.
    """

    component: str
    loop: str
    element: str
    p: float
    evidence: tuple[str, ...]


class BenchBelief(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the tests and stories of a case say, handed to inference by ``case.py``.

    Attributes:
        weights: Of each outcome, by the id of its entry.
        parts: Where a fault of a part or its own wiring lies, by circuit: the share of the part
            itself, ``wiring``, ``contact`` (pins of a connector), ``unit`` and ``supply``.
        located: Faults located in a part that nobody worked on since.
        unproved: Entries that call a fault cured which was away before, by component: a second
            drive is left.
        stories: What is told of circuits at fault, by the id of the report that names them.
    """

    weights: dict[str, TestWeight] = {}
    parts: dict[tuple[str, int], dict[str, float]] = {}
    located: tuple[Located, ...] = ()
    unproved: dict[str, str] = {}
    stories: dict[str, tuple[StoryWeight, ...]] = {}


class CircuitCause(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One cause of a circuit's fault, as tracing has it: its id, title and probability."""

    id: str
    title: str
    p: float


class FaultyCircuit(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What tracing holds of a circuit that is reported or tested.

    Attributes:
        loop: Which, as ``trace`` takes it.
        causes: The likeliest first.
        where: The same by place, as in ``StageBelief.where``; of a code that may be another
            circuit's, ``nowhere`` holds the rest.
        share: Chance that the code it rests on is its own; 1 where the code names it. The causes
            are those of a fault that is there.
        rivals: Components that the same code may mean, the likeliest first.
    """

    loop: str
    causes: tuple[CircuitCause, ...]
    where: dict[str, float]
    share: float = 1.0
    rivals: tuple[str, ...] = ()


class Assessment(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The answer of ``assess``.

    Attributes:
        located: Faults that tests have located in a part: it is renewed.
        circuits: Circuits that the last report names or that were tested, unless their device is
            held for fired or they are cured.
        unproved: Entries that call a fault cured which was away before, by component.
        contradictions: Those that block release first.
        loads_left_in: Components whose circuit reads good though the part is missing, fired or
            mechanically spent: a load or a bridge was left in. Release is blocked by each.
        unproven: Loop ids of charges that nobody confirmed spent by the maker's way, in parts that
            more likely than not fired: the first one too, unless the part was seen spent. A hazard
            each, whatever their probability says.
        open_questions: To ask before anything is looked at.
        surprise_db: How badly the evidence as a whole fits any story; high = re-check. [dB]
    """

    event: EventBelief
    components: tuple[ComponentBelief, ...]
    contradictions: tuple[Contradiction, ...] = ()
    loads_left_in: tuple[str, ...] = ()
    unproven: tuple[str, ...] = ()
    located: tuple[Located, ...] = ()
    circuits: tuple[FaultyCircuit, ...] = ()
    unproved: dict[str, str] = {}
    open_questions: tuple[OpenQuestion, ...] = ()
    next_looks: tuple[NextLook, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    findings: tuple[Finding, ...] = ()
    surprise_db: float = 0.0

    def get(self, component_id: str) -> ComponentBelief | None:
        """Return the belief about one component; None when the car does not have it."""
        return next((c for c in self.components if c.id == component_id), None)

    def of(self, component_id: str) -> ComponentBelief:
        """Return the belief about one component.

        Raises:
            InputError: This car has none of this name.
        """
        belief = self.get(component_id)
        if belief is None:
            raise InputError(
                f"this car has no '{component_id}'", remedy="`squibwise assess` lists its parts."
            )
        return belief


class Loss(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a wrong decision about one component costs, in money units of the table.

    Attributes:
        needless: Replacing it although it is sound.
        missed: Keeping it although it is not: rework and hazard.
    """

    needless: float
    missed: float


class LossTable(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Losses by component id, handed to inference by ``case.py``.

    Attributes:
        losses: By component id.
        minute: Money of one minute of work.
    """

    losses: dict[str, Loss]
    minute: float
