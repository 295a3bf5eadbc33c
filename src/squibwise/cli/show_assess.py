"""Show what happened and what state everything is in: first what fired, then what is doubtful."""

from rich.console import RenderableType

from squibwise.catalog.load import Catalog
from squibwise.cli import page, show_event
from squibwise.cli.known import known_component
from squibwise.model.belief import (
    Assessment,
    ComponentBelief,
    NextLook,
    StageBelief,
    StateBelief,
)
from squibwise.model.case import Case
from squibwise.model.names import split_component
from squibwise.model.words import STATES

SURE = 0.9  # shown as settled from here; the probability stands beside it
LIKELY = 0.5
_LOOKS_SHOWN = 6
LIVE = 0.02  # a charge is named as perhaps live from here


def chosen(
    case: Case, states: Assessment, catalog: Catalog, why: str | None
) -> list[RenderableType]:
    """Return the whole assessment, or the reasons of one conclusion.

    Raises:
        InputError: ``why`` names no component of the car.
    """
    if why is None:
        return blocks(case, states, catalog)
    belief = known_component(why, states.components)
    return reasons(case, belief, states, catalog)


def blocks(case: Case, states: Assessment, catalog: Catalog) -> list[RenderableType]:
    """Return the assessment in the order a rebuilder asks."""
    shown = page.title(case)
    shown += _fired(states)
    shown += show_event.causes(states.event, catalog)
    shown += _trouble(states)
    shown += _hazards(states, catalog)
    shown += _contradictions(states)
    shown += _doubtful(states, catalog)
    shown += _looks(states)
    shown += _quiet(states, catalog)
    shown += show_event.blocks(states.event)
    shown += _assumed(states, catalog)
    shown += page.findings((*case.findings, *states.findings))
    shown.append(page.para("\nWhy? `squibwise assess CASE --why COMPONENT`", indent=0, style="dim"))
    return shown + page.standing()


def short(states: Assessment, catalog: Catalog) -> list[RenderableType]:
    """Return the few lines that matter most: what fired, hazards, contradictions, the next look."""
    shown = (
        _fired(states)
        + show_event.causes(states.event, catalog)
        + _trouble(states)
        + _hazards(states, catalog)
        + _contradictions(states)
    )
    for look in states.next_looks[:1]:
        text = f"{look.component}: {look.text} ({page.minutes(look.minutes)})"
        shown += [page.heading("Look next"), page.para(text)]
    return shown


def _fired(states: Assessment) -> list[RenderableType]:
    parts = sorted(states.components, key=lambda c: -c.after_crash.fired)
    sure = [c for c in parts if c.after_crash.fired >= SURE]
    likely = [c for c in parts if LIKELY <= c.after_crash.fired < SURE]
    head = page.heading("What fired")
    if not sure and not likely:
        return [head, page.para("Nothing is likely to have fired.")]
    shown: list[RenderableType] = [head]
    surely = page.rows((_fired_row(c) for c in sure), right=(1,))
    shown.append(surely if sure else page.para("Nothing is settled to have fired."))
    if likely:
        shown += [page.heading("Probably fired", "not settled")]
        shown += [page.rows((_fired_row(c) for c in likely), right=(1,))]
    return shown


def _fired_row(belief: ComponentBelief) -> tuple[str, str, str]:
    told = [part for part in (_since(belief), stages(belief)) if part]
    return belief.id, page.percent(belief.after_crash.fired), "; ".join(told)


def _since(belief: ComponentBelief) -> str:
    if belief.now == belief.after_crash:
        return ""
    state, p = likeliest(belief.now)
    return f"now {state} {page.percent(p)}" if state != "fired" else ""


def stages(belief: ComponentBelief) -> str:
    """Return the circuits of a part with several of them, in words."""
    if len(belief.stages) < 2:
        return ""
    told = []
    for number, stage in belief.stages.items():
        word, p = max(
            (("fired", stage.fired), ("live", stage.live), ("faulty", stage.faulty)),
            key=lambda pair: pair[1],
        )
        told.append(f"stage {number} {word} {page.percent(p)}")
    return ", ".join(told)


def likeliest(states: StateBelief) -> tuple[str, float]:
    """Return the likeliest state and its probability."""
    state = max(STATES, key=lambda s: float(getattr(states, s)))
    return state, float(getattr(states, state))


def _trouble(states: Assessment) -> list[RenderableType]:
    words = ("faulty", "damaged", "missing", "unfit")
    found = [
        (c.id, page.percent(getattr(c.now, word)), word)
        for c in states.components
        for word in words
        if getattr(c.now, word) >= LIKELY
    ]
    return (
        [page.heading("Not right now", "though not fired"), page.rows(found, right=(1,))]
        if found
        else []
    )


def _hazards(states: Assessment, catalog: Catalog) -> list[RenderableType]:
    found = [
        f"{c.id}: stage {number} may still be live though the part fired "
        f"({page.percent(live)}). Handle, store and scrap it as live."
        for c in states.components
        if c.now.fired >= LIKELY and len(c.stages) > 1
        for number, stage in c.stages.items()
        if (live := live_if_fired(c, stage)) >= LIVE
    ]
    found += [
        f"{c.id}: its circuit is at fault, which is no proof that it fired; most likely it did "
        f"not ({page.percent(1.0 - c.now.fired)}). It is live."
        for c in states.components
        if catalog.kinds[_kind(c.id)].fires and c.now.faulty >= LIKELY > c.now.fired
    ]
    return (
        [page.heading("Hazards"), page.bullets(found, mark="!", style="bold red")] if found else []
    )


def live_if_fired(belief: ComponentBelief, stage: StageBelief) -> float:
    """Return the probability that a stage is live, given that its part has fired.

    A part that has not fired has all its stages live, or faulty: at least ``live`` less what the
    unfired part explains belongs to the fired one.
    """
    return max(0.0, stage.live - (1.0 - belief.now.fired)) / belief.now.fired


def _contradictions(states: Assessment) -> list[RenderableType]:
    told = [f"{c.text} ({', '.join(c.evidence)}) {c.remedy}".strip() for c in states.contradictions]
    return (
        [page.heading("Contradictions"), page.bullets(told, mark="?", style="bold")] if told else []
    )


def _doubtful(states: Assessment, catalog: Catalog) -> list[RenderableType]:
    found = [c for c in states.components if max(_values(c.now)) < SURE]
    found.sort(key=lambda c: max(_values(c.now)))
    watched = [c for c in found if catalog.kinds[_kind(c.id)].circuit]
    best = {look.component: look for look in reversed(states.next_looks)}
    shown: list[RenderableType] = []
    if watched:
        table = [
            (c.id, f"{_split(c.now)}; {_settles(c, best.get(c.id), catalog)}") for c in watched
        ]
        shown += [page.heading("Doubtful", "and the look that settles it"), page.rows(table)]
    rest = [f"{c.id} ({_split(c.now)})" for c in found if c not in watched]
    if rest:
        head = page.heading("To be looked at", "mechanical, sets no code")
        shown += [head, page.para("; ".join(rest))]
    return shown


def _values(states: StateBelief) -> list[float]:
    return [float(getattr(states, s)) for s in STATES]


def _split(states: StateBelief) -> str:
    ranked = sorted(STATES, key=lambda s: -getattr(states, s))
    told = [f"{s} {page.percent(getattr(states, s))}" for s in ranked if getattr(states, s) > 0.05]
    return " / ".join(told)


def _settles(belief: ComponentBelief, look: NextLook | None, catalog: Catalog) -> str:
    """Name the ranked look at a part, or else the word of its kind that tells most."""
    if look is not None:
        return look.text
    state = max((s for s in STATES if s != "sound"), key=lambda s: getattr(belief.now, s))
    kind = catalog.kinds[_kind(belief.id)]
    words = kind.look or tuple(catalog.looks(kind.kind).values())
    told = max(words, key=lambda w: float(getattr(w, state)) - w.sound)
    return f"look for: {told.text}"


def _looks(states: Assessment) -> list[RenderableType]:
    shown = [page.heading("Look next", "best saving per minute first")]
    if not states.next_looks:
        return [*shown, page.para("No further look is worth its time.")]
    table = [
        (page.minutes(k.minutes), f"{k.component}: {k.text} (changes the plan: {_chance(k)})")
        for k in states.next_looks[:_LOOKS_SHOWN]
    ]
    return [*shown, page.rows(table, right=(0,))]


def _chance(look: NextLook) -> str:
    return page.percent(look.settles)


def _quiet(states: Assessment, catalog: Catalog) -> list[RenderableType]:
    charges = [
        c.id
        for c in states.components
        if catalog.kinds[_kind(c.id)].fires and c.after_crash.fired < 0.1 and c.now.missing < LIKELY
    ]
    if not charges:
        return []
    head = page.heading("Did not fire", "under 10% each; live, and to be handled so")
    return [head, page.para(", ".join(charges))]


def _kind(component_id: str) -> str:
    return split_component(component_id).kind


def _assumed(states: Assessment, catalog: Catalog) -> list[RenderableType]:
    if not states.assumptions:
        return []
    told = [
        f"{one.text[:1].upper()}{one.text[1:]} ({page.grounds(one.source, one.basis, catalog)})"
        for one in states.assumptions
    ]
    return [page.heading("Taken for granted"), page.bullets(dict.fromkeys(told))]


def reasons(
    case: Case, belief: ComponentBelief, states: Assessment, catalog: Catalog
) -> list[RenderableType]:
    """Return one component with every reason, and the look that settles it."""
    shown = page.title(case)
    table = [("right after the crash", _split(belief.after_crash)), ("now", _split(belief.now))]
    if stages(belief):
        table.append(("circuits now", stages(belief)))
    if belief.prior_fired is not None:
        table.append(("fired, before any evidence", page.percent(belief.prior_fired)))
    shown += [page.heading(belief.id), page.rows(table)]
    told = [page.reason(b, case, catalog) for b in belief.because]
    note = f"strongest first; a plus speaks for '{likeliest(belief.now)[0]}'"
    shown += [page.heading("Because", note), page.bullets(told)]
    looks = [k for k in states.next_looks if k.component == belief.id]
    if looks:
        shown += [page.heading("What would settle it"), page.bullets(k.text for k in looks)]
    return shown + page.standing()
