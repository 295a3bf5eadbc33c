"""What does not fit together is said, with the evidence and what to do about it."""

import build
import pytest

from squibwise.infer import assess
from squibwise.model.belief import Contradiction
from squibwise.model.evidence import (
    Circumstance,
    Evidence,
    Impact,
    LampCheck,
    Look,
    Occupant,
    Recorder,
    Statement,
)

NOSE = Impact(id="body", zone="nose-centre", clock=12, extent="severe")
BAG, BELT = "driver.front-bag", "driver.retractor-pretensioner"


def found(*evidence: Evidence) -> tuple[Contradiction, ...]:
    return assess(build.case(*evidence), build.CATALOG).contradictions


CASES = {
    "listing-against-cushion": (
        (
            Statement(id="s", says="not-deployed"),
            Look(id="l", component=BAG, seen="deployed"),
            NOSE,
        ),
        {"s"},
    ),
    "word-on-one-part": (
        (
            Statement(id="s", component=BAG, says="not-deployed"),
            Look(id="l", component=BAG, seen="deployed"),
            NOSE,
        ),
        {"s", "l"},
    ),
    "torn-and-whole": (
        (
            Look(id="a", component=BAG, seen="cover-torn"),
            Look(id="b", component=BAG, seen="intact"),
        ),
        {"a", "b"},
    ),
    "fired-belt-runs-free": (
        (
            Look(id="a", component=BELT, seen="deployed"),
            Look(id="b", component=BELT, seen="webbing-free"),
        ),
        {"a", "b"},
    ),
    "cushion-out-and-a-record-of-none": (
        (
            Recorder(id="r", delta_v_long_kmh=-3, delta_v_lat_kmh=0, record="none", complete=True),
            Circumstance(id="p", what="parked", present=True),
            Look(id="l", component=BAG, seen="deployed"),
        ),
        {"r", "p", "l"},
    ),
    "torn-cover-and-silent-circuit": (
        (Look(id="l", component=BAG, seen="cover-torn"), build.scan(build.record(), id="r")),
        {"l", "r"},
    ),
    "fired-bag-and-no-record": (
        (
            Look(id="l", component=BAG, seen="cover-torn"),
            build.scan(build.code(1, BAG, 1), build.code(2, BAG, 2), id="r"),
        ),
        {"r"},
    ),
    "belt-told-and-recorded": (
        (
            Occupant(id="o", seat="driver", belt="unlatched"),
            Recorder(id="r", driver_belt="latched"),
        ),
        {"o", "r"},
    ),
    "lamp-out-and-codes-present": (
        (build.scan(build.code(1, BAG), id="r"), LampCheck(id="p", lit=True, stayed_out=True)),
        {"r", "p"},
    ),
    "lamp-on-and-no-code": (
        (build.scan(id="r"), LampCheck(id="p", lit=True, stayed_out=False)),
        {"r", "p"},
    ),
    "no-crash-told-and-crash-seen": (
        (
            Circumstance(id="c", what="crash", present=False),
            Look(id="l", component=BAG, seen="cover-torn"),
            build.scan(build.code(1, BAG), build.record()),
            NOSE,
        ),
        {"c"},
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_a_contradiction_is_named_with_its_evidence_and_a_remedy(name: str) -> None:
    evidence, wanted = CASES[name]
    answers = found(*evidence)
    assert any(wanted <= set(c.evidence) for c in answers), answers
    assert all(c.text and c.remedy for c in answers)


def test_evidence_that_one_story_explains_is_no_contradiction() -> None:
    fitting = (
        build.scan(build.code(1, BAG, 1), build.code(2, BAG, 2), build.record()),
        Look(id="l", component=BAG, seen="cover-torn"),
        NOSE,
        Statement(id="s", says="deployed"),
    )
    assert found(*fitting) == ()


def test_an_open_code_on_a_whole_part_is_undecided_and_no_contradiction() -> None:
    line = build.code(1, BELT)
    assert found(build.scan(line), Look(id="l", component=BELT, seen="webbing-free")) == ()


def test_a_story_that_fits_surprises_less_than_one_that_does_not() -> None:
    torn = Look(id="l", component=BAG, seen="cover-torn")
    fits = (build.scan(build.code(1, BAG), build.record()), torn, NOSE)
    clashes = (torn, Look(id="w", component=BAG, seen="cover-whole"), NOSE)
    fit = assess(build.case(*fits), build.CATALOG).surprise_db
    assert fit < assess(build.case(*clashes), build.CATALOG).surprise_db
