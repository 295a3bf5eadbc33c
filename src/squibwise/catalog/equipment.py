"""Equipment templates: what a car of a build period usually has. A prior, never a finding."""

import msgspec

from squibwise.errors import CatalogError
from squibwise.model.words import Basis


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
