"""What is ordered: each assembly once, of a kind, with the question that decides it."""

from types import SimpleNamespace

import msgspec
import pytest

from squibwise.catalog.load import Catalog
from squibwise.model.belief import SpeedChange
from squibwise.model.car import OwnRule, Profile
from squibwise.model.evidence import Circumstance, DoneWork, Look, Recorder
from squibwise.model.report import Candidate, CodeLine, ReadReport, Report
from squibwise.model.work import Order, Work
from squibwise.require import work
from squibwise.require.questions import answer_rules

BELT = "driver.retractor-pretensioner driver.belt-webbing driver.load-limiter"


def told_as(weights: dict[str, float]) -> CodeLine:
    read = (Candidate(component=c, fault="open-or-high", weight=w) for c, w in weights.items())
    return CodeLine(line=1, raw="", candidates=tuple(read))


def ordered(done: Work, component: str) -> Order:
    found = [o for o in done.orders if component in o.contains]
    assert len(found) == 1, component
    return found[0]


@pytest.fixture(scope="module")
def front(made: SimpleNamespace, catalog: Catalog) -> Work:
    fired = ("driver.front-bag", "passenger.front-bag", "driver.retractor-pretensioner")
    seen = (Look(id=c, component=c, seen="deployed") for c in fired)
    return work(made.case(*seen), made.assessment({c: {"fired": 0.98} for c in fired}), catalog)


# Common practice, no source: webbing, load limiter and buckle switch are never ordered alone.
def test_a_belt_that_fired_is_one_line_with_all_it_holds(front: Work) -> None:
    belt = ordered(front, "driver.retractor-pretensioner")
    assert belt.assembly == "front-belt"
    assert belt.kind == "certain"
    assert set(BELT.split()) <= set(belt.contains)


# Judgement, common practice, no source: a bag with a door of its own tears the door in 90 of 100.
@pytest.mark.parametrize(("hurt", "bought"), [(False, "airbag-door"), (True, "instrument-panel")])
def test_where_the_panel_stays_the_door_of_the_airbag_is_ordered_and_fitted_from_above(
    hurt: bool, bought: str, made: SimpleNamespace, catalog: Catalog
) -> None:
    stays = OwnRule(
        component="instrument-panel", action="inspect", when="passenger-bag-fired", source="p. 12"
    )
    seen = [Look(id="a", component="passenger.front-bag", seen="deployed")]
    seen += [Look(id="b", component="centre.instrument-panel", seen="damaged")] if hurt else []
    states = {"passenger.front-bag": {"fired": 0.98}, "centre.instrument-panel": {"damaged": 0.85}}
    done = work(made.case(*seen, profile=Profile(rules=(stays,))), made.assessment(states), catalog)
    assert ordered(done, "centre.instrument-panel").assembly == bought
    words = [o.id for o in done.operations]
    assert ("open:panel" in words) == hurt
    if not hurt:
        assert words.index("fit:passenger-bag@passenger") < words.index("fit:airbag-door@centre")


def test_what_a_user_says_is_sold_apart_is_a_line_of_its_own(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    case = made.case(profile=Profile(sold_apart=("load-limiter",)))
    states = {"driver.retractor-pretensioner": {"fired": 0.98}}
    belt = ordered(work(case, made.assessment(states), catalog), "driver.retractor-pretensioner")
    assert "driver.load-limiter" not in belt.contains


# Common practice, no source: the lower anchor comes with many belts and not with all; a list that
# counts on it leaves a bent bolt in the sill, a record that does says more than anybody knows.
@pytest.mark.parametrize("said", [(), ("belt-anchor",)])
def test_a_lower_anchor_comes_with_the_belt_only_where_the_case_says_so(
    said: tuple[str, ...], made: SimpleNamespace, catalog: Catalog
) -> None:
    anchor, reel = "row2-left.belt-anchor", "row2-left.retractor-pretensioner"
    rule = OwnRule(component=anchor, action="replace", source="maker's procedure, section 12")
    fired = Look(id="seen", component=reel, seen="webbing-locked")
    case = made.case(fired, profile=Profile(comes_with=said, rules=(rule,)))
    done = work(case, made.assessment({reel: {"fired": 0.98}}), catalog)
    belt = ordered(done, reel)
    assert (anchor in belt.contains, anchor in ordered(done, anchor).contains) == (bool(said), True)
    assert (ordered(done, anchor).assembly == "belt-anchor") is not bool(said)


def test_a_rule_says_how_many_profiles_ask_and_has_its_question(front: Work) -> None:
    unit = ordered(front, "centre.control-unit")
    assert (unit.kind, unit.of_profiles, unit.question) == ("rule", 6, "unit-bags")
    assert 3 <= len(unit.profiles) <= 6
    assert "unit-bags" in {q.id for q in front.questions}


def test_what_hangs_on_a_part_in_doubt_waits_for_the_look_at_that_part(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    done = work(made.case(), made.assessment({"driver.front-bag": {"fired": 0.7}}), catalog)
    [unit] = [o for o in done.orders if "centre.control-unit" in o.contains]
    assert (unit.kind, unit.question) == ("look-first", "unit-bags")
    assert "front airbag" in unit.settled_by


def test_what_few_makers_ask_for_is_asked_and_in_no_hours(front: Work) -> None:
    assert ordered(front, "driver.steering-column").kind == "ask"
    assert "fit:column@driver" not in {o.id for o in front.operations}


# Common practice, no source: sensors of the nose go with a front airbag, not with belts alone.
def test_belts_alone_order_no_front_sensors(made: SimpleNamespace, catalog: Catalog) -> None:
    belts = ("driver.retractor-pretensioner", "passenger.retractor-pretensioner")
    seen = (Look(id=c, component=c, seen="deployed") for c in belts)
    states = made.assessment({c: {"fired": 0.98} for c in belts})
    done = work(made.case(*seen), states, catalog)
    assert ordered(done, "driver.retractor-pretensioner").kind == "certain"
    assert ordered(done, "nose-right.impact-sensor").kind not in ("certain", "rule")


@pytest.mark.parametrize(("seen", "fired"), [(False, 0.7), (True, 0.98)])
def test_fasteners_are_as_sure_as_the_surest_part_they_belong_to(
    seen: bool, fired: float, made: SimpleNamespace, catalog: Catalog
) -> None:
    bag = "driver.front-bag"
    looks = (Look(id="a", component=bag, seen="deployed"),) if seen else ()
    done = work(made.case(*looks), made.assessment({bag: {"fired": fired}}), catalog)
    [kit] = [o for o in done.orders if o.assembly == "bolts-kit"]
    assert kit.kind == done.orders[0].kind == ("certain" if seen else "look-first")


# Common practice, no source: what one kind of rules in six asks for is asked of the maker first.
def test_what_one_kind_of_rules_in_six_asks_for_without_a_question_is_asked_first(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    """A belt worn in a severe crash: nobody saw it, and one kind of rules in six has it new."""
    fast = msgspec.structs.replace(made.crash, delta_v_kmh=SpeedChange(p10=60, p50=70, p90=80))
    done = work(made.case(), made.assessment({}, fast), catalog)
    [belt] = [o for o in done.orders if "driver.belt-webbing" in o.contains]
    assert len(belt.profiles) == 1
    assert belt.kind not in ("certain", "rule")


def test_an_airbag_that_nobody_saw_is_looked_at_though_its_neighbour_fired(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    """ "Not seen" names no part: that the car has a knee airbag may only be assumed."""
    looks = (
        Look(id="a", component="driver.front-bag", seen="deployed"),
        Look(id="b", component="driver.knee-bag", seen="not-seen"),
    )
    states = {c: {"fired": 0.98} for c in ("driver.front-bag", "driver.knee-bag")}
    done = work(made.case(*looks), made.assessment(states), catalog)
    assert ordered(done, "driver.front-bag").kind == "certain"
    assert ordered(done, "driver.knee-bag").kind == "look-first"
    assert ordered(done, "driver.knee-bolster").kind == "look-first"


def test_a_line_that_fits_two_parts_means_the_one_that_no_other_line_names(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    """ "Left front pretensioner open" beside "driver buckle pretensioner open"."""
    belt, buckle = "driver.retractor-pretensioner", "driver.buckle-pretensioner"
    states = made.assessment({belt: {"fired": 0.98}, buckle: {"fired": 0.98}})
    either, plain = told_as({belt: 0.8, buckle: 0.2}), told_as({buckle: 1.0})
    alone, both = (
        work(made.case(Report(id="s", reading=ReadReport(lines=x))), states, catalog)
        for x in ((either,), (either, plain))
    )
    assert ordered(alone, belt).kind == "look-first"
    assert ordered(both, belt).kind == "certain"


def test_parts_that_somebody_names_as_under_water_are_ordered(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    wet = ("seat-bag", "driver.buckle-pretensioner")
    flood = Circumstance(id="told", what="flood", present=True, parts=wet)
    parts = ("driver.seat-bag", "passenger.seat-bag", "driver.buckle-pretensioner")
    done = work(made.case(flood), made.assessment({c: {"damaged": 0.97} for c in parts}), catalog)
    assert {ordered(done, c).kind for c in parts} == {"certain"}


def test_nothing_under_the_listing_threshold_is_on_the_list(front: Work, catalog: Catalog) -> None:
    least = catalog.fact("require.list-from").number()
    assert min(o.p for o in front.orders) >= least


@pytest.mark.parametrize("answer", ["yes", "no"])
def test_an_answer_decides_and_is_cited(
    answer: str, made: SimpleNamespace, catalog: Catalog
) -> None:
    states = made.assessment({"driver.front-bag": {"fired": 0.98}})
    question = catalog.rules.questions["column"]
    rules = answer_rules(question, answer, made.case(), "maker's book, page 9")
    done = work(made.case(profile=Profile(rules=rules)), states, catalog)
    found = [o for o in done.orders if "driver.steering-column" in o.contains]
    assert [o.kind for o in found] == (["rule"] if answer == "yes" else [])
    asked = {q.id: q.answered for q in done.questions}
    assert asked["column"] == answer
    if answer == "yes":
        assert any("page 9" in b.text for b in found[0].because)


def test_a_yes_for_the_struck_side_leaves_the_other_side_to_a_look(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    event = msgspec.structs.replace(made.crash, zones={"pillar-left": 0.75, "door-left": 0.24})
    states = {c: {"fired": 0.98} for c in ("left.curtain", "right.curtain")}
    question = catalog.rules.questions["side-sensors"]
    rules = answer_rules(question, "yes", made.case(), "manual, page 12")
    case = made.case(profile=Profile(rules=rules))
    done = work(case, made.assessment(states, event), catalog)
    kinds = {c: o.kind for o in done.orders for c in o.contains if "impact-sensor" in c}
    assert kinds.get("pillar-left.impact-sensor") == "rule"
    assert not [c for c in kinds if c.startswith(("pillar-right", "door-right"))]
    items = {i.id for i in done.items}
    assert "pillar-right.impact-sensor:inspect" in items
    assert "pillar-right.impact-sensor:replace" not in items
    assert [q.answered for q in done.questions if q.id == "side-sensors"] == ["yes"]


def test_an_own_rule_makes_an_order_by_rule_not_a_certainty(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    rule = OwnRule(component="steering-wheel", action="replace", source="book")
    done = work(made.case(profile=Profile(rules=(rule,))), made.assessment({}), catalog)
    assert ordered(done, "driver.steering-wheel").kind == "rule"


def test_a_part_seen_damaged_is_ordered_without_a_doubt(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    seen = Look(id="l", component="centre.control-unit", seen="damaged")
    states = made.assessment({}, made.calm)
    done = work(made.case(seen), states, catalog)
    assert ordered(done, "centre.control-unit").kind == "certain"


def test_the_first_question_is_whether_there_was_a_crash(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    event = msgspec.structs.replace(made.crash, no_crash=0.5)
    done = work(made.case(), made.assessment({}, event), catalog)
    assert done.questions[0].id == "crash"


def test_prices_of_the_catalogue_are_dated_and_from_memory(front: Work) -> None:
    priced = [o.price for o in front.orders if o.price is not None]
    assert priced
    assert {(p.basis, p.on) for p in priced} == {("from-memory", "2026-11-28")}


# Common practice, no source: a locked unit is new or unlocked by the maker's own route, whatever
# the rule that counts airbags says.
@pytest.mark.parametrize(("record", "listed"), [("locked", True), ("stored", False)])
def test_a_locked_unit_stays_on_the_list_whatever_is_answered_on_bags(
    record: str, listed: bool, made: SimpleNamespace, catalog: Catalog
) -> None:
    rules = answer_rules(catalog.rules.questions["unit-bags"], "no", made.case(), "book, page 3")
    beliefs = made.assessment({"driver.front-bag": {"fired": 0.98}})
    case = made.case(Recorder(id="r", record=record), profile=Profile(rules=rules))
    found = [o for o in work(case, beliefs, catalog).orders if "control-unit" in o.assembly]
    assert bool(found) == listed
    if listed:
        assert "maker's own route" in found[0].settled_by


def test_a_locked_unit_that_was_unlocked_and_read_again_is_not_listed(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    rules = answer_rules(catalog.rules.questions["unit-bags"], "no", made.case(), "book, page 3")
    beliefs = made.assessment({"driver.front-bag": {"fired": 0.98}})
    seen = (
        Recorder(id="r", record="locked"),
        DoneWork(id="clear", what="cleared", component="codes"),
        Recorder(id="again", record="none"),
    )
    case = made.case(*seen, profile=Profile(rules=rules))
    found = [o for o in work(case, beliefs, catalog).orders if "control-unit" in o.assembly]
    assert found == []


def test_a_part_that_no_line_names_alone_is_looked_at_before_it_is_ordered(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    """A report that says 'pretensioner' and no more does not say which."""
    belt, buckle = "driver.retractor-pretensioner", "driver.buckle-pretensioner"
    beliefs = made.assessment({belt: {"fired": 0.98}})
    kinds = {}
    for share in (0.8, 1.0):
        both = [
            Candidate(component=c, fault="open-or-high", weight=w)
            for c, w in ((belt, share), (buckle, 1.0 - share))
            if w > 0
        ]
        line = CodeLine(line=1, raw="", candidates=tuple(both))
        report = Report(id="scan", reading=ReadReport(lines=(line,)))
        kinds[share] = ordered(work(made.case(report), beliefs, catalog), belt).kind
    assert kinds == {0.8: "look-first", 1.0: "certain"}


@pytest.mark.parametrize(("currency", "priced"), [("EUR", True), ("GBP", True), ("SEK", False)])
def test_a_price_from_memory_is_wider_abroad_or_said_to_be_missing(
    currency: str, priced: bool, made: SimpleNamespace, catalog: Catalog
) -> None:
    beliefs = made.assessment({"driver.front-bag": {"fired": 0.98}})
    prices = {}
    for money in ("USD", currency):
        case = msgspec.structs.replace(made.case(), currency=money)
        prices[money] = ordered(work(case, beliefs, catalog), "driver.front-bag").price
    at_home, abroad = prices["USD"], prices[currency]
    assert at_home is not None
    assert (abroad is not None) == priced
    if abroad is not None:
        assert abroad.basis == "from-memory"
        assert abroad.low.currency == currency
        assert abroad.high.minor / abroad.low.minor > at_home.high.minor / at_home.low.minor


def test_a_part_that_fired_or_else_is_damaged_is_ordered_whichever_it_is(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    """A rear belt that is locked: its pretensioner fired, or its reel is bent."""
    belt = "row2-left.retractor-pretensioner"
    locked = Look(id="l", component=belt, seen="webbing-locked")
    states = {belt: {"fired": 0.84, "damaged": 0.14}}
    orders = work(made.case(locked), made.assessment(states), catalog).orders
    order = next(o for o in orders if belt in o.contains)
    assert (order.kind, round(order.p, 2)) == ("certain", 0.98)


def test_glass_that_others_fit_makes_no_fastener_certain(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    states = {"centre.windshield": {"damaged": 0.97}, "centre.instrument-panel": {"damaged": 0.6}}
    seen = Look(id="l", component="centre.windshield", seen="damaged")
    orders = work(made.case(seen), made.assessment(states), catalog).orders
    kinds = {o.assembly: o.kind for o in orders}
    assert kinds["windshield"] == "certain"
    assert kinds["bolts-kit"] == kinds["instrument-panel"] != "certain"


# From a car with both front belts at over 99 % under "price and days only": nothing is left for a
# look to decide, though both open lines fit retractor and buckle.
@pytest.mark.parametrize(("chance", "kind"), [(0.97, "look-first"), (0.995, "certain")])
def test_what_is_over_99_percent_needed_is_ordered_now(
    made: SimpleNamespace, catalog: Catalog, chance: float, kind: str
) -> None:
    belt = "driver.retractor-pretensioner"
    line = told_as({belt: 0.6, "driver.buckle-pretensioner": 0.4})
    done = work(
        made.case(Report(id="s", reading=ReadReport(lines=(line,)))),
        made.assessment({belt: {"fired": chance}}),
        catalog,
    )
    assert ordered(done, belt).kind == kind


# From a passenger's buckle at 52 % that was to be taken out before the look that decides on it.
def test_what_a_look_decides_comes_out_after_that_look(
    made: SimpleNamespace, catalog: Catalog
) -> None:
    buckle = "driver.buckle-pretensioner"
    done = work(made.case(), made.assessment({buckle: {"fired": 0.55}}), catalog)
    assert ordered(done, buckle).kind == "look-first"
    ids = [o.id for o in done.operations]
    looks = [o.id for o in done.operations if buckle in o.sees and o.id.startswith("look:seat")]
    assert looks
    assert max(map(ids.index, looks)) < ids.index("out:front-buckle@driver")
