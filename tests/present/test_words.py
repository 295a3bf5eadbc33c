"""Every kind of evidence in a sentence, and figures as people write them."""

from typing import Any, get_args

import pytest

from squibwise.model.cost import Money
from squibwise.model.evidence import (
    Circumstance,
    DoneWork,
    Evidence,
    Impact,
    LampCheck,
    Look,
    Occupant,
    PartLabel,
    Passed,
    Photo,
    Reading,
    Recorder,
    SeatTrial,
    Statement,
    Story,
    SubstituteLoad,
)
from squibwise.model.evidence import (
    TestOutcome as Outcome,
)
from squibwise.model.origin import Origin
from squibwise.model.report import CodeLine, Coverage, ReadReport, Report, Unread
from squibwise.present import figures
from squibwise.present.phrases import tell_origin, tell_states
from squibwise.present.tell_evidence import tell_evidence

SENTENCES = [
    (
        Report(
            id="r",
            when="after-repair",
            reading=ReadReport(
                lines=(CodeLine(line=1, raw="x"),),
                unread=(Unread(line=2, raw="y"),),
                coverage=Coverage(able=False),
            ),
        ),
        "scan after-repair, 1 fault, reach not stated, 1 line not understood, "
        "the unit was not able to test",
    ),
    (Look(id="l", component="left.curtain", seen="hanging"), "left.curtain: seen hanging"),
    (
        Statement(id="s", says="deployed", from_="listing"),
        "the car: said to be deployed by listing",
    ),
    (
        Statement(id="s", component="left.curtain", says="deployed"),
        "left.curtain: said to be deployed by ?",
    ),
    (
        Reading(
            id="m",
            component="driver.front-bag/1",
            quantity="loop-resistance",
            value=2.1,
            unit="ohm",
            where="plug",
        ),
        "driver.front-bag/1: loop-resistance 2.1 ohm at plug",
    ),
    (
        Recorder(id="c", record="stored", delta_v_long_kmh=-27.5, driver_belt="latched"),
        "crash record stored, delta-V along -28 km/h, by recorder, driver's belt latched",
    ),
    (
        Impact(id="i", zone="nose-right", clock=1, extent="moderate"),
        "impact at nose-right, from 1 o'clock, moderate",
    ),
    (Impact(id="i", clock=12, order=2), "from 12 o'clock, no. 2"),
    (Circumstance(id="t", what="rollover", present=False), "rollover: no"),
    (
        Occupant(
            id="o", seat="passenger", present=True, size="adult", belt="latched", child_seat=False
        ),
        "passenger: seat taken, adult, belt latched, child seat no",
    ),
    (Occupant(id="o", seat="driver"), "driver: seat not known"),
    (
        SeatTrial(
            id="w",
            component="passenger.occupant-sensor",
            applied_kg=30.0,
            read_kg=30.4,
            cabin_c=20.0,
            volts=12.6,
        ),
        "passenger.occupant-sensor: laid on 30 kg, read 30.4 kg, cabin 20 °C, supply 12.6 V",
    ),
    (
        LampCheck(id="p", lit=False),
        "warning lamp did not light, not seen to go out, not watched after that",
    ),
    (
        LampCheck(id="p", lit=True, out_after_s=6.0, stayed_out=False),
        "warning lamp lit at key-on, out after 6 s, came on again",
    ),
    (
        SubstituteLoad(id="b", serial="S1", loop="driver.front-bag/1", ohm=2.1, move="issued"),
        "substitute load S1 (2.1 ohm) issued, driver.front-bag/1",
    ),
    (
        PartLabel(
            id="n",
            component="driver.front-bag",
            number="9Z",
            provenance="new",
            recall_checked=False,
        ),
        "driver.front-bag: part 9Z, new, recalls not checked",
    ),
    (
        Outcome(id="q", loop="driver.front-bag/1", test="load-at-plug", outcome="gone"),
        "driver.front-bag/1: test load-at-plug, outcome gone",
    ),
    (
        DoneWork(
            id="d", what="replaced", component="driver.front-bag", item="driver.front-bag:replace"
        ),
        "driver.front-bag replaced (for driver.front-bag:replace)",
    ),
    (
        Passed(id="k", what="structure-sound", result="passed", note="measured"),
        "structure-sound: passed. measured",
    ),
    (
        Story(id="s", loop="driver.seat-bag/1", comes=("seat-moved",), text="Since May."),
        "driver.seat-bag/1: Since May.; seat moved",
    ),
    (
        Photo(id="p", file="evidence/seat.jpg", component="driver.seat-bag"),
        "photograph evidence/seat.jpg of driver.seat-bag",
    ),
]


@pytest.mark.parametrize(("evidence", "sentence"), SENTENCES)
def test_evidence_is_told_in_a_sentence(evidence: Any, sentence: str) -> None:
    assert tell_evidence(evidence) == sentence


def test_every_kind_of_evidence_has_its_words() -> None:
    told = {type(evidence) for evidence, _ in SENTENCES}
    assert told == set(get_args(Evidence))


@pytest.mark.parametrize(
    ("p", "text"),
    [
        (0.0, "under 1%"),
        (0.004, "under 1%"),
        (0.005, "under 1%"),
        (0.01, "1%"),
        (0.5, "50%"),
        (0.99, "99%"),
        (0.9951, "over 99%"),
        (1.0, "over 99%"),
    ],
)
def test_a_chance_is_never_rounded_to_certainty(p: float, text: str) -> None:
    assert figures.percent(p) == text


@pytest.mark.parametrize(
    ("minutes", "text"), [(0, "0 min"), (89, "89 min"), (90, "1 h 30 min"), (120, "2 h")]
)
def test_minutes_are_told_in_hours(minutes: int, text: str) -> None:
    assert figures.minutes(minutes) == text


def test_an_amount_that_nobody_entered_is_not_nothing() -> None:
    assert figures.money(None) == "not priced"
    assert figures.bare_sum(None) == "?"
    assert figures.money(Money(minor=123456, currency="USD")) == "1,234.56 USD"
    assert figures.money(Money(minor=500, currency="JPY")) == "500 JPY"


@pytest.mark.parametrize(
    ("count", "text"), [(2, "a, b"), (4, "a, b, c, d"), (5, "a, b, c and 2 more")]
)
def test_a_long_list_counts_its_rest(count: int, text: str) -> None:
    assert figures.listed(list("abcdefg"[:count]), 3) == text


@pytest.mark.parametrize(
    ("numbers", "text"), [((), ""), ((5, 1, 2, 3, 9), "1-3, 5, 9"), ((4, 4, 5), "4-5")]
)
def test_numbers_are_listed_as_people_do(numbers: tuple[int, ...], text: str) -> None:
    assert figures.ranges(numbers) == text


@pytest.mark.parametrize(
    ("value", "text"), [(30.0, "30"), (2.1, "2.1"), (1234567.125, "1234567.125"), (1e-5, "1e-05")]
)
def test_a_measured_value_keeps_every_digit(value: float, text: str) -> None:
    assert figures.number(value) == text


def test_a_place_is_named_as_far_as_known() -> None:
    assert tell_origin(Origin(line=3)) == ""
    assert tell_origin(Origin(file="a.txt")) == "a.txt"
    assert tell_origin(Origin(file="a.txt", line=3)) == "a.txt:3"


def test_states_that_are_negligible_are_not_told() -> None:
    belief = {"sound": 0.6, "fired": 0.385, "faulty": 0.005, "damaged": 0.005, "unfit": 0.005}
    assert tell_states(belief) == "sound 60%, fired 38%"
    assert tell_states({"a": 0.01, "b": 0.011}) == "b"


@pytest.mark.parametrize(
    ("text", "shown"), [("short", "short"), ("x" * 10, "x" * 10), ("x" * 11, "xxxxxx ...")]
)
def test_a_long_title_is_cut_with_a_sign(text: str, shown: str) -> None:
    assert figures.cut(text, 10) == shown
