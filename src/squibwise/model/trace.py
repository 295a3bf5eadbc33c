"""The answer of ``trace``: where a circuit is at fault and which test comes next."""

import msgspec

from squibwise.model.belief import Assumption, Because
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


class BenchCard(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One test or repair, ready to do.

    Attributes:
        id: Test or repair id, to be entered with its outcome.
        kind: ``test``, ``repair`` or ``stop``.
        how: Steps, in order.
        outcomes: What each outcome means, by outcome word.
        minutes: Hands-on time incl. the access that is not yet open. [min]
        hold_minutes: Wait after power-down included before hands go in. [min]
    """

    id: str
    kind: str
    title: str
    how: tuple[str, ...]
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
        assumptions: What the answer leans on that is judgement, from memory or a default.
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
    assumptions: tuple[Assumption, ...] = ()
    findings: tuple[Finding, ...] = ()
