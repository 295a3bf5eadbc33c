"""Many cars at once give the answers of each car by itself."""

import build
import pytest

from squibwise.infer import assess, screen
from squibwise.model.case import Case
from squibwise.model.evidence import Evidence, Impact, Look, Statement

OTHER = build.car("front-bags", year=1996)


def lot(name: str, *evidence: Evidence, old: bool = False) -> Case:
    return Case(id=name, car=OTHER if old else build.car(), evidence=evidence)


LOTS = (
    lot("bare"),
    lot("dented", Impact(id="i", zone="nose-left", extent="severe")),
    lot("listed", Statement(id="s", says="not-deployed"), Impact(id="i", zone="door-right")),
    lot(
        "seen",
        Impact(id="i", zone="nose-left", extent="severe"),
        Look(id="l", component="driver.front-bag", seen="deployed"),
        Look(id="m", component="left.curtain", seen="hanging"),
    ),
    lot("old", Impact(id="i", zone="nose-left"), old=True),
    lot("scanned", build.scan(build.code(1, "driver.front-bag"), build.record())),
)


def test_screening_answers_as_assessing_does() -> None:
    for case, screened in zip(LOTS, screen(LOTS, build.CATALOG), strict=True):
        answer = assess(case, build.CATALOG)
        assert screened.id == case.id
        for belief in answer.components:
            assert screened.sound[belief.id] == pytest.approx(belief.now.sound, abs=1e-9)
            if belief.id in screened.fired:
                expected = belief.after_crash.fired
                assert screened.fired[belief.id] == pytest.approx(expected, abs=1e-9)


def test_no_cars_give_no_answers() -> None:
    assert screen((), build.CATALOG) == ()
