"""Currency codes that a case may name."""

import datetime as dt
import re

import msgspec

from squibwise.errors import CatalogError
from squibwise.model.words import Basis


class Currencies(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``currencies.toml``: codes of currencies in use.

    Attributes:
        codes: ISO 4217 codes, sorted.
        source: Source id.
        at: Place in the source.
        basis: What kind of ground the list stands on.
        read_on: Day it was written down.
    """

    codes: tuple[str, ...]
    source: str
    at: str
    basis: Basis
    read_on: dt.date

    def __post_init__(self) -> None:
        strange = [c for c in self.codes if not re.fullmatch(r"[A-Z]{3}", c)]
        if strange or not self.codes or len(set(self.codes)) != len(self.codes):
            raise CatalogError(f"currencies.toml: repeated or broken codes {strange}")
