"""Next looks and what would flip a decision: exact against plain recomputation."""

import build
import msgspec
import numpy as np
import pytest

from squibwise.infer import assess
from squibwise.model.belief import Assessment, Loss, LossTable
from squibwise.model.car import Profile
from squibwise.model.case import Case
from squibwise.model.evidence import (
    Circumstance,
    DoneWork,
    Evidence,
    Impact,
    Look,
    Passed,
    Recorder,
    SeatTrial,
    Statement,
    Story,
    SubstituteLoad,
)
from squibwise.model.names import split_component

CAR = build.car("belts-and-front-bags")
SEATS = ("driver", "passenger")
NOSE = Impact(id="body", zone="nose-centre", clock=12, extent="moderate")
CODE = build.scan(build.code(1, "driver.retractor-pretensioner"), build.record())


def case(*evidence: Evidence) -> Case:
    return build.case(*evidence, on=CAR)


def table(minute: float = 0.0) -> LossTable:
    row = Loss(needless=100.0, missed=100.0)
    return LossTable(losses=dict.fromkeys(CAR.components, row), minute=minute)


def loss(answer: Assessment) -> float:
    """Return the expected loss of the better decisions, by the table above."""
    bad = np.array([1.0 - c.now.sound for c in answer.components])
    return float(np.minimum(bad, 1.0 - bad).sum() * 100.0)


def test_a_doubtful_belt_is_looked_at_first() -> None:
    answer = assess(case(NOSE), build.CATALOG, table())
    doubtful = min(answer.components, key=lambda c: abs(c.now.sound - 0.5)).id
    assert doubtful in {look.component for look in answer.next_looks[:8]}


def test_the_saving_of_one_look_equals_recomputing_both_outcomes() -> None:
    before = assess(case(NOSE, CODE), build.CATALOG, table())
    look = next(x for x in before.next_looks if x.look != "substitute-load")
    word = build.CATALOG.looks(look.component.partition(".")[2])[look.look]
    seen = Look(id="new", component=look.component, seen=look.look)
    yes = assess(case(NOSE, CODE, seen), build.CATALOG, table())
    belief = before.of(look.component)
    assert belief is not None
    chance = sum(getattr(belief.now, s) * getattr(word, s) for s in ("sound", "faulty", "fired"))
    chance += belief.now.damaged * word.damaged + belief.now.unfit * word.unfit
    # The outcome *no* follows from *yes* for every part by the law of total probability.
    no = {
        c.id: (b.now.sound - chance * c.now.sound) / (1.0 - chance)
        for c, b in zip(yes.components, before.components, strict=True)
    }
    left = chance * loss(yes)
    left += (1.0 - chance) * 100.0 * sum(min(p, 1.0 - p) for p in no.values())
    saving = (loss(before) - left) / look.minutes
    assert look.saving == pytest.approx(saving, rel=0.05, abs=0.05)


def test_looks_stop_when_nothing_more_is_worth_a_minute() -> None:
    assert assess(case(NOSE), build.CATALOG, table(minute=1000.0)).next_looks == ()


def test_a_higher_price_of_time_never_adds_a_look() -> None:
    cheap = {x.component for x in assess(case(NOSE), build.CATALOG, table(0.1)).next_looks}
    dear = {x.component for x in assess(case(NOSE), build.CATALOG, table(2.0)).next_looks}
    assert dear <= cheap


def test_looks_are_sorted_by_what_they_save() -> None:
    looks = assess(case(NOSE), build.CATALOG, table()).next_looks
    body = [build.CATALOG.kinds[split_component(x.component).kind].body for x in looks]
    assert body == sorted(body)  # what anybody sees in passing comes last
    for group in (False, True):
        saved = [round(x.saving, 9) for x, b in zip(looks, body, strict=True) if b is group]
        assert saved == sorted(saved, reverse=True)
    assert all(x.text and x.minutes > 0.0 and 0.0 <= x.settles <= 1.0 for x in looks)


def test_a_car_without_a_scan_is_told_to_scan() -> None:
    looks = assess(case(NOSE), build.CATALOG, table()).next_looks
    assert "second-scan" in {x.look for x in looks}


def test_after_a_whole_scan_no_second_one_is_asked_for() -> None:
    looks = assess(case(NOSE, build.scan(build.record())), build.CATALOG, table()).next_looks
    assert "second-scan" not in {x.look for x in looks}


def test_an_open_igniter_circuit_offers_a_substitute_load_and_never_a_meter() -> None:
    looks = assess(case(NOSE, CODE), build.CATALOG, table()).next_looks
    load = [x for x in looks if x.look == "substitute-load"]
    assert all("power off" in x.text for x in load)
    assert not any("meter" in x.text for x in looks)


def test_looks_without_a_loss_table_count_each_wrong_decision_alike() -> None:
    assert assess(case(NOSE), build.CATALOG).next_looks


def test_every_part_says_how_far_its_odds_could_move_and_what_would_turn_it() -> None:
    answer = assess(case(NOSE), build.CATALOG, table())
    for belief in answer.components:
        bad = 1.0 - belief.now.sound
        assert belief.prior_flip_db is not None
        assert (belief.prior_flip_db > 0.0) == (bad < 0.5)
    belt = answer.of("driver.retractor-pretensioner")
    assert belt is not None
    assert belt.flip


def test_the_strongest_opposing_evidence_is_named() -> None:
    free = Look(id="free", component="driver.retractor-pretensioner", seen="webbing-free")
    answer = assess(case(NOSE, CODE, free), build.CATALOG)
    belt = answer.of("driver.retractor-pretensioner")
    assert belt is not None
    assert belt.opposing is not None
    assert belt.opposing.last_db is not None
    assert belt.opposing.last_db < 0.0


def test_each_reason_weighs_alone_and_last_and_they_do_not_add_up() -> None:
    torn = Look(id="torn", component="driver.front-bag", seen="cover-torn")
    answer = assess(case(NOSE, build.scan(build.code(1, "driver.front-bag")), torn), build.CATALOG)
    bag = answer.of("driver.front-bag")
    assert bag is not None
    assert bag.prior_db is not None
    assert bag.posterior_db is not None
    assert bag.likeliest == "fired"
    alone = sum(b.alone_db or 0.0 for b in bag.because)
    assert bag.posterior_db - bag.prior_db != pytest.approx(alone, abs=0.5)
    strongest = bag.because[0]
    assert strongest.evidence == ("torn",)
    assert strongest.last_db is not None
    assert strongest.last_db > 10.0


def test_one_single_piece_of_evidence_weighs_the_same_alone_and_last() -> None:
    torn = Look(id="torn", component="driver.front-bag", seen="cover-torn")
    bag = assess(case(torn), build.CATALOG).of("driver.front-bag")
    assert bag is not None
    (reason,) = bag.because
    assert reason.alone_db == pytest.approx(reason.last_db)
    assert bag.prior_db is not None
    assert bag.posterior_db == pytest.approx(bag.prior_db + (reason.alone_db or 0.0), abs=0.02)


def test_a_part_whose_range_crosses_a_limit_is_given_something_that_settles_it() -> None:
    answer = assess(build.case(NOSE, CODE), build.CATALOG)
    sure = [c for c in answer.components if max(msgspec.structs.astuple(c.now)) >= 0.95]
    ranged = [c for c in sure if c.ranges]
    assert ranged
    assert all(c.settled_by is not None for c in ranged)
    assert all(c.settled_by is None for c in sure if not c.ranges)


def test_no_look_is_asked_at_what_comes_with_an_assembly_that_is_new_anyway() -> None:
    """The webbing comes with the retractor: once that fired, nobody need look at it."""
    locked = Look(id="eye", component="driver.retractor-pretensioner", seen="webbing-locked")
    answer = assess(case(NOSE, CODE, locked), build.CATALOG, table())
    retractor = answer.of("driver.retractor-pretensioner")
    assert retractor is not None
    assert retractor.now.fired > build.CATALOG.fact("require.sure").number()
    looked_at = {look.component for look in answer.next_looks}
    assert not looked_at & {"driver.belt-webbing", "driver.load-limiter"}
    apart = msgspec.structs.replace(
        case(NOSE, CODE, locked), profile=Profile(sold_apart=("belt-webbing", "load-limiter"))
    )
    before = {look.component for look in assess(apart, build.CATALOG, table()).next_looks}
    assert before & {"driver.belt-webbing", "driver.load-limiter"}


def test_what_somebody_inspected_and_signed_for_is_asked_for_no_more() -> None:
    before = assess(case(NOSE), build.CATALOG, table()).next_looks
    part = next(x.component for x in before if x.look not in ("substitute-load", "scan"))
    signed = Passed(id="s", what=f"{part}:inspect", result="passed", by="R")
    after = assess(case(NOSE, signed), build.CATALOG, table()).next_looks
    assert part not in {x.component for x in after}


def asked_of(component: str, *evidence: Evidence) -> set[str]:
    answer = assess(case(NOSE, CODE, *evidence), build.CATALOG, table())
    return {x.look for x in answer.next_looks if x.component == component}


@pytest.mark.parametrize("seen", ["intact", "not-seen"])
def test_what_was_looked_for_and_not_seen_is_not_asked_again(seen: str) -> None:
    retractor = "driver.retractor-pretensioner"
    asked = asked_of(retractor) - {"substitute-load"}
    assert asked
    for word in asked:
        look = Look(id="eye", component=retractor, seen=seen, asked=word)
        assert asked_of(retractor, look) <= {"connector-off", "substitute-load"}
        fitted = DoneWork(id="new", what="replaced", component=retractor)
        assert asked_of(retractor, look, fitted) == asked_of(retractor, fitted)


def test_a_part_that_was_looked_at_twice_with_nothing_seen_is_looked_at_no_more() -> None:
    retractor = "driver.retractor-pretensioner"
    twice = [Look(id=f"eye-{n}", component=retractor, seen="intact", by="R") for n in (1, 2)]
    assert asked_of(retractor, *twice) <= {"substitute-load"}


# What a technician looks into first (common practice, no source): the right report, then what
# decides a contradiction, then what is at hand.

VIN, OTHER_VIN = "0Z9HB3C4XJE118205", "0Z9HB3C48HE902277"
WHOLE = Look(id="cover", component="driver.front-bag", seen="cover-whole")
OPEN = build.scan(build.code(1, "driver.front-bag"), build.record())


def test_a_report_of_another_car_asks_for_a_scan_of_this_one_first() -> None:
    car = msgspec.structs.replace(CAR, vin=VIN)
    foreign = msgspec.structs.replace(OPEN.reading, vin=OTHER_VIN)
    scan = msgspec.structs.replace(OPEN, reading=foreign)
    answer = assess(build.case(NOSE, scan, WHOLE, on=car), build.CATALOG, table())
    assert answer.next_looks[0].look == "second-scan"
    assert "VIN" in answer.next_looks[0].text
    assert any("another car" in c.text for c in answer.contradictions)
    own = msgspec.structs.replace(scan, reading=msgspec.structs.replace(foreign, vin=VIN))
    again = assess(build.case(NOSE, own, WHOLE, on=car), build.CATALOG, table())
    assert not any("another car" in c.text for c in again.contradictions)


def test_a_report_that_stops_short_is_read_to_its_end_first() -> None:
    cut = build.scan(build.code(1, "driver.retractor-pretensioner"), complete=False)
    looks = assess(case(NOSE, cut), build.CATALOG, table()).next_looks
    assert looks[0].look == "second-scan"
    assert "stops short" in looks[0].text


def test_a_unit_that_does_not_answer_has_its_supply_checked_first() -> None:
    silent = build.scan(build.code(1, "centre.control-unit", fault="communication"), complete=False)
    line = msgspec.structs.replace(silent.reading.lines[0], kind="control-unit")
    silent = msgspec.structs.replace(
        silent, reading=msgspec.structs.replace(silent.reading, lines=(line,))
    )
    looks = assess(case(NOSE, silent), build.CATALOG, table()).next_looks
    assert "supply" in looks[0].text


def test_what_decides_a_contradiction_comes_before_what_only_saves_more() -> None:
    looks = assess(case(NOSE, OPEN, WHOLE), build.CATALOG, table()).next_looks
    assert looks[0].component == "driver.front-bag"
    assert max(looks[1:], key=lambda x: x.saving).saving > looks[0].saving


def test_hearsay_against_an_eye_leads_to_no_second_look_there() -> None:
    told = Statement(id="told", component="driver.front-bag", says="deployed", from_="a listing")
    clean = build.scan(build.record())
    answer = assess(case(NOSE, clean, WHOLE, told), build.CATALOG, table())
    assert any("driver.front-bag" in c.text for c in answer.contradictions)
    assert answer.next_looks[0].component != "driver.front-bag"


def test_a_load_that_is_out_while_the_last_scan_is_clean_is_searched_first() -> None:
    burst = Look(id="seen", component="driver.seat-bag", seen="seam-burst")
    issued = SubstituteLoad(
        id="load", serial="L-1", loop="driver.seat-bag/1", ohm=2.1, move="issued"
    )
    after = build.scan(id="after", when="after-repair")
    looks = assess(build.case(burst, issued, after), build.CATALOG).next_looks
    assert (looks[0].component, looks[0].look) == ("driver.seat-bag", "load-in-connector")
    before = build.scan(id="with-loads", when="before-repair")
    during = assess(build.case(burst, issued, before), build.CATALOG).next_looks
    assert "load-in-connector" not in {x.look for x in during}


def test_a_seat_that_weighs_wrong_is_not_cleared_by_a_clean_scan() -> None:
    sensor, clean = "passenger.occupant-sensor", build.scan(when="after-repair")
    trials = tuple(
        SeatTrial(id=f"trial-{kg}", component=sensor, applied_kg=kg, read_kg=read)
        for kg, read in ((30.0, 3.0), (65.0, 21.0))
    )
    answer = assess(build.case(clean, *trials), build.CATALOG)
    good = msgspec.structs.replace(trials[0], read_kg=31.0)
    well = assess(build.case(clean, good), build.CATALOG)
    wrong, right = answer.of(sensor), well.of(sensor)
    assert wrong is not None
    assert right is not None
    assert wrong.now.sound < 0.5 < 0.9 < right.now.sound
    assert wrong.now.unfit > wrong.now.faulty + wrong.now.damaged
    assert answer.next_looks[0].component == sensor
    one = assess(build.case(clean, trials[0]), build.CATALOG).of(sensor)
    assert one is not None
    assert one.now.sound == pytest.approx(wrong.now.sound, abs=1e-12)  # two trials, one cause


def test_a_crushed_sensor_that_reads_open_is_no_contradiction() -> None:
    sensor = "nose-left.impact-sensor"
    crushed = Look(id="seen", component=sensor, seen="damaged")
    scan = build.scan(build.code(1, sensor), build.record())
    body = msgspec.structs.replace(NOSE, zone="nose-left")
    answer = assess(build.case(body, scan, crushed), build.CATALOG)
    assert not any(c.component == sensor for c in answer.contradictions)


def test_a_whole_record_that_times_other_bags_speaks_of_those_it_leaves_out() -> None:
    rolled = Circumstance(id="told", what="rollover", present=True)
    times = Recorder(id="times", commanded_ms={"left.curtain": 290.0}, complete=True)
    partly = msgspec.structs.replace(times, complete=None)
    chances = [
        next(c for c in assess(build.case(rolled, r), build.CATALOG).components if c.id == part)
        for r in (times, partly)
        for part in ("driver.seat-bag",)
    ]
    assert chances[0].after_crash.fired < chances[1].after_crash.fired


@pytest.mark.parametrize("bag", ["driver.front-bag", "passenger.front-bag"])
def test_a_bag_taken_out_makes_leads_and_panel_worth_a_look(bag: str) -> None:
    gone = Look(id="gone", component=bag, seen="missing")
    calm = Circumstance(id="calm", what="crash", present=False)
    hurt = "driver.clock-spring" if bag.startswith("driver") else "centre.instrument-panel"
    with_hole = assess(build.case(calm, gone), build.CATALOG).of(hurt)
    without = assess(build.case(calm), build.CATALOG).of(hurt)
    assert with_hole is not None
    assert without is not None
    assert with_hole.now.damaged > 0.1 > without.now.damaged


def test_a_unit_seen_hurt_is_looked_at_before_the_key() -> None:
    hurt = Look(id="hurt", component="centre.control-unit", seen="damaged")
    answer = assess(case(NOSE, build.scan(build.record()), hurt), build.CATALOG, table())
    assert answer.next_looks[0].component == "centre.control-unit"
    unit = answer.of("centre.control-unit")
    assert unit is not None
    assert unit.now.damaged > 0.5


@pytest.mark.parametrize(
    ("zone", "kinds"),
    [("nose-left", {"front-bag"}), ("door-left", {"seat-bag", "curtain"})],
)
def test_crush_against_a_silent_scan_asks_for_the_bag_first(zone: str, kinds: set[str]) -> None:
    body = Impact(id="body", zone=zone, extent="moderate")
    looks = assess(build.case(body, build.scan()), build.CATALOG).next_looks
    assert split_component(looks[0].component).kind in kinds


def test_a_code_of_a_seat_takes_nothing_from_crush_against_silence() -> None:
    body = Impact(id="body", zone="nose-left", extent="severe")
    seat = build.code(1, "passenger.seat-position-sensor", fault="short-to-ground")
    answer = assess(build.case(body, build.scan(seat)), build.CATALOG)
    assert [c.text for c in answer.contradictions] == [
        "the body is crushed, yet the complete scan shows no code of a charge"
    ]
    assert "Look at the bag's cover" in answer.contradictions[0].remedy


def test_a_belt_that_a_slope_locks_is_looked_at_again_on_level_ground() -> None:
    """49 CFR 571.209 S4.3(j), from memory: a reel locks by tilt alone from 15 to 45 degrees on."""
    locked = [
        Look(id=f"at-{s}", component=f"{s}.retractor-pretensioner", seen="webbing-locked")
        for s in SEATS
    ]
    story = Story(id="told", text="Seen on a transporter that stood steeply; no belt would pull.")
    answer = assess(case(NOSE, build.scan(), *locked, story), build.CATALOG)
    assert [f.code for f in answer.findings] == ["look-on-a-slope"] * 2
    assert not answer.loads_left_in
    unseen = assess(case(NOSE, build.scan()), build.CATALOG)
    assert [c.now for c in answer.components] == [c.now for c in unseen.components]
    level = assess(case(NOSE, build.scan(), *locked), build.CATALOG)
    assert len(level.loads_left_in) == 2


def test_a_unit_found_loose_has_its_mount_looked_at_first() -> None:
    loose = Passed(id="mount", what="unit-bolted", result="failed")
    again = Passed(id="later", what="unit-bolted", result="passed")
    first = assess(case(build.scan(), loose), build.CATALOG).next_looks[0]
    assert (first.component, first.look) == ("centre.control-unit", "damaged")
    later = assess(case(build.scan(), loose, again), build.CATALOG).next_looks
    assert first not in later


def test_a_whole_record_that_times_one_second_stage_leaves_another_one_in_doubt() -> None:
    """49 CFR 563.7, Table II: the time to a later stage is recorded where it is recorded at all."""
    times = {"driver.front-bag/1": 19.0, "driver.front-bag/2": 24.0, "passenger.front-bag/1": 19.0}
    out = [Look(id=f"at-{s}", component=f"{s}.front-bag", seen="deployed") for s in SEATS]
    spent = []
    for whole in (None, True):
        told = Recorder(id="edr", record="locked", commanded_ms=times, complete=whole)
        bag = assess(build.case(NOSE, told, *out), build.CATALOG).of("passenger.front-bag")
        assert bag is not None
        spent.append(bag.stages["2"].fired)
    assert spent[1] < spent[0] - 0.1


def test_a_car_of_which_nothing_is_told_is_answered_too() -> None:
    assert len(assess(case(), build.CATALOG).components) == len(CAR.components)


# From a seat airbag whose inspection was signed, and which one new code made "fired, 55 %": the
# signature moved nothing. A tick without a name is none.
@pytest.mark.parametrize(("by", "counts"), [("W", True), ("", False), (None, False)])
def test_an_inspection_that_is_signed_by_name_counts_as_a_look(
    by: str | None, counts: bool
) -> None:
    part, car = "driver.seat-bag", build.car()
    scan = build.scan(build.code(1, part))
    signed = Passed(id="i", what=f"{part}:inspect", result="passed", by=by)
    plain, told, seen = (
        assess(build.case(NOSE, *more, scan, on=car), build.CATALOG).of(part)
        for more in ((), (signed,), (Look(id="i", component=part, seen="intact", by=by),))
    )
    assert plain is not None
    assert told is not None
    assert seen is not None
    like = seen if counts else plain
    assert told.now.fired == pytest.approx(like.now.fired, rel=1e-9)
    assert seen.now.fired < 0.1 * plain.now.fired
