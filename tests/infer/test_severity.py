"""What the crash's severity and direction do at their ends: physics, and the open data's shares."""

import build
import msgspec
import numpy as np
import pytest

from squibwise.infer import assess, assess_plainly
from squibwise.infer.event_table import event_table
from squibwise.infer.told import weigh_impact
from squibwise.model.belief import Assessment
from squibwise.model.evidence import Circumstance, Evidence, Impact, Look, Occupant, Recorder

BAG, BELT = "driver.front-bag", "driver.retractor-pretensioner"
SPEEDS = (0.0, 2.0, 4.0, 6.0, 9.0, 12.0, 16.0, 22.0, 30.0, 45.0, 70.0)


def fired(answer: Assessment, component: str) -> float:
    belief = answer.of(component)
    assert belief is not None
    return belief.after_crash.fired


def estimated(side: str, kmh: float) -> Assessment:
    along = {"nose-centre": (-kmh, 0.0), "door-left": (0.0, kmh), "tail": (kmh, 0.0)}[side]
    told = Recorder(
        id="estimate", method="estimate", delta_v_long_kmh=along[0], delta_v_lat_kmh=along[1]
    )
    belted = Occupant(id="driver", seat="driver", present=True, belt="latched")
    zone = Impact(id="body", zone=side)
    return assess(build.case(told, zone, belted), build.CATALOG)


@pytest.mark.parametrize("side", ["nose-centre", "door-left", "tail"])
def test_firing_rises_with_severity_and_is_nothing_at_a_standstill(side: str) -> None:
    answers = [estimated(side, v) for v in SPEEDS]
    for part in (BAG, BELT, "driver.seat-bag", "left.curtain"):
        chances = [fired(a, part) for a in answers]
        assert chances == sorted(chances), part
        assert chances[0] < 0.01
        assert chances[1] < 0.25


# From a car hit hard at its left door whose two front seats' frames were as likely bent, to the
# sixteenth digit. Common practice, no source: the door comes in on the near seat.
@pytest.mark.parametrize(("zone", "near", "far"), [("door-left", 0, 1), ("door-right", 1, 0)])
def test_the_frame_of_the_struck_seat_is_likelier_bent_than_the_far_one(
    zone: str, near: int, far: int
) -> None:
    seats = ("driver.seat-frame", "passenger.seat-frame")

    def bent(zone: str) -> list[float]:
        hit = Impact(id="body", zone=zone, extent="severe")
        answer = assess(build.case(hit, on=build.car(add=seats)), build.CATALOG)
        return [answer.of(seat).after_crash.damaged for seat in seats]  # type: ignore[union-attr]

    beside = bent(zone)
    assert beside[near] > 3.0 * beside[far]
    ahead = bent("nose-centre")
    assert ahead[0] == pytest.approx(ahead[1], rel=1e-4)  # a second blow may follow


def recorded(kmh: float, *more: Evidence, method: str = "recorder") -> Assessment:
    told = Recorder(id="r", method=method, delta_v_long_kmh=-kmh, delta_v_lat_kmh=0.0)  # type: ignore[arg-type]
    return assess(build.case(told, *more), build.CATALOG)


def test_a_record_at_the_lower_bound_of_firing_is_no_cliff() -> None:
    # Source: 49 CFR 563.5, trigger threshold: 8 km/h. What a record shows just above it may be of
    # another event as well as what it shows just below.
    for more in ((), (Impact(id="body", zone="nose-left", extent="severe"),)):
        below, at, above = (recorded(kmh, *more) for kmh in (7.9, 8.0, 8.4))
        for one, other in ((below, at), (at, above)):
            assert abs(one.event.no_crash - other.event.no_crash) < 0.3
            for part in (BAG, BELT, "left.curtain"):
                assert abs(fired(one, part) - fired(other, part)) < 0.06, part
                assert fired(other, part) > 0.0


def test_what_is_recorded_alone_never_fires_less_for_being_faster() -> None:
    answers = [recorded(kmh) for kmh in (0.0, 7.9, 9.0, 11.0, 13.0, 18.0)]
    chances = [fired(a, BAG) for a in answers]
    assert chances == sorted(chances)
    assert [a.event.no_crash for a in answers] == sorted(
        (a.event.no_crash for a in answers), reverse=True
    )


@pytest.mark.parametrize("extent", [None, "moderate", "severe"])
def test_a_clean_scan_beside_a_record_of_little_speed_raises_nothing(extent: str | None) -> None:
    # A unit whose recorder missed the event may have lost its codes: its silence is no sign of it.
    body = Impact(id="body", zone="nose-left", extent=extent)  # type: ignore[arg-type]
    for kmh in (0.0, 9.0):
        slow = Recorder(id="r", delta_v_long_kmh=-kmh, delta_v_lat_kmh=0.0)
        before, after = (
            assess_plainly(build.case(body, slow, *more), build.CATALOG)
            for more in ((), (build.scan(),))
        )
        for part in (BAG, BELT, "passenger.front-bag", "driver.seat-bag", "left.curtain"):
            assert fired(after, part) <= fired(before, part) + 1e-9, (kmh, part)


def test_an_estimate_of_nothing_leaves_that_there_was_no_crash() -> None:
    nothing = recorded(0.0, method="estimate")
    assert nothing.event.no_crash > 0.5
    assert fired(nothing, BAG) < 0.01


def estimate_sure_to(u_kmh: float | None, kmh: float) -> Assessment:
    told = Recorder(
        id="r", method="estimate", delta_v_long_kmh=-kmh, delta_v_lat_kmh=0.0, u_kmh=u_kmh
    )
    return assess(build.case(told), build.CATALOG)


def test_an_estimate_that_is_surer_than_usual_is_nearer_to_a_measured_one() -> None:
    # 5 km/h of damage are 5.7 km/h of the car: below 8 km/h nothing fires (49 CFR 563.5).
    usual = build.CATALOG.priors.severity.sd_kmh
    answers = [estimate_sure_to(u, 5.0) for u in (0.0, 1.0, 3.0, 5.0, usual)]
    belts = [round(fired(a, BELT), 9) for a in answers]
    assert belts == sorted(belts)
    assert belts[1] < 0.03 < 0.2 < belts[-1]
    assert answers[0].event.no_crash > answers[-1].event.no_crash + 0.3
    assert fired(estimate_sure_to(None, 5.0), BELT) == pytest.approx(belts[-1], abs=1e-9)


def test_an_estimate_less_sure_than_usual_is_the_mean_over_what_it_scatters_more() -> None:
    # Law of total probability, by hand over the same five points of a normal distribution.
    more, usual = 6.0, build.CATALOG.priors.severity.sd_kmh
    points = np.linspace(-1.7, 1.7, 5)
    weights = np.exp(-0.5 * points**2)
    alone = [fired(estimate_sure_to(None, 30.0 + more * p), BAG) for p in points]
    spread = fired(estimate_sure_to(float(np.hypot(usual, more)), 30.0), BAG)
    assert spread == pytest.approx(float(weights @ alone / weights.sum()), abs=2e-3)


@pytest.mark.parametrize(("kmh", "is_told"), [(5.0, True), (10.0, True), (25.0, False)])
def test_a_crushed_nose_against_a_slow_record_is_told(kmh: float, is_told: bool) -> None:
    answer = recorded(kmh, Impact(id="body", zone="nose-left", extent="severe"))
    told = [c for c in answer.contradictions if set(c.evidence) == {"body", "r"}]
    assert bool(told) == is_told


ORDERED = [("door-left", "nose-left"), ("door-left", "door-right"), ("door-right", "tail")]


@pytest.mark.parametrize("zones", ORDERED, ids="-".join)
def test_two_impacts_fire_what_either_of_them_fires(zones: tuple[str, str]) -> None:
    """Physics: the second takes nothing back. Within .06: which bags of a seat go is judged."""
    hits = [Impact(id=zone, zone=zone, extent="moderate") for zone in zones]
    in_order = [msgspec.structs.replace(hit, order=n) for n, hit in enumerate(hits, start=1)]
    both = assess(build.case(*in_order), build.CATALOG)
    alone = [assess(build.case(hit), build.CATALOG) for hit in hits]
    for part in ("driver.seat-bag", "passenger.seat-bag", "left.curtain", "right.curtain", BAG):
        assert fired(both, part) >= max(fired(a, part) for a in alone) - 0.06, part


def test_a_hit_beside_a_rollover_takes_little_from_the_curtains() -> None:
    roll = Circumstance(id="roll", what="rollover", present=True)
    alone = fired(assess(build.case(roll), build.CATALOG), "left.curtain")
    hit = Impact(id="body", zone="nose-left", extent="moderate")
    assert fired(assess(build.case(roll, hit), build.CATALOG), "left.curtain") > alone - 0.1


def test_latched_belts_fire_at_least_as_often_as_the_bag_at_every_speed() -> None:
    # Pretensioners have the lower threshold: common practice, no source.
    chances = []
    for speed in SPEEDS:
        told = Recorder(id="r", delta_v_long_kmh=-speed, delta_v_lat_kmh=0.0, driver_belt="latched")
        answer = assess(build.case(told), build.CATALOG)
        assert fired(answer, BELT) >= fired(answer, BAG), speed
        chances.append(round(fired(answer, BELT), 12))  # alike below the bound, but for its digits
    assert chances == sorted(chances)


def hit(zone: str, clock: int | None, extent: str | None) -> Assessment:
    seen = Impact(id="body", zone=zone, clock=clock, extent=extent)  # type: ignore[arg-type]
    return assess(build.case(seen), build.CATALOG)


def test_a_pure_door_hit_fires_the_front_bag_no_oftener_than_the_open_data_say() -> None:
    # Source: nass-cds-2000-2012, share of frontal bags fired by struck side: left .24, right .29.
    for extent in (None, "light", "moderate"):
        assert fired(hit("door-left", 9, extent), BAG) <= 0.29
    assert fired(hit("door-left", 10, "moderate"), BAG) > fired(
        hit("door-left", 9, "moderate"), BAG
    )
    behind = fired(hit("door-left", 8, "moderate"), BAG)
    assert behind <= fired(hit("door-left", 9, "moderate"), BAG) + 0.01


def test_moderate_is_not_severe() -> None:
    moderate, severe = (hit("nose-centre", 12, e).event.delta_v_kmh for e in ("moderate", "severe"))
    assert moderate is not None
    assert severe is not None
    assert moderate.p50 < 40.0 < severe.p50


def test_told_of_no_crash_a_car_without_power_had_none() -> None:
    none = Circumstance(id="told", what="crash", present=False)
    dark = Circumstance(id="dark", what="unpowered", present=True)
    answer = assess(build.case(none, dark), build.CATALOG)
    assert answer.event.no_crash > 0.9
    assert answer.open_questions == ()


def test_without_a_crash_the_glass_is_as_whole_as_any_other_part() -> None:
    none = Circumstance(id="told", what="crash", present=False)
    answer = assess(build.case(none), build.CATALOG)
    glass = answer.of("centre.windshield")
    assert glass is not None
    assert glass.now.damaged < 0.04
    assert "centre.windshield" not in [look.component for look in answer.next_looks[:1]]


@pytest.mark.parametrize(
    "beside",
    [(), (Look(id="unit", component="centre.control-unit", seen="damaged"),)],
    ids=["crush", "crush and hurt unit"],
)
def test_crush_alone_settles_no_deployment(beside: tuple[Evidence, ...]) -> None:
    body = Impact(id="body", zone="nose-left", extent="severe")
    bag = assess(build.case(body, *beside), build.CATALOG).of("driver.front-bag")
    assert bag is not None
    assert bag.after_crash.fired > 0.8
    assert bag.ranges["fired"].low < build.CATALOG.fact("present.settled").number()


def test_a_doubtful_conclusion_is_told_with_the_range_of_its_figures() -> None:
    answer = hit("nose-right", 1, "moderate")
    sensor = answer.of("nose-right.impact-sensor")
    assert sensor is not None
    told = sensor.ranges["damaged"]
    assert told.low < sensor.after_crash.damaged < told.high
    assert told.figure == "how often a crash hurts it"
    curtain = answer.of("left.curtain")
    assert curtain is not None
    assert all(r.low <= r.high and r.figure for c in answer.components for r in c.ranges.values())


def test_a_time_is_wanted_of_reports_without_one_that_disagree() -> None:
    first = build.scan(build.code(1, BAG, 1))
    second = build.scan(build.code(1, "passenger.front-bag", 1), id="scan-2")
    alike = build.scan(build.code(1, BAG, 1), id="scan-2")
    asked = [q.id for q in assess(build.case(first, second), build.CATALOG).open_questions]
    assert "times" in asked
    asked = [q.id for q in assess(build.case(first, alike), build.CATALOG).open_questions]
    assert "times" not in asked


# What is left out is integrated over: leaving a number out is the mean over all that it can be.


def seen(**told: object) -> np.ndarray:
    entry = Impact(id="body", **told)  # type: ignore[arg-type]
    return weigh_impact(entry, event_table(build.case(), build.CATALOG, {}), build.CATALOG)


def crashed() -> np.ndarray:
    events = event_table(build.case(), build.CATALOG, {})
    return events.holds([s.kind == "crash" for s in events.scenarios])


def test_a_body_without_an_hour_is_the_sum_over_all_hours() -> None:
    for zone in ("nose-left", "nose-centre", "door-left", "door-right", "tail"):
        whole = sum(seen(zone=zone, clock=hour) for hour in range(1, 13))
        left_out = seen(zone=zone)
        rows = left_out > 0.001  # elsewhere the floor speaks
        assert whole[rows] == pytest.approx(left_out[rows], rel=1e-9)


@pytest.mark.parametrize("zone", ["door-left", "nose-right"])
def test_a_bag_without_an_hour_is_the_mean_over_the_hours(zone: str) -> None:
    weight = event_table(build.case(), build.CATALOG, {}).weight
    answers = {hour: hit(zone, hour, "moderate") for hour in range(1, 13)}
    told = {h: float(weight @ seen(zone=zone, clock=h, extent="moderate")) for h in answers}
    mean = sum(told[h] * fired(answer, BAG) for h, answer in answers.items())
    without = fired(hit(zone, None, "moderate"), BAG)
    assert without == pytest.approx(mean / sum(told.values()), abs=1e-3)


def test_a_body_without_a_zone_is_the_sum_over_all_zones() -> None:
    zones = [zone.name for zone in build.CATALOG.firing.events.zone]
    whole = sum(seen(zone=zone, extent="moderate") for zone in zones)
    left_out = seen(extent="moderate")
    rows = crashed() & (left_out > 0.01)
    assert whole[rows] == pytest.approx(left_out[rows], rel=0.02)


def test_an_unknown_model_year_is_the_mean_over_the_years_of_the_curve() -> None:
    years = dict(build.CATALOG.priors.curves["driver-front-bag"].years)
    told = Impact(id="body", zone="nose-centre", extent="moderate")

    def chance(year: int | None) -> float:
        car = build.car("belts-and-front-bags", year=year)
        return fired(assess(build.case(told, on=car), build.CATALOG), BAG)

    mean = sum(weight * chance(int(year)) for year, weight in years.items())
    assert chance(None) == pytest.approx(mean / sum(years.values()), abs=2e-3)


def test_an_unknown_belt_is_the_mix_of_both() -> None:
    told = Impact(id="body", zone="nose-centre", extent="moderate")
    event = assess(build.case(told), build.CATALOG)

    def chance(belt: str) -> float:
        who = Recorder(id="belt", driver_belt=belt)  # type: ignore[arg-type]
        return fired(assess(build.case(told, who), build.CATALOG), BAG)

    latched = event.event.driver_belted
    mix = latched * chance("latched") + (1.0 - latched) * chance("unlatched")
    assert fired(event, BAG) == pytest.approx(mix, abs=0.01)
