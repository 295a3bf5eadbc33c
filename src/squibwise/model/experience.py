"""What the user's own finished cases say."""

import msgspec


class Experience(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What was learned from finished cases; empty = nothing yet.

    Attributes:
        cases: Number of cases looked at.
        shifts: Shift of a deployment curve's log odds, by curve id, shrunk towards none.
        proved: How often an ``<element>:<fault>`` was proved to be the cause.
    """

    cases: int = 0
    shifts: dict[str, float] = {}
    proved: dict[str, int] = {}
