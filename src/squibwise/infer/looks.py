"""Which look is worth making next: expected saving per minute, one step and two."""

import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.candidates import SECOND_SCAN, Candidate, candidates, scan_outcomes
from squibwise.infer.items import Item
from squibwise.infer.marginals import GroupMarginal
from squibwise.infer.network import Network
from squibwise.infer.posterior import Engine, Posterior
from squibwise.infer.scans import unit_able
from squibwise.infer.search import Search, Step
from squibwise.infer.stakes import Stakes, not_sound
from squibwise.model.belief import NextLook
from squibwise.model.case import Case
from squibwise.model.report import Report

Array = npt.NDArray[np.float64]
_MOST = 40
_PAIRED = 8
_LEAST = 1e-9


def next_looks(
    case: Case,
    engine: Engine,
    items: tuple[Item, ...],
    found: Posterior,
    groups: tuple[GroupMarginal, ...],
    stakes: Stakes,
    catalog: Catalog,
) -> tuple[NextLook, ...]:
    """Return what is worth doing next, best first; empty = stop looking and start working."""
    shortlist = _shortlist(case, engine, groups, stakes, catalog)
    search = Search(engine, items, found, groups, stakes)
    steps = [search.step(candidate) for candidate in shortlist]
    best = sorted(steps, key=lambda s: -s.rate(stakes.minute))[:_PAIRED]
    ahead = {id(s): rate for s, rate in zip(best, search.two_steps(best), strict=True)}
    looks = [_look(s, max(s.rate(stakes.minute), ahead.get(id(s), 0.0))) for s in steps]
    looks += _second_scan(case, engine, groups, stakes, catalog)
    least = catalog.firing.scans.tests.least_settles
    worth = [look for look in looks if look.saving > _LEAST and look.settles >= least]
    return tuple(sorted(worth, key=lambda look: (-look.saving, look.component, look.look)))


def _shortlist(
    case: Case,
    engine: Engine,
    groups: tuple[GroupMarginal, ...],
    stakes: Stakes,
    catalog: Catalog,
) -> list[Candidate]:
    """Return the best word per component, then the best components, each weighed by itself."""
    parts = {n: p for g in groups for n, p in g.parts.items()}
    place = {n: i for i, n in enumerate(stakes.names)}
    best: dict[tuple[str, bool], tuple[float, Candidate]] = {}
    for candidate in candidates(case, engine.net, groups, catalog):
        part, index = parts[candidate.component], place[candidate.component]
        bad = not_sound(part.part)
        saved = -float("inf")
        both = [part.now * candidate.yes, part.now * (1.0 - candidate.yes)]
        gone = [float((b * bad).sum()) for b in both]
        whole = [float(b.sum()) for b in both]
        saved = float(stakes.loss(index, sum(gone), 1.0)) - sum(
            stakes.loss(index, g, w) for g, w in zip(gone, whole, strict=True)
        )
        key = (candidate.component, candidate.look == "substitute-load")
        rate = saved / candidate.minutes
        if key not in best or rate > best[key][0]:
            best[key] = (rate, candidate)
    ranked = sorted(best.values(), key=lambda pair: -pair[0])
    return [c for rate, c in ranked[:_MOST] if rate > 0.0]


def _look(step: Step, rate: float) -> NextLook:
    candidate = step.candidate
    return NextLook(
        component=candidate.component,
        look=candidate.look,
        text=candidate.text,
        minutes=candidate.minutes,
        settles=min(1.0, step.settles),
        saving=rate,
    )


def _second_scan(
    case: Case,
    engine: Engine,
    groups: tuple[GroupMarginal, ...],
    stakes: Stakes,
    catalog: Catalog,
) -> list[NextLook]:
    """Return a whole scan as a candidate, by what it would say of each part by itself."""
    if _scanned(case, engine.net, catalog):
        return []
    place = {n: i for i, n in enumerate(stakes.names)}
    end, saved, settles = len(engine.net.line.entries), 0.0, 0.0
    for group in groups:
        for name, part in group.parts.items():
            if not part.part.stages or part.part.kind.family == "wiring":
                continue
            joint = scan_outcomes(part, group, end, catalog)
            bad = joint @ not_sound(part.part)
            whole = joint.sum(axis=1)
            index = place[name]
            now = stakes.loss(index, float(bad.sum()), float(whole.sum()))
            after = sum(stakes.loss(index, b, w) for b, w in zip(bad, whole, strict=True))
            saved += now - after
            settles = max(settles, _changed(stakes, index, bad, whole))
    minutes = catalog.firing.scans.tests.second_scan_minutes
    scanned = any(isinstance(e, Report) for e in case.evidence)
    text = "scan every circuit of the restraint unit" + (" once more" if scanned else "")
    rate = saved / minutes - stakes.minute
    look = NextLook(
        component="centre.control-unit",
        look=SECOND_SCAN,
        text=text,
        minutes=minutes,
        settles=settles,
        saving=rate,
    )
    return [look]


def _scanned(case: Case, net: Network, catalog: Catalog) -> bool:
    """Return whether a whole scan by a unit able to test was made since the last work."""
    last = max((at for at, _ in net.line.works), default=-1)
    return any(
        isinstance(e, Report)
        and place > last
        and e.reading.coverage.complete is True
        and unit_able(e, catalog) is not False
        for place, e in enumerate(net.line.entries)
    )


def _changed(stakes: Stakes, index: int, bad: Array, whole: Array) -> float:
    """Return the chance that an outcome changes the decision on one part."""
    needless, missed = stakes.needless[index], stakes.missed[index]
    now = bad.sum() * missed > (whole.sum() - bad.sum()) * needless
    after = bad * missed > (whole - bad) * needless
    return float(whole[after != now].sum())
