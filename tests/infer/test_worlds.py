"""A car in worlds from the mildest crash to the worst."""

import build
import pytest

from squibwise.infer import assess, assess_worlds
from squibwise.model.evidence import Impact, Statement

CASE = build.case(
    Impact(id="i", zone="nose-left", extent="moderate"),
    Statement(id="s", component="left.curtain", says="not-deployed"),
)


def test_the_worlds_together_are_what_is_believed_over_all() -> None:
    whole = assess(CASE, build.CATALOG)
    worlds = assess_worlds(CASE, whole, build.CATALOG)
    assert sum(w for w, _ in worlds) == pytest.approx(1.0)
    for place, belief in enumerate(whole.components):
        for word in ("sound", "fired"):
            mixed = sum(w * getattr(a.components[place].now, word) for w, a in worlds)
            assert mixed == pytest.approx(getattr(belief.now, word), abs=1e-9)


def test_parts_that_fire_in_the_same_crash_stay_together() -> None:
    whole = assess(CASE, build.CATALOG)
    worlds = assess_worlds(CASE, whole, build.CATALOG)
    pair = [c.id for c in whole.components].index("driver.front-bag")
    chances = [a.components[pair].now.fired for _, a in worlds]
    assert chances[-1] - chances[0] > 0.5
