"""What several circuits share is named and traced first; a supply that reads good is not renewed.

What a technician expects is common practice, no source.
"""

from typing import Any

import pytest

import squibwise
from squibwise import case as line
from squibwise.model.case import Case
from squibwise.present.faulty_circuits import FaultyCircuit, find_faulty_circuits

CATALOG = squibwise.load_catalog()
UNIT = "centre.control-unit/1"
VOLTAGE = "B1317 Battery voltage low - intermittent\n"
SEAT = """B0020-13 Driver side airbag seat circuit open present
B0050 Driver buckle switch open present
B0053 Driver seat belt buckle pretensioner circuit open present
"""
CIRCUITS = """B0001-13 Driver frontal inflator 1st stage circuit open - intermittent
B0010-13 Passenger frontal inflator circuit open - intermittent
"""


def car(codes: str, *outcomes: tuple[str, str]) -> Case:
    tried: list[dict[str, Any]] = [
        {"kind": "test-outcome", "loop": UNIT, "test": test, "outcome": outcome}
        for test, outcome in outcomes
    ]
    tables = {
        "case": {"id": "shared"},
        "car": {"model_year": 2014, "equipment": "seat-bags"},
        "evidence": [
            {"kind": "circumstance", "what": "crash", "present": False},
            {"kind": "report", "file": "scan.txt", "when": "before-repair", "complete": True},
            *tried,
        ],
    }
    return line.make_case(tables, CATALOG, {"scan.txt": f"Restraint control unit\n{codes}"})


def circuits(codes: str) -> tuple[FaultyCircuit, ...]:
    case = car(codes)
    whole = line.overview(case, CATALOG)
    return find_faulty_circuits(case, whole.states, whole.todo, CATALOG)


@pytest.mark.parametrize("codes", [VOLTAGE, VOLTAGE + CIRCUITS], ids=["alone", "with-circuits"])
def test_a_code_of_the_supply_is_traced_at_the_control_unit_first(codes: str) -> None:
    first = circuits(codes)[0]
    assert first.loop == UNIT
    assert "upply" in first.shared


def test_several_circuits_of_one_seat_are_traced_at_its_connector_first() -> None:
    first, *rest = circuits(SEAT)
    assert first.loop.startswith("driver.seat-bag")
    assert "connector" in first.shared
    assert len(rest) == 2
    assert not any(c.shared for c in rest)


def test_one_circuit_alone_shares_nothing() -> None:
    assert [c.shared for c in circuits(CIRCUITS.splitlines()[0] + "\n")] in ([], [""])


def test_two_charges_of_a_seat_that_read_low_are_the_bars_of_its_half_home_connector() -> None:
    low = (x for x in SEAT.replace("circuit open", "resistance too low").splitlines() if "low" in x)
    states = line.assess(car("\n".join(low)), CATALOG)
    bag = states.of("driver.seat-bag")
    assert states.event.causes["shared-plug:driver.seat"] > 0.8
    assert bag is not None
    assert bag.now.faulty < 0.2


def test_one_that_reads_low_beside_one_that_reads_open_is_no_bar() -> None:
    codes = SEAT.splitlines()
    mixed = f"{codes[0].replace('circuit open', 'resistance too low')}\n{codes[2]}\n"
    assert line.assess(car(mixed), CATALOG).event.causes["shared-plug:driver.seat"] < 0.5


GOOD = (("volts:rest", "in-range"), ("volts:crank", "holds"), ("supply-ground", "sound"))


def next_test(*outcomes: tuple[str, str]) -> str:
    case = car(VOLTAGE, *outcomes)
    return squibwise.trace(case, UNIT, CATALOG, over=lambda: True).next_test.id


def test_three_good_tests_of_the_supply_renew_nothing() -> None:
    assert next_test(*GOOD) == "volts:loaded"
    assert not next_test(*GOOD, ("volts:loaded", "holds")).startswith(("restore:", "replace:"))


def test_a_supply_that_reads_bad_is_restored_at_once() -> None:
    assert next_test(("volts:rest", "low")) == "restore:supply"


def mended(*outcomes: tuple[str, str, str]) -> Case:
    """Return a car with three circuits through the connector under a seat, one of them traced."""
    entries = [
        {"kind": "test-outcome", "loop": loop, "test": test, "outcome": outcome}
        for loop, test, outcome in outcomes
    ]
    tables = {
        "case": {"id": "mended"},
        "car": {"model_year": 2014, "equipment": "seat-bags"},
        "evidence": [
            {"kind": "circumstance", "what": "crash", "present": False},
            {"kind": "report", "file": "scan.txt", "when": "before-repair", "complete": True},
            *entries,
        ],
    }
    return line.make_case(tables, CATALOG, {"scan.txt": f"Restraint control unit\n{SEAT}"})


def test_what_was_mended_for_one_circuit_is_read_again_for_those_that_share_it() -> None:
    """Nobody renews a connector twice; nothing is cured that nobody has read."""
    bag, other = "driver.seat-bag/1", "driver.buckle-pretensioner/1"
    case = mended((bag, "look:seat-plug", "corroded"), (bag, "renew:seat-plug", "fixed"))
    whole = line.overview(case, CATALOG)
    circuits = find_faulty_circuits(case, whole.states, whole.todo, CATALOG)
    assert {c.loop: c.unread for c in circuits}[other]
    assert next(g for g in whole.gates if g.id == "faults").open
    card = squibwise.trace(case, other, CATALOG).next_test
    assert card.id == "renew:seat-plug"
    assert not [s for s in card.steps if s.power == "off"]
    read = mended(
        (bag, "look:seat-plug", "corroded"),
        (bag, "renew:seat-plug", "fixed"),
        (other, "renew:seat-plug", "fixed"),
    )
    assert squibwise.trace(read, other, CATALOG).next_test.id == "stop"
