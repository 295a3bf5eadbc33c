"""Rules as the profiles and the user write them, in one form that can be applied."""

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.rules import RULE_ACTIONS, Condition, Rule
from squibwise.model.car import OwnRule
from squibwise.model.case import Case
from squibwise.model.names import split_component
from squibwise.model.origin import Finding
from squibwise.model.words import Basis

KEEP = "keep"


class Ask(msgspec.Struct, frozen=True, kw_only=True):
    """One rule, ready to apply.

    Attributes:
        components: Components of the car it speaks of.
        conditions: All must hold.
        fixed: No rule of the user relaxes it.
        own: Entered by the user.
    """

    action: str
    strict: str
    text: str
    components: frozenset[str]
    conditions: tuple[Condition, ...]
    sources: tuple[str, ...] = ()
    basis: Basis = "published"
    fixed: bool = False
    own: bool = False

    @property
    def is_second_pass(self) -> bool:
        """Does it wait for what other rules replace."""
        return any(c.state == "replaced" for c in self.conditions)

    @property
    def is_about_itself(self) -> bool:
        """Does it look at nothing but the component's own state."""
        return all(c.near == "itself" for c in self.conditions)

    @property
    def is_about_the_crash(self) -> bool:
        """Does it hold after any crash at all."""
        return all(c.state == "event" and c.event in ("always", "crash") for c in self.conditions)


def profile_asks(rules: tuple[Rule, ...], case: Case, catalog: Catalog) -> tuple[Ask, ...]:
    """Return a profile's rules as asks about the components of this car."""
    return tuple(_ask(rule, case, catalog) for rule in rules)


def own_asks(case: Case, catalog: Catalog) -> tuple[tuple[Ask, ...], tuple[Finding, ...]]:
    """Return the user's own rules as asks, and a finding for each that cannot be applied."""
    asks: list[Ask] = []
    findings: list[Finding] = []
    for rule in case.profile.rules:
        problem = _problem(rule, case, catalog)
        if problem:
            findings.append(_strange(rule, problem))
        else:
            asks.append(_own_ask(rule, case, catalog))
    return tuple(asks), tuple(findings)


def _ask(rule: Rule, case: Case, catalog: Catalog) -> Ask:
    return Ask(
        action=rule.action,
        strict=rule.strict,
        text=rule.text,
        components=frozenset(c for c in case.car.components if _speaks_of(rule, c, catalog)),
        conditions=tuple(catalog.rules.conditions[w] for w in rule.when),
        sources=(rule.source,),
        basis=rule.basis,
        fixed=rule.fixed,
    )


def _speaks_of(rule: Rule, component: str, catalog: Catalog) -> bool:
    name = split_component(component)
    kind = catalog.kinds.get(name.kind)
    if kind is None or (rule.places and name.place not in rule.places):
        return False
    return name.kind in rule.kinds or kind.family in rule.families


def _own_components(rule: OwnRule, case: Case) -> frozenset[str]:
    return frozenset(
        c for c in case.car.components if rule.component in (c, split_component(c).kind)
    )


def _own_ask(rule: OwnRule, case: Case, catalog: Catalog) -> Ask:
    return Ask(
        action=rule.action,
        strict="always",
        text=f"Your rule for this car says {rule.action}; you cite: {rule.source}.",
        components=_own_components(rule, case),
        conditions=(catalog.rules.conditions[rule.when],),
        own=True,
    )


def _problem(rule: OwnRule, case: Case, catalog: Catalog) -> str:
    if rule.action not in (*RULE_ACTIONS, KEEP):
        return f"'{rule.action}' is not an action"
    if rule.when not in catalog.rules.conditions:
        return f"'{rule.when}' is not a condition word"
    if not rule.source.strip():
        return "it cites no source"
    if not _own_components(rule, case):
        return f"the car has no '{rule.component}'"
    return ""


def _strange(rule: OwnRule, problem: str) -> Finding:
    return Finding(
        code="own-rule-unusable",
        severity="warning",
        message=f"Your rule on {rule.component} is not used: {problem}.",
        remedy="Correct the rule in [profile]; until then the shipped profiles apply.",
    )
