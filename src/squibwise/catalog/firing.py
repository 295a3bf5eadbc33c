"""Firing logic, faults and what scans and eyes say: the figures that inference runs on."""

from functools import cached_property
from pathlib import Path

import msgspec

from squibwise.catalog.reading import read_toml
from squibwise.errors import CatalogError
from squibwise.model.words import Basis

_ROW_TOLERANCE = 1e-6
OUTCOMES = ("none", "open", "low", "leak", "other")
CIRCUITS = (
    "good",
    "spent",
    "open",
    "low",
    "leak",
    "other",
    "damaged",
    "unfit",
    "unplugged",
    "connector-open",
    "connector-low",
)


class Figure(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A probability with the range it may lie in."""

    value: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not 0.0 <= self.low <= self.value <= self.high <= 1.0:
            raise CatalogError(f"figure {self.value}: not 0 <= low <= value <= high <= 1")


class Families(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``firing/families.toml``: the choices a maker's firing logic is made of.

    Attributes:
        second_stage_always: Chance that the second stage fires with the first.
        text: Each choice in words.
    """

    source: str
    basis: Basis
    second_stage_always: Figure
    text: dict[str, str]


class ZoneRow(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A zone of the body that can be struck.

    Attributes:
        side: ``front``, ``left``, ``right`` or ``rear``.
        share: Share among hits on that side.
        clock: Direction of force that goes with it, 1 to 12.
    """

    name: str
    side: str
    share: float
    clock: int


class SecondStage(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """When the second stage of a front bag fires, in families that stage by severity.

    Attributes:
        mid_kmh: Half of them fire at this delta-V. [km/h]
        width_kmh: Width of the logistic curve. [km/h]
        always: Chance in families that always fire it.
    """

    mid_kmh: float
    width_kmh: float
    always: Figure
    source: str
    basis: Basis


class RecordRow(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Chance of a crash record in the unit, by what the unit commanded."""

    shown_among_codes: Figure
    nothing_no_crash: Figure
    nothing_light: Figure
    nothing_severe: Figure
    severe_kmh: float
    belts_only: Figure
    bags: Figure
    locked_if_belts_only: Figure
    names_belts_if_bags: Figure
    names_belts_if_belts_only: Figure


class ChargeRow(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Chance that a charge with its own logic fires, by what the unit commanded."""

    kind: str
    front: Figure | None = None
    other: Figure | None = None
    belts: Figure | None = None
    rear: Figure | None = None
    rollover: Figure | None = None


class Events(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``firing/event.toml``: what may have happened, and what the unit then fires.

    Attributes:
        fires_from_kmh: Measured change of speed below which nothing fires. [km/h]
        fires_fully_from_kmh: From here the curves hold in full. [km/h]
        belt_bands: Upper ends of the bands that belts were counted in, mildest first. [km/h]
        estimate_full_from_kmh: Estimated change of speed from which the curves hold in full; below
            it they fall to nothing at a standstill. [km/h]
        clock_spread_degrees: Standard deviation of the direction of force about a named hour.
        several_impacts_add: Log odds that several impacts add to another bag of the worse one.
        crash_below_bound: Share of crashes whose change of speed lies below the first of them.
    """

    source: str
    basis: Basis
    severity_grid_kmh: tuple[float, ...]
    moderate_from_kmh: float
    severe_from_kmh: float
    fires_from_kmh: float
    fires_fully_from_kmh: float
    estimate_full_from_kmh: float
    clock_spread_degrees: float
    crash_below_bound: Figure
    belt_bands: dict[str, float]
    several_impacts_add: float
    kinds: dict[str, Figure]
    kinds_if_codes_alone: dict[str, Figure]
    zone: tuple[ZoneRow, ...]
    chances: dict[str, Figure]
    second_stage: SecondStage
    record: RecordRow
    stopped: dict[str, Figure]
    follow: dict[str, Figure]
    charge: tuple[ChargeRow, ...]


class ConditionRow(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How often a part of a family is at fault before anything is known of the car.

    ``open``, ``low`` and ``leak`` count per circuit, the rest per part. ``before`` is a
    circuit that was open already before the crash, so that the part could not fire.
    """

    name: str
    open: float = 0.0
    low: float = 0.0
    leak: float = 0.0
    other: float = 0.0
    before: float = 0.0
    damaged: float
    unfit: float
    absent: float

    def __post_init__(self) -> None:
        rest = (self.damaged, self.unfit, self.absent, self.before, self.other)
        if not 0.0 < sum(rest) + self.open + self.low + self.leak < 1.0:
            raise CatalogError(f"conditions of {self.name} are not probabilities")


class StruckRow(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Chance that a crash damages a kind of part, by where and how hard the car was hit.

    Attributes:
        worse_from_rear: A hit from the rear counts as the next harder one.
        worse_beside: So does one on the part's own side; one on the other side as the next milder.
    """

    kind: str
    zones: str
    light: Figure
    moderate: Figure
    severe: Figure
    worse_from_rear: bool = False
    worse_beside: bool = False

    def __post_init__(self) -> None:
        if self.zones not in ("own", "any", "front", "other-bags", "belt-in-use"):
            raise CatalogError(f"struck {self.kind}: zones '{self.zones}' is unknown")
        if not self.light.value <= self.moderate.value <= self.severe.value < 1.0:
            raise CatalogError(f"struck {self.kind}: chances must rise with severity")


class LinkRow(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Trim that a firing part tears.

    Attributes:
        kind: The trim.
        by: Component id, or a kind at the same seat or side.
        damaged: Chance of damage when that part fired.
        otherwise: Chance when it did not; None = as usual for its family.
    """

    kind: str
    by: str
    damaged: Figure
    otherwise: Figure | None = None


class TakenRow(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What is hurt where somebody took a charged part out.

    Attributes:
        kind: What is hurt, at whatever place.
        by: Component id or kind of the part that is gone.
        damaged: Chance of damage.
    """

    kind: str
    by: str
    damaged: Figure


class Conditions(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``firing/conditions.toml``: faults, damage and what work on the car does."""

    source: str
    basis: Basis
    range_factor: float
    family: tuple[ConditionRow, ...]
    struck: tuple[StruckRow, ...]
    link: tuple[LinkRow, ...]
    taken: tuple[TakenRow, ...]
    loads: dict[str, Figure]
    exposure: dict[str, Figure]
    exposure_unnamed: dict[str, Figure]
    exposure_below: dict[str, Figure]
    plugs: dict[str, Figure]
    work: dict[str, Figure]


class ScanRow(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a scan says of a circuit that is really like this; sums to one."""

    circuit: str
    none: float
    open: float
    low: float
    leak: float
    other: float

    def __post_init__(self) -> None:
        values = [getattr(self, o) for o in OUTCOMES]
        if self.circuit not in CIRCUITS or not min(values) > 0.0:
            raise CatalogError(f"scan row {self.circuit}: unknown circuit, or a zero")
        if not abs(sum(values) - 1.0) <= _ROW_TOLERANCE:
            raise CatalogError(f"scan row {self.circuit} does not sum to one")


class StatusRow(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How often a code found carries a status word, by what is behind it."""

    circuit: str
    present: float
    intermittent: float
    pending: float
    stored: float


class Reach(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How far a scan reaches, by what is known of its coverage.

    Attributes:
        blank: A report said to be whole that shows no code is erased, of another unit or car.
        blank_after_work: The same in the shop that did the work.
        cut_short: A report said to be whole that shows codes leaves some out.
        taken_off_if_denied: Connectors were off, in a car with codes of which a crash is denied.
        off_if_taken_off: One connector was off in such a car.
        listed_if_cut: A code that is stored stands in such a report.
        unread_if_unstated: A report that does not state its reach does not show everything.
        left_over_after_work: A cured circuit has a code, its connector having been off, key on.
        left_over_if_foreign: A code that is stored only tells of the past of the car from which the
            unit came.
        left_over_if_shown: A code that an earlier report shows, not cleared since, stays in memory.
        unread_if_partial: A report that is stated not to reach everything.
        missed_though_answers: That another unit missed it tells of a unit that answers.
    """

    blank: Figure
    blank_after_clearing: Figure
    blank_after_work: Figure
    cut_short: Figure
    taken_off_if_denied: Figure
    off_if_taken_off: Figure
    listed_if_cut: Figure
    unread_if_unstated: Figure
    unread_if_partial: Figure
    kept_if_spent: Figure
    kept_if_not_spent: Figure
    disturbed_if_one_sign: Figure
    disturbed_if_both: Figure
    disturbed_if_coded: Figure
    disturbed_if_bus: Figure
    all_stages_meant: Figure
    intermittent_hides: Figure
    left_over_after_work: Figure
    left_over_if_shown: Figure
    left_over_if_foreign: Figure
    found_elsewhere: Figure
    missed_though_answers: Figure
    lowest_volts: float
    charge_below_volts: float
    highest_volts: float
    named_part_fired: Figure
    named_part_not_fired: Figure


class ReadingWindow(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Loop resistance that the cautious end of published windows calls good. [ohm]."""

    low_ohm: float
    high_ohm: float


class TestRow(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Tests other than a look. Minutes are hands-on, in min."""

    second_scan_minutes: float
    least_settles: float
    settled_from: float
    decision_limits: tuple[float, ...]
    least_information: float
    device_is_at_fault: Figure
    gets_past_the_gates: Figure
    bag_gets_past_the_gates: Figure
    substitute_load_minutes: float
    trace_minutes: float
    proof_is_worth: Figure
    open_connector_minutes: float
    gone_if_device: Figure
    gone_if_plug: Figure
    gone_if_circuit: Figure
    good_if_fixed: Figure
    back_if_lamp: Figure
    gone_if_elsewhere: Figure


class Clash(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """When two things are said not to fit together.

    Attributes:
        worst: The best single explanation reaches less than this share of what each could have.
        poor: Less than this, and together they are also rarer than apart.
        rarer_db: By so much. [dB]
        sure: Chance from which everything else refutes a word.
        likely: The same for what was told of the event.
        pushed_kmh: Forward speed gained that does not fit a nose that was struck. [km/h]
        recorders_apart_kmh: Change of speed by which two entries on one event differ. [km/h]
        lone_look_wrong: Chance left that a single look which its own circuit contradicts is wrong.
    """

    worst: float
    poor: float
    rarer_db: float
    sure: float
    likely: float
    pushed_kmh: float
    recorders_apart_kmh: float
    lone_look_wrong: float


class Scans(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``firing/scan.toml``: how reliable each kind of evidence is."""

    source: str
    basis: Basis
    range_factor: float
    floor: float
    seen_floor: float
    row: tuple[ScanRow, ...]
    asks_for_coding: dict[str, float]
    status: tuple[StatusRow, ...]
    reach: Reach
    people: dict[str, Figure]
    body: dict[str, Figure]
    recorder: dict[str, Figure]
    seat_trial: dict[str, Figure]
    lamp: dict[str, Figure]
    reading: ReadingWindow
    clash: Clash
    tests: TestRow

    def __post_init__(self) -> None:
        missing = set(CIRCUITS) - {r.circuit for r in self.row}
        if missing:
            raise CatalogError(f"scan: no row for {sorted(missing)}")


class Firing:
    """All of it. A class because each file is read on first use.

    Args:
        root: Folder ``firing`` of the catalogue's data.
    """

    def __init__(self, root: Path) -> None:
        self.root = root

    @cached_property
    def families(self) -> Families:
        """The choices a maker's firing logic is made of."""
        return read_toml(self.root / "families.toml", Families)

    @cached_property
    def events(self) -> Events:
        """What may have happened."""
        return read_toml(self.root / "event.toml", Events)

    @cached_property
    def conditions(self) -> Conditions:
        """Faults, damage and what work does."""
        return read_toml(self.root / "conditions.toml", Conditions)

    @cached_property
    def scans(self) -> Scans:
        """How reliable each kind of evidence is."""
        return read_toml(self.root / "scan.toml", Scans)

    @cached_property
    def circuit_rows(self) -> dict[str, tuple[float, ...]]:
        """Chance of each of ``OUTCOMES`` by circuit."""
        return {r.circuit: tuple(getattr(r, o) for o in OUTCOMES) for r in self.scans.row}

    @cached_property
    def status_rows(self) -> dict[str, StatusRow]:
        """How often a code carries each status word, by what is behind it."""
        return {r.circuit: r for r in self.scans.status}

    @cached_property
    def condition_rows(self) -> dict[str, ConditionRow]:
        """Prior conditions by family."""
        return {r.name: r for r in self.conditions.family}

    @cached_property
    def link_rows(self) -> dict[str, LinkRow]:
        """What tears each kind of trim."""
        return {r.kind: r for r in self.conditions.link}
