"""The few ways a command can stop, each with its exit code and what to do next."""

from collections.abc import Sequence
from typing import Any


class SquibwiseError(Exception):
    """A stop that a person can act on.

    Attributes:
        exit_code: What the command line returns.
        remedy: What to do about it, one sentence.
    """

    exit_code = 3

    def __init__(self, message: str, *, remedy: str = "") -> None:
        super().__init__(message)
        self.remedy = remedy


class InputError(SquibwiseError):
    """What was handed in cannot be used: missing, unreadable, too large or broken.

    Attributes:
        findings: Everything that is wrong with it, one ``Finding`` each; empty when the message
            says it all.
    """

    exit_code = 2

    def __init__(self, message: str, *, remedy: str = "", findings: Sequence[Any] = ()) -> None:
        super().__init__(message, remedy=remedy)
        self.findings = tuple(findings)


class UnavailableError(SquibwiseError):
    """A command or an optional part that is not there (yet, or not installed)."""

    exit_code = 2


class ModelError(SquibwiseError):
    """A record breaks its own invariant: a fault in the program or in a hand-made call."""


class CatalogError(SquibwiseError):
    """The shipped or user-added catalogue is broken; nothing is answered from it."""
