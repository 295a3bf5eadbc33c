"""Evidence that does not fit together: reported, never averaged away."""

from itertools import combinations

import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.history.order import History
from squibwise.infer.engine import Engine, GroupBelief, Posterior, group_belief
from squibwise.infer.explain import DECIBANS
from squibwise.infer.network import Likelihood, OnComponent
from squibwise.infer.parts import PartModel
from squibwise.infer.scan import UNIT, event_lines, one_cause, unit_able
from squibwise.model.belief import Contradiction
from squibwise.model.case import Case
from squibwise.model.evidence import (
    Circumstance,
    DoneWork,
    Impact,
    LampCheck,
    Recorder,
    Statement,
)
from squibwise.model.report import Report

Array = npt.NDArray[np.float64]
_CLASH_DB = 6.0
_HALF = 0.5
_TENTH = 0.15
_SURE = 0.95
_LIKELY = 0.8
_DOUBT = 0.2
_PUSHED_KMH = 8.0


def find_contradictions(
    case: Case,
    engine: Engine,
    likelihoods: tuple[Likelihood, ...],
    found: Posterior,
    groups: tuple[GroupBelief, ...],
    catalog: Catalog,
) -> tuple[Contradiction, ...]:
    """Return everything in the evidence that does not fit together."""
    result = _clashes(engine, likelihoods) + _seat_clashes(likelihoods)
    result += _statements(case, found, groups)
    result += _records(case, found, catalog)
    result += _lamps(engine.net.line)
    result += _no_crash(case, found)
    result += _loads_left_in(case, groups)
    result += _recorders(case)
    return tuple(result)


def _clashes(engine: Engine, likelihoods: tuple[Likelihood, ...]) -> list[Contradiction]:
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
            result += _clashes_on(name, entries, engine, likelihoods)
    return result


def _clashes_on(
    name: str,
    entries: list[tuple[Likelihood, OnComponent]],
    engine: Engine,
    likelihoods: tuple[Likelihood, ...],
) -> list[Contradiction]:
    own = {id(piece) for piece, _ in entries}
    rest = tuple(i for i in likelihoods if id(i) not in own)
    g, _, _ = engine.place[name]
    part = group_belief(engine.run(rest), g).parts[name]
    result = []
    for (piece, on), (other, against) in combinations(entries, 2):
        clash, story = (
            _clash_db(part.after, on, against),
            _best_explanation(part.after, on, against),
        )
        if story < _TENTH or (clash > _CLASH_DB and story < _HALF):
            text = f"{name}: '{piece.text}' does not fit '{other.text}'"
            result.append(
                Contradiction(
                    text=text,
                    evidence=tuple(dict.fromkeys((piece.evidence, other.evidence))),
                    remedy=_clash_remedy(part.part),
                )
            )
    return result


def _seat_clashes(likelihoods: tuple[Likelihood, ...]) -> list[Contradiction]:
    """Return pairs of words on one seat's occupant that fit nobody."""
    told = [(piece, on) for piece in likelihoods for on in piece.seats]
    result = []
    for (piece, on), (other, against) in combinations(told, 2):
        if on.group != against.group:
            continue
        together = float((on.values * against.values).max())
        if together / float(on.values.max() * against.values.max()) < _TENTH:
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
    case: Case, found: Posterior, groups: tuple[GroupBelief, ...]
) -> list[Contradiction]:
    """Return second-hand words that the rest of the evidence refutes."""
    bags = found.net.events.front | (found.net.events.others > 0)
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
        wrong = fired > _SURE if entry.says == "not-deployed" else fired < 1.0 - _SURE
        if wrong:
            what = entry.component or "the car"
            text = f"{entry.from_ or 'somebody'} says {what} {entry.says}; the rest says otherwise"
            remedy = "Trust what was seen and scanned; ask where the word came from."
            result.append(Contradiction(text=text, evidence=(entry.id,), remedy=remedy))
    return result


def _records(case: Case, found: Posterior, catalog: Catalog) -> list[Contradiction]:
    """Return complete scans without a crash record although bags surely fired."""
    events = found.net.events
    fired = float(found.events @ (events.front | (events.others > 0)))
    swaps = [w for _, w in found.net.line.works_on(frozenset({UNIT})) if w.what == "replaced"]
    result = []
    for entry in case.evidence:
        if not isinstance(entry, Report) or swaps or fired < _SURE or one_cause(entry):
            continue
        whole = entry.reading.coverage.complete and unit_able(entry, catalog) is not False
        if whole and not event_lines(entry):
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


def _lamp_clash(text: str, lamp: LampCheck, scan: Report) -> Contradiction:
    remedy = "Scan again with the ignition on and the supply in range, and watch the lamp through."
    return Contradiction(text=text, evidence=(lamp.id, scan.id), remedy=remedy)


def _no_crash(case: Case, found: Posterior) -> list[Contradiction]:
    crashed = [s.kind in ("crash", "earlier") for s in found.net.events.scenarios]
    crash = float(found.events @ found.net.events.holds(crashed))
    result = []
    for entry in case.evidence:
        if not isinstance(entry, Circumstance) or entry.what != "crash":
            continue
        if (crash if not entry.present else 1.0 - crash) > _LIKELY:
            text = "what was told of the crash does not fit what was seen and scanned"
            remedy = "Look over the body and the unit's record; ask who owned the car before."
            result.append(Contradiction(text=text, evidence=(entry.id,), remedy=remedy))
    return result


def _loads_left_in(case: Case, groups: tuple[GroupBelief, ...]) -> list[Contradiction]:
    """Return parts that are not there although their circuits read good."""
    result = []
    for group in groups:
        for name, part in group.parts.items():
            loaded = [m.condition == "loaded" for m in part.part.micros]
            if float(part.now.sum(axis=0) @ loaded) > _DOUBT:
                seen = (e.id for e in case.evidence if getattr(e, "component", "") == name)
                text = f"{name} is not there, yet its circuit reads good: a load was left in"
                remedy = (
                    "Take the load out and fit the part: a resistor left in is fraud and leaves "
                    "the seat unprotected. Treat the car's other circuits as doubtful too."
                )
                result.append(Contradiction(text=text, evidence=tuple(seen), remedy=remedy))
    return result


def _recorders(case: Case) -> list[Contradiction]:
    """Return crash records that do not fit one another or the body."""
    recorders = [e for e in case.evidence if isinstance(e, Recorder)]
    result = []
    if {"none", "locked"} <= {e.record for e in recorders}:
        ids = tuple(e.id for e in recorders if e.record in ("none", "locked"))
        text = "one entry says there is no crash record, another that a locked one is stored"
        remedy = "Read the unit again, and check by its number that both are about this car."
        result.append(Contradiction(text=text, evidence=ids, remedy=remedy))
    bodies = [e for e in case.evidence if isinstance(e, Impact) and e.zone is not None]
    front = [e for e in bodies if (e.zone or "").startswith("nose")]
    for entry in recorders if front and len(front) == len(bodies) else ():
        if (entry.delta_v_long_kmh or 0.0) > _PUSHED_KMH:
            text = "the record says the car was pushed forward, yet its nose was struck"
            remedy = "Most likely a wrong sign: slowing down is negative. Check the entry."
            ids = (entry.id, *(e.id for e in front))
            result.append(Contradiction(text=text, evidence=ids, remedy=remedy))
    return result
