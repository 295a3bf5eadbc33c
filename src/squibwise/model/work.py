"""What must be done on the car."""

import msgspec

from squibwise.errors import ModelError
from squibwise.model.belief import Because
from squibwise.model.origin import Finding
from squibwise.model.words import Action, Basis


class Caution(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A hazard and what keeps people safe from it.

    Attributes:
        id: Catalogue id.
        text: What to do and what never to do.
        source: Catalogue source id.
        basis: What it stands on; None when not stated.
    """

    id: str
    text: str
    source: str = ""
    basis: Basis | None = None


class WorkItem(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One thing to do.

    Attributes:
        id: ``<component>:<action>`` for rule items, ``step:<task>`` for steps of the procedure.
        action: ``replace``, ``inspect``, ``trace`` (a circuit), ``keep``, ``calibrate``, or ``do``
            for a step.
        component: Component id; None for a step on the whole car.
        title: What to do, in a mechanic's words.
        strict: How hard the rule is: ``always``, ``when-met``, ``inspect-first`` or ``advice``.
        probability: That the condition of the rule holds; 1 for steps.
        because: Reasons, strongest first.
        after: Ids of the items that must be finished first.
        hold_minutes: Wait before this item may start, once those are finished. [min]
        minutes: Hands-on time. [min]
        tools: What is needed.
        cautions: Hazards that apply.
        done: Already done, by a ``done`` or ``passed`` evidence.
        blocked_by: Gates that are not passed and hold this item; empty when free.
        passes_when: What must be recorded for it to count as done.
    """

    id: str
    action: Action | str
    component: str | None
    title: str
    strict: str
    probability: float = 1.0
    because: tuple[Because, ...] = ()
    after: tuple[str, ...] = ()
    hold_minutes: int = 0
    minutes: int = 0
    tools: tuple[str, ...] = ()
    cautions: tuple[Caution, ...] = ()
    done: bool = False
    blocked_by: tuple[str, ...] = ()
    passes_when: str = ""

    def __post_init__(self) -> None:
        if not (0.0 <= self.probability <= 1.0 and self.hold_minutes >= 0 and self.minutes >= 0):
            raise ModelError(f"work item {self.id}: probability or minutes out of range")


class Work(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The answer of ``work``.

    Attributes:
        profile: Name of the profile the items follow: the car's own, or the strictest union.
        items: In an order that respects every ``after``.
        spread: What each profile asks for: ``{profile: ("driver.front-bag:replace", ...)}``.
        chances: Probability of each id of ``spread``, by profile and item id.
        notices: Law and custom of the region, and the standing safety notice.
        findings: What is wrong or doubtful.
    """

    profile: str
    items: tuple[WorkItem, ...]
    spread: dict[str, tuple[str, ...]] = {}
    chances: dict[str, dict[str, float]] = {}
    notices: tuple[Caution, ...] = ()
    findings: tuple[Finding, ...] = ()
