"""Assess a case: what happened, and what state every component is in."""

from collections.abc import Mapping

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.infer.beliefs import event_belief, stage_beliefs, state_belief
from squibwise.infer.building import build_network
from squibwise.infer.contradictions import find_contradictions, loads_left_in
from squibwise.infer.copies import drop_copies
from squibwise.infer.crash_record import crash_record
from squibwise.infer.engine import Engine, GroupBelief, Posterior, group_beliefs
from squibwise.infer.evidence import weigh_evidence
from squibwise.infer.explain import Reasons, explain_components
from squibwise.infer.network import Network
from squibwise.infer.next_look import Flip, find_flips, rank_looks, weigh_stakes
from squibwise.infer.ranges import find_ranges
from squibwise.infer.scan import one_cause
from squibwise.model.belief import Assessment, Assumption, ComponentBelief, LossTable, OpenQuestion
from squibwise.model.case import Case
from squibwise.model.evidence import Circumstance, Impact, Recorder
from squibwise.model.report import Report

MOST_ITEMS = 300
"""About 12 s and 320 MB; time and memory grow faster than the number."""


def assess(
    case: Case,
    catalog: Catalog,
    losses: LossTable | None = None,
    shifts: Mapping[str, float] | None = None,
) -> Assessment:
    """Return what is believed of the event and of every component, with reasons.

    Args:
        case: The case with its evidence.
        catalog: Priors, firing logic and likelihoods.
        losses: What wrong decisions cost; None = one unit each, for ranking the next looks.
        shifts: Learned intercepts of the deployment curves, by curve id. [log odds]

    Raises:
        InputError: There is more evidence than can be weighed within memory.
    """
    _refuse_too_much(case)
    case, findings = drop_copies(case)
    net = build_network(case, catalog, shifts or {})
    likelihoods = weigh_evidence(net, catalog)
    engine = Engine(net, catalog)
    found = engine.run(likelihoods)
    groups = group_beliefs(found)
    why = explain_components(engine, likelihoods, found, groups)
    stakes = weigh_stakes(groups, losses, catalog)
    turns = find_flips(case, net, groups, stakes, catalog)
    return Assessment(
        event=event_belief(found, groups, crash_record(found, catalog), catalog),
        components=_components(case, found, groups, why, turns, catalog),
        loads_left_in=tuple(loads_left_in(net, catalog)),
        contradictions=find_contradictions(case, engine, likelihoods, found, groups, catalog),
        next_looks=rank_looks(case, engine, likelihoods, found, groups, stakes, catalog),
        assumptions=list_assumptions(case, net, shifts or {}, catalog),
        open_questions=list_questions(case, found, catalog),
        findings=findings,
        surprise_db=why.surprise_db,
    )


def _components(
    case: Case,
    found: Posterior,
    groups: tuple[GroupBelief, ...],
    why: Reasons,
    turns: dict[str, Flip],
    catalog: Catalog,
) -> tuple[ComponentBelief, ...]:
    """Return the beliefs in the car's own order of components."""
    beliefs = {}
    for group in groups:
        for name, part in group.parts.items():
            reason = why.of(name)
            beliefs[name] = ComponentBelief(
                id=name,
                after_crash=state_belief(part, part.after),
                now=state_belief(part, part.now),
                stages=stage_beliefs(part, group.group, found, catalog),
                prior_fired=reason.prior_fired if part.part.kind.fires else None,
                likeliest=reason.state,
                prior_db=round(reason.prior_db, 2),
                posterior_db=round(reason.posterior_db, 2),
                because=reason.because,
                opposing=reason.opposing,
                flip=turns[name].text,
                prior_flip_db=turns[name].move_db,
                settled_by=turns[name].settled_by,
                ranges=find_ranges(part, case, catalog),
            )
    return tuple(beliefs[c] for c in case.car.components if c in beliefs)


def list_questions(case: Case, found: Posterior, catalog: Catalog) -> tuple[OpenQuestion, ...]:
    """Return what to ask a person before anything is looked at."""
    told = any(
        isinstance(e, Impact)
        or (isinstance(e, Recorder) and e.delta_v_long_kmh is not None)
        or (isinstance(e, Circumstance) and e.what in _TOLD_OF_A_CRASH)
        for e in case.evidence
    )
    quiet = [s.kind in ("none", "outside") for s in found.net.events.scenarios]
    none = float(found.events @ found.net.events.holds(quiet))
    least = catalog.firing.scans.tests.least_settles
    if told or not least < none < 1.0 - least:
        return ()
    question = OpenQuestion(
        id="crash",
        text="Was there a crash, and where and how hard was the body struck?",
        why="nothing says so yet: without a crash most inspections fall away",
    )
    return (question,)


_TOLD_OF_A_CRASH = ("crash", "earlier-crash", "rollover", "rear-impact", "parked")


def _refuse_too_much(case: Case) -> None:
    lines = sum(len(e.reading.lines) for e in case.evidence if isinstance(e, Report))
    pieces = len(case.evidence) + lines
    if pieces > MOST_ITEMS:
        raise InputError(
            f"The case has {pieces} pieces of evidence; at most {MOST_ITEMS} are weighed.",
            remedy="Leave out codes of other systems and entries that say the same again.",
        )


def list_assumptions(
    case: Case, net: Network, shifts: Mapping[str, float], catalog: Catalog
) -> tuple[Assumption, ...]:
    """Return every assumption that matters to this case."""
    del net
    found = [_logic(catalog), _conditions(catalog)]
    if case.car.assumed:
        text = f"the car is taken to have the set '{case.car.equipment}': look which parts it has"
        found.append(Assumption(text=text, source="phase-in-dates", basis="judgement"))
    reports = [e for e in case.evidence if isinstance(e, Report)]
    if reports:
        found.append(_scans(catalog))
    found += [_general(e) for e in reports if one_cause(e)]
    if not any(isinstance(e, Impact) and e.zone for e in case.evidence):
        share = catalog.priors.share("sides", "front").provenance
        text = "nobody said where the body was struck: usual shares of struck sides are used"
        found.append(Assumption(text=text, source=share.source, basis=share.basis))
    found.append(_empty_seat(catalog))
    for curve, shift in sorted(shifts.items()):
        text = f"curve '{curve}' is shifted by {shift:+.2f} log odds, learned from your own cases"
        found.append(Assumption(text=text, fact=curve, basis="computed"))
    return tuple(found)


def _logic(catalog: Catalog) -> Assumption:
    families = catalog.firing.families
    text = (
        "the maker's firing logic is not known: belts only when latched or always, passenger side "
        "gated by the seat sensor or not, second stage by severity or always are all weighed"
    )
    return Assumption(
        text=text, fact="firing/families", source=families.source, basis=families.basis
    )


def _conditions(catalog: Catalog) -> Assumption:
    table = catalog.firing.conditions
    text = (
        "how often parts are faulty or damaged has no public base rate: our own figures, each "
        f"uncertain by a factor of {table.range_factor:g} either way"
    )
    return Assumption(text=text, fact="firing/conditions", source=table.source, basis=table.basis)


def _scans(catalog: Catalog) -> Assumption:
    table = catalog.firing.scans
    text = (
        "how often a scan shows a spent, faulty or good circuit right is our own judgement, "
        f"uncertain by a factor of {table.range_factor:g}"
    )
    return Assumption(text=text, fact="firing/scan", source=table.source, basis=table.basis)


def _general(report: Report) -> Assumption:
    text = (
        f"most codes of {report.id} speak of supply, ground or communication: they are not counted "
        "against single parts, and circuits without a code are not counted as good; check power, "
        "ground and the unit's connector before anything else"
    )
    return Assumption(text=text, source="common-practice", basis="common-practice")


def _empty_seat(catalog: Catalog) -> Assumption:
    share = catalog.priors.share("empty-seat", "suppression")
    text = (
        "whether a bag fires over an empty seat has no open data: "
        f"{share.low:g} to {catalog.priors.share('empty-seat', 'none').high:g} by design family"
    )
    provenance = share.provenance
    return Assumption(
        text=text, fact="empty-seat", source=provenance.source, basis=provenance.basis
    )
