"""Verdicts, gates before release, the written record, and how to check one."""

from squibwise.prove.gates import gates
from squibwise.prove.recording import SCHEMA, record
from squibwise.prove.verdicts import verdicts
from squibwise.prove.verifying import verify

__all__ = ["SCHEMA", "gates", "record", "verdicts", "verify"]
