"""A line that names a side airbag and no more is of one circuit: shares, the story, the question.

What a technician expects of them is common practice, no source; bands, not our own output.
"""

from functools import cache
from typing import Any

import pytest

import squibwise
from squibwise import case as line
from squibwise.model.case import Case
from squibwise.model.proof import Overview
from squibwise.present.tell_brief import Brief, make_brief, tell_brief
from squibwise.present.tell_trace import tell_trace_shortly

CATALOG = squibwise.load_catalog()
FRONT, SEAT = "passenger.front-bag", "passenger.seat-bag"
OPEN = "Passenger side airbag resistance too high, intermittent\n"
BOTH = OPEN + "Passenger front airbag stage 1 resistance too high\n"
SLID = "Lamp comes when the passenger seat is slid back. Nothing was changed."
UNPLUGGED = "The passenger airbag was unplugged and plugged in again last week."


def car(report: str, *told: dict[str, Any]) -> Case:
    tables = {
        "case": {"id": "one-code"},
        "car": {"model_year": 2013, "equipment": "curtains-and-weight-sensing"},
        "evidence": [
            {"kind": "report", "file": "scan.txt", "when": "unknown"},
            {"kind": "circumstance", "what": "crash", "present": False},
            *told,
        ],
    }
    return line.make_case(tables, CATALOG, {"scan.txt": report})


@cache
def answered(report: str, loop: str = "", text: str = "") -> tuple[Overview, Brief]:
    case = car(report, {"kind": "story", "loop": loop, "text": text}) if text else car(report)
    whole = line.overview(case, CATALOG)
    return whole, make_brief(case, whole, CATALOG)


def shares(*told: str) -> dict[str, float]:
    return {c.loop.partition("/")[0]: c.share for c in answered(*told)[0].states.circuits}


@pytest.mark.parametrize("told", [(OPEN,), (OPEN, f"{FRONT}/1", UNPLUGGED)])
def test_the_shares_of_one_code_sum_to_one(told: tuple[str, ...]) -> None:
    assert set(shares(*told)) == {FRONT, SEAT}
    assert sum(shares(*told).values()) == pytest.approx(1.0)


def test_the_likelier_circuit_stands_first_and_the_other_beside_it() -> None:
    whole, brief = answered(OPEN)
    assert whole.states.circuits[0].loop == f"{SEAT}/1"  # it moves, and has one connector more
    assert [c.loop for c in brief.circuits] == [f"{SEAT}/1"]
    assert brief.circuits[0].p + brief.circuits[0].instead_p == pytest.approx(1.0, abs=0.01)


def test_the_story_moves_the_shares() -> None:
    assert shares(OPEN, f"{SEAT}/1", SLID)[SEAT] > shares(OPEN)[SEAT]
    assert shares(OPEN, f"{FRONT}/1", UNPLUGGED)[FRONT] > shares(OPEN)[FRONT]


def test_it_is_asked_first_which_is_meant() -> None:
    whole, brief = answered(OPEN)
    assert whole.states.open_questions[0].id == "which-circuit"
    assert whole.todo.questions[0].id == "which-circuit"
    assert brief.next[0].startswith("ask: Which is meant by 'Passenger side airbag")
    assert "or by the same code" in repr(tell_brief(car(OPEN), brief, "x", CATALOG))


def test_a_line_that_names_the_part_leaves_nothing_to_share_or_ask() -> None:
    whole, brief = answered(BOTH)
    assert shares(BOTH)[FRONT] == 1.0
    assert "which-circuit" not in {q.id for q in whole.states.open_questions}
    assert not brief.circuits[0].instead


def test_tracing_says_whose_the_code_may_be() -> None:
    told = line.trace(car(OPEN), f"{FRONT}/1", CATALOG, over=lambda: True)
    finding = next(f for f in told.findings if f.code == "code-of-several")
    assert f"with {shares(OPEN)[FRONT]:.0%}" in finding.message
    assert f"seat side airbag ({shares(OPEN)[SEAT]:.0%})" in finding.message
    assert finding.message in repr(tell_trace_shortly(told))
    named = line.trace(car(BOTH), f"{FRONT}/1", CATALOG, over=lambda: True)
    assert "code-of-several" not in {f.code for f in named.findings}
