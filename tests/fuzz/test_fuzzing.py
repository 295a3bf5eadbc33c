"""A short run of the damaged-document runner, and its own honesty."""

import random
import subprocess
import sys
from importlib.util import find_spec, module_from_spec, spec_from_file_location
from pathlib import Path
from types import ModuleType

import pytest

from squibwise.catalog.load import load_catalog

HERE = Path(__file__).parent


def loaded(name: str) -> ModuleType:
    spec = spec_from_file_location(name, HERE / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


mutate = loaded("mutate")
many = loaded("many")


@pytest.fixture(scope="module")
def inputs() -> object:
    return many.Inputs(seed=20260302, helper_share=0.05)


def test_damaged_documents_are_read_or_refused(inputs: object) -> None:
    figures = many.run(inputs, range(150))
    assert figures["wrong"] == []
    assert sum(figures["ends"].values()) == 150
    assert figures["ends"]["refused"] > 0
    assert figures["ends"]["read with faults"] > 0


def test_the_same_seed_and_number_make_the_same_document(inputs: object) -> None:
    again = many.Inputs(seed=20260302, helper_share=0.05)
    assert [many.Inputs.make(inputs, n) for n in range(30)] == [again.make(n) for n in range(30)]


def test_an_exception_that_is_no_refusal_is_called_wrong(monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise KeyError("not a refusal")

    monkeypatch.setattr(many, "read_report", broken)
    assert many.one("scan.txt", b"B0001", load_catalog()) == "WRONG KeyError"


def test_damage_changes_most_documents() -> None:
    documents = list(mutate.corpus().values())
    rng = random.Random(1)
    changed = [mutate.mutated(d, rng, documents) != d for d in documents]
    assert sum(changed) > 0.7 * len(changed)


@pytest.mark.skipif(find_spec("atheris") is not None, reason="atheris is installed")
def test_the_coverage_guided_fuzzer_says_when_its_library_is_missing() -> None:
    done = subprocess.run(
        [sys.executable, str(HERE / "fuzz_reports.py")], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 1
    assert "atheris is not installed, so nothing was fuzzed" in done.stderr
