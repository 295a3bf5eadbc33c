"""What is believed before a car is looked at: fitted on open data, or judgement and said so."""

import datetime as dt
from pathlib import Path
from typing import Literal

import msgspec

from squibwise.catalog.reading import read_folder, read_toml, refuse_repeats
from squibwise.errors import CatalogError
from squibwise.model.words import WEAK_BASES, Basis, Extent
from squibwise.numerics.curves import Curve, Struck, Term

_SHARE_TOLERANCE = 1e-6


class Provenance(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Where a prior comes from.

    Attributes:
        source: Source id.
        at: Which rows or which place.
        basis: What kind of ground it stands on.
        on: Day it was fitted or decided.
        n: Rows used; None for judgement.
        effective_n: What they are worth after clustering and weighting; None for judgement.
        by: Script that derives it; empty for judgement.
        note: What a reader must know.
    """

    source: str
    at: str
    basis: Basis
    on: dt.date
    n: int | None = None
    effective_n: float | None = None
    by: str = ""
    note: str = ""

    def __post_init__(self) -> None:
        if self.basis in WEAK_BASES:
            return
        if self.n is None or self.effective_n is None or not 0 < self.effective_n <= self.n:
            raise CatalogError("a fitted prior needs n and effective_n, with 0 < effective_n <= n")


class CurveFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``priors/curves/<id>.toml``.

    Attributes:
        belted_share: See ``Curve``.
        years: See ``Curve``.
        lapse: See ``Curve``.
        ridge: Weight of the penalty it was fitted with.
    """

    title: str
    provenance: Provenance
    belted_share: float
    years: tuple[tuple[float, float], ...]
    lapse: float = 0.0
    ridge: float
    term: tuple[Term, ...]


class Share(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A probability with its uncertainty or its range.

    Attributes:
        p: Probability.
        se: Standard error; None for judgement.
        low: Low end; required for judgement.
        high: High end; required for judgement.
        provenance: Where it comes from.
    """

    p: float
    se: float | None = None
    low: float | None = None
    high: float | None = None
    provenance: Provenance

    def __post_init__(self) -> None:
        if not 0.0 <= self.p <= 1.0:
            raise CatalogError(f"{self.p} is not a probability")
        if self.provenance.basis in WEAK_BASES:
            if self.low is None or self.high is None or not self.low <= self.p <= self.high:
                raise CatalogError(f"share {self.p}: judgement needs low <= p <= high")
        elif self.se is None or not self.se >= 0.0:
            raise CatalogError(f"share {self.p}: a fitted share needs its standard error")


class ShareFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``priors/shares/<topic>.toml``: named probabilities."""

    title: str
    share: dict[str, Share]


class Spread(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Severity of one side and extent: the resultant is lognormal, on the estimate scale.

    Attributes:
        side: Struck side.
        extent: How bad it looks; None = not judged.
        log_mean: Mean of ln(resultant in km/h).
        log_sd: Standard deviation of it.
        se: Standard error of ``log_mean``.
        provenance: Where it comes from.
    """

    side: Literal["front", "side", "rear"]
    extent: Extent | None = None
    log_mean: float
    log_sd: float
    se: float
    provenance: Provenance

    def __post_init__(self) -> None:
        if not self.log_sd > 0.0 or not self.se >= 0.0:
            raise CatalogError(f"severity of {self.side}: spread or error is not positive")


class Direction(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Directions of force of one struck side.

    Attributes:
        side: Struck side.
        degrees: Direction of force off the side's own axis, to either hand. [deg]
        weight: Share of it; they sum to one.
        provenance: Where it comes from.
    """

    side: Literal["front", "side", "rear"]
    degrees: tuple[float, ...]
    weight: tuple[float, ...]
    provenance: Provenance

    def __post_init__(self) -> None:
        if len(self.degrees) != len(self.weight):
            raise CatalogError(f"directions of {self.side}: as many weights as degrees")
        if not abs(sum(self.weight) - 1.0) <= _SHARE_TOLERANCE:
            raise CatalogError(f"directions of {self.side}: weights do not sum to one")


class Severity(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``priors/severity.toml``: how hard cars are hit, and how well damage tells it.

    Attributes:
        bias: What a damage estimate shows of the recorded delta-V, as a share of it.
        bias_range: Lowest and highest that is plausible.
        sd_kmh: Standard deviation of an estimate about that. [km/h]
        sd_range: Lowest and highest that is plausible. [km/h]
        provenance: Of these two.
        spread: Severity by side and extent.
        direction: Direction of force by side.
    """

    bias: float
    bias_range: tuple[float, float]
    sd_kmh: float
    sd_range: tuple[float, float]
    provenance: Provenance
    spread: tuple[Spread, ...]
    direction: tuple[Direction, ...]

    def __post_init__(self) -> None:
        (bias_low, bias_high), (sd_low, sd_high) = self.bias_range, self.sd_range
        if (
            not 0.0 < bias_low <= self.bias <= bias_high
            or not 0.0 < sd_low <= self.sd_kmh <= sd_high
        ):
            raise CatalogError("severity: bias or sd_kmh is out of its range")

    def of(self, side: Struck, extent: Extent | None = None) -> Spread:
        """Return the severity of a struck side; that of any extent when none fits.

        Raises:
            CatalogError: The file has no entry for the side.
        """
        name = "side" if side in ("near", "far") else side
        found = {s.extent: s for s in self.spread if s.side == name}
        if None not in found:
            raise CatalogError(f"severity: no entry for {name}")
        return found.get(extent, found[None])

    def directions(self, side: Struck) -> Direction:
        """Return the directions of force of a struck side.

        Raises:
            CatalogError: The file has no entry for the side.
        """
        name = "side" if side in ("near", "far") else side
        for entry in self.direction:
            if entry.side == name:
                return entry
        raise CatalogError(f"severity: no direction for {name}")


class Split(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Which of a seat's other bags fire when some of them do. Judgement; no open data.

    Each fires independently with these chances, under the condition that at least one of those
    fitted fires.

    Attributes:
        side: Struck side, seen from the seat.
        front_fired: Did that seat's front bag fire.
        kinds: Chance by component kind.
    """

    side: Struck
    front_fired: bool
    kinds: dict[str, float]

    def __post_init__(self) -> None:
        if not all(0.0 < p < 1.0 for p in self.kinds.values()):
            raise CatalogError(f"split of {self.side}: chances must lie between 0 and 1")


class SplitFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``priors/splits.toml``."""

    provenance: Provenance
    split: tuple[Split, ...]


class Priors(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """All priors.

    Attributes:
        curve_files: Curves with their provenance, by id.
        curves: The same, ready for ``numerics.curves.probability``.
        shares: Named probabilities by topic and name.
        severity: How hard cars are hit.
        split_file: Splits with their provenance.
        splits: Chance by kind, by struck side and whether that seat's front bag fired.
    """

    curve_files: dict[str, CurveFile]
    curves: dict[str, Curve]
    shares: dict[str, dict[str, Share]]
    severity: Severity
    split_file: SplitFile
    splits: dict[tuple[str, bool], dict[str, float]]

    def __len__(self) -> int:
        """Return the number of curves, shares, severities, directions and splits."""
        shares = sum(len(topic) for topic in self.shares.values())
        severities = len(self.severity.spread) + len(self.severity.direction)
        return len(self.curves) + shares + severities + len(self.splits)

    def share(self, topic: str, name: str) -> Share:
        """Return one named probability.

        Raises:
            CatalogError: There is none of that name.
        """
        try:
            return self.shares[topic][name]
        except KeyError:
            raise CatalogError(f"the catalogue has no prior '{topic}.{name}'") from None


def read_priors(root: Path) -> Priors:
    """Return every prior under the folder ``priors`` of the catalogue's data.

    Raises:
        CatalogError: A file is missing or broken, or a split stands twice.
    """
    curve_files = read_folder(root / "curves", CurveFile)
    split_file = read_toml(root / "splits.toml", SplitFile)
    refuse_repeats(
        (f"{s.side}, front fired: {s.front_fired}" for s in split_file.split), "splits.toml"
    )
    return Priors(
        curve_files=curve_files,
        curves={
            name: Curve(terms=f.term, belted_share=f.belted_share, years=f.years, lapse=f.lapse)
            for name, f in curve_files.items()
        },
        shares={k: v.share for k, v in read_folder(root / "shares", ShareFile).items()},
        severity=read_toml(root / "severity.toml", Severity),
        split_file=split_file,
        splits={(s.side, s.front_fired): s.kinds for s in split_file.split},
    )
