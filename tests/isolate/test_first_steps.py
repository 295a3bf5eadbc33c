"""What a mechanic would do first. Common practice, no source, unless one is named."""

import pytest

from squibwise.isolate import trace
from squibwise.model.evidence import Evidence, LampCheck, Story
from squibwise.model.evidence import TestOutcome as Entered
from squibwise.model.trace import Trace

from .building import CATALOG, a_case, a_report, believing

LAMP = "centre.warning-lamp/1"
STAYS_ON = LampCheck(id="k1", lit=True, stayed_out=False)


def traced(loop: str, *evidence: Evidence) -> Trace:
    return trace(a_case(*evidence), believing(), loop, CATALOG)


def chance(found: Trace, hypothesis: str) -> float:
    return sum(h.p for h in found.hypotheses if hypothesis in h.id.split("+"))


@pytest.mark.parametrize(
    "shown",
    [
        (STAYS_ON,),
        (
            STAYS_ON,
            Story(id="o", text="The airbag lamp lights at key-on and stays on all the time."),
        ),
    ],
)
def test_a_warning_lamp_that_stays_on_is_not_a_dead_one(shown: tuple[Evidence, ...]) -> None:
    found = traced(LAMP, a_report(), *shown)
    assert found.hypotheses[0].id == "asked:held-on"
    assert {h.id for h in found.hypotheses[1:4]} & {"unit:software", "supply:low"}
    assert chance(found, "device:dead") < 0.05
    assert found.next_test.id == "other-units"
    plan = next(a.effort for a in found.comparison if a.id == "plan")
    assert plan.parts < 0.1


def test_a_lamp_that_passes_its_test_and_stays_on_is_no_longer_suspected() -> None:
    lights = Entered(id="t1", loop=LAMP, test="lamp-self-test", outcome="lights")
    found = traced(LAMP, a_report(), STAYS_ON, lights)
    assert chance(found, "device:dead") < 0.02


@pytest.mark.parametrize(
    "text",
    [
        "The airbag lamp stays on all the time",
        "Airbagleuchte geht nicht mehr aus",
        "Le voyant airbag reste allumé",
        "El testigo del airbag no se apaga",
    ],
)
def test_the_owner_says_that_the_lamp_stays_on(text: str) -> None:
    told = traced(LAMP, a_report(), Story(id="o", text=text))
    silent = traced(LAMP, a_report())
    assert chance(told, "device:dead") < chance(silent, "device:dead") / 5.0
