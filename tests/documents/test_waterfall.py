"""The waterfall adds up, reads without colour, and holds whatever text it is given."""

import re
import xml.etree.ElementTree as ET

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.documents import waterfall_svg
from squibwise.model.belief import Because, ComponentBelief, StateBelief
from squibwise.present.tell_weights import decibans

SVG = "{http://www.w3.org/2000/svg}"


def belief(
    fired: float, prior: float | None, *weights: tuple[str, float | None]
) -> ComponentBelief:
    rest = (1.0 - fired) / 2
    states = StateBelief(sound=rest, fired=fired, faulty=rest, damaged=0.0, unfit=0.0)
    reasons = tuple(Because(text=t, alone_db=w) for t, w in weights)
    return ComponentBelief(
        id="driver.front-bag", after_crash=states, now=states, prior_fired=prior, because=reasons
    )


def parsed(svg: str) -> ET.Element:
    return ET.fromstring(svg)  # noqa: S314 - our own output


def figures(svg: str) -> list[float]:
    titles = [t.text or "" for t in parsed(svg).iter(f"{SVG}title")][1:]
    return [float(t.rsplit(": ", 1)[1].split()[0]) for t in titles]


# Source: I. J. Good, weight of evidence in decibans, 10 log10 of the odds; values by arithmetic.
@pytest.mark.parametrize(
    ("p", "db"), [(0.5, 0.0), (10 / 11, 10.0), (1 / 11, -10.0), (100 / 101, 20.0)]
)
def test_decibans_are_ten_times_the_logarithm_of_the_odds(p: float, db: float) -> None:
    assert decibans(p) == pytest.approx(db, abs=1e-9)


def test_the_steps_lead_from_the_first_level_to_the_last() -> None:
    svg = waterfall_svg(belief(0.98, 0.3, ("torn", 21.0), ("open", 12.0), ("listing", -3.0)))
    first, *steps, last = figures(svg)
    assert first + sum(steps) == pytest.approx(last, abs=0.3)
    assert last == pytest.approx(decibans(0.98), abs=0.06)
    assert len(steps) == 4


def test_no_leftover_bar_is_drawn_when_the_weights_add_up() -> None:
    assert "overlap" not in waterfall_svg(belief(10 / 11, 0.5, ("open", 10.0)))


def test_reasons_without_a_weight_are_not_drawn() -> None:
    assert "known of the trade" not in waterfall_svg(belief(0.9, 0.5, ("known of the trade", None)))


def test_what_is_held_not_to_have_fired_is_drawn_as_such() -> None:
    svg = waterfall_svg(belief(0.02, 0.3, ("whole", 9.0)))
    assert "held not to have fired" in svg
    assert figures(svg)[-1] == pytest.approx(decibans(0.98), abs=0.06)


def test_the_state_that_was_weighed_is_the_one_that_is_drawn() -> None:
    plain = belief(0.02, 0.3, ("no code", 4.0))
    weighed = msgspec.structs.replace(plain, likeliest="sound", prior_db=6.0)
    svg = waterfall_svg(weighed)
    assert "held to be sound" in svg
    assert figures(svg)[0] == 6.0
    assert figures(svg)[-1] == pytest.approx(decibans(0.49), abs=0.06)


def test_the_weight_with_all_else_known_stands_beside_the_bar() -> None:
    reason = Because(text="torn", alone_db=21.0, last_db=17.5)
    svg = waterfall_svg(msgspec.structs.replace(belief(0.98, 0.3), because=(reason,)))
    assert "torn: +21.0 (+17.5 with all else known)" in svg
    assert ">+17.5</text>" in svg


def test_an_unknown_prior_is_said() -> None:
    assert "not known, 0 taken" in waterfall_svg(belief(0.9, None, ("open", 9.0)))


def test_the_drawing_tells_its_story_in_words() -> None:
    root = parsed(waterfall_svg(belief(0.98, 0.3, ("torn", 21.0), ("listing", -3.0))))
    description = root.find(f"{SVG}desc")
    assert description is not None
    assert "torn: +21.0; listing: -3.0" in (description.text or "")
    assert root.get("role") == "img"
    names = (root.get("aria-labelledby") or "").split()
    assert names == [e.get("id") for e in root if e.tag in (f"{SVG}title", f"{SVG}desc")]


def test_rise_and_fall_differ_in_pattern_not_in_colour_alone() -> None:
    svg = waterfall_svg(belief(0.98, 0.3, ("torn", 21.0), ("listing", -3.0)))
    assert "url(#driver-front-bag-falls)" in svg


def test_every_bar_lies_inside_the_picture() -> None:
    svg = waterfall_svg(belief(0.999999, 0.000001, ("a", 80.0), ("b", -60.0), ("c", 90.0)))
    width = float(re.findall(r'viewBox="0 0 (\d+) ', svg)[0])
    for bar in parsed(svg).iter(f"{SVG}rect"):
        left = float(bar.get("x", "0"))
        assert left >= 0.0
        assert left + float(bar.get("width", "0")) <= width


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0.0, 1.0),
    st.none() | st.floats(0.0, 1.0),
    st.lists(st.tuples(st.text(st.characters(), max_size=80), st.floats(-200, 200)), max_size=8),
)
def test_any_belief_gives_a_drawing_that_parses(
    fired: float, prior: float | None, weights: list[tuple[str, float]]
) -> None:
    root = parsed(waterfall_svg(belief(fired, prior, *weights)))
    bars = list(root.iter(f"{SVG}g"))
    assert len(weights) + 2 <= len(bars) <= len(weights) + 3
