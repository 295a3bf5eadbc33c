"""What happened and what state everything is in: first what fired, then what is doubtful."""

from collections.abc import Iterable, Sequence
from pathlib import Path

import msgspec

from squibwise.catalog.load import Catalog, holds_charge
from squibwise.history.signed import settling_look
from squibwise.model.belief import (
    Assessment,
    ComponentBelief,
    NextLook,
    StageBelief,
    StateBelief,
)
from squibwise.model.case import Case
from squibwise.model.names import loop_id, split_component, split_loop
from squibwise.present.figures import counted, listed, minutes, percent
from squibwise.present.phrases import (
    LIKELY,
    is_told_already,
    name,
    standing,
    tell_car,
    tell_findings,
    tell_from,
    tell_grounds,
    tell_grouped,
    tell_reasons,
    tell_stage,
    tell_states,
)
from squibwise.present.tell_event import tell_causes, tell_event, tell_event_shortly
from squibwise.present.tell_trouble import by_state, tell_circuits, tell_trouble, troubled
from squibwise.present.telling import Bullets, Section, Table, Telling, Text, filled, section

LOOKS_SHOWN = 6
HIGH_VOLTAGE = "high-voltage-cutoff"


def tell_assessment(case: Case, states: Assessment, catalog: Catalog) -> Telling:
    """Return the assessment in the order a rebuilder asks."""
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=tell_car(case),
        sections=filled(
            (
                tell_assessment_shortly(case, states, catalog),
                _asked(states),
                *_fired(states, catalog),
                tell_causes(states, catalog),
                tell_trouble(states),
                tell_circuits(states, catalog),
                tell_hazards(states, catalog),
                tell_contradictions(states),
                *_doubtful(states, catalog),
                _looks(states),
                _quiet(states, catalog),
                tell_event(states.event, case.measures, catalog),
                _assumed(states, catalog),
                tell_findings((*case.findings, *states.findings)),
                Section(blocks=(_WHY,)),
            )
        ),
        closing=standing(catalog),
    )


_WHY = Text(text="Why? `squibwise assess CASE --why COMPONENT`", tone="quiet")


def tell_assessment_shortly(case: Case, states: Assessment, catalog: Catalog) -> Section:
    """Return the few lines that matter most."""
    fired = fired_parts(states, catalog)
    perhaps = probably_fired(states, catalog)
    rows = [("happened", tell_event_shortly(states.event, case.measures))]
    rows.append(("fired", named(fired, catalog) or "nothing is settled to have fired"))
    rows += [("perhaps fired", named(perhaps, catalog))] if perhaps else []
    wrong = [c for c, _, _ in troubled(states)]
    rows += [("not right now", named(wrong, catalog))] if wrong else []
    rows += [("danger", danger) for danger in tell_dangers(states, catalog)]
    if states.contradictions:
        rows.append(("contradicts", f"{len(states.contradictions)}, told below"))
    doubtful = doubtful_parts(states, catalog)
    rows += [("in doubt", named(doubtful, catalog, 4))] if doubtful else []
    rows.append(("look next", tell_next_look(states, catalog)))
    return section("In short", Table(rows=tuple(rows)))


def _asked(states: Assessment) -> Section | None:
    """Return what somebody may know that changes more than any look."""
    rows = tuple((q.id, f"{q.text} {q.why}".strip()) for q in states.open_questions)
    return section("Ask first", Table(rows=rows, tone="strong")) if rows else None


def tell_next_look(states: Assessment, catalog: Catalog) -> str:
    """Return the look that pays most, in a sentence."""
    if not states.next_looks:
        return "no further look is worth its time"
    return tell_look(states.next_looks[0], catalog)


def tell_look(look: NextLook, catalog: Catalog) -> str:
    """Return a look as what to look at and what for, with its time."""
    return f"{name(look.component, catalog)}: {_asked_of(look)} ({minutes(look.minutes)})"


def _asked_of(look: NextLook) -> str:
    """Return what is looked for; the part it is on is named beside it."""
    told = look.text.partition(": ")[2] if look.text.startswith("look at the ") else look.text
    return told or look.text


def named(parts: Iterable[ComponentBelief], catalog: Catalog, most: int = 8) -> str:
    """Return parts in words."""
    return listed([name(c.id, catalog) for c in parts], most)


def fired_parts(states: Assessment, catalog: Catalog) -> list[ComponentBelief]:
    """Return what is settled to have fired in the crash, the surest first."""
    settled = catalog.fact("present.settled").number()
    return _by_fired(c for c in states.components if _least_fired(c) >= settled)


def probably_fired(states: Assessment, catalog: Catalog) -> list[ComponentBelief]:
    """Return what more likely than not fired, and is not settled."""
    settled = catalog.fact("present.settled").number()
    likely = (c for c in states.components if c.after_crash.fired >= LIKELY)
    return _by_fired(c for c in likely if _least_fired(c) < settled)


def _least_fired(belief: ComponentBelief) -> float:
    """Return the chance of having fired at the lower end of the figures behind it."""
    found = belief.ranges.get("fired")
    return belief.after_crash.fired if found is None else found.low


def is_settled(belief: ComponentBelief, settled: float) -> bool:
    """Return whether one state holds now at both ends of the figures behind it.

    The ranges are those of what the crash did: work done since leaves them behind.
    """
    open_end = bool(belief.ranges) and belief.now == belief.after_crash
    return likeliest(belief.now)[1] >= settled and not open_end


def _by_fired(parts: Iterable[ComponentBelief]) -> list[ComponentBelief]:
    return sorted(parts, key=lambda c: -c.after_crash.fired)


def _fired(states: Assessment, catalog: Catalog) -> tuple[Section | None, ...]:
    sure, likely = fired_parts(states, catalog), probably_fired(states, catalog)
    if not sure and not likely:
        return (section("What fired", Text(text="Nothing is likely to have fired.")),)
    nothing = Text(text="Nothing is settled to have fired.")
    surely = section("What fired", _fired_table(sure) if sure else nothing)
    if not likely:
        return (surely,)
    return surely, section("Probably fired", _fired_table(likely), note="not settled")


def _fired_table(parts: Iterable[ComponentBelief]) -> Table:
    return Table(rows=tuple(_fired_row(c) for c in parts), right=(1,))


def _fired_row(belief: ComponentBelief) -> tuple[str, str, str]:
    told = [t for t in (_reach(belief), _since(belief), tell_stages(belief)) if t]
    return belief.id, percent(belief.after_crash.fired), "; ".join(told)


def _reach(belief: ComponentBelief) -> str:
    """Return how far the figures behind it carry the chance of having fired, where they do."""
    found = belief.ranges.get("fired")
    return f"{percent(found.low)} to {percent(found.high)}, by {found.figure}" if found else ""


def _since(belief: ComponentBelief) -> str:
    if belief.now == belief.after_crash:
        return ""
    state, p = likeliest(belief.now)
    return f"now {state} {percent(p)}" if state != "fired" else ""


def tell_stages(belief: ComponentBelief) -> str:
    """Return the circuits of a part with several of them, in words."""
    if len(belief.stages) < 2:
        return ""
    return ", ".join(tell_stage(n, s.fired, s.live, s.faulty) for n, s in belief.stages.items())


def likeliest(states: StateBelief) -> tuple[str, float]:
    """Return the likeliest state and its probability."""
    return max(by_state(states).items(), key=lambda s: s[1])


def tell_hazards(states: Assessment, catalog: Catalog) -> Section | None:
    """Return what may hurt whoever takes the car for what it looks like."""
    told = tuple(hazards(states, catalog))
    listed_ = Bullets(items=told, mark="!", tone="alarm")
    return section("Hazards", listed_, tone="alarm") if told else None


def hazards(states: Assessment, catalog: Catalog) -> list[str]:
    """Return every hazard in a sentence."""
    named = tell_from("named-from")
    found = [f"{id_}: {_LEFT_IN}" for id_ in states.loads_left_in]
    found += [
        f"{c.id}: most likely fired ({percent(c.now.fired)}), but nobody saw it spent. "
        "Handle, store and scrap it as live."
        for c in states.components
        if loop_id(c.id, 1) in states.unproven
    ]
    found += [
        f"{c.id}: stage {number} may still be live though the part fired"
        f"{f' ({percent(live)})' if live >= named else ''}. Handle, store and scrap it as live."
        for c, number, live in _silent_stages(states)
    ]
    return found + [
        f"{c.id}: its circuit is at fault, which is no proof that it fired; most likely it did "
        f"not ({percent(1.0 - c.now.fired)}). It is live."
        for c in _faulty_and_live(states, catalog)
    ]


def hazards_shortly(states: Assessment, catalog: Catalog) -> list[str]:
    """Return the hazards, each once for all the parts it is about."""
    left = tell_grouped(states.loads_left_in, catalog)
    faulty = tell_grouped((c.id for c in _faulty_and_live(states, catalog)), catalog)
    by_stage: dict[str, list[str]] = {}
    for part, number, _ in _silent_stages(states):
        by_stage.setdefault(number, []).append(part.id)
    told = [f"{left}: {_LEFT_IN}"] if left else []
    told += [
        f"Stage {number} may be live though the part fired: {tell_grouped(parts, catalog)}."
        for number, parts in by_stage.items()
    ]
    return told + ([f"Circuit at fault, most likely live: {faulty}."] if faulty else [])


def tell_dangers(states: Assessment, catalog: Catalog, *, known: bool = True) -> list[str]:
    """Return what may hurt whoever works on the car: hazards, high voltage, and all that is live.

    What is not settled to have fired, and seen spent, is live; what is surely gone is not listed.
    Of a car of which nothing is ``known`` every part is live.
    """
    told = hazards_shortly(states, catalog)
    if any(split_component(c.id).kind == HIGH_VOLTAGE for c in states.components):
        told.append(f"High voltage: {catalog.cautions['high-voltage'].text}")
    fired = (c for c in fired_parts(states, catalog) if c.now.fired >= LIKELY)
    spent = {c.id for c in fired if loop_id(c.id, 1) not in states.unproven}
    sure = catalog.fact("require.sure").number()
    there = (c for c in states.components if holds_charge(c.id, catalog) and c.now.missing < sure)
    unsettled = [c for c in there if c.id not in spent]
    gone = [c.id for c in unsettled if known and c.now.fired + c.now.missing >= LIKELY]
    if gone:
        told.append(
            f"Fired or gone, proven by nothing ({len(gone)}): {tell_grouped(gone, catalog)}. "
            "The charge is unaccounted for: live until it is seen spent."
        )
    live = [c.id for c in unsettled if c.id not in gone]
    if live:
        told.append(f"Live, and to be handled so ({len(live)}): {tell_grouped(live, catalog)}.")
    return told


_LEFT_IN = (
    "its circuit reads good though the part is missing, spent or off. A load or a bridge was left "
    "in: find it and take it out. The lamp proves nothing until then."
)


def _silent_stages(states: Assessment) -> list[tuple[ComponentBelief, str, float]]:
    """Return the later stages of fired parts that nobody confirmed spent, with the probability."""
    parts = {c.id: c for c in states.components}
    loops = [split_loop(loop) for loop in states.unproven]
    return [
        (parts[c], str(n), live_if_fired(parts[c], parts[c].stages[str(n)]))
        for c, n in loops
        if c in parts and n > 1
    ]


def _faulty_and_live(states: Assessment, catalog: Catalog) -> list[ComponentBelief]:
    return [
        c
        for c in states.components
        if holds_charge(c.id, catalog) and c.now.faulty >= LIKELY > c.now.fired
    ]


def live_if_fired(belief: ComponentBelief, stage: StageBelief) -> float:
    """Return the probability that a stage is live, given that its part has fired.

    A part that has not fired has all its stages live, or faulty: at least ``live`` less what the
    unfired part explains belongs to the fired one.
    """
    return max(0.0, stage.live - (1.0 - belief.now.fired)) / belief.now.fired


def tell_contradictions(states: Assessment) -> Section | None:
    """Return the evidence that does not fit together; None when all of it does."""
    told = tuple(
        f"{c.text} ({', '.join(c.evidence)}) {c.remedy}".strip() for c in states.contradictions
    )
    doubts = Bullets(items=told, mark="?", tone="strong")
    return section("Contradictions", doubts) if told else None


def doubtful_parts(states: Assessment, catalog: Catalog) -> list[ComponentBelief]:
    """Return what no state is settled of, the least sure first."""
    settled = catalog.fact("present.settled").number()
    found = [c for c in states.components if not is_settled(c, settled)]
    return sorted(found, key=lambda c: likeliest(c.now)[1])


def _doubtful(states: Assessment, catalog: Catalog) -> tuple[Section | None, ...]:
    found = doubtful_parts(states, catalog)
    watched = [c for c in found if catalog.kinds[split_component(c.id).kind].circuit]
    rows = tuple(
        (c.id, f"{_split_now(c)}; {settling_look(c.id, states, catalog)}") for c in watched
    )
    rest = "; ".join(f"{c.id} ({_split(c.now)})" for c in found if c not in watched)
    note = "mechanical, sets no code"
    return (
        section("Doubtful", Table(rows=rows), note="and the look that settles it")
        if rows
        else None,
        section("To be looked at", Text(text=rest), note=note) if rest else None,
    )


def _split(states: StateBelief) -> str:
    return tell_states(by_state(states), least=tell_from("doubt-from"))


def _split_now(belief: ComponentBelief) -> str:
    """Return the states now, with the range where the figures behind them leave one."""
    told = [_split(belief.now)]
    told += [
        f"{state} anywhere from {percent(r.low)} to {percent(r.high)}, by {r.figure}"
        for state, r in belief.ranges.items()
    ]
    return "; ".join(told)


def _looks(states: Assessment) -> Section:
    heading, note = "Look next", "best saving per minute first"
    if not states.next_looks:
        return section(heading, Text(text="No further look is worth its time."), note=note)
    rows = tuple(_look_row(k) for k in states.next_looks[:LOOKS_SHOWN])
    return section(heading, Table(rows=rows, right=(0,)), note=note)


def _look_row(look: NextLook) -> tuple[str, str]:
    chance = percent(look.settles)
    return minutes(
        look.minutes
    ), f"{look.component}: {_asked_of(look)} (changes the plan: {chance})"


def _quiet(states: Assessment, catalog: Catalog) -> Section | None:
    most = catalog.fact("present.unfired-below").number()
    ids = [
        c.id
        for c in states.components
        if holds_charge(c.id, catalog) and _most_fired(c) < most and _is_there(c)
    ]
    if not ids:
        return None
    note = f"under {100 * most:.0f}% each; live, and to be handled so"
    return section("Did not fire", Text(text=", ".join(ids)), note=note)


def _most_fired(belief: ComponentBelief) -> float:
    """Return the chance that a part fired, at the worse end of its range where it has one."""
    found = belief.ranges.get("fired")
    return max(belief.after_crash.fired, 0.0 if found is None else found.high)


def _is_there(belief: ComponentBelief) -> bool:
    """Return whether the part is in the car, as far as known."""
    return belief.now.missing < LIKELY


def _assumed(states: Assessment, catalog: Catalog) -> Section | None:
    told = tuple(
        dict.fromkeys(
            f"{one.text[:1].upper()}{one.text[1:]} ({tell_grounds(one.source, one.basis, catalog)})"
            for one in states.assumptions
        )
    )
    return section("Taken for granted", Bullets(items=told)) if told else None


def tell_belief(
    case: Case,
    belief: ComponentBelief,
    states: Assessment,
    catalog: Catalog,
    *,
    figures: bool = False,
) -> Telling:
    """Return one component with every reason, and the look that settles it.

    Args:
        case: Where the evidence stands.
        belief: The component.
        states: The assessment it belongs to.
        catalog: Names and sources.
        figures: Weights in decibans too.
    """
    settling = (belief.settled_by.text,) if belief.settled_by else ()
    looks = settling or tuple(k.text for k in states.next_looks if k.component == belief.id)
    state = likeliest(belief.now)[0]
    told = tell_reasons(belief.because, case, catalog, figures=figures)
    sections: tuple[Section | None, ...] = (
        section(belief.id, _about(belief, catalog)),
        section("Because", told, note=f"strongest first; what is not 'against' is for '{state}'"),
        _change(belief, case, catalog, figures=figures),
        section("What would settle it", Bullets(items=looks)) if looks else None,
    )
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=tell_car(case),
        sections=filled(sections),
        closing=standing(catalog),
    )


def _about(belief: ComponentBelief, catalog: Catalog) -> Table:
    rows = [("what", name(belief.id, catalog))]
    rows += [("right after the crash", _split(belief.after_crash)), ("now", _split_now(belief))]
    stages = tell_stages(belief)
    rows += [("circuits now", stages)] if stages else []
    if belief.prior_fired is not None:
        rows.append(("fired, before any evidence", percent(belief.prior_fired)))
    return Table(rows=tuple(rows))


def _change(
    belief: ComponentBelief, case: Case, catalog: Catalog, *, figures: bool
) -> Section | None:
    """Return what speaks against the conclusion, and what would most likely overturn it."""
    against = [belief.opposing] if belief.opposing and not is_told_already(belief.opposing) else []
    blocks = [tell_reasons(against, case, catalog, figures=figures)] if against else []
    flip = [Text(text=f"What would most likely change it: {belief.flip}")] if belief.flip else []
    return section("Against it", *blocks, *flip) if blocks or flip else None


def drawn_parts(states: Assessment, catalog: Catalog) -> tuple[ComponentBelief, ...]:
    """Return the parts whose belief is worth a drawing: what fired or is in doubt."""
    doubtful = {c.id for c in doubtful_parts(states, catalog)}
    return tuple(c for c in states.components if c.after_crash.fired >= LIKELY or c.id in doubtful)


def with_drawings(telling: Telling, drawn: Sequence[Path]) -> Telling:
    """Return a telling that also says where the drawings are."""
    if not drawn:
        return telling
    told = Text(text=f"{counted(len(drawn), 'drawing')} in {drawn[0].parent}/.")
    sections = (*telling.sections, Section(blocks=(told,)))
    return msgspec.structs.replace(telling, sections=sections)
