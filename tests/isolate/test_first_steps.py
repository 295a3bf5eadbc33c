"""What a mechanic would do first. Common practice, no source, unless one is named."""

import pytest

from squibwise.isolate import trace
from squibwise.model.evidence import Evidence, LampCheck, Story
from squibwise.model.evidence import TestOutcome as Entered
from squibwise.model.trace import Trace

from .building import CATALOG, a_case, a_line, a_report, believing

LAMP = "centre.warning-lamp/1"
STAYS_ON = LampCheck(id="k1", lit=True, stayed_out=False)


def traced(loop: str, *evidence: Evidence) -> Trace:
    return trace(a_case(*evidence), believing(), loop, CATALOG)


def chance(found: Trace, hypothesis: str) -> float:
    return sum(h.p for h in found.hypotheses if hypothesis in h.id.split("+"))


@pytest.mark.parametrize(
    "shown",
    [
        (STAYS_ON,),
        (
            STAYS_ON,
            Story(id="o", text="The airbag lamp lights at key-on and stays on all the time."),
        ),
    ],
)
def test_a_warning_lamp_that_stays_on_is_not_a_dead_one(shown: tuple[Evidence, ...]) -> None:
    found = traced(LAMP, a_report(), *shown)
    assert found.hypotheses[0].id == "asked:held-on"
    assert {h.id for h in found.hypotheses[1:4]} & {"unit:software", "supply:low"}
    assert chance(found, "device:dead") < 0.05
    assert found.next_test.id == "other-units"
    plan = next(a.effort for a in found.comparison if a.id == "plan")
    assert plan.parts < 0.1


def test_a_lamp_that_passes_its_test_and_stays_on_is_no_longer_suspected() -> None:
    lights = Entered(id="t1", loop=LAMP, test="lamp-self-test", outcome="lights")
    found = traced(LAMP, a_report(), STAYS_ON, lights)
    assert chance(found, "device:dead") < 0.02


@pytest.mark.parametrize(
    "text",
    [
        "The airbag lamp stays on all the time",
        "Airbagleuchte geht nicht mehr aus",
        "Le voyant airbag reste allumé",
        "El testigo del airbag no se apaga",
    ],
)
def test_the_owner_says_that_the_lamp_stays_on(text: str) -> None:
    told = traced(LAMP, a_report(), Story(id="o", text=text))
    silent = traced(LAMP, a_report())
    assert chance(told, "device:dead") < chance(silent, "device:dead") / 5.0


SEAT = "passenger.occupant-sensor/1"
SEAT_OUT = Story(id="o", text="Passenger seat was taken out to shampoo the carpet and put back.")
SEAT_CODE = a_report(a_line("passenger.occupant-sensor", "unknown"))


def test_after_the_seat_was_out_a_look_under_it_comes_before_a_trial_with_the_key_on() -> None:
    found = traced(SEAT, SEAT_CODE, SEAT_OUT)
    assert chance(found, "seat-plug:not-seated") > 0.1
    assert found.next_test.id == "look:seat-plug"
    assert all(s.power != "on" for s in found.next_test.steps)
    fine = Entered(id="t0", loop=SEAT, test="look:seat-plug", outcome="fine")
    trial = Entered(id="t1", loop=SEAT, test="empty-value", outcome="off")
    assert traced(SEAT, SEAT_CODE, SEAT_OUT, fine, trial).next_test.id != "look:seat-plug"


def test_in_a_car_that_nobody_touched_the_seat_may_be_tried_first() -> None:
    untouched = Story(id="o", text="", known=("untouched",))
    found = traced(SEAT, SEAT_CODE, untouched)
    assert chance(found, "seat-plug:not-seated") < 0.05
    assert found.next_test.id != "look:seat-plug"


def test_a_live_value_that_follows_the_weight_clears_connectors_and_none_accuses_them() -> None:
    before = traced(SEAT, SEAT_CODE, SEAT_OUT)

    def loose(found: Trace) -> float:
        return chance(found, "seat-plug:not-seated") + chance(found, "device-plug:not-seated")

    after = {
        word: traced(
            SEAT, SEAT_CODE, SEAT_OUT, Entered(id="t1", loop=SEAT, test="empty-value", outcome=word)
        )
        for word in ("follows", "off", "no-value")
    }
    assert loose(after["follows"]) < loose(before)
    assert loose(after["off"]) < 0.2 * loose(before)
    assert loose(after["no-value"]) > 1.2 * loose(before)
    assert not any(f.code == "unknown-outcome" for f in after["no-value"].findings)
