"""Cars: what one of a build period usually has (a prior, never a finding), and VIN tables."""

import msgspec

from squibwise.errors import CatalogError
from squibwise.model.words import Basis

VIN_LENGTH = 17


class YearPrior(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How likely this template is the right one for a US-market car of these model years."""

    years: tuple[int, int]
    weight: float
    source: str
    at: str
    basis: Basis

    def __post_init__(self) -> None:
        if not self.years[0] <= self.years[1] or not 0.0 <= self.weight <= 1.0:
            raise CatalogError(f"year prior {self.years}: years or weight out of order")


class Template(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One equipment template.

    Attributes:
        title: In words.
        note: What it stands for.
        base: Name of the template it extends; empty for none.
        components: Ids it adds to its base.
        stages: Number of circuits by kind, where more than one.
        prior: Weight by model year, marked as a prior.
    """

    title: str
    note: str = ""
    base: str = ""
    components: tuple[str, ...]
    stages: dict[str, int] = {}
    prior: tuple[YearPrior, ...] = ()


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
        if len(self.weights) != VIN_LENGTH or len(self.year_codes) != len(set(self.year_codes)):
            raise CatalogError("vin.toml: 17 weights and distinct year codes are needed")
