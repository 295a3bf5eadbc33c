"""What the owner tells: read where it says so plainly, and what it does to the causes.

The stories are invented here; which cause they point to is common practice, no source.
"""

import math
from typing import Any

import msgspec
import pytest

from squibwise.isolate.prose import told_of
from squibwise.isolate.tracing import search_of
from squibwise.model.belief import StateBelief
from squibwise.model.evidence import DoneWork, Evidence, Look, PartLabel, SeatTrial, Story
from squibwise.model.report import Coverage, ReadReport, Report, Unread

from .building import CATALOG, a_case, a_line, a_report, believing

SEAT, WHEEL = "driver.seat-bag/1", "driver.front-bag/1"


def told(text: str, loop: str = SEAT, **more: Any) -> set[str]:
    case = a_case(a_report(a_line("driver.seat-bag", "unknown")), Story(id="s", text=text, **more))
    context = search_of(case, believing(), loop, CATALOG).context
    return {t.sign.id for t in told_of(context, CATALOG)}


@pytest.mark.parametrize(
    ("text", "sign"),
    [
        ("The lamp flickers whenever I turn the steering wheel.", "turning"),
        ("It lights while steering round a roundabout.", "turning"),
        ("Code returns after adjusting the seat.", "seat-moved"),
        ("Only when my wife sits in it.", "seat-loaded"),
        ("It came on over a speed hump.", "bumps"),
        ("Always on a cold morning.", "cold"),
        ("After heavy rain the light is back.", "rain"),
        ("It sets when cranking the engine.", "engine-start"),
        ("The driver's seat was removed for cleaning.", "seat-handled"),
        ("A new head unit was put in last week.", "dash-handled"),
        ("The bumper was off for a respray.", "nose-handled"),
        ("Nobody has ever worked on this car, it was never opened.", "untouched"),
        ("The carpet is wet under the mat.", "soaked"),
        ("Coffee went into the buckle.", "spilt"),
        ("Mice nested under the seat.", "rodents"),
        ("The battery was flat and it had a jump start.", "battery-flat"),
        ("The horn no longer works.", "wheel-others-dead"),
        ("There is a bulletin for this.", "known-software-fault"),
        ("Cleared, comes straight back.", "back-at-once"),
    ],
)
def test_what_is_told_plainly_is_read(text: str, sign: str) -> None:
    assert sign in told(text)


@pytest.mark.parametrize(
    ("text", "sign"),
    [
        ("It does not come on bumps.", "bumps"),
        ("The seat was never removed.", "seat-handled"),
        ("No rain, no car wash.", "rain"),
        ("The passenger seat was removed in May.", "seat-handled"),
        ("Nothing of note.", "untouched"),
    ],
)
def test_what_is_denied_or_told_of_another_seat_is_not(text: str, sign: str) -> None:
    assert sign not in told(text)


def test_keys_say_the_same_as_prose_and_a_story_of_another_circuit_does_not_count() -> None:
    assert "turning" in told("", comes=("turning",))
    assert "turning" not in told("", loop=SEAT, comes=("turning",)) - told("", comes=("turning",))
    other = Story(id="s", comes=("turning",), loop=WHEEL)
    case = a_case(a_report(a_line("driver.seat-bag", "unknown")), other)
    context = search_of(case, believing(), SEAT, CATALOG).context
    assert told_of(context, CATALOG) == ()


def done(what: Any, component: str, name: str = "d1") -> DoneWork:
    return DoneWork(id=name, what=what, component=component)


def seen(component: str, fault: Any, *status: Any, name: str = "s1") -> Evidence:
    return a_report(a_line(component, fault, *status), name=name)


STORIES: list[tuple[str, str, list[Evidence], str]] = [
    (
        "untold kind, with the wheel, horn fails",
        WHEEL,
        [
            seen("driver.front-bag", "unknown", "intermittent"),
            Story(id="t", comes=("turning",), text="Sometimes the horn fails too."),
        ],
        "clock-spring:broken",
    ),
    (
        "with the seat, connector under it handled without effect",
        "driver.buckle-pretensioner/1",
        [
            seen("driver.buckle-pretensioner", "unknown", "intermittent"),
            Story(
                id="t",
                comes=("seat-moved",),
                text="Connector under the seat was cleaned, no change.",
            ),
        ],
        "seat-harness:broken",
    ),
    (
        "low right after the headliner was down",
        "left.curtain/1",
        [
            seen("left.curtain", "low-or-short"),
            Story(id="t", text="The headliner was out for a new sunroof."),
        ],
        "device-plug:not-seated",
    ),
    (
        "a new sensor changed nothing, road salt",
        "pillar-left.impact-sensor/1",
        [
            seen("pillar-left.impact-sensor", "unknown"),
            done("replaced", "pillar-left.impact-sensor"),
            seen("pillar-left.impact-sensor", "unknown", name="s2"),
            Story(id="t", known=("corrosion",)),
        ],
        "device-plug:bad-contact",
    ),
    (
        "a bag from another year just fitted",
        "passenger.front-bag/1",
        [
            PartLabel(id="l", component="passenger.front-bag", number="X1", provenance="donor"),
            done("replaced", "passenger.front-bag"),
            seen("passenger.front-bag", "open-or-high"),
            Story(id="t", text="It is from a different model, one lead found no socket."),
        ],
        "device:wrong-part",
    ),
    (
        "seat soaked, sensing odd since",
        "passenger.occupant-sensor/1",
        [
            seen("passenger.occupant-sensor", "performance"),
            Story(id="t", known=("soaked",)),
        ],
        "seat:wet",
    ),
    (
        "indicator stays on, passes its check",
        "passenger.off-indicator/1",
        [
            seen("passenger.off-indicator", "performance"),
            Story(id="t", text="The indicator never goes out."),
        ],
        "asked:held-on",
    ),
    (
        "drink in the buckle",
        "driver.buckle-switch/1",
        [seen("driver.buckle-switch", "unknown"), Story(id="t", known=("spilt",))],
        "device:stuck",
    ),
    (
        "low supply while cranking, untouched car",
        "centre.control-unit/1",
        [
            seen("centre.control-unit", "voltage", "stored"),
            Story(id="t", comes=("engine-start",), known=("untouched",)),
        ],
        "supply:low-while-cranking",
    ),
    (
        "both curtains in one second, known of this model",
        "left.curtain/1",
        [
            a_report(
                a_line("left.curtain", "unknown", "intermittent"),
                a_line("driver.seat-bag", "unknown", "intermittent", line=2),
            ),
            Story(id="t", known=("known-software-fault", "untouched")),
        ],
        "unit:software",
    ),
    (
        "mice in the car",
        "left.curtain/1",
        [seen("left.curtain", "open-or-high"), Story(id="t", known=("rodents",))],
        "harness:broken",
    ),
]


@pytest.mark.parametrize(
    ("loop", "evidence", "cause"), [s[1:] for s in STORIES], ids=[s[0] for s in STORIES]
)
def test_the_story_brings_its_cause_among_the_first_three(
    loop: str, evidence: list[Evidence], cause: str
) -> None:
    found = search_of(a_case(*evidence), believing(), loop, CATALOG).standing.suspects
    assert cause in [s.id for s in found[:3]]
    plain = [e for e in evidence if not isinstance(e, Story)]
    without = search_of(a_case(*plain), believing(), loop, CATALOG).standing.suspects
    assert chance(found, cause) > chance(without, cause)
    assert math.fsum(s.p for s in found) == pytest.approx(1.0)


def chance(suspects: Any, cause: str) -> float:
    return math.fsum(s.p for s in suspects if cause in s.parts)


def test_nothing_wrong_any_more_is_for_circuits_that_no_report_names() -> None:
    named = search_of(a_case(seen("driver.seat-bag", "unknown")), believing(), SEAT, CATALOG)
    bare = search_of(a_case(a_report()), believing(), SEAT, CATALOG)
    assert chance(named.standing.suspects, "codes:none") == 0.0
    assert bare.standing.suspects[0].id == "codes:none"


def test_an_unlifted_shorting_bar_is_rare_in_a_car_that_nobody_touched() -> None:
    bar, low = "device-plug:spring-not-lifted", seen("left.curtain", "low-or-short")
    handled = [done("disconnected", "left.curtain"), low]
    untouched = [low, Story(id="t", known=("untouched",))]
    after = search_of(a_case(*handled), believing(), "left.curtain/1", CATALOG)
    before = search_of(a_case(*untouched), believing(), "left.curtain/1", CATALOG)
    assert chance(before.standing.suspects, bar) < 0.05
    assert chance(after.standing.suspects, bar) > 5 * chance(before.standing.suspects, bar)


def test_one_stage_of_two_speaks_against_what_both_run_through() -> None:
    one = a_report(a_line("driver.front-bag", "open-or-high", stage=2))
    both = a_report(
        a_line("driver.front-bag", "open-or-high", stage=1),
        a_line("driver.front-bag", "open-or-high", stage=2, line=2),
    )
    spring = "clock-spring:broken"
    alone = search_of(a_case(one), believing(), "driver.front-bag/2", CATALOG).standing
    shared = search_of(a_case(both), believing(), "driver.front-bag/2", CATALOG).standing
    assert chance(alone.suspects, spring) < chance(shared.suspects, spring)
    plug = "device-plug:bad-contact"  # of each stage its own
    assert chance(shared.suspects, plug) < chance(alone.suspects, plug)
    earlier = msgspec.structs.replace(both, id="s0")
    again = search_of(a_case(earlier, both), believing(), "driver.front-bag/2", CATALOG).standing
    assert chance(again.suspects, spring) == pytest.approx(chance(shared.suspects, spring))


def test_a_list_that_is_not_complete_says_nothing_by_its_silence() -> None:
    def spring(complete: bool | None) -> float:
        line = a_line("driver.front-bag", "open-or-high", stage=2)
        case = a_case(a_report(line, complete=complete))
        found = search_of(case, believing(), "driver.front-bag/2", CATALOG).standing
        return chance(found.suspects, "clock-spring:broken")

    assert spring(None) == pytest.approx(spring(False))
    assert spring(True) < spring(None)


@pytest.mark.parametrize("cause", ["shared-plug:driver", "loose-plug:driver.seat-bag"])
def test_other_circuits_through_it_are_named_only_where_a_report_says_so(cause: str) -> None:
    """Which connector is not home is left to the ranks: the assessment knows that one is."""
    line = seen("driver.seat-bag", "open-or-high")
    caused = search_of(a_case(line), believing(causes={cause: 0.95}), SEAT, CATALOG).standing
    plug = next(s for s in caused.suspects if s.id == "seat-plug:bad-contact")
    texts = [b.text for b in plug.because]
    assert not [t for t in texts if t.startswith("Another circuit")]
    poor = "A connector of this circuit is not home or makes poor contact: 95%"
    assert [t for t in texts if t.startswith(poor)]


def first_cause(component: str, *evidence: Evidence) -> str:
    return search_of(a_case(*evidence), believing(), component, CATALOG).standing.suspects[0].id


def test_a_part_that_an_eye_saw_damaged_is_suspected_until_it_is_renewed() -> None:
    sensor = "nose-left.impact-sensor"
    report = a_report(a_line(sensor, "communication"))
    seen = Look(id="l1", component=sensor, seen="damaged")
    renewed = DoneWork(id="w1", what="replaced", component=sensor)
    assert first_cause(sensor, report, seen) == "device:dead"
    assert first_cause(sensor, report, seen, renewed, report) != "device:dead"


def test_a_connector_put_together_before_a_code_is_only_remembered_leaves_the_code() -> None:
    sensor = "door-left.impact-sensor"
    apart = DoneWork(id="w1", what="disconnected", component=sensor)
    together = DoneWork(id="w2", what="reseated", component=sensor)
    remembered = a_report(a_line(sensor, "unknown", "stored"))
    assert first_cause(sensor, apart, together, remembered) == "codes:left-over"
    assert first_cause(sensor, apart, together, a_report(a_line(sensor, "unknown"))) != (
        "codes:left-over"
    )


def test_a_passive_line_still_stands_in_the_memory() -> None:
    sensor = "door-left.impact-sensor"
    line = msgspec.structs.replace(a_line(sensor, "unknown", "stored"), present=False)
    context = search_of(a_case(a_report(line)), believing(), sensor, CATALOG).context
    assert context.reported.is_told


def test_other_units_that_name_the_control_unit_with_a_code_miss_its_answer() -> None:
    raw = "1216  Airbag control unit  sporadic"
    unread = Unread(line=2, raw=raw)
    reading = ReadReport(unread=(unread,), coverage=Coverage())
    report = Report(id="s1", reading=reading)
    context = search_of(a_case(report), believing(), "centre.control-unit", CATALOG).context
    assert max(context.reported.weight, key=lambda w: context.reported.weight[w]) == "communication"
    assert context.reported.shown == "s1"


def test_unlike_circuits_at_fault_together_point_at_the_unit_that_was_asked_for() -> None:
    circuits = ("left.curtain", "passenger.knee-bag", "nose-left.impact-sensor")
    lines = [a_line(c, "unknown", "intermittent", line=n) for n, c in enumerate(circuits, 1)]
    context = search_of(a_case(a_report(*lines)), believing(), "centre.control-unit", CATALOG)
    assert context.standing.suspects[0].id == "unit-plug:bad-contact"
    two = search_of(a_case(a_report(*lines[:2])), believing(), "centre.control-unit", CATALOG)
    assert two.standing.suspects[0].id == "codes:none"
    fired = believing(fired=dict.fromkeys(circuits, 0.99), no_crash=0.0)
    crash = search_of(a_case(a_report(*lines)), fired, "centre.control-unit", CATALOG)
    assert crash.standing.suspects[0].id == "codes:none"


def test_a_circuit_that_was_apart_leaves_a_code_that_is_only_remembered() -> None:
    apart = DoneWork(id="w1", what="disconnected", component="left.curtain")
    stored = search_of(
        a_case(apart, a_report(a_line("left.curtain", "open-or-high", "stored"))),
        believing(),
        "left.curtain",
        CATALOG,
    )
    assert chance(stored.standing.suspects, "codes:left-over") > 0.3


@pytest.mark.parametrize(
    ("component", "cause"),
    [
        ("passenger.front-bag", "device:left-out"),
        ("nose-left.impact-sensor", "device:left-out"),
        ("driver.buckle-switch", "device:left-out"),
        ("passenger.occupant-sensor", "device:left-out"),
        ("centre.control-unit", "unit:left-out"),
        ("driver.clock-spring", "clock-spring:left-out"),
    ],
)
def test_a_part_that_is_not_in_the_car_is_so_in_every_circuit(component: str, cause: str) -> None:
    gone = believing()
    own = gone.of(component)
    assert own is not None
    state = StateBelief(sound=0.0, fired=0.0, faulty=0.1, damaged=0.0, missing=0.9, unfit=0.0)
    beliefs = tuple(
        msgspec.structs.replace(b, now=state) if b.id == component else b for b in gone.components
    )
    gone = msgspec.structs.replace(gone, components=beliefs)
    found = search_of(
        a_case(a_report(a_line(component, "open-or-high"))), gone, component, CATALOG
    ).first
    assert found[0].id == cause
    assert found[0].p == pytest.approx(0.9, abs=0.02)


def suspected(loop: str, *evidence: Evidence, **more: Any) -> dict[str, float]:
    """Return how likely each cause is."""
    search = search_of(a_case(*evidence), believing(**more), loop, CATALOG)
    return {s.id: s.p for s in search.standing.suspects}


def test_what_the_assessment_believes_of_the_supply_is_the_prior_of_the_circuit() -> None:
    open_now = a_report(a_line("left.curtain", "open-or-high", "stored"))
    found = suspected("left.curtain/1", open_now, causes={"supply": 0.9})
    there = {i: p for i, p in found.items() if "codes:left-over" not in i}
    supply = sum(p for i, p in there.items() if i.startswith(("supply:", "ground:")))
    assert supply / sum(there.values()) == pytest.approx(0.9, abs=0.05)


@pytest.mark.parametrize(
    ("component", "loop", "cause"),
    [
        ("driver.buckle-pretensioner", "driver.buckle-switch/1", "device:wrong-part"),
        ("centre.control-unit", "driver.seat-bag/1", "unit:not-configured"),
    ],
)
def test_the_label_of_what_a_part_is_sold_with_and_of_the_unit_counts(
    component: str, loop: str, cause: str
) -> None:
    label = PartLabel(id="l", component=component, number="A", provenance="donor")
    fitted = DoneWork(id="d", what="replaced", component=component)
    line = a_report(a_line(loop.partition("/")[0], "open-or-high"))
    assert suspected(loop, fitted, label, line)[cause] > 3.0 * suspected(loop, line)[cause]


def test_a_connector_closed_in_vain_is_half_seated_less_likely_than_before_it_was_touched() -> None:
    seat = "passenger.occupant-sensor"
    first, again = (a_report(a_line(seat, "performance"), name=n) for n in ("s1", "s2"))
    off = DoneWork(id="d", what="disconnected", component=seat)
    shut = DoneWork(id="e", what="reseated", component=seat)
    plug = "seat-plug:not-seated"
    loop = f"{seat}/1"
    in_vain = suspected(loop, off, first, shut, again)[plug]
    assert in_vain < suspected(loop, first)[plug] < suspected(loop, off, first)[plug]


@pytest.mark.parametrize(
    ("trials", "word"),
    [
        (((0.0, 0.4), (30.0, 29.0)), "follows"),
        (((0.0, 11.0), (30.0, 41.5)), "off"),
        (((0.0, 4.0), (30.0, 4.0)), "no-value"),
        (((0.0, 0.4),), ""),
    ],
)
def test_a_seat_that_was_loaded_is_read_as_the_trial_of_its_value(
    trials: tuple[tuple[float, float], ...], word: str
) -> None:
    """Source: known-load-practice: 30 kg of solid metal read as 27 to 33, empty -3.2 to 3.2."""
    seat = "passenger.occupant-sensor"
    loaded = [
        SeatTrial(id=f"k{n}", component=seat, applied_kg=laid, read_kg=read)
        for n, (laid, read) in enumerate(trials)
    ]
    case = a_case(a_report(a_line(seat, "performance")), *loaded)
    seen = search_of(case, believing(), f"{seat}/1", CATALOG).standing.seen
    assert seen == ({("empty-value", word)} if word else set())


def test_the_number_of_the_part_the_car_came_with_tells_whether_the_one_fitted_is_right() -> None:
    def wrong(*numbers: str) -> float:
        labels = [
            PartLabel(id=f"l{n}", component="driver.seat-bag", number=number, provenance=word)
            for n, (number, word) in enumerate(zip(numbers, ("original", "new"), strict=False))
        ]
        renewed = DoneWork(id="d1", what="replaced", component="driver.seat-bag")
        case = a_case(*labels, renewed, seen("driver.seat-bag", "open-or-high"))
        found = search_of(case, believing(), SEAT, CATALOG).standing
        return chance(found.suspects, "device:wrong-part")

    assert wrong("SB-0871-L", "sb 0871 l") < wrong("SB-0871-L") < wrong("SB-0871-L", "SB-1190-L")


def test_only_circuits_of_one_kind_of_fault_argue_for_one_connector() -> None:
    """A bar that is down makes a circuit read low; it leaves no other one open."""

    def bar(other: str) -> float:
        low = a_line("driver.seat-bag", "low-or-short")
        beside = a_line("left.curtain", other, line=2)
        found = search_of(a_case(a_report(low, beside)), believing(), SEAT, CATALOG).standing
        return chance(found.suspects, "unit-plug:spring-not-lifted")

    assert bar("low-or-short") > 2.0 * bar("open-or-high")
