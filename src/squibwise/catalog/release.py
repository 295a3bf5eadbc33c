"""What must hold before a record may be signed, and the texts that stand in every record."""

import msgspec

from squibwise.errors import CatalogError
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


SHOWN_BY = ("", "report-before", "report-after", "part-label", "recorder", "lamp-check")
PASSED = "passed:"


class Paper(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A paper that an inspector, an authority or a buyer asks for.

    Attributes:
        id: Word.
        text: What it is.
        shown_by: Evidence that shows it is there: one of ``SHOWN_BY`` or ``passed:<word>``;
            empty = only a person can tell.
        source: Who asks for it.
    """

    id: str
    text: str
    shown_by: str = ""
    source: str
    basis: Basis

    def __post_init__(self) -> None:
        if self.shown_by not in SHOWN_BY and not self.shown_by.startswith(PASSED):
            raise CatalogError(f"paper {self.id}: unknown shown_by '{self.shown_by}'")


class ReleaseFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``release.toml``."""

    gate: tuple[ReleaseGate, ...]
    text: tuple[RecordText, ...]
    paper: tuple[Paper, ...] = ()
