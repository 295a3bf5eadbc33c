"""Scan reports as evidence: codes found, circuits clean."""

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import CIRCUITS
from squibwise.catalog.load import Catalog
from squibwise.history.closing import BACK
from squibwise.history.order import CURED, is_verified
from squibwise.history.returned import NOT_CURED, is_heard
from squibwise.infer.circuits import (
    LineReading,
    Reach,
    Way,
    chance_left_over,
    chances_of_status,
    circuits_of,
    outcome_of,
    scan_likelihood,
    scan_tables,
    status_word,
)
from squibwise.infer.network import Group, Likelihood, Network
from squibwise.infer.parts import OnComponent, PartModel
from squibwise.infer.reports import (
    INDICATOR,
    chance_disturbed,
    chance_whole,
    load_fitted,
    one_cause,
    unit_able,
    why_lit,
)
from squibwise.model.evidence import (
    Evidence,
    LampCheck,
    Look,
    Reading,
    TestOutcome,
)
from squibwise.model.names import split_component, split_loop
from squibwise.model.report import Candidate, CodeLine, Report

Array = npt.NDArray[np.float64]
UNIT, FOREIGN = "centre.control-unit", "from-another-car"


class Scan(msgspec.Struct, frozen=True):
    """One report at its place in time.

    Attributes:
        report: The report.
        place: Place in time.
        same_unit: Is the unit still the one of the crash.
        first: Is it the first report of that unit.
        doubtful: One cause behind most of its codes: supply, ground or communication.
    """

    report: Report
    place: int
    same_unit: bool
    first: bool
    doubtful: bool


def find_scans(net: Network) -> tuple[Scan, ...]:
    """Return the reports of a case in order; a unit seen to be another car's tells of that one."""
    swaps = [at for at, w in net.line.works_on(frozenset({UNIT})) if w.what == "replaced"]
    if seen_foreign(net) is not None:
        swaps = [0]
    result: list[Scan] = []
    for place, entry in enumerate(net.line.entries):
        if isinstance(entry, Report):
            same = not swaps or place < swaps[0]
            first = same and not any(s.same_unit for s in result)
            result.append(Scan(entry, place, same, first, one_cause(entry)))
    return tuple(result)


def seen_foreign(net: Network) -> Look | None:
    """Return the last look that saw the unit to be another car's; None when none did."""
    looks = (e for _, e in reversed(net.line.all_of(Look)))
    return next((e for e in looks if e.component == UNIT and e.seen == FOREIGN), None)


def is_past_of_another(line: CodeLine, report: Report, net: Network) -> bool:
    """Return whether a code is stored only, in a unit of another car that nobody cleared since."""
    look, place = seen_foreign(net), net.line.place_of(report.id)
    if look is None or status_word(line.status) != "stored":
        return False
    seen, done = net.line.place_of(look.id), [(at, w) for at, w in net.line.works if at < place]
    return not any(w.what == "cleared" or (w.component == UNIT and at > seen) for at, w in done)


def is_scanned_whole(net: Network, catalog: Catalog) -> bool:
    """Return whether a whole scan by a unit able to test was made since the last work."""
    last = max((at for at, _ in net.line.works), default=-1)
    return any(
        isinstance(e, Report)
        and place > last
        and e.reading.coverage.complete is True
        and chance_whole(e, net.line, catalog) > 0.0
        and unit_able(e, catalog) is not False
        for place, e in enumerate(net.line.entries)
    )


def scans_since_work(net: Network, component: str) -> list[Scan]:
    """Return the reports since anybody worked on a component or beside it."""
    worked = net.line.last_work_on(component, *net.near[component][0], *net.near[component][1])
    return [s for s in find_scans(net) if s.place > worked and not s.doubtful]


def loose_chance(component: str, place: int, net: Network, catalog: Catalog) -> float:
    """Return the chance that a component was still unplugged at a place in time."""
    last = None
    for at, work in net.line.works_on(frozenset({component})):
        if at < place and work.what in ("disconnected", "reseated", "replaced"):
            last = work.what
    figure = catalog.firing.conditions.plugs["still_unplugged"]
    return figure.value if last == "disconnected" else 0.0


_NOT_OF_A_PART = ("voltage", "communication", "configuration", "identity", "event-recorded")
_NOT_TOLD = ("cleared", "not-tested")
Readings = list[tuple[CodeLine, LineReading]]


def weigh_report(scan: Scan, net: Network, catalog: Catalog) -> list[Likelihood]:
    """Return what one report says of each circuit."""
    if scan.doubtful:
        return []
    cover, silences = _cover_of(scan, net, catalog), dict[tuple[object, ...], Array]()
    found = (
        _weigh_circuits(scan, part, net.groups[g], cover, silences, net, catalog)
        for g, _, _, part in net.parts()
        if part.stages
    )
    return [piece for piece in found if piece is not None]


def _weigh_circuits(
    scan: Scan,
    part: PartModel,
    group: Group,
    cover: "_Cover",
    silences: dict[tuple[object, ...], Array],
    net: Network,
    catalog: Catalog,
) -> Likelihood | None:
    """Return what a report says of one part; its silence on parts that are alike is one thing."""
    reach, ways = _reach(scan, part.id, cover, net, catalog), [c.reading for c in group.causes]
    readings = {
        way: lines_about(part, scan.report, dict(way), net, catalog) for way in dict.fromkeys(ways)
    }
    lines = tuple({c.line: c for told in readings.values() for c, _ in told}.values())
    if not lines and (not any(reach.clean) or part.kind.family == "wiring"):
        return None
    if load_fitted(part, scan.place, net):
        return None
    loose, firing = loose_chance(part.id, scan.place, net, catalog), catalog.firing
    values = np.empty((len(reach.clean), len(group.causes), len(part.micros)))
    for told in _kinds_of_reading(readings):
        columns = [c for c, way in enumerate(ways) if readings[way] == told]
        circuits = circuits_of(part, tuple(group.causes[c] for c in columns), scan.place, loose)
        said = tuple(line for _, line in told)
        alike = (part.kind.fires, part.stages, reach, circuits.home.tobytes(), *circuits.off)
        known = None if said else silences.get(alike)
        if known is None:
            known = scan_likelihood(part, circuits, said, reach, firing)
        if not said:
            silences[alike] = known
        values[:, columns] = known
    values = np.maximum(values, firing.scans.floor)
    on = OnComponent(part.id, scan.place, values)
    return Likelihood(evidence=scan.report.id, about=part.id, text=_text(part, lines), parts=(on,))


def _kinds_of_reading(readings: dict[Way, Readings]) -> list[Readings]:
    """Return what is read in distinct ways to read the lines; most causes read them alike."""
    distinct: list[Readings] = []
    for told in readings.values():
        if told not in distinct:
            distinct.append(told)
    return distinct


def _text(part: PartModel, lines: tuple[CodeLine, ...]) -> str:
    if not lines:
        return "no code on its circuit" if part.stages == 1 else "no code on its circuits"
    names = "; ".join((line.raw.strip() or line.code or "code") for line in lines)
    return f"line {', '.join(str(c.line) for c in lines)}: {names}"


def lines_about(
    part: PartModel,
    report: Report,
    reading: dict[tuple[str, int], str],
    net: Network,
    catalog: Catalog,
) -> list[tuple[CodeLine, LineReading]]:
    """Return the lines of a report that are or may be about a part, under one way to read them."""
    result = []
    for line in report.reading.lines:
        about = _about(line, part, net)
        if not about or _silent(line, part) or _repeats_another(line, report):
            continue
        if part.kind.kind == INDICATOR and why_lit(line, report, net.line):
            continue
        meant, heard = reading.get((report.id, line.line)), _how_far_heard(line, report, catalog)
        for weight, candidate in about:
            sure = min(1.0, weight) if meant is None else 1.0
            told = LineReading(
                stage=candidate.stage,
                outcome=outcome_of(candidate.fault, fires=part.kind.fires),
                weight=sure if heard is None else heard * sure,
                status=line.status,
                elsewhere=_chance_elsewhere(line, part, catalog) if heard is None else 1.0,
                left_over=_left_over(line, report, part.id, net, catalog),
                not_configured=candidate.fault in ("configuration", "identity"),
            )
            if meant in (None, part.id):
                result.append((line, told))
    return result


def _chance_elsewhere(line: CodeLine, part: PartModel, catalog: Catalog) -> float:
    """Return the chance that the other readings of a line would be found, were it about them.

    Where words name this very part it is the least: a person reads a name sooner than a number.
    What no spent circuit shows takes another circuit at fault, which is rarer still.
    """
    figure = catalog.firing.scans.reach.found_elsewhere
    if line.component != part.id or "words" not in line.basis:
        return figure.value
    outcome = outcome_of(line.fault, fires=part.kind.fires)
    spent = catalog.firing.circuit_rows["spent"]
    return figure.low * (1.0 if outcome is None else spent[outcome] / max(spent[1:]))


def _left_over(
    line: CodeLine, report: Report, component: str, net: Network, catalog: Catalog
) -> float:
    """Return the chance that a line only tells of what was cured before the report.

    Its connector was off and is home again, or the part was renewed, nobody is known to have
    cleared the codes since, and the unit is the same; or the unit came from another car, and it is
    of that car's past. A repair that was entered as fixed and verified had them cleared: what is
    read after it is there again.
    """
    reach = catalog.firing.scans.reach
    if is_past_of_another(line, report, net):
        return reach.left_over_if_foreign.value
    place, mates = net.line.place_of(report.id), net.near[component][0]
    done = [(at, w) for at, w in net.line.works if at < place]
    since = max((at for at, w in done if w.what == "cleared" or w.component == UNIT), default=-1)
    own = [(at, w.what) for at, w in done if at > since and w.component in mates | {component}]
    if not own or own[-1][1] not in ("reseated", "replaced"):
        return 0.0
    if is_verified(net.line.entries[own[-1][0]]):
        return 0.0
    shown = any(
        since < at < own[-1][0] and (c.component, c.fault) == (component, line.fault)
        for at, entry in net.line.all_of(Report)
        for c in entry.reading.lines
    )
    return (reach.left_over_if_shown if shown else reach.left_over_after_work).value


def circuits_said(
    part: PartModel, group: Group, net: Network, unit: Array, catalog: Catalog
) -> Array:
    """Return how likely what was said since the last work is: (causes, stages, circuits).

    Args:
        part: The component.
        group: Its group.
        net: The model.
        unit: Chance of each state of the unit.
        catalog: The scan table.
    """
    result = np.ones((len(group.causes), part.stages, len(CIRCUITS)))
    for scan in scans_since_work(net, part.id):
        if not load_fitted(part, scan.place, net):
            result = result * _said_by(scan, part, group, net, unit, catalog)
    worked = net.line.last_work_on(part.id)
    good = np.array([c == "good" for c in CIRCUITS])
    for entry in net.line.entries[max(worked, 0) :]:
        for (component, of), sure in circuits_called(entry, net, catalog).items():
            if component == part.id and of <= part.stages:
                called = np.where(good, sure, 1.0 - sure)
                result[:, of - 1] = result[:, of - 1] * called
    for entry in net.line.entries[worked + 1 :]:
        stage = read_stage(entry, part) if isinstance(entry, Reading) else None
        if isinstance(entry, Reading) and stage is not None:
            result[:, stage - 1] = result[:, stage - 1] * chance_of_reading(entry, catalog)
    return result


def read_stage(entry: Reading, part: PartModel) -> int | None:
    """Return the circuit of a part whose live resistance was read; None when another value was."""
    component, stage = split_loop(entry.component)
    own = component == part.id and stage <= part.stages and part.kind.fires
    live = entry.unit == "ohm" and entry.quantity == "loop-resistance" and not entry.where
    return stage if own and live and entry.method != "substitute-load" else None


def chance_of_reading(entry: Reading, catalog: Catalog) -> Array:
    """Return how likely a live resistance is by what the circuit is like: (circuits,)."""
    window = catalog.firing.scans.reading
    outcome = 1 if entry.value > window.high_ohm else 2 if entry.value < window.low_ohm else 0
    return np.array([catalog.firing.circuit_rows[c][outcome] for c in CIRCUITS])


def _said_by(
    scan: Scan, part: PartModel, group: Group, net: Network, unit: Array, catalog: Catalog
) -> Array:
    """Return how likely what one scan says of each circuit is: (causes, stages, circuits)."""
    firing = catalog.firing
    rows, _ = scan_tables(firing)
    reach = _reach(scan, part.id, _cover_of(scan, net, catalog), net, catalog)
    clean = float(unit @ np.array(reach.clean))
    silent = 1.0 - clean * (1.0 - rows[:, 0])
    said = np.broadcast_to(silent, (len(group.causes), part.stages, len(CIRCUITS))).copy()
    for c, cause in enumerate(group.causes):
        for _, told in lines_about(part, scan.report, dict(cause.reading), net, catalog):
            single = told.stage if part.stages > 1 else 1
            if single is not None and single <= part.stages and told.weight == 1.0:
                column = rows[:, 1:].sum(axis=1) if told.outcome is None else rows[:, told.outcome]
                column = column * chances_of_status(told.status, firing)
                old = told.left_over * chance_left_over(part, (told,), firing)
                said[c, single - 1] = (1.0 - told.left_over) * column + old
    return said


def circuits_called(
    entry: Evidence, net: Network, catalog: Catalog
) -> dict[tuple[str, int], float]:
    """Return how sure an entry makes it that circuits are good, by circuit.

    A repair that was verified, unless its fault came back; one that did not cure; a drive or a lamp
    that shows the fault again.
    """
    tests = catalog.firing.scans.tests
    if isinstance(entry, LampCheck):
        back = [loop for loop, told in net.repairs.ever if told.shown == entry.id]
        return dict.fromkeys(back, 1.0 - tests.back_if_lamp.value)
    if not isinstance(entry, TestOutcome) or net.repairs.refutes(entry):
        return {}
    sure = tests.good_if_fixed.value
    says = dict.fromkeys(CURED, sure) | {NOT_CURED: 1.0 - sure, BACK: 1.0 - sure}
    if entry.outcome not in says:
        return {}
    called = {split_loop(entry.loop): says[entry.outcome]}
    if entry.outcome in CURED:
        called |= dict.fromkeys(_meant_besides(entry, net), sure)
    return called


def _meant_besides(entry: TestOutcome, net: Network) -> list[tuple[str, int]]:
    """Return the circuits that a line now cured may have meant besides, and no other line names.

    The code was cleared and stayed away: whichever of them it meant, none of them raises it now.
    """
    place, (own, _) = net.line.place_of(entry.id), split_loop(entry.loop)
    reports = [r for at, r in net.line.all_of(Report) if at < place]
    lines = reports[-1].reading.lines if reports else ()
    cured = [x for x in lines if own in {c.component for c in x.candidates}]
    named = {x.component for x in lines} | {
        c.component for x in lines if x not in cured for c in x.candidates
    }
    meant = (c for x in cured for c in x.candidates if c.component not in named | {own, None})
    return [(c.component, c.stage or 1) for c in meant if c.component]


def _repeats_another(line: CodeLine, report: Report) -> bool:
    """Return whether what stands on the line of a fault was said further up."""
    there = (c for c in report.reading.lines if c.line == line.line)
    return any(n < c.line for c in there for n in c.repeats)


def _silent(line: CodeLine, part: PartModel) -> bool:
    """Return whether a line says nothing about the condition of this part."""
    if line.fault == "event-recorded" or any(s in line.status for s in _NOT_TOLD):
        return True
    if not is_heard(line) or not line.present:
        return True
    return line.fault in _NOT_OF_A_PART and part.kind.fires


def _how_far_heard(line: CodeLine, report: Report, catalog: Catalog) -> float | None:
    """Return how far another unit is heard that once missed one that answers; None for others."""
    if line.unit == "other" and report.reading.answers:
        return catalog.firing.scans.reach.missed_though_answers.value
    return None


def _about(line: CodeLine, part: PartModel, net: Network) -> list[tuple[float, Candidate]]:
    """Return the readings of a line that may mean this part, with their weights."""
    result = []
    for candidate in line.candidates or _single(line):
        if candidate.component == part.id:
            result.append((candidate.weight, candidate))
        elif candidate.component is None and candidate.kind == part.kind.kind:
            place = split_component(part.id).place
            if candidate.place in (None, place):
                share = 1.0 if candidate.place else 1.0 / _count(part.kind.kind, net)
                result.append((candidate.weight * share, candidate))
    return result


def _single(line: CodeLine) -> tuple[Candidate, ...]:
    if line.component is None and line.kind is None:
        return ()
    return (
        Candidate(
            component=line.component,
            kind=line.kind,
            place=line.place,
            stage=line.stage,
            fault=line.fault,
            weight=1.0,
        ),
    )


def _count(kind: str, net: Network) -> int:
    return sum(1 for _, _, _, p in net.parts() if p.kind.kind == kind)


class _Cover(msgspec.Struct, frozen=True):
    """How far a scan reached, as far as that is the same for all components.

    Attributes:
        able: Could the unit run its tests; None = nothing tells.
        whole: Chance that the report shows every code that the unit stores.
        asked: Components of which a line may tell a fault, and nobody said that it does.
        disturbed: Share of circuits with a code, where supply or bus may be behind them.
    """

    able: bool | None
    whole: float
    asked: frozenset[str | None]
    disturbed: float | None


def _cover_of(scan: Scan, net: Network, catalog: Catalog) -> _Cover:
    """Return how far a scan reached on all components alike."""
    report = scan.report
    may_be = chance_disturbed(report, catalog) > 0.0
    return _Cover(
        able=unit_able(report, catalog),
        whole=chance_whole(report, net.line, catalog),
        asked=frozenset(c.component for c in report.reading.doubtful),
        disturbed=_share_with_a_code(report, net) if may_be else None,
    )


def _reach(scan: Scan, component: str, cover: _Cover, net: Network, catalog: Catalog) -> Reach:
    """Return how far a scan reached on a component, by state of the unit and of the report."""
    coverage, weight = scan.report.reading.coverage, cover.whole
    if any(c.component == component for c in coverage.clean):
        weight = 1.0
    elif cover.able is False or component in coverage.not_tested or component in cover.asked:
        weight = 0.0
    hides = (
        _comes_and_goes(component, scan, net) * catalog.firing.scans.reach.intermittent_hides.value
    )
    own = 0.0 < weight < 1.0
    may_stop = scan.same_unit and cover.able is None
    clean, listed, watch = [], [], []
    some = catalog.firing.scans.reach.listed_if_cut.value if scan.report.shows_codes else 0.0
    for state in net.unit_states:
        cut = scan.report.id in state.unread
        known = own and scan.report.id in state.asked
        clean.append((some if cut else 1.0) if known else weight)
        listed.append(some if known and cut and some else 1.0)
        watch.append("watching" if state.watch == "stopped" and not may_stop else state.watch)
    seen = tuple(c * (1.0 - hides) for c in clean)
    return Reach(seen, tuple(listed), tuple(watch), cover.disturbed)


def _comes_and_goes(component: str, scan: Scan, net: Network) -> bool:
    """Return whether an earlier report has a fault of a component as intermittent.

    Nobody worked on it since: that it is not read now is weak evidence, it hides.
    """
    worked = net.line.last_work_on(component)
    earlier = (e for at, e in net.line.all_of(Report) if worked < at < scan.place)
    lines = (c for entry in earlier for c in entry.reading.lines)
    return any(c.component == component and "intermittent" in c.status for c in lines)


def _share_with_a_code(report: Report, net: Network) -> float:
    """Return the share of circuits that a report shows a code for, drawn towards one half."""
    circuits = sum(part.stages for *_, part in net.parts())
    lines = sum(c.fault != "event-recorded" for c in report.reading.own)
    return (lines + 1.0) / (circuits + 2.0)
