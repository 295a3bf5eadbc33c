"""A repair that did not hold: one answer, and the same for assess, brief and trace."""

import datetime as dt
from typing import Any

import pytest

from squibwise.case import assess
from squibwise.history.order import read_history
from squibwise.history.returned import follow_repairs
from squibwise.isolate.tracing import search_of
from squibwise.model.case import Case
from squibwise.model.evidence import Evidence, LampCheck, Passed, Story
from squibwise.model.evidence import TestOutcome as Entered
from squibwise.model.report import Candidate, CodeLine

from .building import CATALOG, a_case, a_line, a_report, believing

PART = "driver.seat-bag"
LOOP = f"{PART}/1"
REPAIR = "renew:seat-plug"

# What is told after the fault was read and the repair entered as fixed, and: is it back.
COURSES = [
    ([], False),
    (["present"], True),
    (["stored"], True),
    (["side untold"], True),
    (["cleared"], False),
    (["another stage"], False),
    (["lamp stays on"], True),
    (["lamp goes out, not timed"], False),
    (["lamp is dark"], False),
    (["told: The lamp is back since yesterday."], True),
    (["told: It has not come back, the lamp stays out."], False),
    (["told: A friend asked whether the lamp is back; it is not."], False),
    (["told: Luz encendida otra vez."], True),
    (["not fixed"], True),
    (["present", "fixed"], False),
    (["present", "fixed, read while apart"], True),
    (["present", "fixed by no repair of its"], True),
    (["present", "clean"], False),
    (["comes-back"], True),
    (["comes-back", "stays-away"], False),
    (["present", "fixed", "present"], True),
]


def entries(n: int, word: str) -> list[Evidence]:
    """Return what a word of a course stands for."""
    name = f"e{n}"
    if word.startswith("told: "):
        day = dt.datetime(2027, 1, 1, 9, n)
        return [Story(id=name, text=word.removeprefix("told: "), time=day)]
    lines: dict[str, CodeLine] = {
        "present": a_line(PART, "open-or-high"),
        "stored": a_line(PART, "open-or-high", "stored"),
        "cleared": a_line(PART, "open-or-high", "cleared"),
        "another stage": a_line(PART, "open-or-high", stage=2),
        "side untold": CodeLine(
            line=1,
            raw="seat bag",
            kind="seat-bag",
            candidates=(
                Candidate(
                    component=None,
                    code="",
                    kind="seat-bag",
                    place=None,
                    fault="open-or-high",
                    weight=1.0,
                ),
            ),
            status=("present",),
        ),
    }
    lamps: dict[str, dict[str, Any]] = {
        "lamp stays on": {"lit": True, "stayed_out": False},
        "lamp goes out, not timed": {"lit": True, "stayed_out": True},
        "lamp is dark": {"lit": False},
    }
    drives = ("comes-back", "stays-away")
    if word == "clean":
        return [a_report(name=name)]
    if word in lines:
        return [a_report(lines[word], name=name, unit_volts=12.0 + n / 10)]  # each its own reading
    if word in lamps:
        return [LampCheck(id=name, **lamps[word])]
    if word in drives:
        return [Entered(id=name, loop=LOOP, test="second-drive", outcome=word)]
    test = "renew:no-such-place" if word == "fixed by no repair of its" else REPAIR
    outcome = Entered(id=name, loop=LOOP, test=test, outcome=word.partition(",")[0][:9].strip())
    apart = Passed(id=f"{name}-open", what="open:seat-driver", result="passed")
    return [apart, outcome] if word.endswith("apart") else [outcome]


def a_course(*words: str) -> Case:
    """Return a case in which these words follow the fault and its repair."""
    told = [e for n, w in enumerate(["present", "fixed", *words]) for e in entries(n, w)]
    return a_case(*told)


@pytest.mark.parametrize(("words", "is_back"), COURSES)
def test_a_repair_did_not_hold_while_the_fault_is_told_again(
    words: list[str], is_back: bool
) -> None:
    case = a_course(*words)
    found = follow_repairs(read_history(case.evidence), case.car, CATALOG).open
    assert [r.repair for r in found.values()] == [REPAIR] * is_back
    standing = search_of(case, believing(), LOOP, CATALOG).standing
    if words[-1:] != ["clean"]:  # a whole report without it leaves the search open, and no more
        assert bool(standing.fixed) != is_back
    if is_back:
        assert "repair-did-not-hold" in {f.code for f in standing.findings}


@pytest.mark.parametrize("status", ["present", "stored"])
def test_the_assessment_says_so_too_and_believes_in_the_fault(status: str) -> None:
    back, again = (assess(a_course(*w), CATALOG) for w in ([status], [status, "fixed"]))
    told = [c for c in back.contradictions if c.component == PART]
    assert [c.evidence for c in told] == [("e1", "e2")]
    assert not [c for c in again.contradictions if c.component == PART]
    circuits = [b.stages["1"].faulty for s in (back, again) if (b := s.of(PART))]
    assert circuits[0] > 0.5 > circuits[1]


@pytest.mark.parametrize("words", [["present", "not fixed"], ["present", "fixed", "lamp stays on"]])
def test_a_circuit_whose_repair_failed_is_at_fault_until_it_is_cured(words: list[str]) -> None:
    course = [e for n, w in enumerate(words) for e in entries(n, w)]
    found = assess(a_case(*course), CATALOG).of(PART)
    assert found is not None
    assert found.stages["1"].faulty > 0.5


def test_a_connector_that_was_looked_at_is_believed_as_it_was_seen() -> None:
    def off(word: str) -> float:
        look = Entered(id="t", loop=LOOP, test="look:device-plug", outcome=word)
        report = a_report(a_line(PART, "open-or-high"))
        return assess(a_case(report, look), CATALOG).event.causes.get(f"loose-plug:{PART}", 0.0)

    assert off("lock-open") > 0.9
    assert off("fine") < 0.5 * off("no such word")


def test_a_load_that_changes_nothing_fits_a_fault_of_the_circuit() -> None:
    report = a_report(a_line(PART, "short-to-ground"))
    load = Entered(id="t", loop=LOOP, test="load-at:device-plug", outcome="stays")
    found = assess(a_case(report, load), CATALOG)
    belief = found.of(PART)
    assert belief is not None
    assert belief.stages["1"].faulty > 0.9
    assert belief.now.missing < 0.02
    assert not found.contradictions


@pytest.mark.parametrize("repair", ["renew:device-plug", "reseat:device-plug"])
def test_a_connector_that_was_closed_in_vain_is_not_believed_off(repair: str) -> None:
    report = a_report(a_line(PART, "open-or-high"))
    look = Entered(id="t1", loop=LOOP, test="look:device-plug", outcome="lock-open")
    vain = Entered(id="t2", loop=LOOP, test=repair, outcome="not fixed")
    found = assess(a_case(report, look, vain), CATALOG)
    belief = found.of(PART)
    assert belief is not None
    assert found.event.causes.get(f"loose-plug:{PART}", 0.0) < 0.1
    assert belief.stages["1"].faulty > 0.8
