"""Rules to work items, each with its reasons, in a safe order."""

from squibwise.require.work import work

__all__ = ["work"]
