"""What an assessment takes for granted, with where each figure stands."""

from collections.abc import Mapping

from squibwise.catalog.load import Catalog
from squibwise.infer.network import Network
from squibwise.infer.scans import one_cause
from squibwise.model.belief import Assumption
from squibwise.model.case import Case
from squibwise.model.evidence import Impact
from squibwise.model.report import Report


def assumptions(
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
