"""The answer of ``trace``: where a circuit is at fault and which test comes next."""

import msgspec

from squibwise.model.belief import Assumption, Because
from squibwise.model.cost import Money
from squibwise.model.origin import Finding
from squibwise.model.work import Caution


class Hypothesis(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One way the circuit can be at fault.

    Attributes:
        id: ``<element>:<fault>``.
        p: Probability.
        title: In a mechanic's words.
        because: What moved it.
    """

    id: str
    p: float
    title: str = ""
    because: tuple[Because, ...] = ()


class CardStep(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One step of a card.

    Attributes:
        text: What to do.
        power: ``off`` (off and waited for), ``on`` (on, behind its gate) or ``any``.
        drives: Is it done on the road.
    """

    text: str
    power: str
    drives: bool = False


class BenchCard(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One test or repair, ready to do.

    Attributes:
        id: Test or repair id, to be entered with its outcome.
        kind: ``test``, ``repair`` or ``stop``.
        how: Steps, in order.
        steps: The same, each with the state of the power.
        opens: What is opened for it; nothing that is open already.
        figure: The number that separates the outcomes, or that only the maker's figure can; empty
            where the eye decides.
        danger: What can hurt on this very circuit.
        load: Where a substitute load now is, and what to do with it; empty when none is in.
        entry: What to paste into the case when it is done.
        outcomes: What each outcome means, by outcome word.
        minutes: Hands-on time incl. the access that is not yet open. [min]
        hold_minutes: Wait after power-down included before hands go in. [min]
    """

    id: str
    kind: str
    title: str
    how: tuple[str, ...]
    steps: tuple[CardStep, ...] = ()
    opens: tuple[str, ...] = ()
    figure: str = ""
    danger: str = ""
    load: str = ""
    entry: str = ""
    outcomes: dict[str, str] = {}
    minutes: float = 0.0
    hold_minutes: float = 0.0
    needs: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()
    because: tuple[Because, ...] = ()


class PlanNode(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A node of the test tree.

    Attributes:
        action: Test or repair id, or ``stop``.
        p: Probability of coming here.
        minutes: Expected minutes from here until fixed and verified. [min]
        branches: By outcome; those under 2 % are folded into ``folded``.
        folded: Probability of the branches not shown.
    """

    action: str
    title: str
    p: float
    minutes: float
    branches: dict[str, "PlanNode"] = {}
    folded: float = 0.0


class Effort(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What it costs until fixed and verified, each kind in its own unit.

    Attributes:
        work_minutes: Hands-on. [min]
        wait_minutes: Waiting after power-downs. [min]
        money: Parts; None where nothing is known of prices in the currency of the case.
        parts: Number of parts fitted, expected.
        needless: Of those, how many the fault does not ask for.
        minutes: The sum that is minimised: parts as minutes of work. [min]
    """

    work_minutes: float
    wait_minutes: float
    money: Money | None
    parts: float
    needless: float = 0.0
    minutes: float


class Alternative(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One way to go about it, to compare with.

    Attributes:
        id: ``plan``, ``outward``, ``cheapest-first`` or ``fit-parts``.
        title: In words.
        effort: What it is expected to cost.
    """

    id: str
    title: str
    effort: Effort


class Trace(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The answer of ``trace``.

    Attributes:
        expected_minutes: Expected cost of the plan until fixed and verified. [min]
        lower_bound: No plan can expect less. [min]
        greedy_minutes: What the greedy alternative expects: most information per minute. [min]
        outward_minutes: What the fixed tree expects: substitute outward, check, likeliest part.
            [min] None when it was not computed.
        parts_minutes: What replacing by chance over cost expects, without tests. [min]
        wait_minutes: Wait after each power-down that was used. [min]
        method: ``exact``, ``rollout`` or ``two-step``.
        states: Number of states the planner looked at.
        comparison: This plan and the plain ways, with work, waiting and money apart.
        foretold: What the plan expected before the first test, of a search that has ended.
        spent: What was spent on the search so far, by the figures of the cards.
        assumptions: What the answer leans on that is judgement, from memory or a default.
        not_settled: Which other cause would come first at an end of the ranges of the ranks.
        no_power: Why the car may not be switched on now, whatever a card says.
    """

    loop: str
    hypotheses: tuple[Hypothesis, ...]
    next_test: BenchCard
    plan: PlanNode
    expected_minutes: float
    lower_bound: float
    greedy_minutes: float
    method: str = "exact"
    states: int = 0
    outward_minutes: float | None = None
    parts_minutes: float | None = None
    wait_minutes: float = 0.0
    comparison: tuple[Alternative, ...] = ()
    foretold: Effort | None = None
    spent: Effort | None = None
    assumptions: tuple[Assumption, ...] = ()
    not_settled: tuple[Assumption, ...] = ()
    no_power: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()
