"""Speed of inference, as ratios within one run.

(a) All marginals of each demo case by the engine that ``assess`` runs, against the faster exact
    engine of pyAgrum on the same network (building either network is left out).
(b) What ``assess`` runs on a full real case, stage by stage and in the whole process.
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
from itertools import product
from pathlib import Path
from typing import Any

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
import pyagrum as gum

from general_engine import ask_general, general_net, own_answers
from squibwise import plan
from squibwise.catalog.load import load_catalog
from squibwise.history.order import put_in_order
from squibwise.infer.assess import assess
from squibwise.infer.building import build_network
from squibwise.infer.engine import Engine
from squibwise.infer.evidence import weigh_evidence
from squibwise.infer.explain import explain_components
from squibwise.infer.marginals import group_beliefs
from squibwise.infer.next_look import Leads, list_candidates, rank_looks
from squibwise.infer.stakes import weigh_stakes
from squibwise.intake import load_case
from squibwise.numerics.enumerate import Patterns, enumerate_many

KEEPS = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
"""As installed: compiled modules are kept from one process to the next."""

EVENTS, COMPONENTS, STATES, PATTERNS = 480, 25, 3, 5
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


def against_peer(name: str) -> dict[str, Any]:
    """Return (a): all marginals of one real case, our engine and each exact one of pyAgrum.

    Ours runs on one core; pyAgrum's are timed on one and on as many as there are.
    """
    catalog = load_catalog()
    case = put_in_order(load_case(CASES / name, catalog))
    net = build_network(case, catalog, {})
    items = weigh_evidence(net, catalog)

    def infer() -> dict[str, np.ndarray]:
        found = Engine(net, catalog).run(items)
        return own_answers(found.events, group_beliefs(found))

    peer = general_net(net, items, catalog)
    own, worst = infer(), 0.0
    best = dict.fromkeys((1, os.cpu_count() or 1), float("inf"))
    for cores, kind in product(best, (gum.LazyPropagation, gum.ShaferShenoyInference)):
        gum.setNumberOfThreads(cores)
        answers = ask_general(peer, kind)
        worst = max(worst, *(float(np.abs(v - own[k]).max()) for k, v in answers.items()))
        took = median_ms(lambda k=kind: ask_general(peer, k), 3)  # type: ignore[misc]
        best[cores] = min(best[cores], took)
    own_ms = median_ms(infer, 51)
    return {
        "case": name,
        "own_ms": own_ms,
        "peer_ms_by_cores": best,
        "times_faster_by_cores": {cores: ms / own_ms for cores, ms in best.items()},
        "largest_difference": worst,
        "marginals": len(peer.asked),
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
        leads = Leads(frozenset(), {}, set_aside=False, unproven=(), plugs={})
        rank_looks(case, candidates, engine, items, found, groups, stakes, leads, catalog)

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


def many(seed: int, cases: int) -> dict[str, Any]:
    """Return (c): many cases against the bare products."""
    rng = np.random.default_rng(seed)
    log_prior = np.log(rng.dirichlet(np.ones(EVENTS)))
    joint = rng.dirichlet(np.ones(STATES), size=(COMPONENTS * PATTERNS, EVENTS))
    seen = joint.sum(axis=-1) * rng.uniform(0.02, 0.98, size=(COMPONENTS * PATTERNS, 1))
    flat = np.ascontiguousarray(joint.transpose(1, 0, 2).reshape(EVENTS, -1))
    book = Patterns(np.log(seen), flat, STATES)
    chosen = rng.integers(PATTERNS, size=(cases, COMPONENTS))
    shown = np.zeros((cases, COMPONENTS * PATTERNS))
    np.put_along_axis(shown, chosen + np.arange(COMPONENTS) * PATTERNS, 1.0, axis=1)
    weights, _ = enumerate_many(log_prior, book, shown)

    def bare() -> None:
        np.matmul(shown, book.log_seen)
        np.matmul(weights, book.given)

    own_ms = median_ms(lambda: enumerate_many(log_prior, book, shown), 9)
    bare_ms = median_ms(bare, 9)
    return {
        "cases": cases,
        "own_ms": own_ms,
        "bare_ms": bare_ms,
        "speed_of_bare": bare_ms / own_ms,
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
        "general_engine": [against_peer(name) for name in names],
        "real_cases": [real_case(name, bare) for name in names],
        "many_cases": many(options.seed, 2000),
    }
    print(json.dumps(result, indent=None if options.json else 2))


if __name__ == "__main__":
    main()
