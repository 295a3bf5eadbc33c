"""Copies are not evidence: what is handed in twice weighs once, wherever it stands.

Laws, checked on random evidence; nothing here is a figure of the trade.
"""

import datetime as dt
import random
from collections.abc import Callable

import build
import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.infer import assess
from squibwise.model.belief import Assessment
from squibwise.model.evidence import DoneWork, Evidence, Impact, Reading, Recorder, Statement
from squibwise.model.origin import Origin
from squibwise.model.report import Report, Unread

SMALL = build.car("belts-and-front-bags")
BAG = "driver.front-bag"
SAYS = st.sampled_from(["deployed", "not-deployed"])
ZONES = st.sampled_from(["nose-left", "nose-right", "tail"])


@st.composite
def evidence(draw: st.DrawFn) -> tuple[Evidence, ...]:
    """Draw what may be copied: a report, a listing's word, a recorder, an impact."""
    found: list[Evidence] = [build.scan(build.code(1, BAG), complete=draw(st.booleans()))]
    found += [Statement(id="word", component=BAG, says=draw(SAYS), from_="listing")]
    if draw(st.booleans()):
        speed = draw(st.sampled_from([-12.0, -27.0]))
        found.append(Recorder(id="edr", record="stored", delta_v_long_kmh=speed, file="a.csv"))
    if draw(st.booleans()):
        found.append(Impact(id="body", zone=draw(ZONES), extent="moderate"))
    return tuple(found)


def renamed(entry: Evidence, number: int) -> Evidence:
    """Return a copy under another name, from another file."""
    origin = Origin(file=f"copy-{number}.txt", line=number + 1)
    changes: dict[str, object] = {"id": f"copy-{number}", "origin": origin}
    if isinstance(entry, Report | Recorder):
        changes["file"] = f"evidence/copy-{number}"
    return msgspec.structs.replace(entry, **changes)


def answer(found: tuple[Evidence, ...]) -> Assessment:
    return assess(build.case(*found, on=SMALL), build.CATALOG)


def assert_same(one: Assessment, two: Assessment) -> None:
    for first, second in zip(one.components, two.components, strict=True):
        for state in ("sound", "fired", "faulty", "damaged"):
            now, then = getattr(first.now, state), getattr(second.now, state)
            assert now == pytest.approx(then, abs=1e-9), first.id


@settings(max_examples=12, deadline=None)
@given(evidence(), st.integers(1, 3), st.randoms(use_true_random=False))
def test_copies_wherever_they_stand_change_nothing_and_are_told(
    found: tuple[Evidence, ...], times: int, shuffle: random.Random
) -> None:
    copies = [renamed(e, n) for n, e in enumerate(found * times)]
    mixed = [*found]
    for copy in copies:
        mixed.insert(shuffle.randrange(len(found), len(mixed) + 1), copy)
    once, often = answer(found), answer(tuple(mixed))
    assert_same(once, often)
    told = [f for f in often.findings if f.code == "weighed-once"]
    assert len(told) == len(copies)


@pytest.mark.parametrize("copy_first", [True, False])
def test_a_copy_without_its_time_is_no_second_reading(copy_first: bool) -> None:
    scan = build.scan(build.code(1, BAG), complete=True)
    timed = msgspec.structs.replace(scan, time=dt.datetime(2026, 3, 2, 9, 10))
    copy = renamed(scan, 1)
    once = answer((timed,))
    often = answer((copy, timed) if copy_first else (timed, copy))
    assert_same(once, often)
    assert [f.code for f in often.findings].count("weighed-once") == 1


@pytest.mark.parametrize("line", ["B0001-13 bag", "odometer 61,205"])
def test_read_again_with_no_work_between_a_unit_says_nothing_new(line: str) -> None:
    scan = build.scan(build.code(1, BAG), complete=True)
    first = msgspec.structs.replace(scan, time=dt.datetime(2026, 3, 2, 9, 10))
    again = [
        msgspec.structs.replace(
            renamed(first, n),
            time=dt.datetime(2026, 3, 2 + n, 9, 10),
            reading=msgspec.structs.replace(first.reading, unread=(Unread(line=n, raw=line),)),
        )
        for n in (1, 2)
    ]
    often = answer((first, *again))
    assert_same(answer((first,)), often)
    assert [f.code for f in often.findings].count("weighed-once") == 2


def test_read_again_after_clearing_the_same_codes_are_news() -> None:
    scan = build.scan(build.code(1, BAG), complete=True)
    first = msgspec.structs.replace(scan, time=dt.datetime(2026, 3, 2, 9, 10))
    cleared = DoneWork(id="w", what="cleared", component="codes", time=dt.datetime(2026, 3, 3))
    later = msgspec.structs.replace(renamed(first, 1), time=dt.datetime(2026, 3, 4, 9, 10))
    assert not [f for f in answer((first, cleared, later)).findings if f.code == "weighed-once"]


def test_half_a_character_in_a_report_is_weighed_like_any_text() -> None:
    line = msgspec.structs.replace(build.code(1, BAG), raw="B0001-13 \ud83d bag")
    assert_same(answer((build.scan(line),)), answer((build.scan(build.code(1, BAG)),)))


@settings(max_examples=8, deadline=None)
@given(st.sampled_from([-5.0, -12.0]), st.sampled_from([-38.0, -55.0]))
def test_two_recorders_that_disagree_are_no_race(slow: float, fast: float) -> None:
    one = Recorder(id="a", record="stored", delta_v_long_kmh=slow)
    two = Recorder(id="b", record="stored", delta_v_long_kmh=fast)
    first, second = answer((one, two)), answer((two, one))
    assert_same(first, second)
    assert {c.text for c in first.contradictions} == {c.text for c in second.contradictions}
    assert first.contradictions


@pytest.mark.parametrize(
    "blank", [lambda n: Impact(id=f"i{n}"), lambda n: Impact(id=f"i{n}", order=1)]
)
def test_an_entry_without_content_weighs_nothing(blank: Callable[[int], Evidence]) -> None:
    scan = build.scan(build.code(1, BAG), complete=True)
    assert_same(answer((scan,)), answer((scan, blank(1), blank(2))))


def test_a_word_that_repeats_somebody_elses_is_one_witness() -> None:
    says = Statement(id="one", component=BAG, says="deployed", from_="auction listing")
    again = [
        msgspec.structs.replace(says, id="two", from_="broker's page, copied from the listing"),
        msgspec.structs.replace(says, id="three", from_="dealer's message quoting the broker"),
    ]
    assert_same(answer((says,)), answer((*again, says)))


def test_the_same_reading_laid_out_anew_is_no_second_one() -> None:
    parts = {"B0001-13": BAG, "B0010-13": "passenger.front-bag"}
    first, second = (
        msgspec.structs.replace(build.code(n, c), code=word)
        for n, (word, c) in enumerate(parts.items())
    )
    anew = [
        msgspec.structs.replace(c, raw=f"| {c.raw} |", module="Airbag")
        for c in (second, first, second)
    ]
    found = (build.scan(first, second, id="a"), build.scan(*anew, id="b"))
    assert_same(answer(found[:1]), answer(found))


def test_three_scans_without_a_time_say_the_same_in_any_order() -> None:
    lines = [(build.code(1, BAG),), (build.code(1, "passenger.front-bag"),), ()]
    scans = [build.scan(*one, complete=True, id=str(n)) for n, one in enumerate(lines)]
    for other in (scans[::-1], [scans[1], scans[0], scans[2]]):
        assert_same(answer(tuple(scans)), answer(tuple(other)))


@pytest.mark.parametrize("again", [1, 2])
def test_a_live_value_or_a_blow_that_is_entered_again_is_the_same_one(again: int) -> None:
    at = [dt.datetime(2026, 3, 2, 9, minute) for minute in range(3)]
    live = Reading(
        id="r0",
        time=at[0],
        component=f"{BAG}/1",
        quantity="loop-resistance",
        value=9.4,
        unit="ohm",
        method="scan-live-value",
    )
    blow = Impact(id="i0", time=at[0], zone="nose-left", extent="moderate")
    found = (live, blow)
    copies = [
        msgspec.structs.replace(e, id=f"{e.id}-{n}", time=at[n])
        for n in range(1, again + 1)
        for e in found
    ]
    assert_same(answer(found), answer((*found, *copies)))


def test_two_whole_scans_without_a_time_are_alike_by_any_name_and_order() -> None:
    coded = build.scan(build.code(1, BAG), complete=True)
    clean = build.scan(complete=True)
    answers = [
        answer(tuple(msgspec.structs.replace(e, id=i) for e, i in zip(two, names, strict=True)))
        for two in ((coded, clean), (clean, coded))
        for names in (("a", "b"), ("b", "a"))
    ]
    for other in answers[1:]:
        assert_same(answers[0], other)
    assert [q.id for q in answers[0].open_questions if q.id == "times"]


@pytest.mark.parametrize(
    ("one", "two", "words"),
    [
        ({"rollover": True}, {"rollover": False}, "rolled over"),
        ({"lamp_on": True}, {"lamp_on": False}, "lamp"),
        ({"commanded": (BAG,)}, {"commanded": ("passenger.front-bag",)}, "fired"),
        ({"commanded": (BAG,)}, {"not_commanded": (f"{BAG}/1",)}, "fired"),
    ],
)
def test_two_records_of_one_event_that_deny_each_other_are_told(
    one: dict[str, object], two: dict[str, object], words: str
) -> None:
    both = tuple(Recorder(id=n, record="stored", **d) for n, d in (("a", one), ("b", two)))  # type: ignore[arg-type]
    assert told_of(both) == told_of(both[::-1])
    assert [words in text for text in told_of(both)] == [True]
    assert not told_of(both[:1])


def told_of(found: tuple[Evidence, ...]) -> list[str]:
    return [c.text for c in answer(found).contradictions if c.text.startswith("two records")]
