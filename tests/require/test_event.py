"""Words about the crash as a whole: how probable each is, and from what evidence."""

import datetime as dt
from types import SimpleNamespace

import msgspec
import pytest

from squibwise.catalog.load import Catalog
from squibwise.model.belief import SpeedChange
from squibwise.model.evidence import Circumstance, DoneWork, Occupant, Reading, Recorder
from squibwise.model.report import CodeLine, ReadReport, Report
from squibwise.require.conditions import weigh_event

UNIT = "centre.control-unit"
NOON = dt.datetime(2026, 1, 1, 12)


def report(*status: str, when: dt.datetime | None = None, fault: str = "event-recorded") -> Report:
    line = CodeLine(line=1, raw="-", kind="control-unit", fault=fault, status=status)  # type: ignore[arg-type]
    return Report(id="scan", time=when, reading=ReadReport(lines=(line,)))


@pytest.fixture
def chance(made: SimpleNamespace, catalog: Catalog):  # noqa: ANN201
    def chance(
        word: str,
        *evidence: object,
        component: str = UNIT,
        fired: float = 0.0,
        event: object = None,
    ) -> float:
        beliefs = made.assessment(
            {"driver.front-bag": {"fired": fired}}, event or made.crash, usual={"fired": 0.0}
        )
        condition = catalog.rules.conditions[word]
        return weigh_event(condition, component, made.case(*evidence), beliefs, catalog)[0]

    return chance


def test_a_crash_record_is_certain_once_read_and_else_as_likely_as_a_firing(chance) -> None:  # noqa: ANN001
    assert chance("crash-record", fired=0.6) == 0.6
    assert chance("crash-record", report("locked")) == 1.0
    assert chance("crash-record", Recorder(id="r", record="stored")) == 1.0
    assert chance("crash-record", report("cleared"), fired=0.2) == 0.2
    assert chance("crash-record", report("stored", fault="internal"), fired=0.2) == 0.2


def test_a_locked_record_is_likelier_to_stay_than_a_stored_one(chance, catalog: Catalog) -> None:  # noqa: ANN001
    assert chance("record-stays", report("locked")) == catalog.fact("require.locked-stays").value
    assert chance("record-stays", report("stored")) == catalog.fact("require.stored-stays").value


@pytest.mark.parametrize(("status", "expected"), [("locked", 1.0), ("cleared", 0.0)])
def test_a_scan_after_clearing_settles_whether_the_record_stays(
    chance,  # noqa: ANN001
    status: str,
    expected: float,
) -> None:
    clear = DoneWork(id="c", time=NOON, what="cleared", component="codes")
    later = report(status, when=NOON + dt.timedelta(hours=1))
    before = msgspec.structs.replace(report("locked"), id="before")
    assert chance("record-stays", before, clear, later) == expected


# Worked by hand: linear between (20, 0.9), (30, 0.5), (40, 0.1); the limit is 30 km/h.
@pytest.mark.parametrize(
    ("speeds", "expected"),
    [
        ((20, 30, 40), 0.5),
        ((31, 40, 50), 1.0),
        ((5, 10, 20), 0.0),
        ((10, 20, 40), 0.3),
        ((25, 35, 50), 0.7),
    ],
)
def test_severity_is_read_between_the_quantiles(
    chance,  # noqa: ANN001
    made: SimpleNamespace,
    speeds: tuple[float, float, float],
    expected: float,
) -> None:
    speed = SpeedChange(p10=speeds[0], p50=speeds[1], p90=speeds[2])
    event = msgspec.structs.replace(made.crash, delta_v_kmh=speed, no_crash=0.0)
    assert chance("severe", event=event) == pytest.approx(expected)


def test_without_a_speed_change_nothing_is_severe(chance, made: SimpleNamespace) -> None:  # noqa: ANN001
    assert chance("severe", event=made.calm) == 0.0


def test_a_counter_that_was_read_decides(chance, catalog: Catalog) -> None:  # noqa: ANN001
    def read(value: float) -> Reading:
        return Reading(id="n", component=UNIT, quantity="stored-events", value=value, unit="count")

    assert chance("third-event", read(3)) == 1.0
    assert chance("third-event", read(2), fired=0.99) == 0.0
    unread = chance("third-event", fired=0.5)
    assert unread == 0.5 * catalog.fact("require.count-3").number()


def test_an_earlier_crash_and_recorded_events_add_up(chance) -> None:  # noqa: ANN001
    earlier = Circumstance(id="e", what="earlier-crash", present=True)
    two = Recorder(id="r", record="stored", event_count=2)
    assert chance("third-event", two, earlier) == 1.0
    assert chance("third-event", two) < 1.0


@pytest.mark.parametrize(
    ("component", "expected"),
    [
        ("driver.belt-webbing", 0.96),
        ("pillar-left.height-adjuster", 0.96),
        ("passenger.belt-webbing", 0.4),
        ("pillar-right.height-adjuster", 0.4),
        ("row2-left.belt-webbing", 0.15),
        ("centre.wiring", 0.0),
    ],
)
def test_a_belt_is_in_use_as_its_seat_was(chance, component: str, expected: float) -> None:  # noqa: ANN001
    """The front passenger was there with 0.4 and, if so, is believed to have been belted 0.5."""
    assert chance("in-use", component=component) == pytest.approx(expected)


@pytest.mark.parametrize(("belt", "expected"), [("latched", 1.0), ("unlatched", 0.0)])
def test_what_is_told_of_a_rear_seat_counts(chance, belt: str, expected: float) -> None:  # noqa: ANN001
    who = Occupant(id="w", seat="row2-left", present=True, belt=belt)  # type: ignore[arg-type]
    assert chance("in-use", who, component="row2-left.belt-webbing") == expected


def test_the_other_words(chance, made: SimpleNamespace) -> None:  # noqa: ANN001
    assert chance("always") == 1.0
    assert chance("rollover", event=msgspec.structs.replace(made.crash, rollover=0.7)) == 0.7
    assert chance("crash", event=made.calm) == pytest.approx(0.01)
    assert chance("crash", report("stored"), event=made.calm) == 1.0
