"""Rules to demands, each with its reasons, in a safe order."""

from squibwise.require.job import refuse_power
from squibwise.require.work import work

__all__ = ["refuse_power", "work"]
