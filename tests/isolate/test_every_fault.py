"""Every circuit of the catalogue with every fault a report can name makes a sound problem."""

import math

import pytest

from squibwise.isolate.tracing import plan_of, search_of
from squibwise.model.words import FAULTS

from .building import CATALOG, COMPONENTS, a_case, a_line, a_report, believing

CIRCUITS = [c for c in COMPONENTS if c != "driver.seat-frame"]


@pytest.mark.parametrize("component", CIRCUITS)
def test_every_fault_has_suspects_tests_and_a_repair_for_each(component: str) -> None:
    for word in FAULTS:
        _is_a_sound_problem(component, word)


def _is_a_sound_problem(component: str, word: str) -> None:
    case = a_case(a_report(a_line(component, word, "intermittent")))
    search = search_of(case, believing(), component, CATALOG)
    suspects = search.standing.suspects
    assert math.fsum(s.p for s in suspects) == pytest.approx(1.0)
    assert all(s.title and "{" not in s.title for s in suspects)
    problem = plan_of(search, case, CATALOG)
    assert problem.repairs  # a fault without a repair would have been refused
    assert len({t.id for t in search.tests}) == len(search.tests)
    assert len({r.id for r in search.repairs}) == len(search.repairs)
