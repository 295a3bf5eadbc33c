"""The hand-made car of the proof tests, shared by path, and its files opened in this process."""

import importlib.util
from collections.abc import Sequence
from pathlib import Path
from subprocess import CompletedProcess

import pytest

from squibwise.documents import apart, attached
from squibwise.errors import SquibwiseError

_PLACE = Path(__file__).parents[1] / "prove" / "conftest.py"
_SPEC = importlib.util.spec_from_file_location("proof_samples", _PLACE)
assert _SPEC is not None
assert _SPEC.loader is not None
_SAMPLES = importlib.util.module_from_spec(_SPEC)
_SPEC.loader.exec_module(_SAMPLES)

catalog = _SAMPLES.catalog
issue = _SAMPLES.issue
made = _SAMPLES.made

APART = attached.run_apart
Ended = CompletedProcess[bytes]


def answer_at_once(_: str, arguments: Sequence[str], data: bytes, __: float) -> Ended:
    """Return what the helper process says of a file, worked out in this one: half a second less."""
    try:
        return Ended(arguments, 0, apart.answer_here(arguments[0], data, *arguments[1:]), b"")
    except (SquibwiseError, LookupError, TypeError, AttributeError, ValueError) as refusal:
        return Ended(arguments, apart.REFUSED, b"", str(refusal)[:500].encode())
    except Exception as fault:  # noqa: BLE001 - the process would end by it
        return Ended(arguments, 1, b"", f"{type(fault).__name__}: {fault}".encode())


@pytest.fixture(autouse=True)
def at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pages and attachments are made in this process, but where a test asks for ``helper``."""
    monkeypatch.setattr(attached, "run_apart", answer_at_once)


@pytest.fixture
def helper(at_once: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """A file is opened and its pages are made by the helper process, as for a user."""
    monkeypatch.setattr(attached, "run_apart", APART)
