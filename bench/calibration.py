"""What claims of the engine are worth in simulated cars: figures moved, structure wrong.

In each kind of world cars are drawn with the judgement figures moved by up to ``--factor`` in odds,
new for each draw, and told to the engine as it ships. Worlds whose structure the engine does not
know: blank scans, a careless looker, cars repaired before without a word, swapped units.

Counted are claims on parts with charges: *fired* from .98 up, *not fired* up to .02, and over 99 %
and under 1 %; false is a claim whose part had (not) fired. Wilson intervals. A row
holds when the lower end of its interval is at most twice the promise. ``repaired before``: the unit
keeps the record of an earlier crash, what had fired then is new or, at the rate of loads left in
rebuilt cars, a load.

Run: ``python bench/calibration.py [--cars 60] [--draws 12] [--world NAME] [--json]``
"""

import argparse
import copy
import json
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from squibwise.catalog.components import LookWord
from squibwise.catalog.firing import OUTCOMES, Figure, Firing, ScanRow
from squibwise.catalog.load import Catalog, load_catalog
from squibwise.infer.blows import struck
from squibwise.infer.building import build_network
from squibwise.infer.crash import Scenario
from squibwise.infer.crash_record import chance_of_record
from squibwise.infer.engine import Engine
from squibwise.infer.evidence import look_values, weigh_evidence
from squibwise.infer.marginals import group_beliefs
from squibwise.infer.network import Network
from squibwise.infer.parts import Micro, PartModel
from squibwise.infer.sights import weigh_sights
from squibwise.intake.case_file.car_files import make_car
from squibwise.intake.case_file.schema import CarTable
from squibwise.model.car import Car
from squibwise.model.case import Case
from squibwise.model.evidence import Evidence, Impact, Look
from squibwise.model.report import Candidate, CodeLine, Coverage, ReadReport, Report
from squibwise.model.words import Extent

sys.path.insert(0, str(Path(__file__).parents[1]))
from fit.scoring import reliability, wilson

WORLDS = ("as told", "blank scans", "careless looker", "repaired before", "swapped unit")
SHARE = 0.15  # of the cars of a world that its own wrong structure concerns
TEMPLATES = ("front-bags", "seat-bags", "curtains-and-weight-sensing", "full-modern-set")
FAULTS = (None, "open-or-high", "low-or-short", "short-to-ground", "internal")
EXTENTS: tuple[Extent, ...] = ("light", "moderate", "severe")
CLAIMS = ((">= .98", 0.02), ("<= .02", 0.02), ("> .99", 0.01), ("< .01", 0.01))


def shaken(value: Any, factor: float, rng: np.random.Generator) -> Any:  # noqa: ANN401
    """Return a record with every judgement figure in it moved in odds by up to a factor."""
    if isinstance(value, Figure):
        moved = _moved(value.value, factor, rng)
        return Figure(value=moved, low=min(moved, value.low), high=max(moved, value.high))
    if isinstance(value, ScanRow):
        p = np.array([_moved(getattr(value, o), factor, rng) for o in OUTCOMES])
        return ScanRow(circuit=value.circuit, **dict(zip(OUTCOMES, p / p.sum(), strict=True)))
    if isinstance(value, LookWord):
        names = ("sound", "fired", "faulty", "damaged", "unfit", "missing")
        new = {n: _moved(getattr(value, n), factor, rng) for n in names}
        return msgspec.structs.replace(value, **new)
    if isinstance(value, msgspec.Struct):
        fields = {f: shaken(getattr(value, f), factor, rng) for f in value.__struct_fields__}
        return value if type(value).__name__ == "StruckRow" else type(value)(**fields)
    if isinstance(value, dict):
        return {k: shaken(v, factor, rng) for k, v in value.items()}
    return tuple(shaken(v, factor, rng) for v in value) if isinstance(value, tuple) else value


def _moved(p: float, factor: float, rng: np.random.Generator) -> float:
    odds = p / max(1.0 - p, 1e-12) * factor ** rng.uniform(-1.0, 1.0)
    return float(odds / (1.0 + odds))


def shake_catalog(catalog: Catalog, factor: float, rng: np.random.Generator) -> Catalog:
    """Return the catalogue with firing logic, faults, scans and looks moved."""
    other = copy.copy(catalog)
    firing = Firing(catalog.firing.root)
    for name in ("families", "events", "conditions", "scans"):
        firing.__dict__[name] = shaken(getattr(catalog.firing, name), factor, rng)
    other.__dict__["firing"] = firing
    for name in ("kinds", "common_looks"):
        other.__dict__[name] = shaken(getattr(catalog, name), factor, rng)
    return other


def pick(p: np.ndarray, rng: np.random.Generator) -> int:
    """Return one index, drawn by its chance."""
    total = np.cumsum(np.ravel(p))
    return int(np.searchsorted(total, rng.uniform() * total[-1]))


def draw_car(net: Network, rng: np.random.Generator) -> tuple[int, dict[str, Micro]]:
    """Return an event of a network and what each part is like, drawn from the prior."""
    families = np.array([f.weight for f in net.logics])
    row, family = pick(net.events.weight, rng), pick(families, rng)
    parts: dict[str, Micro] = {}
    for group in net.groups:
        sort = int(group.sort[row])
        seat = group.seat.prior[sort if len(group.seat.prior) > 1 else 0]
        person = pick(seat, rng)
        for cluster in group.clusters:
            x, f, p, _ = cluster.fires.shape
            fires = cluster.fires[sort if x > 1 else 0, family if f > 1 else 0]
            z = pick(fires[person if p > 1 else 0], rng)
            for part in cluster.parts:
                k = 0 if part.classes is None else int(part.classes[sort])
                column = z if part.prior.shape[1] > 1 else 0
                parts[part.id] = part.micros[pick(part.prior[k, column], rng)]
    return row, parts


def tell_body(scenario: Scenario, catalog: Catalog, rng: np.random.Generator) -> Iterator[Impact]:
    """Yield what somebody says of the body: zone, hour and extent of the first blow, or no dent."""
    if scenario.kind in ("none", "outside"):
        yield Impact(id="body", extent="none")
    if not scenario.blows:
        return
    blow, body = scenario.blows[0], catalog.firing.scans.body
    zones = [z.name for z in catalog.firing.events.zone if z.side == blow.zone.side]
    right = rng.uniform() < body["same_zone"].value
    zone = blow.zone.name if right else str(rng.choice(zones))
    side = struck(blow.zone.side, "left")
    spreads = [catalog.priors.severity.of(side, e) for e in EXTENTS]
    log = np.log(max(blow.speed, 1.0))
    fits = [np.exp(-0.5 * ((log - s.log_mean) / s.log_sd) ** 2) / s.log_sd for s in spreads]
    extent = EXTENTS[pick(np.array(fits), rng)]
    yield Impact(id="body", zone=zone, clock=blow.zone.clock, extent=extent)


def read_scan(
    parts: dict[str, Micro], net: Network, row: int, world: str, catalog: Catalog,
    rng: np.random.Generator,
) -> Report:  # fmt: skip
    """Return a complete scan of the car, blank or without its record where the world is so.

    In every world a scan is blank, or cut short, as often as the figures say.
    """
    lines: list[CodeLine] = []
    odd, reach = rng.uniform() < SHARE, catalog.firing.scans.reach
    for *_, part in net.parts():
        lines += _codes_of(part, parts[part.id], len(lines), catalog, rng)
    record = chance_of_record(net, catalog)[row] * (
        catalog.firing.events.record.shown_among_codes.value
    )
    if rng.uniform() < record and not (world == "swapped unit" and odd):
        lines.append(_line(len(lines) + 1, "centre.control-unit", 1, "event-recorded"))
    if rng.uniform() < reach.cut_short.value:
        lines = [line for line in lines if rng.uniform() < reach.listed_if_cut.value]
    if rng.uniform() < reach.blank.value or (world == "blank scans" and odd):
        lines = []
    coverage = Coverage(complete=True, unit_volts=12.4)
    return Report(id="scan", reading=ReadReport(lines=tuple(lines), coverage=coverage))


def _codes_of(
    part: PartModel, micro: Micro, so_far: int, catalog: Catalog, rng: np.random.Generator
) -> Iterator[CodeLine]:
    for stage in range(1, part.stages + 1):
        table = np.array(catalog.firing.circuit_rows[micro.circuit(stage)])
        fault = FAULTS[pick(table, rng)]
        if fault is not None:
            so_far += 1
            yield _line(so_far, part.id, stage, fault)


def _line(number: int, component: str, stage: int, fault: str) -> CodeLine:
    meant = Candidate(component=component, stage=stage, fault=fault, weight=1.0)  # type: ignore[arg-type]
    return CodeLine(
        line=number, raw=f"{component} {stage} {fault}", component=component, stage=stage,
        fault=fault, status=("present",), candidates=(meant,),  # type: ignore[arg-type]
    )  # fmt: skip


def look_at(
    parts: dict[str, Micro], net: Network, world: str, catalog: Catalog, rng: np.random.Generator
) -> Iterator[Look]:
    """Yield looks at a third of the charged parts: the word that shows it live, or spent."""
    for *_, part in net.parts():
        words = catalog.looks(part.kind.kind)
        shows = {w.shows: w.word for w in words.values() if w.shows in ("live", "spent")}
        if not part.kind.fires or len(shows) < 2 or rng.uniform() > 1.0 / 3.0:
            continue
        index = part.micros.index(parts[part.id])
        chances = []
        for word in shows.values():
            values = look_values(part, word, False, catalog)
            chances.append(0.0 if values is None else float(values[index]))
        names = list(shows.values())
        if world == "careless looker" and rng.uniform() < SHARE:
            yield Look(id=f"look-{part.id}", component=part.id, seen=str(rng.choice(names)))
        elif rng.uniform() < sum(chances):
            word = names[pick(np.array(chances), rng)]
            yield Look(id=f"look-{part.id}", component=part.id, seen=word)


def hide_repair(
    parts: dict[str, Micro], net: Network, catalog: Catalog, rng: np.random.Generator
) -> dict[str, Micro]:
    """Return the parts of a car put together again: what had fired is new, or holds a load.

    Its unit keeps the record of that crash, and nobody tells.
    """
    load = catalog.firing.conditions.loads["rebuilt"].value
    stages = {part.id: part.stages for *_, part in net.parts()}
    put_back = {}
    for name, micro in parts.items():
        left = rng.uniform() < load
        made = Micro(stages[name], "bridged") if left else Micro(0, "ok")
        put_back[name] = made if micro.fired else micro
    return put_back


def told_car(
    car: Car, world: str, other: Catalog, rng: np.random.Generator
) -> tuple[Case, dict[str, bool]]:
    """Return the case of one car drawn in a world, and which of its parts fired."""
    net = build_network(Case(id="drawn", car=car, evidence=()), other, {})
    row, parts = draw_car(net, rng)
    if world == "repaired before" and rng.uniform() < SHARE:
        parts = hide_repair(parts, net, other, rng)
    scenario = net.events.scenarios[int(net.events.scenario[row])]
    evidence: list[Evidence] = [*tell_body(scenario, other, rng)]
    evidence.append(read_scan(parts, net, row, world, other, rng))
    evidence += look_at(parts, net, world, other, rng)
    fired = {p.id: parts[p.id].fired > 0 for *_, p in net.parts() if p.kind.fires}
    return Case(id="drawn", car=car, evidence=tuple(evidence)), fired


def believe(case: Case, catalog: Catalog) -> dict[str, float]:
    """Return the chance of having fired that the engine gives each charged part."""
    net = build_network(case, catalog, {})
    engine = Engine(net, catalog)
    told = weigh_sights(engine, weigh_evidence(net, catalog), catalog)
    groups = group_beliefs(engine.run(told))
    return {
        name: float(part.after.sum(axis=0) @ [m.fired > 0 for m in part.part.micros])
        for group in groups
        for name, part in group.parts.items()
        if part.part.kind.fires
    }


def judge(p: np.ndarray, y: np.ndarray) -> dict[str, Any]:
    """Return false-claim rates with intervals, and reliability by tenths."""
    sorts = {
        ">= .98": (p >= 0.98, ~y), "<= .02": (p <= 0.02, y),
        "> .99": (p > 0.99, ~y), "< .01": (p < 0.01, y),
    }  # fmt: skip
    rows: dict[str, Any] = {}
    for name, promise in CLAIMS:
        claimed, wrong = sorts[name]
        n, false = int(claimed.sum()), int((claimed & wrong).sum())
        low, high = wilson(false / n, n) if n else (0.0, 1.0)
        holds = low <= 2.0 * promise
        rows[name] = {"claims": n, "false": false, "rate": false / max(n, 1), "low": low,
                      "high": high, "holds": bool(holds)}  # fmt: skip
    tenths = [b for k in range(10) for b in _tenth(p, y, k / 10.0)]
    return {"claims": rows, "tenths": tenths}


def _tenth(p: np.ndarray, y: np.ndarray, low: float) -> list[dict[str, float]]:
    inside = (p >= low) & ((p < low + 0.1) | (low > 0.85))
    if not inside.any():
        return []
    (found,) = reliability(p[inside], y[inside], 1)
    return [msgspec.structs.asdict(found)]


def run_world(world: str, cars: int, draws: int, factor: float, seed: int) -> dict[str, Any]:
    """Return how the engine does in one kind of world."""
    catalog, rng = load_catalog(), np.random.default_rng([seed, WORLDS.index(world)])
    chances, happened = [], []
    for _ in range(draws):
        other = shake_catalog(catalog, factor, rng)
        for _ in range(cars):
            table = CarTable(equipment=str(rng.choice(TEMPLATES)))
            car = make_car(table, None, int(rng.integers(2008, 2022)), catalog)
            case, fired = told_car(car, world, other, rng)
            for name, p in believe(case, catalog).items():
                chances.append(p)
                happened.append(fired[name])
    return judge(np.array(chances), np.array(happened, dtype=bool))


def main() -> None:
    """Print all worlds."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cars", type=int, default=60, help="cars per draw")
    parser.add_argument("--draws", type=int, default=12, help="draws of the figures per world")
    parser.add_argument("--factor", type=float, default=3.0, help="by how much odds move")
    parser.add_argument("--seed", type=int, default=98)
    parser.add_argument("--world", choices=WORLDS, action="append", help="only these worlds")
    parser.add_argument("--json", action="store_true")
    options = parser.parse_args()
    result = {
        w: run_world(w, options.cars, options.draws, options.factor, options.seed)
        for w in options.world or WORLDS
    }
    if options.json:
        print(json.dumps(result))
        return
    for world, found in result.items():
        print(world)
        for name, row in found["claims"].items():
            text = f"{row['claims']:6d} claims, {row['false']:4d} false: {row['rate']:.4f}"
            holds = "holds" if row["holds"] else "does not hold"
            print(f"  {name:7s} {text} [{row['low']:.4f}, {row['high']:.4f}]  {holds}")
        for b in found["tenths"]:
            print(f"    said {b['predicted']:.3f}  fired {b['observed']:.3f}  n {b['n']:.0f}")


if __name__ == "__main__":
    main()
