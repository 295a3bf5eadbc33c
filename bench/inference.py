"""Speed of inference, as ratios within one run.

(a) All marginals of a seeded reference net against the fastest exact engine of pyAgrum.
(b) What ``assess`` runs on a full real case, stage by stage and in the whole process, and the cost
    over the number of event states.
(c) Many cases at once against the bare matrix products they reduce to.

Run: ``python bench/inference.py --json``
"""

import argparse
import json
import os
import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pyagrum as gum

from squibwise import plan
from squibwise.catalog.load import load_catalog
from squibwise.history.order import put_in_order
from squibwise.infer.assess import assess
from squibwise.infer.building import build_network
from squibwise.infer.engine import Engine
from squibwise.infer.evidence import weigh_evidence
from squibwise.infer.explain import explain_components
from squibwise.infer.marginals import group_beliefs
from squibwise.infer.next_look import list_candidates, rank_looks, weigh_stakes
from squibwise.intake import load_case
from squibwise.numerics.enumerate import enumerate_many, enumerate_posterior, margin, patterns

KEEPS = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
"""As installed: compiled modules are kept from one process to the next."""

SHAPE = (5, 4, 4, 3, 2)
COMPONENTS, STATES, OBSERVATIONS = 25, 3, 62
CASES = Path(__file__).parents[1] / "src" / "squibwise" / "demo"


def median_ms(work: Callable[[], Any], repeats: int) -> float:
    """Return the median time of some work, in ms."""
    work()
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(1e3 * (time.perf_counter() - start))
    return statistics.median(times)


def reference_net(seed: int) -> dict[str, Any]:
    """Return a random net: event variables, component tables, observation tables and outcomes."""
    rng = np.random.default_rng(seed)
    events = [rng.dirichlet(np.ones(n)) for n in SHAPE]
    size = int(np.prod(SHAPE))
    tables = rng.dirichlet(np.ones(STATES), size=(COMPONENTS, size))
    owner = np.concatenate(
        [np.arange(COMPONENTS), rng.integers(COMPONENTS, size=OBSERVATIONS - COMPONENTS)]
    )
    seen = rng.uniform(0.02, 0.98, size=(OBSERVATIONS, STATES))
    outcome = rng.integers(2, size=OBSERVATIONS)
    return {"events": events, "tables": tables, "owner": owner, "seen": seen, "outcome": outcome}


def own_marginals(net: dict[str, Any]) -> list[np.ndarray]:
    """Return every marginal by enumeration."""
    prior = net["events"][0]
    for table in net["events"][1:]:
        prior = np.multiply.outer(prior, table)
    chance = np.where(net["outcome"][:, None] == 1, net["seen"], 1.0 - net["seen"])
    likelihoods = np.ones((COMPONENTS, STATES))
    np.multiply.at(likelihoods, net["owner"], chance)
    found = enumerate_posterior(prior.ravel(), net["tables"], likelihoods)
    events = [margin(found.event, SHAPE, axis) for axis in range(len(SHAPE))]
    return events + list(found.components)


def peer_net(net: dict[str, Any]) -> gum.BayesNet:
    """Return the same net for the peer."""
    peer = gum.BayesNet()
    names = [peer.add(gum.RangeVariable(f"e{i}", "", 0, n - 1)) for i, n in enumerate(SHAPE)]
    for i, table in enumerate(net["events"]):
        peer.cpt(f"e{i}").fillWith(list(table))
    for c in range(COMPONENTS):
        peer.add(gum.RangeVariable(f"c{c}", "", 0, STATES - 1))
        for i in reversed(range(len(names))):
            peer.addArc(f"e{i}", f"c{c}")
        peer.cpt(f"c{c}").fillWith(list(net["tables"][c].ravel()))
    for o, owner in enumerate(net["owner"]):
        peer.add(gum.RangeVariable(f"o{o}", "", 0, 1))
        peer.addArc(f"c{owner}", f"o{o}")
        rows = np.stack([1.0 - net["seen"][o], net["seen"][o]], axis=-1)
        peer.cpt(f"o{o}").fillWith(list(rows.ravel()))
    return peer


def peer_marginals(engine: gum.LazyPropagation, net: dict[str, Any]) -> list[np.ndarray]:
    """Return every marginal by one of the peer's engines."""
    engine.eraseAllEvidence()
    engine.setEvidence({f"o{o}": int(v) for o, v in enumerate(net["outcome"])})
    engine.makeInference()
    names = [f"e{i}" for i in range(len(SHAPE))] + [f"c{c}" for c in range(COMPONENTS)]
    return [engine.posterior(name).toarray() for name in names]


def against_peer(seed: int) -> dict[str, Any]:
    """Return (a)."""
    net = reference_net(seed)
    own = own_marginals(net)
    peer = peer_net(net)
    engines = {
        "LazyPropagation": gum.LazyPropagation,
        "ShaferShenoy": gum.ShaferShenoyInference,
        "VariableElimination": gum.VariableElimination,
    }
    times, worst = {}, 0.0
    for name, kind in engines.items():
        engine = kind(peer)
        answers = peer_marginals(engine, net)
        gaps = [np.abs(a - b).max() for a, b in zip(own, answers, strict=True)]
        worst = max(worst, float(max(gaps)))
        times[name] = median_ms(lambda e=engine: peer_marginals(e, net), 7)  # type: ignore[misc]
    own_ms = median_ms(lambda: own_marginals(net), 101)
    best = min(times.values())
    return {
        "own_ms": own_ms,
        "peer_ms": times,
        "times_faster": best / own_ms,
        "largest_difference": worst,
        "event_states": int(np.prod(SHAPE)),
        "components": COMPONENTS,
        "observations": OBSERVATIONS,
    }


def real_case(name: str, bare_ms: float) -> dict[str, Any]:
    """Return (b) for one case: the stages of ``assess``, all of it, and the whole process."""
    catalog = load_catalog()
    case = put_in_order(load_case(CASES / name, catalog))
    losses = plan.losses(case, catalog)
    net = build_network(case, catalog, {})
    items = weigh_evidence(net, catalog)

    def proper() -> None:
        group_beliefs(Engine(net, catalog).run(items))

    def explain() -> None:
        engine = Engine(net, catalog)
        found = engine.run(items)
        explain_components(engine, items, found, group_beliefs(found))

    def look() -> None:
        engine = Engine(net, catalog)
        found = engine.run(items)
        groups = group_beliefs(found)
        stakes = weigh_stakes(groups, losses, catalog)
        candidates = list_candidates(case, net, groups, catalog)
        rank_looks(case, candidates, engine, items, found, groups, stakes, {}, (), (), catalog)

    inference = median_ms(proper, 11)
    process = process_ms([sys.executable, "-m", "squibwise.cli.main", "assess", str(CASES / name)])
    return {
        "case": name,
        "states": net.states,
        "components": sum(1 for _ in net.parts()),
        "items": len(items),
        "model_ms": median_ms(lambda: weigh_evidence(build_network(case, catalog, {}), catalog), 5),
        "inference_ms": inference,
        "explain_ms": median_ms(explain, 3) - inference,
        "next_look_ms": median_ms(look, 3) - inference,
        "assess_ms": median_ms(lambda: assess(case, catalog, losses), 3),
        "process_cpu_ms": process,
        "process_over_bare_interpreter": process / bare_ms,
    }


def process_ms(command: list[str], repeats: int = 3) -> float:
    """Return the median CPU time of a command in a process of its own, in ms."""
    times = []
    for _ in range(repeats):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=KEEPS)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        times.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return 1e3 * statistics.median(times)


def cost_curve(seed: int) -> list[dict[str, float]]:
    """Return the cost of the plain enumeration over the number of event states."""
    rng = np.random.default_rng(seed)
    curve = []
    for size in (500, 1000, 2000, 5000, 10000, 20000, 50000):
        tables = rng.dirichlet(np.ones(STATES), size=(60, size))
        prior = rng.dirichlet(np.ones(size))
        likelihoods = rng.uniform(0.02, 0.98, size=(60, STATES))
        work = median_ms(lambda p=prior, t=tables, li=likelihoods: enumerate_posterior(p, t, li), 9)  # type: ignore[misc]
        curve.append({"states": size, "ms": work})
    return curve


def many(seed: int, cases: int) -> dict[str, Any]:
    """Return (c): many cases against the bare products."""
    net = reference_net(seed)
    rng = np.random.default_rng(seed + 1)
    prior = net["events"][0]
    for table in net["events"][1:]:
        prior = np.multiply.outer(prior, table)
    log_prior = np.log(prior.ravel())
    per_component = 5
    owner = np.repeat(np.arange(COMPONENTS), per_component)
    likelihoods = rng.uniform(0.02, 0.98, size=(len(owner), STATES))
    likelihoods[::per_component] = 1.0
    book = patterns(net["tables"], owner, likelihoods)
    chosen = rng.integers(per_component, size=(cases, COMPONENTS))
    shown = np.zeros((cases, len(owner)))
    np.put_along_axis(shown, chosen + np.arange(COMPONENTS) * per_component, 1.0, axis=1)
    weights, _ = enumerate_many(log_prior, book, shown)

    def bare() -> None:
        np.matmul(shown, book.log_seen)
        np.matmul(weights, book.given)

    own_ms = median_ms(lambda: enumerate_many(log_prior, book, shown), 9)
    bare_ms = median_ms(bare, 9)
    one = chosen[0] + np.arange(COMPONENTS) * per_component
    alone = enumerate_posterior(prior.ravel(), net["tables"], likelihoods[one])
    return {
        "cases": cases,
        "own_ms": own_ms,
        "bare_ms": bare_ms,
        "speed_of_bare": bare_ms / own_ms,
        "largest_difference": float(np.abs(weights[0] - alone.event).max()),
    }


def main() -> None:
    """Print all of it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--seed", type=int, default=563)
    options = parser.parse_args()
    names = sorted(p.parent.name for p in CASES.glob("*/case.toml"))
    bare = process_ms([sys.executable, "-c", "pass"], 7)
    result = {
        "bare_interpreter_cpu_ms": bare,
        "reference_net": against_peer(options.seed),
        "real_cases": [real_case(name, bare) for name in names],
        "cost_curve": cost_curve(options.seed),
        "many_cases": many(options.seed, 2000),
    }
    print(json.dumps(result, indent=None if options.json else 2))


if __name__ == "__main__":
    main()
