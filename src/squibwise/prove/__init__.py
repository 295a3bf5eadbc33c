"""Verdicts, gates before release, the written record, and how to check one.

Imported when first asked for: what signs a record is slow to load, and few answers need it.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from squibwise.prove.gates import gates
    from squibwise.prove.recording import SCHEMA, record
    from squibwise.prove.verdicts import verdicts
    from squibwise.prove.verifying import verify

_HOMES = {
    "SCHEMA": "squibwise.prove.recording",
    "gates": "squibwise.prove.gates",
    "record": "squibwise.prove.recording",
    "verdicts": "squibwise.prove.verdicts",
    "verify": "squibwise.prove.verifying",
}

__all__ = ["SCHEMA", "gates", "record", "verdicts", "verify"]


def __getattr__(name: str) -> Any:  # noqa: ANN401 - imported when first asked for
    if name not in _HOMES:
        raise AttributeError(f"module 'squibwise.prove' has no attribute '{name}'")
    found = globals()[name] = getattr(import_module(_HOMES[name]), name)
    return found
