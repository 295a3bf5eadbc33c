"""Circuits that were open and read good now though nothing on record was done to them."""

from squibwise.catalog.firing import OUTCOMES
from squibwise.catalog.load import Catalog, list_carriers
from squibwise.history.apart import PUT_RIGHT, list_apart
from squibwise.infer.circuits import status_word
from squibwise.infer.marginals import GroupBelief, PartBelief
from squibwise.infer.network import Network
from squibwise.infer.parts import PartModel
from squibwise.infer.reports import chance_disturbed, one_cause
from squibwise.infer.scan import lines_about
from squibwise.infer.sights import last_read_good, shows_good
from squibwise.model.belief import Contradiction
from squibwise.model.car import Car
from squibwise.model.evidence import Evidence, LampCheck, Look, Passed, SubstituteLoad
from squibwise.model.names import split_loop
from squibwise.model.report import Report

_OPEN = OUTCOMES.index("open")
_MORE_LIKELY = 0.5
_DISTURBS = (*PUT_RIGHT, "disconnected")


def find_healed(
    net: Network, groups: tuple[GroupBelief, ...], car: Car, catalog: Catalog
) -> dict[str, Contradiction]:
    """Return the charges whose circuits were open and read good since, with nothing done to them.

    A spent charge does not heal: a load or a bridge may stand in its place. Nor does an open
    circuit of a live one, unless its connector came home: hands at a connector beside it, a supply
    that was disturbed, or a fault that is stored only or comes and goes explain that, but not of a
    part that more likely fired.

    Args:
        net: The model.
        groups: What is believed of its parts.
        car: For what was opened.
        catalog: For what a report says of a circuit.
    """
    result = {}
    beliefs = (p for g in groups for p in g.parts.values())
    for belief in (b for b in beliefs if b.part.stages and b.part.kind.fires):
        part, has_fired = belief.part, _has_fired(belief)
        fault = _last_fault(part, net, catalog, has_fired=has_fired)
        if fault is None:
            continue
        place, report = fault
        good = _last_good(part, place, net, catalog)
        if good is None or _is_explained(part, place, good, net, catalog):
            continue
        if not has_fired and _is_reached(part, place, net, car, catalog):
            continue
        result[part.id] = Contradiction(
            text=f"{part.id}: its circuit was open by {report.id} and is good by {good.id}, and "
            "nothing on record was done to it: a load may stand in its place",
            evidence=(report.id, good.id),
            remedy=_REMEDY,
            component=part.id,
        )
    return result


_REMEDY = (
    "Do not drive and do not release the car on that scan. With the power off and the wait over "
    "open its connector and look for a load or a bridge; take it out and fit what belongs there. "
    "Whatever was done to it, enter it; then scan again."
)


def _has_fired(belief: PartBelief) -> bool:
    fired = [m.fired > 0 for m in belief.part.micros]
    return float(belief.now.sum(axis=0) @ fired) >= _MORE_LIKELY


def _last_fault(
    part: PartModel, net: Network, catalog: Catalog, *, has_fired: bool
) -> tuple[int, Report] | None:
    """Return the last report that has a circuit of a part open, with its place."""
    for place, report in reversed(net.line.all_of(Report)):
        if one_cause(report) or (not has_fired and chance_disturbed(report, catalog)):
            continue
        for line, told in lines_about(part, report, {}, net, catalog):
            lasting = has_fired or status_word(line.status) in (None, "present")
            if told.outcome == _OPEN and told.weight > _MORE_LIKELY and lasting:
                return place, report
    return None


def _last_good(part: PartModel, since: int, net: Network, catalog: Catalog) -> Evidence | None:
    """Return what reads a circuit as good after a place: a report, before a lamp that went out."""
    good = last_read_good(part, since, net, catalog)
    if not isinstance(good, LampCheck):
        return good
    reports = (e for at, e in reversed(net.line.all_of(Report)) if at > since)
    return next((e for e in reports if shows_good(e, part, net, catalog)), good)


def _is_explained(
    part: PartModel, since: int, good: Evidence, net: Network, catalog: Catalog
) -> bool:
    """Return whether work on the part, or a look at it whole, stands between and now.

    A lamp that goes out with nothing done to the car at all is told of by itself.
    """
    own = frozenset({part.id}) | list_carriers(part.id, catalog)
    if any(at > since for at, _ in net.line.works_on(own)):
        return True
    told = net.line.place_of(good.id)
    seen = (e for at, e in net.line.all_of(Look) if at > told and e.seen == "intact")
    if any(split_loop(e.component)[0] == part.id for e in seen):
        return True
    return isinstance(good, LampCheck) and not any(since < at < told for at, _ in net.line.works)


def _is_reached(part: PartModel, since: int, net: Network, car: Car, catalog: Catalog) -> bool:
    """Return whether hands were at its connector: work on its mates, an opening, or a load."""
    mates = net.near[part.id][0]
    if any(at > since and w.what in _DISTURBS for at, w in net.line.works_on(mates)):
        return True
    loads = (e for at, e in net.line.all_of(SubstituteLoad) if at > since)
    if any(split_loop(e.loop)[0] == part.id for e in loads):
        return True
    signed = [at for at, _ in net.line.all_of(Passed) if at >= since]
    return any(part.id in list_apart(net.line, car, catalog, at + 1) for at in signed)
