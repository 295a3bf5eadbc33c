"""What must hold before a record may be signed, and the texts that stand in every record."""

import msgspec

from squibwise.model.words import Basis


class ReleaseGate(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A condition of release; the check itself is in ``prove``.

    Attributes:
        id: Gate word.
        text: What must hold.
        remedy: What to record to close it.
        source: Why it is asked for.
    """

    id: str
    text: str
    remedy: str
    source: str
    basis: Basis


class RecordText(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A text that stands in every record; those called ``limit-...`` say what it cannot prove."""

    id: str
    text: str
    source: str


class ReleaseFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``release.toml``."""

    gate: tuple[ReleaseGate, ...]
    text: tuple[RecordText, ...]
