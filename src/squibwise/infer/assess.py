"""Assess a case: what happened, and what state every component is in."""

from collections.abc import Mapping

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.infer.assumptions import assumptions
from squibwise.infer.beliefs import event_belief, stage_beliefs, state_belief
from squibwise.infer.building import network
from squibwise.infer.contradictions import contradictions
from squibwise.infer.explain import Reasons, reasons
from squibwise.infer.flip import Flip, flips
from squibwise.infer.looks import next_looks
from squibwise.infer.marginals import GroupMarginal, marginals
from squibwise.infer.observe import observe
from squibwise.infer.posterior import Engine, Posterior
from squibwise.infer.record import crash_record
from squibwise.infer.stakes import stakes_of
from squibwise.model.belief import Assessment, ComponentBelief, LossTable
from squibwise.model.case import Case
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
    net = network(case, catalog, shifts or {})
    items = observe(net, catalog)
    engine = Engine(net, catalog)
    found = engine.run(items)
    groups = marginals(found)
    why = reasons(engine, items, found, groups)
    stakes = stakes_of(groups, losses, catalog)
    turns = flips(case, net, groups, stakes, catalog)
    return Assessment(
        event=event_belief(found, groups, crash_record(found, catalog), catalog),
        components=_components(case, found, groups, why, turns, catalog),
        contradictions=contradictions(case, engine, items, found, groups, catalog),
        next_looks=next_looks(case, engine, items, found, groups, stakes, catalog),
        assumptions=assumptions(case, net, shifts or {}, catalog),
        surprise_db=why.surprise_db,
    )


def _components(
    case: Case,
    found: Posterior,
    groups: tuple[GroupMarginal, ...],
    why: Reasons,
    turns: dict[str, Flip],
    catalog: Catalog,
) -> tuple[ComponentBelief, ...]:
    """Return the beliefs in the car's own order of components."""
    net = found.net
    beliefs = {}
    for group in groups:
        for name, part in group.parts.items():
            reason = why.of(name)
            beliefs[name] = ComponentBelief(
                id=name,
                after_crash=state_belief(part, part.after),
                now=state_belief(part, part.now),
                stages=stage_beliefs(part, group.group, net, catalog),
                prior_fired=reason.prior_fired if part.part.kind.fires else None,
                likeliest=reason.state,
                prior_db=round(reason.prior_db, 2),
                posterior_db=round(reason.posterior_db, 2),
                because=reason.because,
                opposing=reason.opposing,
                flip=turns[name].text,
                prior_flip_db=turns[name].move_db,
            )
    return tuple(beliefs[c] for c in case.car.components if c in beliefs)


def _refuse_too_much(case: Case) -> None:
    lines = sum(len(e.reading.lines) for e in case.evidence if isinstance(e, Report))
    pieces = len(case.evidence) + lines
    if pieces > MOST_ITEMS:
        raise InputError(
            f"The case has {pieces} pieces of evidence; at most {MOST_ITEMS} are weighed.",
            remedy="Leave out codes of other systems and entries that say the same again.",
        )
