"""Tables: series of delta-V, acceleration pulses, bad channels, crash test 10146."""

import csv
import io
import math
from pathlib import Path

import numpy as np
import pytest

from squibwise.catalog.load import load_catalog
from squibwise.errors import InputError
from squibwise.intake.crash_data import CrashData, read_crash_data
from squibwise.intake.crash_data.pulses import heard, integrated, longest_gap_s, longest_stuck_s
from squibwise.intake.crash_data.settings import settings_of
from squibwise.intake.crash_data.table import tables_of
from squibwise.numerics.pulse import bias_before, delta_v_kmh, first_crossing, integrate, zero_phase

CATALOG = load_catalog()
SETTINGS = settings_of(CATALOG, "pulse.csv")
G = 9.80665
TIME = np.arange(-500, 2000) / 1e4
PULSE = np.where((TIME >= 0) & (TIME <= 0.08), -20.0 * np.sin(math.pi * TIME / 0.08), 0.0)


def table(columns: dict[str, np.ndarray]) -> bytes:
    out = io.StringIO()
    writer = csv.writer(out)
    writer.writerow(columns)
    for row in zip(*columns.values(), strict=True):
        writer.writerow(["" if math.isnan(v) else f"{v:.6g}" for v in row])
    return out.getvalue().encode()


def read(data: bytes | str) -> CrashData:
    raw = data.encode() if isinstance(data, str) else data
    return read_crash_data(raw, "pulse.csv", CATALOG)


def codes(found: CrashData) -> list[str]:
    """Return what is remarkable; the times of the event are said of every table."""
    return [f.code for f in found.findings if f.code != "crash-data-course"]


def test_a_half_sine_pulse_gives_its_closed_form_delta_v() -> None:
    # 20 g, 80 ms: 35.960 km/h by 2 A T / pi.
    (entry,) = read(table({"time_s": TIME, "floor_x_g": PULSE})).entries
    assert entry.delta_v_long_kmh == pytest.approx(-35.960, abs=0.01)
    assert (entry.method, entry.delta_v_lat_kmh, entry.record) == ("pulse", None, "unknown")


@pytest.mark.parametrize("offset", [-2.0, 0.5, 3.0])
def test_an_offset_of_the_channel_is_taken_off(offset: float) -> None:
    found = read(table({"time_s": TIME, "floor_x_g": PULSE + offset}))
    assert found.entries[0].delta_v_long_kmh == pytest.approx(-35.960, abs=0.02)


def test_the_unit_of_the_header_decides() -> None:
    ms2 = read(table({"time [ms]": TIME * 1e3, "Sill long. (m/s^2)": PULSE * G}))
    assert ms2.entries[0].delta_v_long_kmh == pytest.approx(-35.960, abs=0.01)


def test_both_axes_give_a_direction_of_force() -> None:
    found = read(table({"time_s": TIME, "floor_x_g": PULSE, "floor_y_g": 0.5 * PULSE}))
    (direction,) = found.directions
    assert direction is not None
    assert direction.degrees == pytest.approx(26.565, abs=0.01)
    assert direction.clocks[0][0] == 1


def test_a_recording_from_time_zero_on_has_an_unknown_offset_and_says_so() -> None:
    late = TIME >= 0
    found = read(table({"time_s": TIME[late], "floor_x_g": PULSE[late]}))
    assert "crash-data-bias" in codes(found)


def test_a_low_rate_is_remarked_on_but_integrated() -> None:
    found = read(table({"time_s": TIME[::20], "floor_x_g": PULSE[::20]}))
    assert codes(found) == ["crash-data-rate"]
    assert found.entries[0].delta_v_long_kmh == pytest.approx(-35.96, abs=0.1)


def gapped(length: int) -> np.ndarray:
    broken = PULSE.copy()
    broken[800 : 800 + length] = np.nan
    return broken


def test_a_channel_with_a_long_gap_is_rejected_and_a_short_one_bridged() -> None:
    long = read(table({"time_s": TIME, "a_x_g": gapped(60), "b_x_g": PULSE}))
    assert codes(long) == ["crash-data-channel"]
    assert "missing for 6 ms" in long.findings[0].message
    short = read(table({"time_s": TIME, "a_x_g": gapped(5), "b_x_g": PULSE}))
    assert codes(short) == []


def test_a_channel_cut_off_at_its_range_is_rejected() -> None:
    cut = np.maximum(PULSE, -8.0)
    found = read(table({"time_s": TIME, "a_x_g": cut}))
    assert found.entries == ()
    assert codes(found) == ["crash-data-channel", "crash-data-no-channel"]
    assert "stuck or cut off" in found.findings[0].message


def test_a_channel_that_swings_back_is_rejected_whatever_it_is_called() -> None:
    ringing = PULSE * np.cos(2 * math.pi * 40.0 * TIME)
    found = read(table({"time_s": TIME, "seven_x_g": ringing}))
    assert "swings back" in found.findings[0].message
    assert found.entries == ()


def test_of_three_channels_the_one_that_disagrees_is_left_out() -> None:
    found = read(
        table({"time_s": TIME, "a_x_g": PULSE, "b_x_g": PULSE * 1.01, "c_x_g": PULSE * 1.4})
    )
    assert codes(found) == ["crash-data-disagree"]
    assert found.entries[0].delta_v_long_kmh == pytest.approx(-36.14, abs=0.05)


def test_of_two_channels_that_disagree_both_stay_and_the_uncertainty_grows() -> None:
    found = read(table({"time_s": TIME, "a_x_g": PULSE, "b_x_g": PULSE * 1.3}))
    assert codes(found) == ["crash-data-disagree"]
    u_kmh = found.entries[0].u_kmh
    assert u_kmh is not None
    assert u_kmh > 5.0


@pytest.mark.parametrize("others", [(-0.5,), (0.4,), (1.01, -0.5, -0.51)])
def test_channels_that_are_no_one_bodys_are_never_averaged(others: tuple[float, ...]) -> None:
    """Two vehicles in one file under names of their own; three of one against one are the car."""
    more = {f"c{n}_x_g": PULSE * share for n, share in enumerate(others)}
    found = read(table({"time_s": TIME, "a_x_g": PULSE} | more))
    assert found.entries == ()
    assert "crash-data-disagree" in codes(found)
    assert "one body" in found.findings[0].message


def test_lateral_channels_against_each_other_leave_the_longitudinal_as_it_is() -> None:
    alone = read(table({"time_s": TIME, "floor_x_g": PULSE})).entries[0]
    columns = {"time_s": TIME, "floor_x_g": PULSE, "l_y_g": PULSE * 0.4, "r_y_g": PULSE * -0.4}
    found = read(table(columns)).entries[0]
    assert found.delta_v_long_kmh == pytest.approx(alone.delta_v_long_kmh)
    assert found.u_kmh == pytest.approx(alone.u_kmh)
    assert found.delta_v_lat_kmh is None


def test_a_pulse_on_a_wrong_scale_gives_no_change_of_speed() -> None:
    found = read(table({"time_s": TIME, "floor_x_g": PULSE * 50}))
    assert found.entries[0].delta_v_long_kmh is None
    assert "crash-data-impossible" in codes(found)


def test_a_series_of_delta_v_is_taken_as_recorded() -> None:
    found = read(
        "time_ms;delta_v_long_kmh;delta_v_lat_kmh\n0;0;0\n10;-1,5;0\n20;-4;-0,5\n30;-12;-1"
    )
    (entry,) = found.entries
    assert (entry.method, entry.record) == ("recorder", "stored")
    assert (entry.delta_v_long_kmh, entry.delta_v_lat_kmh) == (-12.0, -1.0)


def test_units_may_stand_in_a_row_of_their_own() -> None:
    found = read("Time,Delta-V longitudinal\n(ms),(mph)\n0,0\n10,-5\n20,-10\n")
    assert found.entries[0].delta_v_long_kmh == pytest.approx(-16.09344)


def test_several_events_are_told_apart_by_a_column() -> None:
    found = read("event,time_ms,deltav_x_kmh\n1,0,0\n1,10,-9\n1,20,-20\n2,0,0\n2,10,-5\n2,20,-12\n")
    assert [(e.event, e.delta_v_long_kmh) for e in found.entries] == [(1, -20.0), (2, -12.0)]
    assert {e.event_count for e in found.entries} == {2}


def test_a_column_of_driving_speed_is_named_as_not_used() -> None:
    found = read(
        "time_s,vehicle speed (km/h),dv_x_kmh\n"
        "0,54,0\n0.01,54,-9\n0.02,54,-20\n0.03,,-20\n0.04,,-20\n"
    )
    assert codes(found) == ["crash-data-column"]
    assert "not the change of speed" in found.findings[0].message


def test_a_cell_that_is_no_number_counts_as_missing_and_names_its_line() -> None:
    found = read("time_ms,deltav_x_kmh\n0,0\n10,-9\n20,oops\n30,-20\n")
    (finding,) = [f for f in found.findings if f.code == "crash-data-value"]
    assert finding.origin.line == 4
    assert found.entries[0].delta_v_long_kmh == -20.0


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("time,deltav_x_kmh\n0,0\n10,-9\n20,-20\n", "states no unit"),
        ("time_ms,deltav_x_kmh\n0,0\n10,-9\n10,-20\n", ":4: the times of event 1 do not rise"),
        ("time_ms,deltav_x_kmh\n0,0\n10,-9\n", "2 rows"),
        ("event,time_ms,dv_x_kmh\n1,0,0\n1,10,-9\n1,20,-9\n2,0,0\n", ":5: 1 rows of event 2"),
        ("event,time_ms,dv_x_kmh\n1,0,0\n1,10,-9\n0.5,20,-9\n", "has to hold 1, 2"),
        ("time_ms,deltav_x_kmh\n0,0\n10,-9\n20,-12\n,-20\n", "a row without a time"),
    ],
)
def test_a_table_that_cannot_be_used_is_refused(text: str, message: str) -> None:
    with pytest.raises(InputError, match=message) as refusal:
        read(text)
    assert refusal.value.remedy


def test_gaps_and_stuck_samples_are_measured() -> None:
    assert longest_gap_s(TIME, gapped(60)) == pytest.approx(0.006, abs=2e-4)
    assert longest_gap_s(TIME, PULSE) == 0.0
    assert longest_stuck_s(TIME, np.maximum(PULSE, -8.0)) > 0.05
    assert longest_stuck_s(TIME, PULSE) < 0.001


# --- Crash test 10146 of NHTSA: 2018 sedan into a rigid wall at 57.09 km/h (government data) ---

TEST_10146 = Path(__file__).parents[3].parent / "shared" / "data" / "crash_test_10146_channels.csv"
needs_10146 = pytest.mark.skipif(
    not TEST_10146.exists(), reason="channels of crash test 10146 are not on this machine"
)
SPEED_KMH = 57.09
FLOOR = (
    "floor_LR_x_g",
    "floor_LR_x_redundant_g",
    "floor_RR_x_g",
    "floor_RR_x_redundant_g",
)


def channels_10146() -> tuple[np.ndarray, dict[str, np.ndarray]]:
    found = tables_of(TEST_10146.read_text(encoding="utf-8"), SETTINGS)
    assert found is not None
    (one,), _ = found
    return one.time_s, {c.name: c.values for c in one.channels}


def floor_delta_v(cfc: float | None = None) -> tuple[np.ndarray, list[np.ndarray]]:
    time, channels = channels_10146()
    out = []
    for name in FLOOR:
        samples = channels[name] - bias_before(time, channels[name]).mean
        used = samples if cfc is None else zero_phase(samples, 1e4, cfc, 2.0775, 0.01)
        out.append(delta_v_kmh(time, used))
    return time, out


def at(time: np.ndarray, values: np.ndarray, ms: float) -> float:
    return float(np.interp(ms / 1e3, time, values))


@needs_10146
def test_10146_floor_channels_have_the_known_delta_v() -> None:
    time, series = floor_delta_v()
    final = [at(time, dv, 150.0) for dv in series]
    lowest = [float(dv[time <= 0.15].min()) for dv in series]
    assert (min(final), max(final)) == pytest.approx((-66.1, -64.5), abs=0.05)
    assert (min(lowest), max(lowest)) == pytest.approx((-67.4, -66.1), abs=0.05)
    assert float(time[np.argmin(np.mean(series, axis=0))]) == pytest.approx(0.113, abs=0.001)


@needs_10146
def test_10146_floor_channels_pass_the_known_levels_at_the_known_times() -> None:
    time, series = floor_delta_v()
    stop = [first_crossing(time, -dv, SPEED_KMH) for dv in series]
    assert all(t is not None and 0.0715 <= t <= 0.0745 for t in stop)
    trigger = first_crossing(time, -np.mean(series, axis=0), 8.0)
    assert trigger == pytest.approx(0.0214, abs=5e-5)


@needs_10146
def test_10146_peaks_under_cfc_60_are_the_known_ones() -> None:
    time, channels = channels_10146()
    peaks = []
    for name in FLOOR:
        samples = channels[name] - bias_before(time, channels[name]).mean
        peaks.append(float(zero_phase(samples, 1e4, 60.0, 2.0775, 0.01).min()) / G)
    assert (min(peaks), max(peaks)) == pytest.approx((-47.4, -39.6), abs=0.05)


@needs_10146
def test_10146_cfc_180_moves_delta_v_by_less_than_a_twentieth() -> None:
    # At 100 and 150 ms in every channel, and throughout in the mean of the floor. (One channel
    # alone ripples by up to .09 km/h in between: its noise before the filter.)
    time, raw = floor_delta_v()
    _, smooth = floor_delta_v(180.0)
    for a, b in zip(raw, smooth, strict=True):
        assert abs(at(time, a - b, 100.0)) < 0.05
        assert abs(at(time, a - b, 150.0)) < 0.05
    window = (time >= 0.1) & (time <= 0.15)
    moved = np.mean(raw, axis=0) - np.mean(smooth, axis=0)
    assert float(np.abs(moved[window]).max()) < 0.05


@needs_10146
def test_10146_crushes_as_far_as_known() -> None:
    time, series = floor_delta_v()
    crush = SPEED_KMH / 3.6 * time + integrate(time, np.mean(series, axis=0) / 3.6)
    assert float(crush[time <= 0.15].max()) == pytest.approx(0.742, abs=0.0015)


@needs_10146
def test_10146_is_read_whole_and_its_engine_is_rejected_as_a_source() -> None:
    found = read_crash_data(TEST_10146.read_bytes(), "10146.csv", CATALOG)
    (entry,) = found.entries
    assert entry.delta_v_long_kmh == pytest.approx(-66.76, abs=0.1)
    rejected = [f.message for f in found.findings if f.code == "crash-data-channel"]
    assert sum("engine_top_x_g" in m or "engine_bottom_x_g" in m for m in rejected) == 2
    assert sum("driver_chest_x_g" in m or "driver_pelvis_x_g" in m for m in rejected) == 2


@needs_10146
@pytest.mark.parametrize("name", ["engine_top_x_g", "engine_bottom_x_g"])
def test_10146_engine_is_rejected_even_under_another_name(name: str) -> None:
    time, channels = channels_10146()
    found = read(table({"time_s": time, "seven_x_g": channels[name] / G}))
    assert found.entries == ()
    assert "rejected as a source of delta-V" in found.findings[0].message


@needs_10146
def test_10146_channels_agree_within_the_stated_uncertainty() -> None:
    found = tables_of(TEST_10146.read_text(encoding="utf-8"), SETTINGS)
    assert found is not None
    (one,), _ = found
    floor = [c for c in one.channels if c.name in FLOOR]
    course, u_kmh, findings = integrated(one.time_s, floor, SETTINGS)
    assert course is not None
    assert findings == []
    assert 1.0 < u_kmh < 2.0
    single, _ = heard(one.time_s, floor[0], SETTINGS)
    assert single is not None
    assert single.peak_ms2 / G == pytest.approx(-45.4, abs=0.1)


def test_the_times_of_a_half_sine_pulse_are_those_of_its_closed_form() -> None:
    # dV(t) = A T / pi (1 - cos(pi t / T)), 20 g and 80 ms: 0.8 km/h after 7.6 ms, and as much is
    # left 7.6 ms before its end; windows of 20 ms by 49 CFR 563.5. Worked by hand.
    found = read(table({"time_s": TIME, "floor_x_g": PULSE}))
    (course,) = (f for f in found.findings if f.code == "crash-data-course")
    assert "time zero at -12 ms" in course.message
    assert "36.0 km/h at 79 ms" in course.message
    assert "ended at 92 ms and lasted 105 ms" in course.message


@pytest.mark.parametrize(
    "names",
    [
        ("vehicle 1 floor_x_g", "vehicle 2 floor_x_g"),
        ("V1_floor_x_g", "V2_floor_x_g"),
        ("car A floor_x_g", "car B floor_x_g"),
        ("bullet vehicle x_g", "target vehicle x_g"),
    ],
)
def test_a_file_of_two_vehicles_is_refused_and_never_averaged(names: tuple[str, str]) -> None:
    with pytest.raises(InputError, match=r"pulse\.csv:1: .*several vehicles") as raised:
        read(table({"time_s": TIME, names[0]: PULSE, names[1]: -0.5 * PULSE}))
    assert "one file per vehicle" in raised.value.remedy


def test_a_column_that_numbers_two_vehicles_is_refused() -> None:
    which = np.where(TIME < 0.05, 1.0, 2.0)
    with pytest.raises(InputError, match="several vehicles: 1, 2"):
        read(table({"time_s": TIME, "vehicle": which, "floor_x_g": PULSE}))


def test_pillars_and_sills_of_one_car_are_no_two_vehicles() -> None:
    names = ("car a-pillar_x_g", "car b-pillar_x_g")
    found = read(table({"time_s": TIME, names[0]: PULSE, names[1]: PULSE}))
    assert found.entries[0].delta_v_long_kmh == pytest.approx(-35.96, abs=0.01)


def test_elements_of_two_vehicles_are_refused() -> None:
    text = "Vehicle 1 Delta-V, longitudinal: -27 km/h\nVehicle 2 Delta-V, longitudinal: 20 km/h\n"
    if "delta_v" not in str(read_crash_data(text[:42].encode(), "a.txt", CATALOG).entries):
        pytest.fail("the first line alone has to be read")
    with pytest.raises(InputError, match="several vehicles: 1, 2"):
        read(text)


# Across the car in a hit from the front: a slow shove to the left under a rattle that swings back.
SHOVE = np.where((TIME >= 0) & (TIME <= 0.08), 3.0 * np.sin(math.pi * TIME / 0.08), 0.0)
RATTLE = np.where(TIME >= 0, 6.0 * np.sin(2 * math.pi * 45.0 * TIME), 0.0) * (TIME <= 0.15)


def test_lateral_channels_that_swing_back_alike_give_a_direction() -> None:
    columns = {
        "time_s": TIME,
        "floor_x_g": PULSE,
        "left sill_y_g": SHOVE + RATTLE,
        "right sill_y_g": SHOVE + 0.9 * RATTLE,
    }
    found = read(table(columns))
    # 3 g over 80 ms are 5.4 km/h; the rattle adds at most 1.5 at any moment.
    assert found.entries[0].delta_v_lat_kmh == pytest.approx(5.4, abs=1.6)
    assert found.directions[0] is not None


def test_lateral_channels_that_rattle_apart_stay_unknown() -> None:
    columns = {
        "time_s": TIME,
        "floor_x_g": PULSE,
        "left sill_y_g": RATTLE,
        "right sill_y_g": -RATTLE,
    }
    found = read(table(columns))
    assert found.entries[0].delta_v_lat_kmh is None
    assert sum("no other one agrees" in f.message for f in found.findings) == 2
