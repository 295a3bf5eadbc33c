"""What lists say of fired parts in people's words. The words are ours; no list was copied."""

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.said_parts import WHOLE, UnclearPartError, read_said_parts
from squibwise.model.car import Car
from squibwise.model.names import Side

CATALOG = load_catalog()
DRIVER, PASSENGER = "driver.front-bag", "passenger.front-bag"
SEATS = ("driver.seat-bag", "passenger.seat-bag")
CURTAINS = ("left.curtain", "right.curtain")
BELTS = ("driver.retractor-pretensioner", "passenger.retractor-pretensioner")
PARTS = (DRIVER, PASSENGER, "driver.knee-bag", *SEATS, *CURTAINS, *BELTS)


def _car(hand: Side = "left") -> Car:
    return Car(equipment="-", components=PARTS, drive_hand=hand)


@pytest.mark.parametrize(
    ("said", "parts"),
    [
        ("Driver + Pass", (DRIVER, PASSENGER)),
        ("driver/passenger", (DRIVER, PASSENGER)),
        ("Front bags", (DRIVER, PASSENGER)),
        ("2 front", (DRIVER, PASSENGER)),
        ("steering wheel, dash", (DRIVER, PASSENGER)),
        ("driver bag out", (DRIVER,)),
        ("curtain L", CURTAINS[:1]),
        ("LH curtain & RH seat bag", (CURTAINS[0], SEATS[1])),
        ("curtain L/R", CURTAINS),
        ("roof bags both sides", CURTAINS),
        ("D/S curtain", CURTAINS[:1]),
        ("knee; both belts", ("driver.knee-bag", *BELTS)),
        ("all", PARTS[:7]),
        ("driver.front-bag; curtain L", (DRIVER, CURTAINS[0])),
        ("driver.front-bag passenger.front-bag", (DRIVER, PASSENGER)),
        ("driver.front-bag;" * 20_000, (DRIVER,)),
        ("Fahrer- und Beifahrerairbag", (DRIVER, PASSENGER)),
        ("Kopfairbag links und rechts", CURTAINS),
        ("2x Seitenairbag", SEATS),
        ("Gurtstraffer vorne", BELTS),
        ("alle", PARTS[:7]),
        ("conductor y acompañante", (DRIVER, PASSENGER)),
        ("cortina izq y der", CURTAINS),
        ("airbags frontales", (DRIVER, PASSENGER)),
        ("volante y copiloto", (DRIVER, PASSENGER)),
        ("conducteur + passager", (DRIVER, PASSENGER)),
        ("rideau gauche", CURTAINS[:1]),
        ("latéral droit", SEATS[1:]),
        ("ceinture conducteur", BELTS[:1]),
        ("kierowca i pasażer", (DRIVER, PASSENGER)),
        ("kurtyna lewa, boczna prawa", (CURTAINS[0], SEATS[1])),
        ("poduszki czołowe", (DRIVER, PASSENGER)),
    ],
)
def test_what_fired_is_read_in_peoples_words(said: str, parts: tuple[str, ...]) -> None:
    assert read_said_parts(said, _car(), CATALOG) == dict.fromkeys(parts, True)


def test_the_side_of_a_seat_is_that_of_the_car() -> None:
    for car in (_car("left"), _car("right")):  # nearside is the left, wherever the driver sits
        assert list(read_said_parts("N/S curtain", car, CATALOG)) == [CURTAINS[0]]
        assert list(read_said_parts("offside curtain", car, CATALOG)) == [CURTAINS[1]]
    assert list(read_said_parts("side L", _car("right"), CATALOG)) == [SEATS[1]]


@pytest.mark.parametrize(
    ("said", "intact"),
    [
        ("side bags not deployed", SEATS),
        ("no side bags", SEATS),
        ("curtain intact", CURTAINS),
        ("keine Seitenairbags", SEATS),
        ("sin cortinas", CURTAINS),
    ],
)
def test_what_did_not_fire_is_told_apart(said: str, intact: tuple[str, ...]) -> None:
    assert read_said_parts(said, _car(), CATALOG) == dict.fromkeys(intact, False)
    both = read_said_parts(f"driver; {said}", _car(), CATALOG)
    assert both == {DRIVER: True} | dict.fromkeys(intact, False)


def test_a_word_for_airbags_alone_speaks_of_the_car() -> None:
    assert read_said_parts("airbags", _car(), CATALOG) == {WHOLE: True}
    assert read_said_parts("airbags not deployed", _car(), CATALOG) == {WHOLE: False}


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("flux driver", "flux"),
        ("banana", "banana"),
        ("driver?", "driver?"),
        ("driver airbag missing", "driver airbag missing"),
        ("driver bag replaced", "replaced"),
        ("curtain", "left.curtain or right.curtain"),
        ("sensor", "no part"),
        ("por debajo", "por debajo"),
        ("unterm Dach", "unterm"),
        ("driver; driver not deployed", "and not to have"),
        ("driver, " * 20_000, "more than 400 characters"),
    ],
)
def test_what_is_not_clear_is_told_and_never_dropped(said: str, told: str) -> None:
    with pytest.raises(UnclearPartError) as unclear:
        read_said_parts(said, _car(), CATALOG)
    assert told in str(unclear.value)
