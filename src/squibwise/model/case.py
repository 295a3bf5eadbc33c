"""A case: one car, its evidence and what the user knows; what his finished cases taught."""

import msgspec

from squibwise.model.car import Car, Price, Profile
from squibwise.model.evidence import Evidence
from squibwise.model.origin import Finding

UNITS: dict[str, str | None] = {"metric": None, "US": "US"}
"""Units that figures can be told in, each with a region that has them."""


class Picture(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What can be measured of a picture that was handed in; what it is of is for people to see.

    Attributes:
        width: 0 where it cannot be opened here. [px]
        height: 0 where it cannot be opened here. [px]
        contrast: How much its grey levels differ: their standard deviation. [of 255]
        same_as: Path of an earlier file that is the same picture, stored anew; empty for none.
    """

    width: int = 0
    height: int = 0
    contrast: float = 0.0
    same_as: str = ""


class Case(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Everything known of one car; the input of every stage.

    Attributes:
        id: Folder name.
        title: One line.
        region: ISO 3166-1 or 3166-2 code; None when not stated.
        currency: ISO 4217 code.
        evidence: In order of time, entries without a time where the user wrote them.
        prices: What the user expects to pay.
        findings: What is wrong or remarkable with the case file and its reports.
        files: Path and SHA-256 of every evidence file.
        copies: Path of a photograph and SHA-256 of the copy that its record holds, without what
            the camera wrote into the file; empty until a record is made.
        pictures: What was measured of each picture, by path; empty until a record is made.
        units: In which whoever reads it wants figures told; empty = as its region has them.
    """

    id: str
    title: str = ""
    region: str | None = None
    currency: str = "USD"
    car: Car
    profile: Profile = Profile()
    evidence: tuple[Evidence, ...] = ()
    prices: tuple[Price, ...] = ()
    findings: tuple[Finding, ...] = ()
    files: dict[str, str] = {}
    copies: dict[str, str] = {}
    pictures: dict[str, Picture] = {}
    units: str = ""

    @property
    def measures(self) -> str | None:
        """The region whose units its figures are told in."""
        return UNITS[self.units] if self.units else self.region


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
