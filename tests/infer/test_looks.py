"""Next looks and what would flip a decision: exact against plain recomputation."""

import build
import msgspec
import numpy as np
import pytest

from squibwise.infer import assess
from squibwise.model.belief import Assessment, Loss, LossTable
from squibwise.model.car import Profile
from squibwise.model.case import Case
from squibwise.model.evidence import DoneWork, Evidence, Impact, Look, Passed
from squibwise.model.names import split_component

CAR = build.car("belts-and-front-bags")
NOSE = Impact(id="body", zone="nose-centre", clock=12, extent="moderate")
CODE = build.scan(build.code(1, "driver.retractor-pretensioner"), build.record())


def case(*evidence: Evidence) -> Case:
    return build.case(*evidence, on=CAR)


def table(minute: float = 0.0) -> LossTable:
    row = Loss(needless=100.0, missed=100.0)
    return LossTable(losses=dict.fromkeys(CAR.components, row), minute=minute)


def loss(answer: Assessment) -> float:
    """Return the expected loss of the better decisions, by the table above."""
    bad = np.array([1.0 - c.now.sound for c in answer.components])
    return float(np.minimum(bad, 1.0 - bad).sum() * 100.0)


def test_a_doubtful_belt_is_looked_at_first() -> None:
    answer = assess(case(NOSE), build.CATALOG, table())
    doubtful = min(answer.components, key=lambda c: abs(c.now.sound - 0.5)).id
    assert doubtful in {look.component for look in answer.next_looks[:8]}


def test_the_saving_of_one_look_equals_recomputing_both_outcomes() -> None:
    before = assess(case(NOSE, CODE), build.CATALOG, table())
    look = next(x for x in before.next_looks if x.look != "substitute-load")
    word = build.CATALOG.looks(look.component.partition(".")[2])[look.look]
    seen = Look(id="new", component=look.component, seen=look.look)
    yes = assess(case(NOSE, CODE, seen), build.CATALOG, table())
    belief = before.of(look.component)
    assert belief is not None
    chance = sum(getattr(belief.now, s) * getattr(word, s) for s in ("sound", "faulty", "fired"))
    chance += belief.now.damaged * word.damaged + belief.now.unfit * word.unfit
    # The outcome *no* follows from *yes* for every part by the law of total probability.
    no = {
        c.id: (b.now.sound - chance * c.now.sound) / (1.0 - chance)
        for c, b in zip(yes.components, before.components, strict=True)
    }
    left = chance * loss(yes)
    left += (1.0 - chance) * 100.0 * sum(min(p, 1.0 - p) for p in no.values())
    saving = (loss(before) - left) / look.minutes
    assert look.saving == pytest.approx(saving, rel=0.05, abs=0.05)


def test_looks_stop_when_nothing_more_is_worth_a_minute() -> None:
    assert assess(case(NOSE), build.CATALOG, table(minute=1000.0)).next_looks == ()


def test_a_higher_price_of_time_never_adds_a_look() -> None:
    cheap = {x.component for x in assess(case(NOSE), build.CATALOG, table(0.1)).next_looks}
    dear = {x.component for x in assess(case(NOSE), build.CATALOG, table(2.0)).next_looks}
    assert dear <= cheap


def test_looks_are_sorted_by_what_they_save() -> None:
    looks = assess(case(NOSE), build.CATALOG, table()).next_looks
    body = [build.CATALOG.kinds[split_component(x.component).kind].body for x in looks]
    assert body == sorted(body)  # what anybody sees in passing comes last
    for group in (False, True):
        saved = [round(x.saving, 9) for x, b in zip(looks, body, strict=True) if b is group]
        assert saved == sorted(saved, reverse=True)
    assert all(x.text and x.minutes > 0.0 and 0.0 <= x.settles <= 1.0 for x in looks)


def test_a_car_without_a_scan_is_told_to_scan() -> None:
    looks = assess(case(NOSE), build.CATALOG, table()).next_looks
    assert "second-scan" in {x.look for x in looks}


def test_after_a_whole_scan_no_second_one_is_asked_for() -> None:
    looks = assess(case(NOSE, build.scan(build.record())), build.CATALOG, table()).next_looks
    assert "second-scan" not in {x.look for x in looks}


def test_an_open_igniter_circuit_offers_a_substitute_load_and_never_a_meter() -> None:
    looks = assess(case(NOSE, CODE), build.CATALOG, table()).next_looks
    load = [x for x in looks if x.look == "substitute-load"]
    assert all("power off" in x.text for x in load)
    assert not any("meter" in x.text for x in looks)


def test_looks_without_a_loss_table_count_each_wrong_decision_alike() -> None:
    assert assess(case(NOSE), build.CATALOG).next_looks


def test_every_part_says_how_far_its_odds_could_move_and_what_would_turn_it() -> None:
    answer = assess(case(NOSE), build.CATALOG, table())
    for belief in answer.components:
        bad = 1.0 - belief.now.sound
        assert belief.prior_flip_db is not None
        assert (belief.prior_flip_db > 0.0) == (bad < 0.5)
    belt = answer.of("driver.retractor-pretensioner")
    assert belt is not None
    assert belt.flip


def test_the_strongest_opposing_evidence_is_named() -> None:
    free = Look(id="free", component="driver.retractor-pretensioner", seen="webbing-free")
    answer = assess(case(NOSE, CODE, free), build.CATALOG)
    belt = answer.of("driver.retractor-pretensioner")
    assert belt is not None
    assert belt.opposing is not None
    assert belt.opposing.last_db is not None
    assert belt.opposing.last_db < 0.0


def test_each_reason_weighs_alone_and_last_and_they_do_not_add_up() -> None:
    torn = Look(id="torn", component="driver.front-bag", seen="cover-torn")
    answer = assess(case(NOSE, build.scan(build.code(1, "driver.front-bag")), torn), build.CATALOG)
    bag = answer.of("driver.front-bag")
    assert bag is not None
    assert bag.prior_db is not None
    assert bag.posterior_db is not None
    assert bag.likeliest == "fired"
    alone = sum(b.alone_db or 0.0 for b in bag.because)
    assert bag.posterior_db - bag.prior_db != pytest.approx(alone, abs=0.5)
    strongest = bag.because[0]
    assert strongest.evidence == ("torn",)
    assert strongest.last_db is not None
    assert strongest.last_db > 10.0


def test_one_single_piece_of_evidence_weighs_the_same_alone_and_last() -> None:
    torn = Look(id="torn", component="driver.front-bag", seen="cover-torn")
    bag = assess(case(torn), build.CATALOG).of("driver.front-bag")
    assert bag is not None
    (reason,) = bag.because
    assert reason.alone_db == pytest.approx(reason.last_db)
    assert bag.prior_db is not None
    assert bag.posterior_db == pytest.approx(bag.prior_db + (reason.alone_db or 0.0), abs=0.02)


def test_a_part_whose_range_crosses_a_limit_is_given_something_that_settles_it() -> None:
    answer = assess(build.case(NOSE, CODE), build.CATALOG)
    sure = [c for c in answer.components if max(msgspec.structs.astuple(c.now)) >= 0.95]
    ranged = [c for c in sure if c.ranges]
    assert ranged
    assert all(c.settled_by is not None for c in ranged)
    assert all(c.settled_by is None for c in sure if not c.ranges)


def test_no_look_is_asked_at_what_comes_with_an_assembly_that_is_new_anyway() -> None:
    """The webbing comes with the retractor: once that fired, nobody need look at it."""
    locked = Look(id="eye", component="driver.retractor-pretensioner", seen="webbing-locked")
    answer = assess(case(NOSE, CODE, locked), build.CATALOG, table())
    retractor = answer.of("driver.retractor-pretensioner")
    assert retractor is not None
    assert retractor.now.fired > build.CATALOG.fact("require.sure").number()
    looked_at = {look.component for look in answer.next_looks}
    assert not looked_at & {"driver.belt-webbing", "driver.load-limiter"}
    apart = msgspec.structs.replace(
        case(NOSE, CODE, locked), profile=Profile(sold_apart=("belt-webbing", "load-limiter"))
    )
    before = {look.component for look in assess(apart, build.CATALOG, table()).next_looks}
    assert before & {"driver.belt-webbing", "driver.load-limiter"}


def test_what_somebody_inspected_and_signed_for_is_asked_for_no_more() -> None:
    before = assess(case(NOSE), build.CATALOG, table()).next_looks
    part = next(x.component for x in before if x.look not in ("substitute-load", "scan"))
    signed = Passed(id="s", what=f"{part}:inspect", result="passed", by="R")
    after = assess(case(NOSE, signed), build.CATALOG, table()).next_looks
    assert part not in {x.component for x in after}


def asked_of(component: str, *evidence: Evidence) -> set[str]:
    answer = assess(case(NOSE, CODE, *evidence), build.CATALOG, table())
    return {x.look for x in answer.next_looks if x.component == component}


@pytest.mark.parametrize("seen", ["intact", "not-seen"])
def test_what_was_looked_for_and_not_seen_is_not_asked_again(seen: str) -> None:
    retractor = "driver.retractor-pretensioner"
    asked = asked_of(retractor) - {"substitute-load"}
    assert asked
    for word in asked:
        look = Look(id="eye", component=retractor, seen=seen, asked=word)
        assert asked_of(retractor, look) <= {"connector-off", "substitute-load"}
        fitted = DoneWork(id="new", what="replaced", component=retractor)
        assert asked_of(retractor, look, fitted) == asked_of(retractor, fitted)


def test_a_part_that_was_looked_at_twice_with_nothing_seen_is_looked_at_no_more() -> None:
    retractor = "driver.retractor-pretensioner"
    twice = [Look(id=f"eye-{n}", component=retractor, seen="intact", by="R") for n in (1, 2)]
    assert asked_of(retractor, *twice) <= {"substitute-load"}
