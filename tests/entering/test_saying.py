"""What people at the car say is taken as they mean it, or refused with what they may have meant."""

from itertools import pairwise
from typing import Any

import pytest

from squibwise.catalog.components import whole_template
from squibwise.catalog.load import load_catalog
from squibwise.entering import saying
from squibwise.errors import InputError
from squibwise.model.car import Car

CATALOG = load_catalog()
PARTS = whole_template("full-modern-set", CATALOG.templates).components
CAR = Car(equipment="full-modern-set", components=tuple(sorted(PARTS)), drive_hand="left")


# Common practice, no source: how a technician names a part and what is seen on it.
@pytest.mark.parametrize(
    ("part", "word", "component", "seen"),
    [
        ("windshield", "cracked", "centre.windshield", "glass-cracked"),
        ("dash", "torn", "centre.instrument-panel", "panel-torn"),
        ("clock spring", "torn", "driver.clock-spring", "ribbon-torn"),
        ("steering column", "stroked", "driver.steering-column", "capsule-moved"),
        ("driver belt", "webbing locked", "driver.retractor-pretensioner", "webbing-locked"),
        ("driver's knee bag", "whole", "driver.knee-bag", "intact"),
        ("left front sensor", "broken", "nose-left.impact-sensor", "damaged"),
        ("right door sensor", "damaged", "door-right.impact-sensor", "damaged"),
        ("left B pillar trim", "burst", "left.pillar-trim", "trim-burst"),
        ("passenger seat", "cover torn", "passenger.seat-foam-cover", "cover-torn"),
        ("airbag light", "taped", "centre.warning-lamp", "covered"),
    ],
)
def test_a_word_that_only_one_named_part_can_have_picks_that_part(
    part: str, word: str, component: str, seen: str
) -> None:
    found = saying.find_component(part, CAR, CATALOG, word)
    assert (found, saying.find_seen(word, found, CATALOG)) == (component, seen)


@pytest.mark.parametrize("word", ["not torn", "no tear", "never fired"])
def test_a_denial_is_never_taken_for_what_it_denies(word: str) -> None:
    known = CATALOG.looks("instrument-panel")
    assert saying.find_seen(word, "centre.instrument-panel", CATALOG) not in known


def test_nothing_is_guessed_to_be_confirmed_spent() -> None:
    assert saying.find_seen("spent", "driver.front-bag", CATALOG) == "deployed"


@pytest.mark.parametrize(
    ("said", "entry"),
    [
        ("passenger adult belted", {"seat": "passenger", "size": "adult", "belt": "latched"}),
        ("child seat row2-left", {"seat": "row2-left", "child_seat": True}),
        ("row2-left child-seat", {"seat": "row2-left", "child_seat": True}),
        ("nose-left severe 11", {"zone": "nose-left", "extent": "severe", "clock": 11}),
        ("rolled over", {"what": "rollover", "present": True}),
        ("no flood", {"what": "flood", "present": False}),
        ("fire curtain", {"what": "fire", "parts": ["curtain"]}),
        ("flood control-unit, seat-bag", {"parts": ["control-unit", "seat-bag"]}),
    ],
)
def test_what_is_known_of_the_crash_is_told_in_a_few_words(
    said: str, entry: dict[str, Any]
) -> None:
    told = saying.find_told(said.split(), CAR, CATALOG)
    assert entry.items() <= told.items()


# Common practice, no source: the unit sits on the floor, belts and buckles end at the cushion,
# side airbags sit in the backrest, curtains in the roof.
def test_water_wets_what_lies_under_its_line() -> None:
    levels = ["floor", "seats", "dash", "roof"]
    wet = [set(saying.find_told(["flood", "to", level], CAR, CATALOG)["parts"]) for level in levels]
    assert all(low < high for low, high in pairwise(wet))
    first = {
        kind: next(n for n, parts in enumerate(wet) if kind in parts)
        for kind in ("control-unit", "buckle-pretensioner", "seat-bag", "curtain")
    }
    assert list(first.values()) == [0, 1, 2, 3]


@pytest.mark.parametrize(
    "said",
    ["driver belted unbelted", "passenger empty belted", "flood to the moon", "nose-left 13"],
)
def test_what_contradicts_itself_or_is_unknown_is_refused(said: str) -> None:
    with pytest.raises(InputError, match="nothing that can be told"):
        saying.find_told(said.split(), CAR, CATALOG)
