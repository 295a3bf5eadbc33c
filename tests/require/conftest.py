"""Cars and beliefs built by hand, so that these tests need no other stage."""

from collections.abc import Mapping
from types import SimpleNamespace

import msgspec
import pytest

from squibwise.catalog.components import whole_template
from squibwise.catalog.load import Catalog, load_catalog
from squibwise.model.belief import Assessment, EventBelief, SpeedChange
from squibwise.model.car import Car, Profile
from squibwise.model.case import Case
from squibwise.model.evidence import Evidence
from squibwise.require.examples import build_belief

CATALOG: Catalog = load_catalog()


def parts(template: str, *more: str) -> tuple[str, ...]:
    """Return the components of an equipment template and its bases, and some more."""
    whole = whole_template(template, CATALOG.templates)
    return tuple(sorted({*whole.components, *more}))


EVERY_KIND = tuple(f"{kind.places[0]}.{word}" for word, kind in CATALOG.kinds.items())
MODERN = parts("full-modern-set")


def car(components: tuple[str, ...] = MODERN) -> Car:
    return Car(equipment="made-up", components=components)


def case(
    *evidence: Evidence,
    components: tuple[str, ...] = MODERN,
    profile: Profile | None = None,
    region: str | None = None,
) -> Case:
    return Case(
        id="made-up",
        car=car(components),
        evidence=evidence,
        profile=profile or Profile(),
        region=region,
    )


CALM = EventBelief(
    zones={},
    delta_v_kmh=None,
    driver_belted=0.5,
    passenger_belted=0.5,
    front_passenger={"empty": 0.6, "child-or-small": 0.1, "adult": 0.3},
    rollover=0.0,
    second_impact=0.0,
    no_crash=0.99,
)
CRASH = msgspec.structs.replace(
    CALM,
    zones={"nose-right": 0.97, "nose-centre": 0.3},
    delta_v_kmh=SpeedChange(p10=15, p50=27, p90=40),
    driver_belted=0.96,
    no_crash=0.001,
)


def assessment(
    states: Mapping[str, dict[str, float]],
    event: EventBelief = CRASH,
    components: tuple[str, ...] = MODERN,
    usual: Mapping[str, float] | None = None,
) -> Assessment:
    """Return beliefs: the named components as given, every other one as usual."""
    other = dict(usual if usual is not None else {"damaged": 0.01, "fired": 0.002})
    return Assessment(
        event=event,
        components=tuple(build_belief(c, dict(states.get(c, other))) for c in components),
    )


@pytest.fixture(scope="session")
def catalog() -> Catalog:
    return CATALOG


@pytest.fixture(scope="session")
def made() -> SimpleNamespace:
    """The builders above, for tests in other files."""
    return SimpleNamespace(
        assessment=assessment,
        calm=CALM,
        case=case,
        crash=CRASH,
        every_kind=EVERY_KIND,
        modern=MODERN,
        parts=parts,
    )
