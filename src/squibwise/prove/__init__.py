"""Verdicts, gates before release, the written record, and how to check one."""

from squibwise.prove.gates import gates
from squibwise.prove.recording import SCHEMA, record
from squibwise.prove.recounting import (
    list_contradictions,
    reopen,
    stated_beliefs,
    stated_shifts,
    stated_work,
)
from squibwise.prove.sealing import DECIMALS
from squibwise.prove.verdicts import verdicts
from squibwise.prove.verifying import verify

__all__ = [
    "DECIMALS",
    "SCHEMA",
    "gates",
    "list_contradictions",
    "record",
    "reopen",
    "stated_beliefs",
    "stated_shifts",
    "stated_work",
    "verdicts",
    "verify",
]
