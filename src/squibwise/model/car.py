"""The car, its profile of rules and what the user knows of prices."""

import datetime as dt

import msgspec

from squibwise.errors import ModelError
from squibwise.model.cost import Money
from squibwise.model.names import Side
from squibwise.model.origin import Origin
from squibwise.model.words import Fault


class OwnCode(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One row of a code table that the user brought for this car.

    Attributes:
        code: As the report prints it, such as ``B1234`` or ``01221``.
        failure_type: Two hex digits; None when the row holds for every one.
        component: Component id; None when the row does not tell.
        stage: Stage of the circuit; None when the row does not tell.
        fault: What is wrong; ``unknown`` when the row does not tell.
        text: The row's own words.
        source: Where the user read it.
        denies: A person reads in these words that there is no fault.
    """

    code: str
    failure_type: str | None = None
    component: str | None = None
    stage: int | None = None
    fault: Fault = "unknown"
    text: str = ""
    source: str
    denies: bool = False
    origin: Origin = Origin()


class Car(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The car as far as known.

    Attributes:
        vin: 17 characters, upper case; None when not given.
        model_year: None when neither given nor readable from the VIN.
        drive_hand: Side the driver sits on.
        equipment: Name of the catalogue template, after defaults.
        components: Ids of every component the car is taken to have, sorted.
        stages: Number of circuits of a component, by id, where more than one.
        assumed: True when nobody stated the equipment and the template is a guess from the year.
        codes: Code tables that the user brought for this car.
        removed: Ids that the template has and this car is said not to have, sorted.
    """

    vin: str | None = None
    model_year: int | None = None
    drive_hand: Side = "left"
    equipment: str
    components: tuple[str, ...]
    stages: dict[str, int] = {}
    assumed: bool = False
    codes: tuple[OwnCode, ...] = ()
    removed: tuple[str, ...] = ()


class Given(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A figure of the maker that the user entered, with its citation.

    Attributes:
        value: In the unit the key names.
        source: Where the user read it.
    """

    value: float
    source: str

    def __post_init__(self) -> None:
        if not self.value >= 0.0:
            raise ModelError(f"{self.value} is not a figure from 0")


class OwnRule(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A rule of the maker that the user entered for this car.

    Attributes:
        component: Component id, or a kind for every component of it.
        action: ``replace``, ``inspect``, ``keep`` or ``calibrate``.
        when: Condition word of a rule profile; ``always`` when left out.
        source: Where the user read it.
    """

    component: str
    action: str
    when: str = "always"
    source: str


class Profile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """The rules that apply to this car.

    Attributes:
        name: A shipped profile, or ``unknown``: then every profile is computed.
        wait_minutes: Wait after power-down that the maker prescribes; None = longest published.
        loop_low_ohm: Lowest loop resistance the maker allows. [ohm]
        loop_high_ohm: Highest. [ohm]
        seat_off_kg: Most by which the seat weight sensing may read off a dead weight. [kg]
        seat_gap_kg: Most between its readings of one load, laid on and taken off. [kg]
        rules: The user's own rules; each overrides the profile.
        sold_apart: Component kinds that are sold on their own for this car, though they usually
            come inside an assembly.
        comes_with: Kinds that come with a bigger assembly for this car, though they are also sold
            on their own.
    """

    name: str = "unknown"
    wait_minutes: Given | None = None
    loop_low_ohm: Given | None = None
    loop_high_ohm: Given | None = None
    seat_off_kg: Given | None = None
    seat_gap_kg: Given | None = None
    rules: tuple[OwnRule, ...] = ()
    sold_apart: tuple[str, ...] = ()
    comes_with: tuple[str, ...] = ()

    @property
    def figures(self) -> tuple[Given, ...]:
        """The maker's figures that were entered."""
        every = (
            self.wait_minutes,
            self.loop_low_ohm,
            self.loop_high_ohm,
            self.seat_off_kg,
            self.seat_gap_kg,
        )
        return tuple(g for g in every if g is not None)


class Price(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the user expects to pay for one thing.

    Attributes:
        what: Component id, component kind, task id or ``labour-hour``.
        low: Lowest price seen.
        likely: Most likely price.
        high: Highest price seen.
        source: Where the prices come from.
        on: Day they were read; None when not stated.
    """

    what: str
    low: Money
    likely: Money
    high: Money
    source: str = ""
    on: dt.date | None = None
    origin: Origin = Origin()

    def __post_init__(self) -> None:
        if not 0 <= self.low.minor <= self.likely.minor <= self.high.minor:
            raise ModelError(
                f"{self.origin.where()}: price of {self.what} has low, likely, high out of order"
            )
