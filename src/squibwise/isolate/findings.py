"""What is said beside the answer of a search: findings, and what it leans on."""

from collections.abc import Callable

from squibwise.catalog.load import Catalog
from squibwise.history.prices import read_price_book
from squibwise.isolate.context import LIKELY, Context
from squibwise.isolate.points import doubt_points
from squibwise.isolate.standing import Standing
from squibwise.isolate.suspects import Suspect
from squibwise.model.belief import Assumption
from squibwise.model.case import Case
from squibwise.model.evidence import TestOutcome
from squibwise.model.names import split_loop
from squibwise.model.origin import Finding
from squibwise.model.report import Report

_LEANS_ON = (
    ("isolation.step", "Causes are ranked by judgement; no public base rates were found."),
    ("isolation.power-up", "Minutes of tests and repairs are judgement."),
    ("isolation.pair", "How often two faults come together is judgement."),
)


_SURE = 0.99


def findings_of(
    case: Case, context: Context, standing: Standing, catalog: Catalog
) -> tuple[Finding, ...]:
    """Return what a mechanic must know before trusting the answer."""
    found = [*_about_report(context), *_about_record(case, context)]
    found += _about_voltage(context, catalog)
    found += doubt_points(case, context)
    found += [*_about_work(context), *_about_times(case, context), *_about_apart(context)]
    if context.load_out:
        found.append(_load_out(context))
    if context.twin_fired >= LIKELY and (context.fired or 0.0) < _SURE:
        found.append(_may_be_live(context))
    return tuple(found)


def _about_report(context: Context) -> list[Finding]:
    reported = context.reported
    if not reported.is_told:
        remedy = "Read a complete scan first, or name the loop that the report names."
        if reported.clean:
            remedy = f"{reported.clean} is complete and names none here: trace what it does name."
        return [
            Finding(
                code="loop-no-fault",
                severity="note",
                message=f"No fault is recorded on {context.loop}; the causes below are general.",
                remedy=remedy,
            )
        ]
    if reported.gone_since and reported.report is not None:
        return [
            Finding(
                code="loop-clean-since",
                severity="note",
                message=f"{reported.gone_since} no longer names {context.loop}; it may be cured.",
                remedy="Drive and read a complete scan whose tests have all run.",
                origin=reported.report.origin,
            )
        ]
    return []


def _about_record(case: Case, context: Context) -> list[Finding]:
    reports = [e for e in case.evidence if isinstance(e, Report)]
    if not reports or context.chain.circuit == "unit":
        return []
    lines = [x for x in reports[-1].reading.lines if x.fault == "event-recorded"]
    if not lines:
        return []
    return [
        Finding(
            code="record-hides-faults",
            severity="warning",
            message="A crash record is stored; the unit may not test or report its loops.",
            remedy="Plan a second scan with the unit replaced or lawfully cleared.",
            origin=lines[0].origin,
        )
    ]


def _about_voltage(context: Context, catalog: Catalog) -> list[Finding]:
    report = context.reported.report
    volts = report.reading.coverage.unit_volts if report else None
    low, high = (catalog.fact(f"unit-volts.{end}").number() for end in ("low", "high"))
    if report is None or volts is None or low <= volts <= high:
        return []
    return [
        Finding(
            code="voltage-out-of-range",
            severity="warning",
            message=f"The unit had {volts:g} V; tests run between {low:g} and {high:g} V.",
            remedy="Charge the battery and scan again before any test.",
            origin=report.origin,
        )
    ]


def _about_work(context: Context) -> list[Finding]:
    if not context.unverified:
        return []
    return [
        Finding(
            code="work-since-scan",
            severity="note",
            message=f"Work was done on this loop after the fault was last read: "
            f"{', '.join(context.unverified)}.",
            remedy="Scan again: the fault may be cured.",
        )
    ]


def _about_times(case: Case, context: Context) -> list[Finding]:
    """Return that an outcome needs a time where entries have them: its order depends on it."""
    if all(e.time is None for e in case.evidence):
        return []
    own = split_loop(context.loop)
    outcomes = [e for e in case.evidence if isinstance(e, TestOutcome) and e.time is None]
    untimed = [e for e in outcomes if split_loop(e.loop) == own]
    if not untimed:
        return []
    return [
        Finding(
            code="outcome-no-time",
            severity="note",
            message=f"{', '.join(e.test for e in untimed)} of {context.loop}: the outcome has no "
            "time, so it counts as done when the entry written before it was.",
            remedy="Add a line `time = ...` to it; only then is it sure what came before what.",
            origin=untimed[0].origin,
        )
    ]


def _about_apart(context: Context) -> list[Finding]:
    if not context.apart:
        return []
    return [
        Finding(
            code="circuit-apart",
            severity="warning",
            message=f"The connector of {context.name.id} is apart now: {context.apart} was opened.",
            remedy="Plug it in and lock it before anything is read; the list of work has the line.",
        )
    ]


def _may_be_live(context: Context) -> Finding:
    return Finding(
        code="stage-may-be-live",
        severity="warning",
        message=f"Another stage of {context.name.id} has probably fired, stage {context.stage} "
        "perhaps not: it may be live.",
        remedy="Handle, carry and dispose of the whole device as live until every charge is "
        "confirmed spent.",
    )


def _load_out(context: Context) -> Finding:
    return Finding(
        code="load-not-returned",
        severity="warning",
        message=f"A substitute load issued to {context.loop} was not returned: "
        f"{', '.join(context.load_out)}.",
        remedy="Take it out and count it back before release.",
    )


_ONE_LEAD = (
    "A wire is reckoned as one lead of this circuit. Where the maker allows only a whole section "
    "of the harness, reckon with what `brief` and `work` order it at, and enter that price."
)
_LISTED = (
    "A seat's harness, clock spring and control unit are reckoned at what `brief` and `work` order "
    "them at, from memory, other parts as minutes of labour, by judgement; enter your prices."
)


def assumptions_of(
    case: Case, context: Context, left_out: float, catalog: Catalog
) -> tuple[Assumption, ...]:
    """Return what the plan leans on that is judgement or a default.

    Args:
        case: The case.
        context: What it knows of the loop.
        left_out: Probability of the rare causes that the plan's times leave out.
        catalog: The facts leaned on.
    """
    out = [_leaning(fact, text, catalog) for fact, text in _LEANS_ON]
    if case.profile.wait_minutes is None:
        text = (
            "The maker's wait after power-down is not entered: the longest published is used. "
            "Enter it with its source in [profile]."
        )
        out.append(_leaning("isolation.longest-wait", text, catalog))
    if not read_price_book(case).prices:
        out.append(Assumption(text=_LISTED, basis="from-memory"))
    wires = any(e.role == "segment" for e in context.chain.element)
    if wires and read_price_book(case).find("wiring") is None:
        out.append(Assumption(text=_ONE_LEAD))
    if left_out > 0.0:
        text = f"Rare causes, together {left_out:.0%}, are listed but left out of the times."
        out.append(Assumption(text=text))
    if case.car.assumed:
        out.append(Assumption(text="The car's equipment was guessed from its model year."))
    return tuple(out)


def _leaning(fact_id: str, text: str, catalog: Catalog) -> Assumption:
    fact = catalog.fact(fact_id)
    return Assumption(text=text, fact=fact_id, source=fact.source, basis=fact.basis)


RANKED_BY = {
    "isolation.step": "a step of rank",
    "isolation.next-sign": "each further sign",
}


def other_first_causes(
    first: Suspect, search: Callable[[Catalog], tuple[Suspect, ...]], catalog: Catalog
) -> tuple[Assumption, ...]:
    """Return which other cause would come first at an end of a range, one sentence per cause.

    Args:
        first: The cause that comes first at the catalogue's values.
        search: The causes, likeliest first, with a given catalogue.
        catalog: The figures and their ranges.
    """
    found: dict[str, list[tuple[str, float, str]]] = {}
    titles: dict[str, str] = {}
    for fact_id, meaning in RANKED_BY.items():
        fact = catalog.fact(fact_id)
        for end in (fact.low, fact.high):
            if end is None:
                continue
            other = search(catalog.with_value(fact_id, end))[0]
            if other.id != first.id:
                where = f"{meaning} {end:g} in place of {fact.value:g}"
                found.setdefault(other.id, []).append((fact_id, other.p, where))
                titles[other.id] = other.title
    return tuple(_told(titles[cause], ends, catalog) for cause, ends in found.items())


def _told(title: str, ends: list[tuple[str, float, str]], catalog: Catalog) -> Assumption:
    fact = catalog.fact(ends[0][0])
    most = max(p for _, p, _ in ends)
    text = (
        "Not settled by the ranks alone: inside their ranges another cause comes first: "
        f"{title}, up to {most:.0%} ({'; '.join(where for *_, where in ends)})."
    )
    return Assumption(text=text, fact=fact.id, source=fact.source, basis=fact.basis)
