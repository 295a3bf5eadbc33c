"""What an answer takes for granted, and what to ask a person before anything is looked at."""

from collections.abc import Iterator, Mapping

from squibwise.catalog.load import Catalog
from squibwise.history.reports import list_at_odds
from squibwise.infer.building import SEAT_SENSOR
from squibwise.infer.engine import Posterior
from squibwise.infer.network import Network
from squibwise.infer.reports import one_cause, why_lit
from squibwise.infer.told import denies_a_crash
from squibwise.model.belief import (
    Assumption,
    OpenQuestion,
)
from squibwise.model.case import Case
from squibwise.model.evidence import Circumstance, Impact, Recorder
from squibwise.model.report import Report


def list_questions(case: Case, found: Posterior, catalog: Catalog) -> tuple[OpenQuestion, ...]:
    """Return what to ask a person before anything is looked at."""
    crash = _ask_of_crash(case, found, catalog)
    return (*crash, *_ask_what_was_reached(case), *_ask_for_times(case))


def _ask_for_times(case: Case) -> Iterator[OpenQuestion]:
    """Yield that a time is wanted, where whole reports without one disagree on what is at fault."""
    names = ", ".join(list_at_odds(case))
    if names:
        yield OpenQuestion(
            id="times",
            text=f"A time is wanted: when was each of {names} read, or in which order?",
            why="they disagree on what is at fault, and the later one tells how the car is now",
        )


def _ask_what_was_reached(case: Case) -> Iterator[OpenQuestion]:
    """Yield what a flood, fire or the like reached, where nobody told."""
    told = [e for e in case.evidence if isinstance(e, Circumstance) and e.present]
    known = {e.what for e in told if e.parts}
    for entry in told:
        if entry.what in ("flood", "fire", "heat", "corrosion") and entry.what not in known:
            yield OpenQuestion(
                id=entry.what,
                text=f"What did the {entry.what} reach? Name the parts, connectors included.",
                why="every part that it reached is replaced; until told, the unit alone",
            )


def _ask_of_crash(case: Case, found: Posterior, catalog: Catalog) -> tuple[OpenQuestion, ...]:
    """Return the question whether there was a crash, where nothing tells."""
    told = any(
        isinstance(e, Impact)
        or (isinstance(e, Recorder) and e.delta_v_long_kmh is not None)
        or (isinstance(e, Circumstance) and e.what in _TOLD_OF_A_CRASH)
        or denies_a_crash(e, catalog)
        for e in case.evidence
    )
    quiet = [s.kind in ("none", "outside") for s in found.net.events.scenarios]
    none = float(found.events @ found.net.events.holds(quiet))
    least = catalog.firing.scans.tests.least_settles
    coded = any(isinstance(e, Report) and e.shows_codes for e in case.evidence)
    if told or none <= least or (none >= 1.0 - least and not coded):
        return ()
    question = OpenQuestion(
        id="crash",
        text="Was there a crash, and where and how hard was the body struck?",
        why="nothing says so yet: without a crash most inspections fall away",
    )
    return (question,)


_TOLD_OF_A_CRASH = ("crash", "earlier-crash", "rollover", "rear-impact", "parked")


def list_assumptions(
    case: Case, net: Network, shifts: Mapping[str, float], catalog: Catalog
) -> tuple[Assumption, ...]:
    """Return every assumption that matters to this case."""
    found = [_logic(catalog), _conditions(catalog)]
    if case.car.assumed:
        text = f"the car is taken to have the set '{case.car.equipment}': look which parts it has"
        found.append(Assumption(text=text, source="phase-in-dates", basis="judgement"))
    reports = [e for e in case.evidence if isinstance(e, Report)]
    if reports:
        found.append(_scans(catalog))
    found += [_general(e) for e in reports if one_cause(e)]
    found += [a for e in reports for a in _indicators(e, net)]
    if not any(isinstance(e, Impact) and e.zone for e in case.evidence):
        share = catalog.priors.share("sides", "front").provenance
        text = "nobody said where the body was struck: usual shares of struck sides are used"
        found.append(Assumption(text=text, source=share.source, basis=share.basis))
    found.append(_empty_seat(case, catalog))
    for curve, shift in sorted(shifts.items()):
        text = f"curve '{curve}' is shifted by {shift:+.2f} log odds, learned from your own cases"
        found.append(Assumption(text=text, fact=curve, basis="computed", value=shift))
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


def _indicators(report: Report, net: Network) -> Iterator[Assumption]:
    """Yield that a lit OFF indicator does what it should, where something tells why it is lit."""
    for line in report.reading.lines:
        why = why_lit(line, report, net.line)
        if why:
            text = (
                f"the OFF indicator is taken to be lit because {why} ({report.id}, line "
                f"{line.line}): not counted against the indicator; see whether it goes out after"
            )
            yield Assumption(text=text, source="common-practice", basis="common-practice")


def _empty_seat(case: Case, catalog: Catalog) -> Assumption:
    share = catalog.priors.share
    senses, blind = share("empty-seat", "suppression"), share("empty-seat", "none")
    low, high = (senses.low, senses.high), (blind.low, blind.high)
    if case.car.assumed:
        span, car = (low[0], high[1]), "a car of which nobody said whether it senses the seat"
    elif SEAT_SENSOR in case.car.components:
        span, car = low, "a car that senses the seat"
    else:
        span, car = high, "a car that does not sense the seat"
    text = (
        "whether a bag fires over an empty seat has no open data: "
        f"{span[0]:g} to {span[1]:g} in {car}"
    )
    provenance = senses.provenance
    return Assumption(
        text=text, fact="empty-seat", source=provenance.source, basis=provenance.basis
    )
