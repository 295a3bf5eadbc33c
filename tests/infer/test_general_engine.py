"""The engine that ``assess`` runs against a general exact engine, on whole cars.

pyAgrum is a general-purpose reference library: the model of a car and its evidence are handed to it
as a Bayesian network, and every marginal must be the same. It checks the arithmetic of inference
(what is summed out, divided and remembered), not the figures of the model.
"""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import numpy as np
import pyagrum as gum
import pytest

from squibwise.catalog.load import load_catalog
from squibwise.history.order import put_in_order
from squibwise.infer.building import build_network
from squibwise.infer.engine import Engine
from squibwise.infer.evidence import weigh_evidence
from squibwise.infer.marginals import group_beliefs
from squibwise.intake import load_case

ROOT = Path(__file__).parents[2]


def _load() -> ModuleType:
    spec = importlib.util.spec_from_file_location(
        "bench_general_engine", ROOT / "bench" / "general_engine.py"
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["bench_general_engine"] = module
    spec.loader.exec_module(module)
    return module


GENERAL, CATALOG = _load(), load_catalog()
CARS = [
    "src/squibwise/demo/burdock-09",  # two reports, work between
    "src/squibwise/demo/teasel-11",  # a plug that several circuits share
    "tests/cases/reel-renewed",
]


@pytest.mark.parametrize("folder", CARS)
def test_every_marginal_equals_that_of_a_general_engine(folder: str) -> None:
    case = put_in_order(load_case(ROOT / folder, CATALOG))
    net = build_network(case, CATALOG, {})
    items = weigh_evidence(net, CATALOG)
    found = Engine(net, CATALOG).run(items)
    own = GENERAL.own_answers(found.events, group_beliefs(found))
    general = GENERAL.ask_general(
        GENERAL.general_net(net, items, CATALOG), gum.ShaferShenoyInference
    )
    assert set(general) > {part.id for *_, part in net.parts()}
    for name, chances in general.items():
        assert np.abs(chances - own[name]).max() < 1e-9, name
