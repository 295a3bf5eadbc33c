"""The hand-made car of the proof tests, shared by path."""

import importlib.util
from pathlib import Path

_PLACE = Path(__file__).parents[1] / "prove" / "conftest.py"
_SPEC = importlib.util.spec_from_file_location("proof_samples", _PLACE)
assert _SPEC is not None
assert _SPEC.loader is not None
_SAMPLES = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(_SAMPLES)

catalog = _SAMPLES.catalog
issue = _SAMPLES.issue
made = _SAMPLES.made
