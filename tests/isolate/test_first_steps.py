"""What a mechanic would do first. Common practice, no source, unless one is named."""

import pytest

from squibwise.isolate import trace
from squibwise.isolate.cards import card_of
from squibwise.isolate.tracing import plan_of, search_of
from squibwise.model.evidence import DoneWork, Evidence, LampCheck, Story
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


WHEEL = "driver.front-bag/1"


def test_numbers_are_compared_before_a_look_only_where_something_was_fitted() -> None:
    both = a_report(*(a_line("driver.front-bag", "open-or-high", stage=n, line=n) for n in (1, 2)))
    for loop in (WHEEL, "driver.front-bag/2"):
        assert not traced(loop, both).next_test.id.startswith("label:")
    fitted = a_case(
        DoneWork(id="w", what="replaced", component="passenger.front-bag"),
        a_report(a_line("passenger.front-bag", "open-or-high")),
        Story(id="o", text="", known=("other-part",)),
    )
    search = search_of(fitted, believing(), "passenger.front-bag/1", CATALOG)
    assert sum(s.p for s in search.standing.suspects if "device:wrong-part" in s.parts) > 0.1
    tests = [t.id for t in plan_of(search, fitted, CATALOG).tests]
    assert "label:device" in tests


TURNING = Story(id="o", text="", comes=("turning",), known=("untouched",))
OFF_AND_ON = a_report(a_line("driver.front-bag", "open-or-high", "intermittent"))


def test_in_a_car_that_nobody_touched_the_wheel_is_turned_before_part_numbers_are_compared() -> (
    None
):
    said = [Entered(id="t0", loop=WHEEL, test="meter:clock-spring", outcome="sound")]
    order = []
    for n in range(6):
        card = traced(WHEEL, OFF_AND_ON, TURNING, *said).next_test
        order.append(card.id)
        if card.id == "steer-live" or card.kind == "repair":
            break
        good = next(iter(card.outcomes))
        said.append(Entered(id=f"t{n + 1}", loop=WHEEL, test=card.id, outcome=good))
    assert "label:clock-spring" not in order
    assert order[-1] == "steer-live" or order[-1].startswith("load-at:"), order


def test_the_module_goes_on_after_the_wheel_was_turned_with_a_load_in_its_place() -> None:
    search = search_of(a_case(OFF_AND_ON, TURNING), believing(), WHEEL, CATALOG)
    bench = next(r for r in search.repairs if r.id == "replace:clock-spring")
    card = card_of(bench, search.context, search.standing, 30.0, CATALOG)
    texts = [s.text for s in card.steps]
    fitted = next(n for n, t in enumerate(texts) if "new clock spring centred" in t)
    turned = next(n for n, t in enumerate(texts) if "from lock to lock" in t)
    assert "module goes on last" in texts[fitted]
    assert fitted < turned
    assert not any("module back on" in t for t in texts[: turned + 1])
    assert "plug everything together" in " ".join(texts[turned + 1 :])


# Common practice, no source: the connector of the unit carries its supply and every circuit.
def test_a_load_at_the_unit_wants_the_adapter_that_keeps_all_else_connected() -> None:
    search = search_of(a_case(a_report(a_line(WHEEL, "open-or-high"))), believing(), WHEEL, CATALOG)
    cards = {t.id: card_of(t, search.context, search.standing, 30.0, CATALOG) for t in search.tests}
    at_unit, at_device = cards["load-at:unit-plug"], cards["load-at:device-plug"]
    assert any("adapter" in tool for tool in at_unit.needs)
    assert "every other circuit stay connected" in " ".join(at_unit.how)
    assert not any("adapter" in text for text in (*at_device.needs, *at_device.how))


# Common practice, no source: a connector seen half seated is seated and read before anything else.
def test_a_plug_seen_half_seated_is_seated_and_read() -> None:
    loop = "driver.front-bag/1"
    code = a_report(a_line("driver.front-bag", "open-or-high"))
    look = Entered(id="t1", loop=loop, test="look:device-plug", outcome="lock-open")
    found = traced(loop, code, look)
    assert found.next_test.id == "reseat:device-plug"
    assert chance(found, "device:left-out") < 0.05
    empty = Entered(id="t1", loop=loop, test="look:device-plug", outcome="nothing-there")
    assert traced(loop, code, empty).hypotheses[0].id == "device:left-out"


ZERO = a_report(a_line("passenger.occupant-sensor", "calibration"))


@pytest.mark.parametrize(
    "text",
    [
        "The seat was out. Since then the weight value does not move whatever is laid on it.",
        "The passenger seat was taken out and refitted; the weight reading is stuck.",
        "Sitz war ausgebaut, der Wert bleibt stehen.",
    ],
)
def test_a_value_that_stands_still_after_the_seat_was_out_is_sought_under_the_seat(
    text: str,
) -> None:
    found = traced(SEAT, ZERO, Story(id="o", text=text))
    assert found.hypotheses[0].id == "seat-plug:not-seated"
    assert found.next_test.id in ("look:seat-plug", "reseat:seat-plug")


def test_what_a_card_found_at_the_seat_is_done_and_the_value_read() -> None:
    def after(outcome: str) -> str:
        check = Entered(id="t1", loop=SEAT, test="check-seat", outcome=outcome)
        return traced(SEAT, ZERO, SEAT_OUT, check).next_test.id

    assert after("hose-off") == "lay:hose"
    assert after("bolts-off") == "torque:seat"
    assert after("fine") not in ("torque:seat", "lay:hose")


def test_where_animals_were_the_wire_is_looked_along_first_and_renewed_once_it_is_seen_bitten() -> (
    None
):
    """Common practice, no source: an eye along the wire before connectors that were looked at."""
    loop = "nose-left.impact-sensor/1"
    silent = a_report(a_line("nose-left.impact-sensor", "communication"))
    nest = Story(id="o", text="Mouse nest beside the headlamp.")
    told = traced(loop, silent, nest)
    assert told.next_test.id == "look-along:harness"
    assert "look-along:harness" not in {
        t.id for t in search_of(a_case(silent), believing(), loop, CATALOG).tests
    }
    bitten = Entered(id="t1", loop=loop, test="look-along:harness", outcome="wire-bad")
    assert traced(loop, silent, nest, bitten).next_test.id == "renew:harness"


def test_what_parts_are_reckoned_at_is_said_until_prices_are_entered() -> None:
    found = traced(
        "nose-left.impact-sensor/1", a_report(a_line("nose-left.impact-sensor", "communication"))
    )
    assert any("one lead of this circuit" in a.text for a in found.assumptions)
    assert any("clock spring and control unit are reckoned" in a.text for a in found.assumptions)
