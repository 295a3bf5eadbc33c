"""Component kinds, one TOML each, and the cars that hold them: templates, VIN tables."""

from collections.abc import Mapping
from typing import Literal

import msgspec

from squibwise.catalog.facts import Fact
from squibwise.errors import CatalogError
from squibwise.model.names import PLACES
from squibwise.model.words import STATES, Basis

FAMILIES = ("bag", "belt", "charge", "sensor", "switch", "unit", "lamp", "wiring", "mechanical")
PLUGS = ("none", "seat", "wheel", "pillar", "door", "nose", "dash", "unit")


class LookWord(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A word for what an eye can see, and how often it is seen in each state.

    Attributes:
        word: As written in ``seen``.
        text: How to look, in a mechanic's words.
        sound: Probability that this is reported of a sound part; likewise the other states.
            ``fired`` is ignored for kinds that cannot fire.
        missing: The same of a part that is not there.
        fired_if_rebuilt: Chance that the sight says nothing, the part being covered anew, in a car
            that was put back together or looks re-covered; None = as in any other car.
        connector: Probability that this is reported when its connector is off; None = as of a
            sound part.
        range_factor: The odds of each of these may be this many times lower or higher.
        shows: ``spent`` or ``gone`` when the sight itself says so, whatever the circuit reads;
            ``tampered`` when it says that the part was hidden or is gone; ``live`` when it says
            that the part did not fire; ``apart`` when it is off its circuit or hidden, so that
            nothing that reads good speaks of it; ``hurt`` when it says that the part is worn or
            hurt, whether or not it fired; empty = none of these.
        like_broken: A part that was broken and did not fire may look the same, so that the sight
            proves no charge spent.
        by_tilt: Does a sound part look so as well in a car that stands on a slope?
        minutes: What the look takes. [min]
        source: Source id.
        basis: Basis of the probabilities.
    """

    word: str
    text: str
    sound: float
    fired: float = 0.0
    faulty: float
    damaged: float
    unfit: float
    missing: float
    fired_if_rebuilt: float | None = None
    connector: float | None = None
    range_factor: float
    shows: Literal["", "spent", "gone", "tampered", "live", "apart", "hurt"] = ""
    like_broken: bool = False
    by_tilt: bool = False
    minutes: float
    source: str = "judgement"
    basis: Basis = "judgement"

    def __post_init__(self) -> None:
        for state in STATES:
            if not 0.0 <= getattr(self, state) <= 1.0:
                raise CatalogError(f"look {self.word}: {state} is not a probability")
        if not self.range_factor >= 1.0:
            raise CatalogError(f"look {self.word}: range_factor is below 1")

    @property
    def proves_spent(self) -> bool:
        """Does only a part that fired look so."""
        return self.shows == "spent" and not self.like_broken


class PlaceGuess(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Where a part sits that is named without its place, as shares; ``places.toml``.

    Attributes:
        told: What the words say.
        shares: Share of each place, or of each zone of a side; their sum is one.
        within: How far each share may be off, either way.
    """

    id: str
    told: str
    shares: dict[str, float]
    within: float
    source: str = "judgement"
    basis: Basis = "judgement"

    def __post_init__(self) -> None:
        if abs(sum(self.shares.values()) - 1.0) > 1e-9 or not 0.0 <= self.within <= 1.0:
            raise CatalogError(f"places: the shares of {self.id} do not make one, or no range")


class PlaceGuesses(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``places.toml``."""

    guess: tuple[PlaceGuess, ...]


class FittedShare(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How many of the cars of these model years have a part that few have."""

    years: tuple[int, int]
    share: float
    low: float
    high: float
    source: str
    at: str
    basis: Basis

    def __post_init__(self) -> None:
        if (
            not self.years[0] <= self.years[1]
            or not 0.0 <= self.low <= self.share <= self.high <= 1
        ):
            raise CatalogError(f"fitted in {self.years}: years or shares out of order")


class Kind(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A kind of component.

    Attributes:
        kind: The word in component ids.
        title: What the trade calls it.
        family: One of ``FAMILIES``.
        places: Where it can be.
        circuit: Is it in a circuit that the unit watches, so that it can set a code.
        fires: Does it hold a charge that is spent once fired.
        stages: Most circuits it can have.
        plug: Harness junction that it shares with its neighbours; one of ``PLUGS``.
            ``wheel`` holds only at the driver's place.
        body: Is it no part of the restraint system, and seen by whoever walks round the car.
        fitted: How many cars have one, where fewer do than the templates that list it stand for.
        look: The kind's own look words.
        fact: Facts about this kind.
    """

    kind: str
    title: str
    family: str
    places: tuple[str, ...]
    circuit: bool
    fires: bool
    stages: int = 1
    plug: str = "none"
    body: bool = False
    fitted: tuple[FittedShare, ...] = ()
    look: tuple[LookWord, ...] = ()
    fact: tuple[Fact, ...] = ()

    def __post_init__(self) -> None:
        if self.family not in FAMILIES or self.plug not in PLUGS:
            raise CatalogError(f"{self.kind}: unknown family or plug")
        strange = [p for p in self.places if p not in PLACES]
        if strange or not self.places:
            raise CatalogError(f"{self.kind}: unknown or no places {strange}")


def fitted_share(kind: Kind, year: int | None) -> float | None:
    """Return how many cars of a year have a kind of part; None where nothing is known of it.

    Of an unknown year the mean over all of them.
    """
    fits = [f.share for f in kind.fitted if year is None or f.years[0] <= year <= f.years[1]]
    return sum(fits) / len(fits) if fits else None


class CommonLooks(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``looks/<family>.toml``: the look words every kind of a family accepts."""

    look: tuple[LookWord, ...]


VIN_LENGTH = 17


Market = Literal["north-america", "elsewhere"]


def find_market(region: str | None) -> Market:
    """Return the market whose rules shaped the equipment of a car; North America where unknown."""
    country = (region or "US").partition("-")[0]
    return "north-america" if country in ("US", "CA") else "elsewhere"


class YearPrior(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How likely this template is the right one for a car of these model years and this market."""

    years: tuple[int, int]
    weight: float
    market: Market = "north-america"
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


def weigh_template(template: Template, year: int | None, market: Market) -> float:
    """Return the weight of a template for a year; for an unknown one that of all its years."""
    fits = (
        p.weight
        for p in template.prior
        if p.market == market and (year is None or p.years[0] <= year <= p.years[1])
    )
    return float(sum(fits))


def whole_template(name: str, templates: Mapping[str, Template]) -> Template:
    """Return a template with everything that the templates it extends bring along."""
    template = templates[name]
    if not template.base:
        return template
    base = whole_template(template.base, templates)
    return msgspec.structs.replace(
        template,
        components=base.components + template.components,
        stages=base.stages | template.stages,
    )


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


def check_digit(vin: str, rules: VinRules) -> str:
    """Return the check digit of a VIN without I, O and Q.

    Source: cfr-49-565, tables III and IV: sum of products modulo 11, 10 is written X.

    Raises:
        KeyError: A character has no number.
    """
    total = sum(rules.values[c] * w for c, w in zip(vin, rules.weights, strict=True))
    return "X" if total % 11 == 10 else str(total % 11)


class SaidWords(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``said.toml``: what people at the car say.

    Attributes:
        parts: Kinds that a word for a part may mean.
        usual: The kind that a word means behind the name of a front seat and nothing else.
        places: Places that a word for a side or seat may mean.
        spots: Zone of the car that a word beside a side names.
        levels: Kinds and components that water of a height reaches, lowest level first.
        level_words: Level that a word for a height means.
        seen: Look word that is meant.
        seen_on: Kind on which a look word is meant where several parts have one name.
        labelled: Kinds whose label speaks for a name of several parts, the first that is there.
        stories: Words that tell of ``soaked``, ``burnt`` or ``tilted``, of what stands in for a
            part, ``stand_in``, or that somebody else's word is repeated, ``copied``, ``hearsay``;
            and of the contrary right before them, ``denied``. Of a ``crash``, with what may stand
            between, ``crash_filler``, and what right after it speaks of its record only.
            Of faults that a scan does not show, ``hidden``. Of the ``unit`` that is ``loose``, with
            what makes it another one, ``unit_other``, a connector, ``plug``, or ``supposed``. Of
            ``heat`` near something live, by beginnings of words.
        nobody: What people write in place of a name: letters and digits alone, folded.
    """

    parts: dict[str, tuple[str, ...]]
    usual: dict[str, str] = {}
    places: dict[str, tuple[str, ...]]
    spots: dict[str, str] = {}
    levels: dict[str, tuple[str, ...]] = {}
    level_words: dict[str, str] = {}
    seen: dict[str, str]
    seen_on: dict[str, str] = {}
    labelled: dict[str, tuple[str, ...]] = {}
    stories: dict[str, tuple[str, ...]]
    nobody: frozenset[str]
