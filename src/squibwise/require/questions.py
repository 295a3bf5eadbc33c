"""The kind of every demand, and the questions to the maker whose answers shrink the list most."""

from collections.abc import Iterable, Mapping, Sequence

import msgspec

from squibwise.catalog.rules import RuleQuestion
from squibwise.history.signed import read_memory
from squibwise.model.belief import Because
from squibwise.model.car import OwnRule
from squibwise.model.case import Case
from squibwise.model.cost import Money
from squibwise.model.evidence import (
    Circumstance,
    DoneWork,
    Evidence,
    Look,
    Reading,
    Recorder,
    TestOutcome,
)
from squibwise.model.names import split_component, split_loop
from squibwise.model.report import CodeLine, Report
from squibwise.model.words import CLOSED_AREAS, RECORD_GONE, WEAK_BASES
from squibwise.model.work import Demand, DemandKind, Order, Question, Saving
from squibwise.require.conditions import Situation, weigh_condition
from squibwise.require.demands import CALIBRATE, REPLACE, RuledDemand
from squibwise.require.job import Job

YES, NO = "yes", "no"
CRASH = "crash"
OWN = "own"
ANSWERS = (YES, NO)


class Sorted(msgspec.Struct, frozen=True, kw_only=True):
    """A demand with its kind.

    Attributes:
        p: Probability that it is needed, over the makers that may have built the car.
        profiles: Rule profiles that surely ask for it.
        question: Id of the question that decides it; empty = none.
        rests_on: Component in doubt that the rule hangs on: a look at it decides; empty = none.
    """

    kind: DemandKind
    p: float
    profiles: tuple[str, ...] = ()
    of_profiles: int = 0
    question: str = ""
    rests_on: str = ""


def sort_demand(
    demand: RuledDemand,
    by_profile: Mapping[str, Mapping[str, RuledDemand]],
    situation: Situation,
    job: Job,
) -> Sorted:
    """Return the kind of a demand.

    ``certain``: what was seen or measured asks for it, near certainly or by its tests.
    ``rule``: rules ask for it, those of this car or of most makers. ``look-first``: a look decides,
    at the part or at what the rule hangs on. ``ask``: only some makers ask for it, and a question
    of the catalogue decides.

    Args:
        demand: Under the union of all profiles that may apply.
        by_profile: What each profile alone asks for.
        situation: For the questions that fit the crash.
        job: For the limits.
    """
    certain = job.catalog.fact("require.certain-from").number()
    unnamed = job.catalog.fact("require.unnamed-from").number()
    asking = tuple(n for n, found in by_profile.items() if _surely(found.get(demand.id), job))
    is_located = demand.action == REPLACE and demand.component in situation.located
    if is_located or demand.action not in (REPLACE, CALIBRATE):
        return Sorted(kind="certain", p=demand.probability)
    if demand.by_state >= certain:
        sure = [r.ask for r in demand.reasons if r.probability >= certain]
        seen = demand.by_own_state >= certain or any(not (a.own or a.profile) for a in sure)
        is_certain = seen and (demand.by_state >= unnamed or is_named(demand, situation))
        if is_certain or any(a.own for a in sure):
            return Sorted(kind="certain" if is_certain else "rule", p=demand.by_state)
    if len(by_profile) == 1 and asking:
        return Sorted(kind="rule", p=demand.by_rule, profiles=asking, of_profiles=1)
    question = find_question(demand, situation, job, job.limits.likely)
    some = sum(demand.id in found for found in by_profile.values())
    share = question.share if question else some / max(len(by_profile), 1)
    word = question.id if question else ""
    least = job.catalog.fact("require.rule-share").number()
    agreed = question.share if question else len(asking) / max(len(by_profile), 1)
    if asking and demand.by_rule >= job.limits.likely and agreed >= least:
        least_sure = demand.weakest_trigger
        named = demand.by_rule >= certain and _names(least_sure, find_words(situation))
        rests_on = "" if named or demand.by_rule >= unnamed else least_sure
        return Sorted(
            kind="look-first" if rests_on else "rule",
            p=max(demand.by_rule * share, demand.by_state),
            profiles=asking,
            of_profiles=len(by_profile),
            question=word,
            rests_on=rests_on,
        )
    if demand.by_state >= job.limits.replace:
        return Sorted(
            kind="look-first",
            p=max(demand.by_rule * share if asking else 0.0, demand.by_state),
            profiles=asking,
            of_profiles=len(by_profile) if asking else 0,
            question=word if asking else "",
        )
    return _ask_or_look(demand, asking, len(by_profile), question, share, situation, job)


def _ask_or_look(
    demand: RuledDemand,
    asking: tuple[str, ...],
    of_profiles: int,
    question: RuleQuestion | None,
    share: float,
    situation: Situation,
    job: Job,
) -> Sorted:
    """Return a demand of some makers as one that a question decides; where none does, a look."""
    asked = question or find_question(demand, situation, job, job.limits.spread)
    return Sorted(
        kind="ask" if asked else "look-first",
        p=max(demand.by_rule * share, demand.by_state),
        profiles=asking,
        of_profiles=of_profiles,
        question=asked.id if asked else "",
        rests_on="" if asked else demand.weakest_trigger,
    )


def is_named(demand: RuledDemand, situation: Situation) -> bool:
    """Was a part named that asks for a demand: by a look, by a reading, by a line of a report.

    What only follows from other parts, or from a line that fits several, has a look first while
    that can still say something: see the fact ``require.unnamed-from``.
    """
    named = find_words(situation)
    seen = [r for r in demand.reasons if not r.ask.profile and not r.ask.own]
    about = {t.what for r in seen for t in r.triggers if t.what}
    is_seen = any(_names(component, named) for component in about)
    return not about or is_seen or demand.component in situation.failed


def find_words(situation: Situation) -> frozenset[str]:
    """Return the components and kinds that the evidence of a case names."""
    sure = situation.catalog.fact("require.named-from").number()
    return find_named(situation.case.evidence, sure)


def _names(component: str, named: frozenset[str]) -> bool:
    """Is a component named, by itself or by its kind; an empty word is no component in doubt."""
    if "." not in component:
        return not component or component in named
    return component in named or split_component(component).kind in named


def find_named(evidence: Iterable[Evidence], sure: float) -> frozenset[str]:
    """Return the components, or kinds of them, that evidence names without a doubt which is meant.

    A look that saw nothing of a part names none: that the car has it may only be assumed.

    Args:
        evidence: Of the case.
        sure: Weight from which on a line of a report means one component and no other. [0..1]
    """
    found: set[str] = set()
    for one in evidence:
        if isinstance(one, Report):
            found |= _name_lines(one.reading.lines, sure)
        elif isinstance(one, Recorder):
            found |= {split_loop(loop)[0] for loop in one.commanded_ms}
        elif isinstance(one, Look | Reading | DoneWork):
            if not (isinstance(one, Look) and one.seen == "not-seen"):
                found.add(split_loop(one.component)[0])
        elif isinstance(one, Circumstance) and one.present:
            found.update(one.parts)
        elif isinstance(one, TestOutcome):
            found.add(split_loop(one.loop)[0])
    return frozenset(found)


def _name_lines(lines: Sequence[CodeLine], sure: float) -> set[str]:
    """Return what lines mean, one with several readings also by what the other lines leave it.

    "Left front pretensioner" beside a line of its own for the buckle means the retractor.
    """
    weighed = [_weigh_readings(line) for line in lines if not line.repeats]
    plain = {c for weights in weighed for c, w in weights.items() if w >= sure}
    found = set(plain)
    for weights in weighed:
        left = {c: w for c, w in weights.items() if c not in plain}
        if len(left) == 1 and max(left.values()) >= max(weights.values()):
            found |= set(left)
    return found - {""}


def _weigh_readings(line: CodeLine) -> dict[str, float]:
    weights: dict[str, float] = {}
    for candidate in line.candidates:
        word = candidate.component or ""
        weights[word] = weights.get(word, 0.0) + candidate.weight
    return weights


def _surely(demand: RuledDemand | None, job: Job) -> bool:
    return demand is not None and demand.by_rule >= job.limits.likely


def find_question(
    demand: RuledDemand, situation: Situation, job: Job, least: float
) -> RuleQuestion | None:
    """Return the question of the catalogue that decides a demand after this crash.

    The first whose crash is likely; else the one whose crash is the likeliest.

    Args:
        demand: The demand.
        situation: For the crash that a question speaks of.
        job: For the catalogue and the limits.
        least: From which probability of its crash on a question is asked. [0..1]
    """
    fitting = {
        q.id: _weigh_question(q, demand.component, situation)
        for q in job.catalog.rules.questions.values()
        if q.action == demand.action and _speaks_of(q, demand.component)
    }
    likely = (word for word, p in fitting.items() if p >= job.limits.likely)
    found = next(likely, max(fitting, key=lambda word: fitting[word], default=""))
    return job.catalog.rules.questions[found] if fitting.get(found, 0.0) >= least else None


def _speaks_of(question: RuleQuestion, component: str) -> bool:
    name = split_component(component)
    return name.kind in question.kinds and (not question.places or name.place in question.places)


def _weigh_question(question: RuleQuestion, component: str, situation: Situation) -> float:
    """Return how probable the crash is that a question speaks of."""
    conditions = situation.catalog.rules.conditions
    return min(
        weigh_condition(conditions[word], component, situation).probability
        for word in (question.when, question.only_if)
        if word
    )


def answer_rules(
    question: RuleQuestion, answer: str, case: Case, source: str
) -> tuple[OwnRule, ...]:
    """Return the rules of this car that an answer stands for.

    A maker who says where a part is always new leaves it to a look everywhere else.

    Args:
        question: The question.
        answer: ``yes`` or ``no``.
        case: For the components it speaks of.
        source: Where the user read it.
    """
    told = [("inspect", question.when)]
    if answer == YES:
        narrow = question.yes_when and question.action == "replace"
        elsewhere = told if narrow else []
        told = [(question.action, question.yes_when or question.when), *elsewhere]
    own = [c for c in case.car.components if split_component(c).kind in question.kinds]
    there = {split_component(c).kind for c in own}
    words = [k for k in question.kinds if k in there] or list(question.kinds)
    if question.places:
        words = [c for c in own if split_component(c).place in question.places]
    return tuple(
        OwnRule(component=w, action=action, when=when, source=source)
        for action, when in told
        for w in words
    )


def read_answer(question: RuleQuestion, case: Case) -> str:
    """Return how the case answers a question by rules of its own; empty = open."""
    for rule in case.profile.rules:
        about = rule.component in question.kinds or (
            "." in rule.component
            and split_component(rule.component).kind in question.kinds
            and (not question.places or split_component(rule.component).place in question.places)
        )
        if about and rule.when in (question.when, question.yes_when, "always"):
            return YES if rule.action == question.action else NO
    return ""


def list_questions(
    job: Job,
    demands: Iterable[Demand],
    saves: Mapping[str, Saving],
    closed_minutes: int = 0,
) -> tuple[Question, ...]:
    """Return the questions worth asking: was there a crash, then by what an answer takes off.

    Args:
        job: The job.
        demands: Every demand, each with the question that decides it.
        saves: What a no takes off the strictest list, by question.
        closed_minutes: What looks into areas would take that nothing opens. [min]
    """
    decides: dict[str, list[Demand]] = {}
    for demand in demands:
        if demand.question:
            decides.setdefault(demand.question, []).append(demand)
    asked = [
        _question(job.catalog.rules.questions[word], found, saves.get(word, Saving()), job.case)
        for word, found in decides.items()
    ]
    asked.sort(key=lambda q: _worth(q, decides[q.id]), reverse=True)
    answered = [
        _question(q, (), Saving(), job.case)
        for q in job.catalog.rules.questions.values()
        if q.id not in decides and read_answer(q, job.case)
    ]
    closed = _of_closed_areas(job, closed_minutes)
    return (*_before_all(job), *asked, *closed, *_of_the_record(job), *answered)


def _worth(question: Question, decides: Iterable[Demand]) -> tuple[bool, float, float]:
    """Return how much an answer is worth: open ones first, then by what a no likely takes off."""
    chance = max((d.needed for d in decides), default=0.0)
    parts = question.saves.parts
    money = parts.minor if parts else 0
    return not question.answered, chance * money, chance * question.saves.minutes


def _question(
    question: RuleQuestion, decides: Iterable[Demand], saves: Saving, case: Case
) -> Question:
    typical = YES if question.share >= 0.5 else NO
    return Question(
        id=question.id,
        text=question.text,
        ask=question.ask,
        answers=(f"{YES}: {question.yes}", f"{NO}: {question.no}"),
        typical=question.yes if typical == YES else question.no,
        share=question.share if typical == YES else 1.0 - question.share,
        saves=saves,
        decides=tuple(d.id for d in decides),
        answered=read_answer(question, case),
        because=(
            Because(
                text=f"Makers that would say yes: about {question.share:.0%} "
                f"({question.low:.0%} to {question.high:.0%}).",
                sources=(question.source,),
                weak=question.basis if question.basis in WEAK_BASES else None,
            ),
        ),
    )


def _before_all(job: Job) -> list[Question]:
    """Return what is asked before any rule: what inference wants to know, what the car has."""
    asked = [
        Question(id=q.id, text=q.text, ask="owner", because=(Because(text=q.why),))
        for q in job.assessment.open_questions
    ]
    unsure = job.limits.trace <= job.assessment.event.no_crash <= 1.0 - job.limits.trace
    if unsure and all(q.id != CRASH for q in asked):
        text = "Was there a crash, and when? Or is the lamp on without one?"
        asked.insert(0, Question(id=CRASH, text=text, ask="owner", answers=ANSWERS))
    if job.case.car.assumed:
        text = (
            "What does the car have? The equipment is only assumed: "
            "walk round it, or ask for the build list."
        )
        asked.append(
            Question(
                id="equipment",
                text=text,
                ask="parts-desk",
                answers=("yes: it has what the template says",),
                answered=_answered("equipment", job),
            )
        )
    if job.assessment.event.no_crash >= job.limits.likely:
        text = (
            "Is there a recall, bulletin or extended cover for this fault, "
            "so that somebody else pays?"
        )
        answered = _answered("cover", job)
        asked.append(
            Question(id="cover", text=text, ask="maker", answers=ANSWERS, answered=answered)
        )
    return asked


def _of_the_record(job: Job) -> list[Question]:
    """Return what is asked of a locked crash record: last, for only the end of the work tells."""
    memory, answered = read_memory(job.progress.history), _answered(RECORD_GONE, job)
    if not memory.locked or (memory.read_since and not answered):
        return []
    text = "The crash record is locked: is it gone by the maker's own route, read again after it?"
    return [Question(id=RECORD_GONE, text=text, ask="maker", answers=ANSWERS, answered=answered)]


def _of_closed_areas(job: Job, minutes: int) -> list[Question]:
    """Return whether areas that nothing opens are opened for a look: owed until it is answered."""
    answered = _answered(CLOSED_AREAS, job)
    if not minutes and not answered:
        return []
    text = "Are areas that nothing else opens (roof rails, doors) opened for a look all the same?"
    return [
        Question(
            id=CLOSED_AREAS,
            text=text,
            ask="maker",
            answers=ANSWERS,
            saves=Saving(minutes=minutes),
            answered=answered,
        )
    ]


def _answered(word: str, job: Job) -> str:
    """Return how a question was answered on which no rule hangs; empty = open."""
    return {"passed": YES, "failed": NO}.get(job.progress.results.get(word, ""), "")


def save_by_no(question: str, orders: Iterable[Order], minutes: int, currency: str) -> Saving:
    """Return what a no takes off: the orders that only this question's rule asks for.

    Args:
        question: Its id.
        orders: The whole order list.
        minutes: Work that falls away with them. [min]
        currency: Of the case.
    """
    gone = [
        o for o in orders if o.question == question and not o.done and o.kind in ("rule", "ask")
    ]
    priced = [o.price.likely.minor * o.quantity for o in gone if o.price is not None]
    return Saving(
        parts=Money(minor=sum(priced), currency=currency) if priced else None,
        minutes=max(minutes, 0),
        orders=tuple(o.title for o in gone),
    )
