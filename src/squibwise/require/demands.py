"""Apply rules to beliefs: what each component asks for, how surely, and why in plain words."""

from collections.abc import Iterable, Mapping, Sequence

import msgspec

from squibwise.catalog.load import Catalog, component_title
from squibwise.catalog.rules import RULE_ACTIONS, STRICTNESS, Condition, Rule
from squibwise.model.belief import Because
from squibwise.model.car import OwnRule
from squibwise.model.case import Case
from squibwise.model.names import split_component
from squibwise.model.origin import Finding
from squibwise.model.words import WEAK_BASES, Basis
from squibwise.model.work import Caution
from squibwise.require.conditions import (
    RENEWED,
    Situation,
    Trigger,
    weigh_circuit_fault,
    weigh_condition,
    weigh_renewal,
)

KEEP = "keep"


class Ask(msgspec.Struct, frozen=True, kw_only=True):
    """One rule, ready to apply.

    Attributes:
        components: Components of the car it speaks of.
        conditions: All must hold.
        fixed: No rule of the user relaxes it.
        own: Entered by the user.
        share: How often it asks, once its conditions hold. [0..1]
        profile: Rule profile it stands in; empty for what holds under every one.
        settled_by: What decides it, where no look at the part does.
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
    share: float = 1.0
    profile: str = ""
    settled_by: str = ""

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


def gather_profile_asks(
    rules: tuple[Rule, ...], case: Case, catalog: Catalog, profile: str = ""
) -> tuple[Ask, ...]:
    """Return a profile's rules as asks about the components of this car."""
    year = case.car.model_year
    return tuple(
        _ask(rule, profile, case, catalog)
        for rule in rules
        if year is None or year >= rule.from_year
    )


def gather_own_asks(case: Case, catalog: Catalog) -> tuple[tuple[Ask, ...], tuple[Finding, ...]]:
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


def _ask(rule: Rule, profile: str, case: Case, catalog: Catalog) -> Ask:
    return Ask(
        action=rule.action,
        strict=rule.strict,
        text=rule.text,
        components=frozenset(c for c in case.car.components if _speaks_of(rule, c, catalog)),
        conditions=tuple(catalog.rules.conditions[w] for w in rule.when),
        sources=(rule.source,),
        basis=rule.basis,
        fixed=rule.fixed,
        share=rule.share,
        profile=profile,
        settled_by=rule.settled_by,
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


REPLACE, INSPECT, TRACE, CALIBRATE = "replace", "inspect", "trace", "calibrate"


class Reason(msgspec.Struct, frozen=True, kw_only=True):
    """One rule that applies, what triggered it and how probable it is that it holds."""

    ask: Ask
    probability: float
    triggers: tuple[Trigger, ...]


class RuledDemand(msgspec.Struct, frozen=True, kw_only=True):
    """What the rules ask for: one action on one component, before it is sorted into a demand.

    Attributes:
        probability: That at least one of its rules holds; the largest of them.
        reasons: Strongest first.
        by_own_state: Of a replacement: that the part is in any state that calls for a new one,
            once a rule asks for it by its own state; 0 otherwise.
        doubtful: A look is asked for before it is decided.
    """

    component: str
    action: str
    probability: float
    reasons: tuple[Reason, ...] = ()
    by_own_state: float = 0.0
    doubtful: bool = False

    @property
    def by_state(self) -> float:
        """Probability that what was seen or measured asks for it, whatever the maker's rule."""
        seen = (r.probability for r in self.reasons if not r.ask.profile)
        return max(self.by_own_state, *seen, 0.0)

    @property
    def by_rule(self) -> float:
        """Probability that a rule profile asks for it."""
        return max((r.probability for r in self.reasons if r.ask.profile), default=0.0)

    @property
    def weakest_trigger(self) -> str:
        """Component that the likeliest profile rule hangs on most weakly; empty = the event."""
        rules = [r for r in self.reasons if r.ask.profile]
        if not rules:
            return ""
        triggers = max(rules, key=lambda r: r.probability).triggers
        weakest = min(triggers, key=lambda t: t.probability).what
        return weakest if "." in weakest else ""

    @property
    def id(self) -> str:
        """Id of the demand."""
        return f"{self.component}:{self.action}"


class DemandLimits(msgspec.Struct, frozen=True, kw_only=True):
    """From which probability on a rule is followed; see the facts ``require.*``."""

    sure: float
    replace: float
    spread: float
    inspect: float
    trace: float
    likely: float


def read_limits(catalog: Catalog) -> DemandLimits:
    """Return the limits of the catalogue."""
    return DemandLimits(
        sure=catalog.fact("require.sure").number(),
        replace=catalog.fact("require.replace-from").number(),
        spread=catalog.fact("require.spread-from").number(),
        inspect=catalog.fact("require.inspect-from").number(),
        trace=catalog.fact("require.trace-from").number(),
        likely=catalog.fact("require.likely").number(),
    )


def find_demands(
    asks: Sequence[Ask], own: Sequence[Ask], situation: Situation, redone: frozenset[str]
) -> dict[str, RuledDemand]:
    """Return every demand by item id, in the order of the car's components.

    Args:
        asks: Rules of a profile, or of several when their union is asked for.
        own: Rules of the user; each relaxes what the profile says of its components, except
            for rules that are fixed.
        situation: Case, beliefs, signed inspections.
        redone: Components that were replaced already; a fault on the new part is traced.
    """
    limits = read_limits(situation.catalog)
    ruled = _ruled(own, situation, limits)
    asks = (*(_relaxed(a, ruled) for a in asks), *(a for a in own if a.action != KEEP))
    first = _reasons((a for a in asks if not a.is_second_pass), situation, limits)
    replaced = {c: r[0].probability for (c, a), r in first.items() if a == REPLACE}
    replaced |= dict.fromkeys(redone, 1.0)  # whether a rule had asked for it or not
    later = msgspec.structs.replace(situation, replaced=replaced)
    second = _reasons((a for a in asks if a.is_second_pass), later, limits)
    found: dict[str, RuledDemand] = {}
    for component in situation.case.car.components:
        both = {a: first.get((component, a), []) + second.get((component, a), []) for a in ACTIONS}
        found |= {d.id: d for d in _settle(component, both, situation, limits, redone, ruled)}
    return found


ACTIONS = (REPLACE, INSPECT, TRACE, CALIBRATE)


def _ruled(own: Sequence[Ask], situation: Situation, limits: DemandLimits) -> frozenset[str]:
    """Return the components on which a rule of the user speaks of replacing or keeping."""
    return frozenset(
        c
        for ask in own
        if ask.action in (REPLACE, INSPECT, KEEP)
        for c in ask.components
        if _reason(ask, c, situation).probability >= _least(ask, situation, limits)
    )


def _relaxed(ask: Ask, ruled: frozenset[str]) -> Ask:
    if ask.fixed or ask.action != REPLACE:
        return ask
    return msgspec.structs.replace(ask, components=ask.components - ruled)


def _reasons(
    asks: Iterable[Ask], situation: Situation, limits: DemandLimits
) -> dict[tuple[str, str], list[Reason]]:
    found: dict[tuple[str, str], list[Reason]] = {}
    for ask in asks:
        for component in sorted(ask.components):
            reason = _reason(ask, component, situation)
            if reason.probability >= _least(ask, situation, limits):
                found.setdefault((component, ask.action), []).append(reason)
    for reasons in found.values():
        reasons.sort(key=_strictest_first)
    return found


def _reason(ask: Ask, component: str, situation: Situation) -> Reason:
    """Return how probable it is that a rule asks: that of its weakest condition, by its share."""
    triggers = tuple(weigh_condition(c, component, situation) for c in ask.conditions)
    probability = min(t.probability for t in triggers) * ask.share
    is_let_off = ask.strict == "inspect-first" and component in situation.cleared
    return Reason(ask=ask, probability=0.0 if is_let_off else probability, triggers=triggers)


def _least(ask: Ask, situation: Situation, limits: DemandLimits) -> float:
    """Return from which probability on a rule is followed.

    Damage is common after a crash and rare without one: on a car that had none, a part is
    replaced only when damage is likely, and looked at otherwise.
    """
    if ask.action == TRACE:
        return limits.trace
    if ask.is_about_itself:
        damage = ask.action == REPLACE and any(c.state == "damaged" for c in ask.conditions)
        return limits.likely if damage and not _had_crash(situation, limits) else limits.replace
    return limits.inspect if ask.is_about_the_crash else limits.spread


def _had_crash(situation: Situation, limits: DemandLimits) -> bool:
    return situation.crash >= limits.inspect


def _settle(
    component: str,
    reasons: dict[str, list[Reason]],
    situation: Situation,
    limits: DemandLimits,
    redone: frozenset[str],
    ruled: frozenset[str],
) -> list[RuledDemand]:
    """Return the demands on one component: the strictest rule wins over the milder ones."""
    by_action = {a: _demand(component, a, r, situation) for a, r in reasons.items() if r}
    replace = by_action.get(REPLACE)
    is_located = component in situation.located
    if replace is not None and (replace.probability >= limits.sure or is_located):
        by_action.pop(INSPECT, None)
        if component not in redone and not _lies_beside(component, situation, limits):
            by_action.pop(TRACE, None)
    elif replace is not None:
        by_action[REPLACE] = msgspec.structs.replace(replace, doubtful=True)
        by_action[INSPECT] = _at_least(by_action.get(INSPECT), replace, INSPECT)
    elif component in ruled and INSPECT not in by_action:
        by_action[INSPECT] = RuledDemand(component=component, action=INSPECT, probability=1.0)
    if component in redone - situation.failed and situation.crash < limits.likely:
        by_action.pop(INSPECT, None)  # a new part that most likely saw no crash
    if INSPECT in by_action and component in situation.cleared and REPLACE not in by_action:
        inspected = by_action[INSPECT]
        by_action[KEEP] = msgspec.structs.replace(inspected, action=KEEP)
    return [by_action[a] for a in (*ACTIONS, KEEP) if a in by_action]


def _lies_beside(component: str, situation: Situation, limits: DemandLimits) -> bool:
    """Is a fault of the circuit likely in plug or harness, so that a new part is no cure."""
    belief = situation.assessment.get(component)
    if belief is None:
        return False
    return weigh_circuit_fault(belief, situation.catalog) - belief.now.faulty >= limits.trace


def _strictest_first(reason: Reason) -> tuple[float, int]:
    return -reason.probability, STRICTNESS.index(reason.ask.strict)


def _demand(
    component: str, action: str, reasons: list[Reason], situation: Situation
) -> RuledDemand:
    ordered = tuple(sorted(reasons, key=_strictest_first))
    about_itself = [r for r in ordered if _is_of_its_state(r)]
    own = 0.0
    if action == REPLACE and about_itself:
        own = max(about_itself[0].probability, weigh_renewal(component, situation))
    return RuledDemand(
        component=component,
        action=action,
        probability=max(ordered[0].probability, own),
        reasons=ordered,
        by_own_state=own,
    )


def _is_of_its_state(reason: Reason) -> bool:
    """Does a rule ask for a part by what state it is in itself."""
    states = {t.state for t in reason.triggers}
    return reason.ask.is_about_itself and len(states) == 1 and states <= RENEWED


def _at_least(known: RuledDemand | None, replace: RuledDemand, action: str) -> RuledDemand:
    """Return an inspection that is at least as needed as the doubtful replacement."""
    base = known or msgspec.structs.replace(replace, action=action)
    return msgspec.structs.replace(base, probability=max(base.probability, replace.probability))


_VERBS = {
    "replace": "Replace",
    "inspect": "Inspect",
    "trace": "Trace the circuit of",
    "keep": "Keep",
}
_STATES = {
    "fired": "fired",
    "damaged": "damaged",
    "faulty": "circuit at fault",
    "located": "at fault, by its tests",
    "missing": "missing",
    "unfit": "wrong part or not configured",
    "replaced": "is replaced",
    "struck": "struck",
    "sound": "sound",
}


def pick_cautions(ids: Iterable[str], catalog: Catalog) -> tuple[Caution, ...]:
    """Return cautions of the catalogue as they are printed beside an operation."""
    found = (catalog.cautions[i] for i in ids)
    return tuple(
        Caution(id=c.id, text=c.text, short=c.short, source=c.source, basis=c.basis) for c in found
    )


def name_item(demand: RuledDemand, catalog: Catalog) -> str:
    """Return the title of a demand, saying so when a look decides first."""
    if demand.action == CALIBRATE:
        setting = catalog.tasks.settings.get(split_component(demand.component).kind)
        unit = demand.component == "centre.control-unit"
        tail = "; no crash record in it may be left" if unit else ""
        return f"{setting.title}{tail}" if setting else f"Set up {demand.component}"
    title = f"{_VERBS[demand.action]} the {component_title(demand.component, catalog)}"
    return f"{title}, unless the inspection rules it out" if demand.doubtful else title


def name_chance(probability: float, catalog: Catalog) -> str:
    """Return a probability as a word with the figure, such as ``likely (0.82)``."""
    word = next(w for w in catalog.rules.chances if probability >= w.at_least)
    return f"{word.text} ({probability:.2f})"


def give_reasons(demand: RuledDemand, catalog: Catalog) -> tuple[Because, ...]:
    """Return the reasons of a demand, each text once, the strongest first."""
    rules: dict[str, Because] = {}
    for reason in demand.reasons:
        rules.setdefault(reason.ask.text, _because(reason, catalog))
    return tuple(rules.values())


def tell_profiles(
    demand: RuledDemand, by_profile: Mapping[str, Mapping[str, RuledDemand]]
) -> tuple[Because, ...]:
    """Return which profiles ask for an item; nothing when all of them surely do."""
    found = {n: asked[demand.id] for n, asked in by_profile.items() if demand.id in asked}
    sure = [n for n, d in found.items() if not d.doubtful]
    doubtful = [n for n, d in found.items() if d.doubtful]
    if len(sure) == len(by_profile) or not found:
        return ()
    parts = [f"Rule profiles that ask for it: {', '.join(sure)}."] if sure else []
    if doubtful:
        parts.append(f"Only if a look says so, under: {', '.join(doubtful)}.")
    return (Because(text=" ".join(parts), sources=("judgement",), weak="judgement"),)


def _because(reason: Reason, catalog: Catalog) -> Because:
    told = "; ".join(
        _trigger(t, c.text, catalog)
        for t, c in zip(reason.triggers, reason.ask.conditions, strict=True)
    )
    return Because(
        text=f"{reason.ask.text} Here: {told}.",
        evidence=tuple(dict.fromkeys(e for t in reason.triggers for e in t.evidence)),
        sources=reason.ask.sources,
        weak=reason.ask.basis if reason.ask.basis in WEAK_BASES else None,
    )


def _trigger(trigger: Trigger, condition: str, catalog: Catalog) -> str:
    chance = name_chance(trigger.probability, catalog)
    if not trigger.what:
        return f"{condition}: {chance}"
    if trigger.state == "struck":
        return f"{trigger.what} struck: {chance}"
    return f"{component_title(trigger.what, catalog)} {_STATES[trigger.state]}: {chance}"
