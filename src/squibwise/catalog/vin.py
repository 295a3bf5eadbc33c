"""The published tables of the vehicle identification number."""

import msgspec

from squibwise.errors import CatalogError
from squibwise.model.words import Basis

LENGTH = 17


class Region(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One part of the world by the first character.

    Attributes:
        first: First characters that belong to it.
        name: What it is called.
        checked: Must a car built for this part of the world carry a valid check digit.
    """

    first: str
    name: str
    checked: bool = False


class VinRules(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``vin.toml``.

    Attributes:
        values: Number of each character for the check digit.
        weights: Factor of each of the 17 positions.
        year_codes: Characters of position 10, in order, from ``first_year``, repeating.
        first_year: Model year of the first code.
        refused: Letters that never stand in a VIN.
        regions: Parts of the world.
        source: Source id.
        basis: Basis.
        read_on: Day it was read.
    """

    values: dict[str, int]
    weights: tuple[int, ...]
    year_codes: str
    first_year: int
    refused: str
    regions: tuple[Region, ...]
    source: str
    at: str
    basis: Basis
    read_on: str

    def __post_init__(self) -> None:
        if len(self.weights) != LENGTH or len(self.year_codes) != len(set(self.year_codes)):
            raise CatalogError("vin.toml: 17 weights and distinct year codes are needed")
