"""Evidence that does not fit together: reported, never averaged away."""

from collections.abc import Iterable, Iterator
from itertools import combinations

import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.history.order import History
from squibwise.infer.blows import gate_of_measured, measured_speed, own_axis
from squibwise.infer.crash_record import apart_kmh, tell_apart
from squibwise.infer.engine import Engine, Posterior
from squibwise.infer.evidence import wrong_trials
from squibwise.infer.explain import DECIBANS
from squibwise.infer.marginals import GroupBelief, group_belief
from squibwise.infer.network import Likelihood, Network
from squibwise.infer.parts import OnComponent, PartModel, taken_off_at
from squibwise.infer.reports import (
    chance_whole,
    event_lines,
    one_cause,
    tells_of_charges,
    unit_able,
)
from squibwise.infer.scan import UNIT
from squibwise.infer.sights import (
    find_codes_of_another_car,
    find_live_but_open,
    find_whole_but_commanded,
    seen_spent,
)
from squibwise.infer.told import denies_a_crash
from squibwise.model.belief import Contradiction
from squibwise.model.case import Case
from squibwise.model.evidence import (
    Circumstance,
    DoneWork,
    Impact,
    LampCheck,
    Recorder,
    SeatTrial,
    Statement,
)
from squibwise.model.names import loop_id, split_loop
from squibwise.model.report import Report

Array = npt.NDArray[np.float64]


def find_contradictions(
    case: Case,
    engine: Engine,
    likelihoods: tuple[Likelihood, ...],
    found: Posterior,
    groups: tuple[GroupBelief, ...],
    catalog: Catalog,
) -> tuple[Contradiction, ...]:
    """Return what in the evidence does not fit together, beside ``loads_left_in``."""
    result = find_whole_but_commanded(engine.net, catalog) + find_live_but_open(engine.net, catalog)
    result += find_codes_of_another_car(engine.net)
    told = {(c.component, *sorted(c.evidence)) for c in result}
    clashes = _clashes(engine, likelihoods, catalog)
    result += [c for c in clashes if (c.component, *sorted(c.evidence)) not in told]
    result += _seat_clashes(likelihoods, catalog)
    result += _statements(case, found, groups, catalog)
    result += _records(case, found, catalog)
    result += _lamps(engine.net.line)
    result += _returned(engine.net)
    result += _no_crash(case, found, catalog)
    result += _fired_yet_denied(case, found.net, catalog)
    result += _silent_crash(case, found, groups, catalog)
    result += _recorders(case, catalog)
    result += _seat_trials(engine.net, catalog)
    return tuple(result)


def _clashes(
    engine: Engine, likelihoods: tuple[Likelihood, ...], catalog: Catalog
) -> list[Contradiction]:
    """Return pairs of observations of one part, no work between, that no state explains well."""
    works = [at for at, _ in engine.net.line.works]
    by_part: dict[tuple[str, int], list[tuple[Likelihood, OnComponent]]] = {}
    for piece in (i for i in likelihoods if not i.broad):
        for on in piece.parts:
            epoch = sum(1 for place in works if place < on.place)
            by_part.setdefault((on.part, epoch), []).append((piece, on))
    result = []
    for (name, epoch), entries in by_part.items():
        if len(entries) > 1 and epoch == 0:
            result += _clashes_on(name, entries, engine, likelihoods, catalog)
    return result


def _clashes_on(
    name: str,
    entries: list[tuple[Likelihood, OnComponent]],
    engine: Engine,
    likelihoods: tuple[Likelihood, ...],
    catalog: Catalog,
) -> list[Contradiction]:
    limits = catalog.firing.scans.clash
    own = {id(piece) for piece, _ in entries}
    rest = tuple(i for i in likelihoods if id(i) not in own)
    g, _, _ = engine.place[name]
    part = group_belief(engine.run(rest), g).parts[name]
    off = taken_off_at(part.part, engine.net.line, catalog)
    result = []
    for (piece, on), (other, against) in combinations(entries, 2):
        if off is not None and (on.place < off) != (against.place < off):
            continue
        if not part.part.kind.fires and _speak_of_harm(part.part, on, against):
            continue
        clash, story = (
            _clash_db(part.after, on, against),
            _best_explanation(part.after, on, against),
        )
        if story < limits.worst or (clash > limits.rarer_db and story < limits.poor):
            text = f"{name}: '{piece.text}' does not fit '{other.text}'"
            result.append(
                Contradiction(
                    text=text,
                    evidence=tuple(dict.fromkeys((piece.evidence, other.evidence))),
                    remedy=_clash_remedy(part.part),
                    component=name,
                )
            )
    return result


def _speak_of_harm(part: PartModel, *pieces: OnComponent) -> bool:
    """Return whether each of several observations says that something is wrong, in its own way."""
    well = np.array([m.condition == "ok" for m in part.micros])
    return all(
        on.values[..., well].max() < _MUCH_LESS * on.values[..., ~well].max() for on in pieces
    )


_MUCH_LESS = 0.5


def _seat_clashes(likelihoods: tuple[Likelihood, ...], catalog: Catalog) -> list[Contradiction]:
    """Return pairs of words on one seat's occupant that fit nobody."""
    told = [(piece, on) for piece in likelihoods for on in piece.seats]
    result, worst = [], catalog.firing.scans.clash.worst
    for (piece, on), (other, against) in combinations(told, 2):
        if on.group != against.group:
            continue
        together = float((on.values * against.values).max())
        if together / float(on.values.max() * against.values.max()) < worst:
            result.append(
                Contradiction(
                    text=f"{on.group} seat: '{piece.text}' does not fit '{other.text}'",
                    evidence=tuple(dict.fromkeys((piece.evidence, other.evidence))),
                    remedy="Look at webbing, buckle and tongue there; a buckle switch can lie.",
                )
            )
    return result


def _clash_db(chance: Array, first: OnComponent, second: OnComponent) -> float:
    """Return by how much two observations together are rarer than they are apart. [dB]."""
    one = np.broadcast_to(first.values[0], chance.shape)
    two = np.broadcast_to(second.values[0], chance.shape)
    apart = float((chance * one).sum() * (chance * two).sum())
    return float(DECIBANS * np.log10(apart / float((chance * one * two).sum())))


def _best_explanation(chance: Array, first: OnComponent, second: OnComponent) -> float:
    """Return how well the best single story explains both, as a share of what each could have."""
    one = np.broadcast_to(first.values[0], chance.shape)
    two = np.broadcast_to(second.values[0], chance.shape)
    return float((one * two).max() / (one.max() * two.max()))


def _clash_remedy(part: PartModel) -> str:
    if part.kind.circuit:
        return (
            "Look again at the part itself and at its part number and plug, then scan again with "
            "the supply in range; handle it as live until both agree."
        )
    return "Look again at the part itself, in daylight and from both sides."


def _statements(
    case: Case, found: Posterior, groups: tuple[GroupBelief, ...], catalog: Catalog
) -> list[Contradiction]:
    """Return second-hand words that the rest of the evidence refutes."""
    bags = found.net.events.bags
    parts = {n: p for g in groups for n, p in g.parts.items()}
    result = []
    for entry in case.evidence:
        if not isinstance(entry, Statement) or entry.says not in ("deployed", "not-deployed"):
            continue
        fired = float(found.events @ bags)
        if entry.component is not None:
            if entry.component not in parts:
                continue
            part = parts[entry.component]
            fired = float(part.after.sum(axis=0) @ [m.fired > 0 for m in part.part.micros])
        sure = catalog.firing.scans.clash.sure
        wrong = fired > sure if entry.says == "not-deployed" else fired < 1.0 - sure
        if wrong:
            what = entry.component or "the car"
            text = f"{entry.from_ or 'somebody'} says {what} {entry.says}; the rest says otherwise"
            remedy = "Trust what was seen and scanned; ask where the word came from."
            result.append(Contradiction(text=text, evidence=(entry.id,), remedy=remedy))
    return result


def _records(case: Case, found: Posterior, catalog: Catalog) -> list[Contradiction]:
    """Return complete scans without a crash record although bags surely fired."""
    fired = float(found.events @ found.net.events.bags)
    swaps = [w for _, w in found.net.line.works_on(frozenset({UNIT})) if w.what == "replaced"]
    sure = catalog.firing.scans.clash.sure
    result = []
    for entry in case.evidence:
        if not isinstance(entry, Report) or swaps or fired < sure or one_cause(entry):
            continue
        if _shows_all(entry, found.net, catalog) and not event_lines(entry):
            result.append(
                Contradiction(
                    text="charges fired, yet the complete scan shows no crash record in the unit",
                    evidence=(entry.id,),
                    remedy=(
                        "Check whether the tool lists crash records at all, and whether the unit "
                        "is the one of the crash: number, serial, and if its record was cleared."
                    ),
                )
            )
    return result


def _shows_all(report: Report, net: Network, catalog: Catalog) -> bool:
    """Return whether a report is whole, of a unit able to test, and could be read."""
    able = report.reading.coverage.complete and unit_able(report, catalog) is not False
    return bool(able) and chance_whole(report, net.line, catalog) > 0.0


def _lamps(line: History) -> list[Contradiction]:
    """Return lamp checks that do not fit the last scan, nobody having worked in between."""
    result = []
    scan: Report | None = None
    for entry in line.entries:
        if isinstance(entry, Report):
            scan = entry
        elif isinstance(entry, DoneWork):
            scan = None
        elif isinstance(entry, LampCheck) and scan is not None and entry.lit:
            present = [c for c in scan.reading.lines if "present" in c.status]
            clean = scan.reading.coverage.complete and not scan.reading.lines
            if entry.stayed_out and present:
                text = "the lamp went out and stayed out, yet the scan shows codes as present"
                result.append(_lamp_clash(text, entry, scan))
            elif entry.stayed_out is False and clean:
                text = "the lamp stays on, yet the complete scan shows no code"
                result.append(_lamp_clash(text, entry, scan))
    return result


def _returned(net: Network) -> list[Contradiction]:
    """Return repairs that were entered as fixed and whose fault is told of again."""
    return [
        Contradiction(
            text=f"{loop_id(*loop)}: '{told.repair}' was entered as fixed, and the fault is back: "
            "it did not hold",
            evidence=(told.cure, told.shown),
            remedy="Trace the circuit again; the same repair once more is not the next step.",
            component=loop[0],
        )
        for loop, told in net.repairs.open.items()
    ]


def _seat_trials(net: Network, catalog: Catalog) -> list[Contradiction]:
    """Return seats that weigh wrong while the last scan shows no code."""
    scan = next((e for _, e in reversed(net.line.all_of(Report))), None)
    result = []
    for component in {e.component for _, e in net.line.all_of(SeatTrial)}:
        wrong = wrong_trials(component, net, catalog)
        if scan is None or scan.shows_codes or not wrong:
            continue
        text = (
            f"{component}: {wrong[0].applied_kg:g} kg on the seat read as {wrong[0].read_kg:g} kg, "
            "and no code says so"
        )
        remedy = (
            "No code is no proof of what the seat weighs. See that the foam is the right one, set "
            "the sensing to zero by the maker's way, then try it with known masses again."
        )
        result.append(
            Contradiction(
                text=text,
                evidence=(*(e.id for e in wrong), scan.id),
                remedy=remedy,
                component=component,
            )
        )
    return result


def _lamp_clash(text: str, lamp: LampCheck, scan: Report) -> Contradiction:
    remedy = "Scan again with the ignition on and the supply in range, and watch the lamp through."
    return Contradiction(text=text, evidence=(lamp.id, scan.id), remedy=remedy)


def _no_crash(case: Case, found: Posterior, catalog: Catalog) -> list[Contradiction]:
    crashed = [s.kind in ("crash", "earlier") for s in found.net.events.scenarios]
    crash = float(found.events @ found.net.events.holds(crashed))
    result = []
    for entry in case.evidence:
        denied = denies_a_crash(entry, catalog)
        if not denied and not (isinstance(entry, Circumstance) and entry.what == "crash"):
            continue
        if (crash if denied else 1.0 - crash) > catalog.firing.scans.clash.poor:
            text = "what was told of the crash does not fit what was seen and scanned"
            remedy = "Look over the body and the unit's record; ask who owned the car before."
            result.append(Contradiction(text=text, evidence=(entry.id,), remedy=remedy))
    return result


def _fired_yet_denied(case: Case, net: Network, catalog: Catalog) -> list[Contradiction]:
    """Return parts seen fired beside records or words by which nothing can have fired.

    A fire or a flood may set one off in a car that stands.
    """
    told = [e for e in case.evidence if isinstance(e, Circumstance) and e.present]
    if any(e.what in ("fire", "flood") for e in told):
        return []
    swapped = any(w.what == "replaced" for _, w in net.line.works_on(frozenset({UNIT})))
    records = [e for e in case.evidence if isinstance(e, Recorder) and not swapped]
    denied = [e.id for e in told if e.what in ("parked", "unpowered")]
    denied += [e.id for e in records if _shows_no_firing(e, catalog)]
    seen = (p for *_, p in net.parts() if denied and p.kind.fires)
    looks = ((p.id, seen_spent(p, net.line, catalog)) for p in seen)
    return [
        Contradiction(
            text=f"{name}: seen to have fired, yet by a record or a word nothing can have fired",
            evidence=(look.id, *denied),
            remedy=_EYE_FIRST,
            component=name,
        )
        for name, look in looks
        if look is not None
    ]


def _shows_no_firing(entry: Recorder, catalog: Catalog) -> bool:
    """Return whether a record says that there is none, or measured less than anything fires at."""
    speed = measured_speed(entry)
    slow = speed is not None and speed < catalog.firing.events.fires_from_kmh
    return not (entry.commanded or entry.commanded_ms) and (entry.record == "none" or slow)


_EYE_FIRST = (
    "The eye is believed: the record or the word is of another event, unit or car, or the part "
    "went off before or outside it. Compare the unit's number and the VIN, and ask who told it."
)


def tell_other_cars(ids: Iterable[str]) -> list[Contradiction]:
    """Return a contradiction for each report that names another VIN than the car's."""
    text = "a report of another car, by its VIN: nothing of it is weighed"
    remedy = "Compare the VIN on the car with both, then read this car's own unit."
    return [Contradiction(text=text, evidence=(one,), remedy=remedy) for one in ids]


def _likeliest_bag(groups: tuple[GroupBelief, ...]) -> str:
    """Return the bag that most likely fired; empty when the car has none."""
    chances = {
        name: float(part.after.sum(axis=0) @ [m.fired > 0 for m in part.part.micros])
        for group in groups
        for name, part in group.parts.items()
        if part.part.kind.fires and part.part.kind.family == "bag"
    }
    return max(chances, key=lambda name: (chances[name], name), default="")


def _silent_crash(
    case: Case, found: Posterior, groups: tuple[GroupBelief, ...], catalog: Catalog
) -> list[Contradiction]:
    """Return whole reports without a code of a car whose body is crushed.

    The bag that most likely fired decides it.
    """
    crushed = [
        e
        for e in case.evidence
        if isinstance(e, Impact) and e.extent in ("moderate", "severe") and e.zone != "tail"
    ]
    result = []
    for entry in case.evidence:
        if not isinstance(entry, Report) or not crushed or found.net.line.works:
            continue
        if _shows_all(entry, found.net, catalog) and not tells_of_charges(entry, catalog):
            which = "of a charge" if entry.shows_codes else "at all"
            text = f"the body is crushed, yet the complete scan shows no code {which}"
            remedy = (
                "Look at the bag's cover and the belts before believing the scan: it may have been "
                "erased, read from another unit or car, or the crash may have fired nothing. "
                "Compare the unit's number and VIN, and scan again."
            )
            ids, bag = (entry.id, *(e.id for e in crushed)), _likeliest_bag(groups)
            result.append(Contradiction(text=text, evidence=ids, remedy=remedy, component=bag))
    return result


def _recorders(case: Case, catalog: Catalog) -> list[Contradiction]:
    """Return crash records that do not fit one another or the body."""
    recorders = [e for e in case.evidence if isinstance(e, Recorder)]
    result = []
    if {"none", "locked"} <= {e.record for e in recorders}:
        ids = tuple(e.id for e in recorders if e.record in ("none", "locked"))
        text = "one entry says there is no crash record, another that a locked one is stored"
        remedy = _READ_AGAIN
        result.append(Contradiction(text=text, evidence=ids, remedy=remedy))
    result += _recorders_apart(recorders, catalog)
    bodies = [e for e in case.evidence if isinstance(e, Impact) and e.zone is not None]
    result += _crushed_but_slow(recorders, bodies, catalog)
    front = [e for e in bodies if (e.zone or "").startswith("nose")]
    for entry in recorders if front and len(front) == len(bodies) else ():
        if (entry.delta_v_long_kmh or 0.0) > catalog.firing.scans.clash.pushed_kmh:
            text = "the record says the car was pushed forward, yet its nose was struck"
            remedy = "Most likely a wrong sign: slowing down is negative. Check the entry."
            ids = (entry.id, *(e.id for e in front))
            result.append(Contradiction(text=text, evidence=ids, remedy=remedy))
    return result


def _crushed_but_slow(
    recorders: list[Recorder], bodies: list[Impact], catalog: Catalog
) -> list[Contradiction]:
    """Return bodies crushed harder than at the highest change of speed that is recorded."""
    sides = {zone.name: zone.side for zone in catalog.firing.events.zone}
    result = []
    for body in bodies:
        told = [(_speed_on(e, sides[body.zone or ""]), e) for e in recorders]
        known = [(speed, e) for speed, e in told if speed is not None]
        if not known or len(known) < len(told):
            continue
        speed, entry = max(known, key=lambda pair: pair[0])
        fires = gate_of_measured(speed, catalog)
        if (body.extent == "severe" and fires < 1.0) or (body.extent == "moderate" and not fires):
            text = f"the body shows {body.extent} damage, yet {speed:.0f} km/h is recorded"
            ids = (body.id, entry.id)
            result.append(Contradiction(text=text, evidence=ids, remedy=_OTHER_EVENT))
    return result


def _speed_on(recorder: Recorder, side: str) -> float | None:
    """Return the change of speed that a recorder gives for a hit on a side; None = it is open."""
    own = own_axis(recorder, side)
    return measured_speed(recorder) if own is None or recorder.rollover else abs(own)


_OTHER_EVENT = (
    "The record may be of another event or unit, or lack an axis: read all its events, compare the "
    "unit's number and the VIN, and look at the cover of the front airbag."
)
_READ_AGAIN = "Read the unit again, and check by its number that both are about this car."


def _recorders_apart(recorders: list[Recorder], catalog: Catalog) -> list[Contradiction]:
    """Return entries on one event that give it different changes of speed."""
    result = []
    for one, two in combinations(recorders, 2):
        if tell_apart(one, two, catalog):
            apart = apart_kmh(one, two)
            text = f"two entries give the same event changes of speed {apart:.0f} km/h apart"
            remedy = (
                "Neither is preferred: both are weighed, in whatever order they stand. See which "
                "of them is of this car and this event, and take the other out."
            )
            result.append(Contradiction(text=text, evidence=(one.id, two.id), remedy=remedy))
        for text in _denials(one, two) if one.event == two.event else ():
            remedy = _READ_AGAIN
            result.append(Contradiction(text=text, evidence=(one.id, two.id), remedy=remedy))
    return result


def _denials(one: Recorder, two: Recorder) -> Iterator[str]:
    """Yield what one record of an event says and another denies."""
    if {one.rollover, two.rollover} == {True, False}:
        yield "two records of the same event disagree on whether the car rolled over"
    if {one.lamp_on, two.lamp_on} == {True, False}:
        yield "two records of the same event disagree on whether the lamp was lit before it"
    first, second = _commanded(one), _commanded(two)
    denied = (first & set(two.not_commanded)) | (second & set(one.not_commanded))
    if denied or (first and second and not first & second):
        yield "two records of the same event disagree on what was fired"


def _commanded(record: Recorder) -> set[str]:
    """Return the components and loops that a record lists as commanded."""
    whole = {split_loop(loop)[0] for loop in (*record.commanded, *record.commanded_ms)}
    return {*record.commanded_ms, *whole, *(loop_id(name, 1) for name in record.commanded)}
