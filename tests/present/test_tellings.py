"""What a person reads, from records made by hand: order, words, 80 columns. Records are ours."""

from pathlib import Path
from typing import Any

import msgspec
import pytest
from msgspec import structs

from squibwise.catalog.load import Catalog, load_catalog
from squibwise.cli import output
from squibwise.model.belief import (
    Assessment,
    Because,
    ComponentBelief,
    Contradiction,
    EventBelief,
    NextLook,
    OpenQuestion,
    SpeedChange,
    StageBelief,
    StateBelief,
    StateRange,
)
from squibwise.model.car import Car
from squibwise.model.case import Case
from squibwise.model.cost import Amount, Cost, CostLine, Money
from squibwise.model.evidence import Look
from squibwise.model.origin import Finding, Origin
from squibwise.model.proof import Gate, ProofRecord, Verdict, Verification
from squibwise.model.report import Candidate, CodeLine, Coverage, ReadReport, Report, Unread
from squibwise.model.trace import (
    Alternative,
    BenchCard,
    CardStep,
    Effort,
    Hypothesis,
    PlanNode,
    Trace,
)
from squibwise.model.words import State
from squibwise.model.work import (
    Area,
    Caution,
    Demand,
    Minutes,
    Operation,
    Order,
    PriceRange,
    Question,
    Saving,
    Visit,
    Work,
)
from squibwise.present.phrases import weigh
from squibwise.present.tell_assessment import is_settled, tell_assessment, tell_belief
from squibwise.present.tell_checks import (
    tell_release,
    tell_verdict,
    tell_verdicts,
    tell_verification,
)
from squibwise.present.tell_cost import tell_cost
from squibwise.present.tell_evidence import tell_evidence
from squibwise.present.tell_report import tell_report
from squibwise.present.tell_trace import tell_trace
from squibwise.present.tell_visits import tell_operation, tell_sureness
from squibwise.present.tell_work import tell_item, tell_order, tell_work
from squibwise.present.telling import Telling
from squibwise.require.progress import entry_for


@pytest.fixture(scope="module")
def catalog() -> Catalog:
    return load_catalog()


@pytest.fixture
def text(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.delenv("COLUMNS", raising=False)

    def printed(telling: Telling) -> str:
        output.show(telling)
        shown = capsys.readouterr().out
        assert max(map(len, shown.splitlines())) <= 80
        assert "\x1b" not in shown
        assert not any(line.endswith(" ") for line in shown.splitlines())
        return shown

    return printed


def states(**given: float) -> StateBelief:
    all_states = dict.fromkeys(("sound", "fired", "faulty", "damaged", "missing", "unfit"), 0.0)
    return StateBelief(**(all_states | given))


def belief(name: str, now: StateBelief, **more: Any) -> ComponentBelief:
    because = (Because(text=f"reason of {name}", evidence=("look-1",), alone_db=12.25),)
    return ComponentBelief(id=name, **({"after_crash": now, "now": now, "because": because} | more))


STAGES = {
    "1": StageBelief(fired=0.99, live=0.01, faulty=0.0),
    "2": StageBelief(fired=0.6, live=0.4, faulty=0.0),
}
CASE = Case(
    id="teasel-99",
    title="A car of our own",
    car=Car(equipment="seat-bags", components=("driver.front-bag",), assumed=True),
    evidence=(
        Look(
            id="look-1",
            component="driver.front-bag",
            seen="cover-torn",
            origin=Origin(file="case.toml", line=7),
        ),
    ),
    findings=(
        Finding(code="x", severity="warning", message="odd", remedy="Look.", origin=Origin(line=3)),
    ),
)
ASSESSED = Assessment(
    event=EventBelief(
        zones={"nose-right": 0.97},
        delta_v_kmh=SpeedChange(p10=15, p50=27, p90=44),
        driver_belted=0.9,
        passenger_belted=0.3,
        front_passenger={"empty": 0.6, "child-or-small": 0.1, "adult": 0.3},
        rollover=0.001,
        second_impact=0.05,
        no_crash=0.0001,
    ),
    components=(
        belief("driver.front-bag", states(fired=0.99, sound=0.01), stages=STAGES, prior_fired=0.3),
        belief("driver.knee-bag", states(fired=0.7, sound=0.3)),
        belief("left.curtain", states(sound=1.0)),
        belief("driver.knee-bolster", states(sound=0.6, damaged=0.4)),
        belief("driver.buckle-switch", states(faulty=0.8, sound=0.2)),
        belief(
            "passenger.front-bag",
            states(sound=0.98, faulty=0.02),
            after_crash=states(fired=1.0),
        ),
    ),
    unproven=("driver.front-bag/2",),
    contradictions=(Contradiction(text="A and B differ.", evidence=("look-1",), remedy="Again."),),
    next_looks=(
        NextLook(
            component="driver.knee-bag",
            look="cover",
            text="look at the knee cover",
            minutes=2,
            settles=0.3,
            saving=5,
        ),
    ),
)


def test_an_assessment_reads_in_the_order_a_rebuilder_asks(text: Any, catalog: Catalog) -> None:
    shown = text(tell_assessment(CASE, ASSESSED, catalog))
    heads = ["What fired", "Probably fired", "Not right now", "Hazards"]
    heads += [
        "Contradictions",
        "Doubtful",
        "To be looked at",
        "Look next",
        "Did not fire",
        "What happened",
    ]
    places = [shown.index(f"\n{head}") for head in [*heads, "About the input"]]
    assert places == sorted(places)


def test_a_stage_that_may_be_live_is_a_hazard(text: Any, catalog: Catalog) -> None:
    shown = text(tell_assessment(CASE, ASSESSED, catalog))
    assert "stage 2 may still be live though the part fired (39%)" in " ".join(shown.split())


def test_an_unfired_charge_with_a_faulty_circuit_is_a_hazard(text: Any, catalog: Catalog) -> None:
    faulty = belief("left.curtain", states(faulty=0.95, sound=0.05))
    shown = text(tell_assessment(CASE, structs.replace(ASSESSED, components=(faulty,)), catalog))
    assert "left.curtain: its circuit is at fault, which is no proof" in " ".join(shown.split())


def test_a_part_that_is_not_there_is_not_called_live(text: Any, catalog: Catalog) -> None:
    gone = belief("left.curtain", states(missing=1.0))
    there = belief("right.curtain", states(sound=1.0))
    assessed = structs.replace(ASSESSED, components=(gone, there))
    shown = text(tell_assessment(CASE, assessed, catalog))
    quiet = shown.partition("\nDid not fire")[2].partition("\nWhat happened")[0]
    assert "right.curtain" in quiet
    assert "left.curtain" not in quiet


def test_what_may_have_fired_at_one_end_of_its_range_is_not_said_not_to_have_fired(
    text: Any, catalog: Catalog
) -> None:
    wide = StateRange(low=0.02, high=0.48, figure="how often it fires with the belts")
    few = belief("left.curtain", states(sound=0.92, fired=0.08))
    open_end = structs.replace(few, id="right.curtain", ranges={"fired": wide})
    shown = text(
        tell_assessment(CASE, structs.replace(ASSESSED, components=(few, open_end)), catalog)
    )
    quiet = shown.partition("\nDid not fire")[2].partition("\nWhat happened")[0]
    assert "left.curtain" in quiet
    assert "right.curtain" not in quiet


def test_without_a_crash_nothing_is_said_of_belts_and_speed(text: Any, catalog: Catalog) -> None:
    calm = structs.replace(ASSESSED, event=structs.replace(ASSESSED.event, no_crash=0.9))
    shown = text(tell_assessment(CASE, calm, catalog))
    assert "no crash at all  90%" in shown
    assert "belted" not in shown
    assert "km/h" not in shown


def test_one_cause_behind_several_codes_is_told_in_words_and_once(
    text: Any, catalog: Catalog
) -> None:
    causes = {"shared-plug:driver": 0.86, "shared-plug:driver.wheel": 0.86, "crash-record": 0.3}
    causes |= {"clock-spring": 0.13, "supply": 0.02, "loose-plug:nose-left.impact-sensor": 0.2}
    event = structs.replace(ASSESSED.event, causes=causes)
    shown = text(tell_assessment(CASE, structs.replace(ASSESSED, event=event), catalog))
    told = shown.partition("\nOne cause behind several codes")[2].partition("\n\n")[0]
    assert told.count("86%") == 1
    assert "driver wheel" in told
    assert "13%  Check connectors and clock spring" in told
    assert "The connector of the nose left crash sensor is not seated" in told
    assert "supply" not in told
    assert "crash record in the unit" in shown.partition("\nWhat happened")[2]


def test_a_replaced_part_shows_what_it_is_now(text: Any, catalog: Catalog) -> None:
    shown = text(tell_assessment(CASE, ASSESSED, catalog))
    line = next(x for x in shown.splitlines() if x.strip().startswith("passenger.front-bag"))
    assert "over 99%" in line
    assert "now sound 98%" in line


def test_a_doubtful_part_stands_with_the_look_that_settles_it(text: Any, catalog: Catalog) -> None:
    shown = text(tell_assessment(CASE, ASSESSED, catalog))
    doubtful = shown.partition("\nDoubtful")[2].partition("\nLook next")[0]
    assert "look at the knee cover" in " ".join(doubtful.split())


def test_why_names_weight_evidence_and_line(text: Any, catalog: Catalog) -> None:
    shown = " ".join(text(tell_belief(CASE, ASSESSED.components[0], ASSESSED, catalog)).split())
    assert "strong reason of driver.front-bag (look-1, case.toml:7)" in shown
    assert "fired, before any evidence 30%" in shown


def test_decibans_are_told_only_when_figures_are_asked_for(text: Any, catalog: Catalog) -> None:
    bag = ASSESSED.components[0]
    plain = text(tell_belief(CASE, bag, ASSESSED, catalog))
    figures = text(tell_belief(CASE, bag, ASSESSED, catalog, figures=True))
    assert "dB" not in plain
    assert "+12.2 dB" in figures


# Thresholds: H. Jeffreys, Theory of Probability (1961), appendix B, 10 and 5 dB; 1 dB is ours.
@pytest.mark.parametrize(
    ("alone", "last", "word"),
    [
        (10.0, 9.0, "strong"),
        (9.9, 9.0, "fair"),
        (4.9, 4.0, "weak"),
        (-12.0, -9.0, "against, strong"),
        (0.9, 0.1, "would not change it"),
        (-0.9, 0.1, "would not change it"),
        (None, None, ""),
    ],
)
def test_a_weight_is_told_in_a_word(alone: float | None, last: float | None, word: str) -> None:
    assert weigh(Because(text="x", alone_db=alone, last_db=last)) == word


def test_a_reason_that_the_others_tell_too_says_so(text: Any, catalog: Catalog) -> None:
    again = Because(text="again", alone_db=14.0, last_db=0.2)
    bag = structs.replace(ASSESSED.components[0], because=(again,))
    assert "again (the rest says it already)" in " ".join(
        text(tell_belief(CASE, bag, ASSESSED, catalog)).split()
    )


def test_a_load_left_in_is_the_first_hazard(text: Any, catalog: Catalog) -> None:
    states = structs.replace(ASSESSED, loads_left_in=("left.curtain",))
    hazards = text(tell_assessment(CASE, states, catalog)).partition("\nHazards")[2]
    assert hazards.index("left.curtain: its circuit reads good") < hazards.index("stage 2 may")


def test_what_somebody_may_know_is_asked_before_anything_is_looked_at(
    text: Any, catalog: Catalog
) -> None:
    asked = OpenQuestion(id="crash", text="Was there a crash?", why="Nothing shows one.")
    shown = text(tell_assessment(CASE, structs.replace(ASSESSED, open_questions=(asked,)), catalog))
    assert shown.index("Ask first") < shown.index("\nWhat fired")
    assert "crash  Was there a crash? Nothing shows one." in shown


def test_a_conclusion_that_hangs_on_a_figure_shows_its_range(text: Any, catalog: Catalog) -> None:
    ranges_ = {"damaged": StateRange(low=0.2, high=0.8, figure="how often a sensor is bent")}
    bolster = structs.replace(ASSESSED.components[3], ranges=ranges_)
    shown = " ".join(text(tell_belief(CASE, bolster, ASSESSED, catalog)).split())
    assert "damaged anywhere from 20% to 80%, by how often a sensor is bent" in shown


def test_the_change_of_speed_is_in_the_unit_of_the_region(text: Any, catalog: Catalog) -> None:
    # Source: NIST Special Publication 811, appendix B.8: 1 mile = 1.609344 km; so 27 km/h = 16.8.
    at_home = structs.replace(CASE, region="US-OH")
    assert "about 17 mph (9 to 27" in text(tell_assessment(at_home, ASSESSED, catalog))
    abroad = structs.replace(CASE, region="DE")
    assert "about 27 km/h (15 to 44" in text(tell_assessment(abroad, ASSESSED, catalog))


def usd(amount: int) -> Money:
    return Money(minor=100 * amount, currency="USD")


def item(name: str, **more: Any) -> Demand:
    component, action = name.rsplit(":", 1)
    if component == "step":
        return Demand(id=name, action="do", component=None, title=f"Do {action}", **more)
    return Demand(id=name, action=action, component=component, title=f"{action} it", **more)


HOT = Caution(id="hot", text="It is hot.", source="judgement")
SAME = (Because(text="Look at it all. Here: near certain."),)
BAG = item("driver.front-bag:replace", strict="always", because=SAME, probability=0.9,
           hold_minutes=30, minutes=50, cautions=(HOT,))  # fmt: skip


def operation(n: int, action: str, title: str, **more: Any) -> Operation:
    likely = more.pop("likely", 10)
    time = Minutes(low=likely // 2, likely=likely, high=2 * likely)
    return Operation(n=n, id=f"{action}:{n}", action=action, title=title, minutes=time, **more)


def area(word: str, title: str, *operations: Operation, phase: str = "open") -> Area:
    return Area(area=word, phase=phase, title=title, operations=operations)


WORK = Work(
    profile="unknown",
    items=(BAG, item("centre.windshield:keep", strict="always")),
    orders=(
        Order(
            assembly="driver-bag", title="driver airbag module", contains=("driver.front-bag",),
            price=PriceRange(low=usd(200), likely=usd(320), high=usd(700), basis="entered"),
            because=SAME, lead_days=(1, 3, 14), live=True, note="Used refused: mostly.",
        ),
        Order(
            assembly="column", title="steering column", contains=("driver.steering-column",),
            kind="ask", p=0.2, question="column", profiles=("a",), of_profiles=6,
        ),
    ),
    visits=(
        Visit(
            id="strip", title="Open up", power="off",
            areas=(
                area(
                    "power", "Power",
                    operation(21, "do", "Take away every source of power"),
                    operation(22, "do", "Touch body metal", hold_minutes=30, cautions=(HOT,)),
                ),
                area(
                    "wheel", "Steering wheel",
                    operation(201, "out", "Take out, bag and label: driver airbag module",
                              blocked_by=("key-on-safe",), cautions=(HOT,)),
                    operation(101, "open", "Open: steering wheel", cautions=(HOT,)),
                ),
                area("b-left", "Left pillar", operation(117, "open", "Open: left pillar")),
                area("b-right", "Right pillar", operation(118, "open", "Open: right pillar")),
            ),
        ),
        Visit(
            id="fit", title="Close up", power="on",
            areas=(
                area(
                    "wheel", "Steering wheel",
                    operation(401, "fit", "Fit: driver airbag module", kind="rule", done=True),
                    operation(402, "fit", "Fit: headliner", kind="look-first", p=0.6, done=True),
                    phase="fit",
                ),
            ),
        ),
    ),
    questions=(
        Question(
            id="column", text="Is the column new?", typical="measured",
            saves=Saving(parts=usd(1000), minutes=60),
        ),
        Question(id="unit", text="Is the unit new?", answered="yes"),
    ),
    not_counted=("paint",),
)  # fmt: skip


def amount(likely: int, at_most: int) -> Amount:
    return Amount(likely=usd(likely), at_least=usd(2100), at_most=usd(at_most))


def summed(name: str, **more: Any) -> Cost:
    none = usd(0)
    return Cost(
        profile="unknown", name=name, low=none, likely=none, high=none, minutes=1100,
        parts=amount(3400, 5200), chance=0.9,
        total=Amount(likely=Money(minor=463450, currency="USD"), at_most=usd(6100)),
        labour_minutes=(700, 1100, 1900), waiting_minutes=60, **more,
    )  # fmt: skip


COSTS = (
    summed(
        "followed",
        labour=Amount(likely=Money(minor=123450, currency="USD"), at_most=usd(2000)),
        lines=(
            CostLine(item="driver-bag", what="driver airbag module", low=usd(200),
                     likely=usd(320), high=usd(700)),
            CostLine(item="column", what="steering column", probability=0.2),
        ),
        missing=("steering column",), from_memory=("driver airbag module",),
    ),
    summed("certain"),
    summed("strictest"),
    summed("any-fire-strict"),
)  # fmt: skip


def test_a_work_list_leads_with_what_matters(text: Any, catalog: Catalog) -> None:
    shown = text(tell_work(CASE, WORK, COSTS, catalog, full=True))
    heads = ["In short", "Ask first", "Order now", "May be added", "Closed gates", "1. Open up"]
    places = [shown.index(f"\n{head}") for head in [*heads, "2. Close up", "Not in these hours"]]
    assert places == sorted(places)
    short = shown.partition("\nIn short")[2].partition("\nAsk first")[0]
    assert len(short.splitlines()) <= 11
    assert "2 of 8 done" in short


def test_each_visit_says_its_power_and_its_areas_in_a_line(text: Any, catalog: Catalog) -> None:
    shown = " ".join(text(tell_work(CASE, WORK, COSTS, catalog)).split())
    assert "1. Open up: power off; 60 min; held by key-on-safe" in shown
    assert "[ ] Steering wheel: take out driver airbag module; open (101, 201); 20 min" in shown
    assert "wait 30 min; touch body metal (21-22); 20 min" in shown
    assert "[ ] Left pillar, right pillar: open (117-118); 20 min" in shown
    assert "2. Close up: POWER ON; done (401-402) " in shown


def test_left_and_right_of_an_opening_share_a_line_and_keep_their_order(
    text: Any, catalog: Catalog
) -> None:
    sides = tuple(
        area(
            f"b-{at}", f"B-pillar trims, {at}",
            operation(117 + n, "open", f"Open: B-pillar trims, {at}"),
            operation(291 + n, "out", f"Take out, bag and label: belt, {seat}"),
            operation(167 + n, "look", f"Look: belt run, {at}"),
        )
        for n, (at, seat) in enumerate((("left", "driver"), ("right", "passenger")))
    )  # fmt: skip
    again = structs.replace(WORK, visits=(structs.replace(WORK.visits[0], areas=sides),))
    shown = " ".join(text(tell_work(CASE, again, COSTS, catalog)).split())
    told = "B-pillar trims (left, right): open; take out belt (driver, passenger); look"
    assert f"{told} (117-118, 167-168, 291-292); 60 min" in shown


def test_the_short_work_fits_on_a_page_and_says_where_the_rest_is(
    text: Any, catalog: Catalog
) -> None:
    shown = text(tell_work(CASE, WORK, COSTS, catalog))
    assert "Ask first  squibwise" not in shown
    assert "`--full`" in shown
    assert "`--orders`" in shown
    assert len(shown.splitlines()) < len(
        text(tell_work(CASE, WORK, COSTS, catalog, full=True)).splitlines()
    )


def test_in_full_every_operation_has_its_number_and_how_sure_it_is(
    text: Any, catalog: Catalog
) -> None:
    opened = tuple(structs.replace(o, done=False) for o in WORK.visits[1].operations)
    again = structs.replace(
        WORK, visits=(structs.replace(WORK.visits[1], areas=(area("w", "Wheel", *opened),)),)
    )
    shown = " ".join(text(tell_work(CASE, again, COSTS, catalog, full=True)).split())
    assert "[ ] 401 Fit: driver airbag module; 10 min; by rule" in shown
    assert "[ ] 402 Fit: headliner; 10 min; only if a look says so (60%)" in shown


def test_what_is_ordered_stands_apart_from_what_may_be(text: Any, catalog: Catalog) -> None:
    shown = text(tell_work(CASE, WORK, COSTS, catalog, full=True))
    now, _, rest = shown.partition("\nOrder now")[2].partition("\nMay be added")
    assert "driver airbag module  320.00  over 99%  certain" in now
    assert "steering column" not in now
    added = rest.partition("\nClosed gates")[0]
    assert "no price" in added
    assert "20%" in added
    assert "ask: column" in added


def test_an_open_question_says_what_its_answer_saves(text: Any, catalog: Catalog) -> None:
    shown = " ".join(text(tell_work(CASE, WORK, COSTS, catalog, full=True)).split())
    asked = "column Is the column new? A no saves 1,000.00 USD and 60 min. Most: measured."
    assert asked in shown
    assert "Is the unit new?" not in shown


def test_a_caution_is_said_once_with_its_operations(text: Any, catalog: Catalog) -> None:
    assert text(tell_work(CASE, WORK, COSTS, catalog)).count("It is hot.") == 1
    shown = text(tell_work(CASE, WORK, COSTS, catalog, full=True))
    assert shown.count("It is hot.") == 1
    assert "It is hot. (no. 22, 101, 201)" in shown


def test_why_of_an_operation_names_its_cautions_and_how_to_tick_it(
    text: Any, catalog: Catalog
) -> None:
    shown = text(tell_operation(CASE, WORK.operations[1], WORK, catalog))
    assert "It is hot. (Engineering judgement" in " ".join(shown.split())
    assert "    squibwise did teasel-99 22 --by NAME\n" in shown
    assert "10 min (5 to 20)" in shown


@pytest.mark.parametrize(
    ("number", "command"),
    [
        (94, "squibwise add teasel-99 FILE --when after-repair --complete\n"),
        (92, "squibwise did teasel-99 92 --lamp SECONDS --by NAME\n"),
        (81, "squibwise did teasel-99 81 --safe --by NAME\n"),
    ],
)
def test_why_of_what_is_no_tick_names_the_command_that_is_taken(
    number: int, command: str, text: Any, catalog: Catalog
) -> None:
    step = next(s.id for s in catalog.tasks.steps.values() if s.number == number)
    held = ("power-safe",) if number == 81 else ()
    operation = msgspec.structs.replace(
        WORK.operations[1], n=number, id=f"step:{step}", hold_minutes=0, blocked_by=held
    )
    assert command in text(tell_operation(CASE, operation, WORK, catalog))


def test_why_of_an_order_names_what_comes_with_it(text: Any, catalog: Catalog) -> None:
    shown = " ".join(text(tell_order(CASE, WORK.orders[0], catalog)).split())
    assert "contains driver.front-bag" in shown
    assert "200.00 USD, 320.00 USD, 700.00 USD (entered)" in shown
    assert "3 (1 to 14)" in shown
    assert "dangerous goods yes" in shown


def test_why_of_an_item_names_its_cautions(text: Any, catalog: Catalog) -> None:
    shown = text(tell_item(CASE, BAG, catalog))
    assert "It is hot. (Engineering judgement" in " ".join(shown.split())
    assert '    item = "driver.front-bag:replace"\n' in shown


def test_the_entry_for_a_gate_step_is_the_gates_own_word(catalog: Catalog) -> None:
    gate = next(g for g in catalog.tasks.gates.values() if g.step)
    entry = entry_for(item(f"step:{gate.step}", strict="always"), catalog)
    assert entry == {"kind": "passed", "what": gate.word, "result": "passed"}


def test_a_cost_stands_in_parts_labour_and_the_work_of_others(text: Any, catalog: Catalog) -> None:
    shown = text(tell_cost(CASE, COSTS, catalog))
    assert "3,400 USD expected, 2,100 to 5,200 USD (in 80% of cases)" in " ".join(shown.split())
    assert "18.3 h (11.7 to 31.7)" in shown
    row = next(x for x in shown.splitlines() if x.strip().startswith("the rules that are followed"))
    assert row.split()[-5:] == ["3,400", "1,234", "?", "4,634", "6,100"]


def test_three_sums_stand_side_by_side(text: Any, catalog: Catalog) -> None:
    shown = text(tell_cost(CASE, COSTS, catalog))
    beside = shown.partition("\nStill to be paid")[2].partition("\nUnder each")[0]
    rows = ("only what is certain", "the rules that are followed", "the strictest of all rules")
    places = [beside.index(row) for row in rows]
    assert places == sorted(places)
    assert "any-fire-strict" in shown.partition("\nUnder each kind of rules")[2]


def test_what_has_no_price_is_named_and_in_no_sum(text: Any, catalog: Catalog) -> None:
    shown = " ".join(text(tell_cost(CASE, COSTS, catalog)).split())
    assert "In no sum, because no price is known: steering column." in shown
    assert "? ? ? steering column" in shown


def test_labour_without_a_rate_is_hours_and_says_so(text: Any, catalog: Catalog) -> None:
    bare = structs.replace(COSTS[0], labour=None)
    assert "no hourly rate is entered" in " ".join(text(tell_cost(CASE, (bare,), catalog)).split())


TRACE = Trace(
    loop="driver.front-bag/1",
    hypotheses=(
        Hypothesis(id="clock-spring:open", p=0.2, title="clock spring open"),
        Hypothesis(id="connector:half-seated", p=0.8, title="plug half seated"),
    ),
    next_test=BenchCard(
        id="reseat-plug",
        kind="test",
        title="Look at the plug",
        how=("Wait.", "Look."),
        steps=(CardStep(text="Wait.", power="off"), CardStep(text="Look.", power="off")),
        entry='[[evidence]]\ntest = "reseat-plug"\noutcome = "seated"',
        outcomes={"seated": "it is in", "loose": "it was loose"},
        minutes=10,
        hold_minutes=30,
        cautions=(HOT,),
    ),
    plan=PlanNode(
        action="reseat-plug",
        title="Look at the plug",
        p=1.0,
        minutes=55,
        branches={"loose": PlanNode(action="stop", title="Done", p=0.8, minutes=10)},
        folded=0.01,
    ),
    expected_minutes=55,
    lower_bound=40,
    greedy_minutes=70,
)


def test_a_bench_card_comes_before_the_plan(text: Any, catalog: Catalog) -> None:
    shown = text(tell_trace(CASE, TRACE, catalog))
    assert shown.index("It is hot.") < shown.index("Wait.") < shown.index("What it tells")
    assert shown.index("connector:half-seated") < shown.index("clock-spring:open")
    assert "loose: Done" in shown
    assert "folded" in shown


def test_a_trace_says_of_every_total_what_it_is_of(text: Any, catalog: Catalog) -> None:
    effort = Effort(
        work_minutes=20,
        wait_minutes=30,
        money=Money(minor=500, currency="USD"),
        parts=0.1,
        minutes=55,
    )
    plan = Alternative(id="plan", title="this plan", effort=effort)
    shown = text(tell_trace(CASE, msgspec.structs.replace(TRACE, comparison=(plan,)), catalog))
    assert "all counted as minutes  55 min" in shown
    assert "the least that any plan can come to, counted so  40 min" in shown
    assert shown.count("55 min") == 1, "the one sum of all stands once, not in the tree as well"
    same = msgspec.structs.replace(TRACE, comparison=(plan,), lower_bound=55)
    assert "the least that any plan" not in text(tell_trace(CASE, same, catalog))


def test_the_commands_that_write_down_an_outcome_can_be_pasted(text: Any, catalog: Catalog) -> None:
    shown = text(tell_trace(CASE, TRACE, catalog))
    words = TRACE.next_test.outcomes
    assert words
    for word in words:
        quoted = f"'{word}'" if " " in word else word
        assert f"    squibwise tried teasel-99 {TRACE.loop} {quoted}\n" in shown


def test_verdicts_stand_with_what_is_not_met_first(text: Any, catalog: Catalog) -> None:
    verdicts = (
        Verdict(what="lamp", outcome="met", text="It went out."),
        Verdict(what="loop", outcome="undecided", text="2.4 ohm.", decide="Measure again."),
        Verdict(what="seat", outcome="not met", text="Off by 4 kg.", p_met=0.01),
    )
    shown = text(tell_verdicts(CASE, verdicts, catalog))
    assert shown.index("Not met (1)") < shown.index("Undecided (1)") < shown.index("Met (1)")
    assert "To decide: Measure again." in shown
    assert "Nothing was measured" in text(tell_verdicts(CASE, (), catalog))


def test_why_of_a_verdict_names_what_it_rests_on(text: Any, catalog: Catalog) -> None:
    reason = Because(text="limit 3.2 ohm", evidence=("look-1",), weak="from-memory")
    verdicts = (Verdict(what="loop", outcome="met", text="2.4 ohm.", because=(reason,)),)
    shown = " ".join(text(tell_verdict(CASE, verdicts[0], catalog)).split())
    assert "limit 3.2 ohm (look-1, case.toml:7; from memory)" in shown


def test_a_draft_says_so_and_lists_its_open_gates(text: Any, catalog: Catalog) -> None:
    gates = (
        Gate(
            id="lamp-check",
            open=True,
            text="The lamp was watched.",
            remedy="Watch it.",
            missing=("a", "b", "c", "d", "e"),
        ),
        Gate(id="disposal", open=False, text="Gone."),
    )
    record = ProofRecord(
        schema="1", case_id="x", issued_on="2026-01-01", draft=True, content={}, gates=gates
    )
    shown = text(tell_release(record, (Path("out/x.pdf"), Path("out/x.json")), (), catalog))
    assert "DRAFT: 1 of 2 gates are open" in shown
    assert "Watch it." in shown
    assert "and 2 more" in shown
    assert "Gone." not in shown
    assert "out/x.json" in shown


def test_a_changed_record_is_told_plainly(text: Any) -> None:
    problem = Finding(code="record-changed", severity="error", message="It was changed.")
    shown = text(tell_verification(Verification(valid=False, problems=(problem,)), Path("f")))
    assert "CANNOT BE RELIED ON" in shown
    assert "It was changed." in shown


def test_a_report_shows_doubts_and_what_was_not_understood(text: Any) -> None:
    line = CodeLine(
        line=3,
        raw="13 airbag",
        candidates=(
            Candidate(component="driver.front-bag", fault="unknown", weight=0.6),
            Candidate(component=None, kind="knee-bag", fault="unknown", weight=0.4),
        ),
        repeats=(5,),
        weak="from-memory",
    )
    coverage = Coverage(complete=False, able=False, not_tested=("left.curtain",), why=("Low.",))
    report = ReadReport(lines=(line,), unread=(Unread(line=9, raw="???"),), coverage=coverage)
    shown = " ".join(text(tell_report(report)).split())
    assert "may be driver.front-bag: unknown 60%; or knee-bag: unknown 40%" in shown
    assert "same fault as line 5" in shown
    assert "from memory" in shown
    assert "9 ???" in shown
    assert "Not every circuit" in shown
    assert "not able to run its tests" in shown


def test_a_report_tells_what_is_not_sure_apart_from_the_faults_it_read(text: Any) -> None:
    sure = CodeLine(line=1, raw="B0001", code="B0001")
    told = CodeLine(line=2, raw="the mat is oddly open", present=False, is_doubtful=True)
    both, one = ReadReport(lines=(sure, told)), ReadReport(lines=(told,))
    assert text(tell_report(both)).startswith("1 fault read, 1 told and not sure")
    assert text(tell_report(one)).startswith("No fault was read, 1 told and not sure")
    assert "1 fault, 1 told and not sure" in tell_evidence(Report(id="r", reading=both))


def test_what_other_units_store_is_told_apart_from_the_faults(text: Any) -> None:
    own = CodeLine(line=1, raw="B0001 open", code="B0001", unit="restraint")
    other = CodeLine(line=2, raw="P0300 misfire", code="P0300", unit="other", module="Engine")
    shown = " ".join(text(tell_report(ReadReport(lines=(own, other)))).split())
    assert shown.startswith("1 fault read, 1 of other units")
    apart = shown.index("Stored in other units")
    assert shown.index("B0001 open") < apart < shown.index("2 P0300 Engine P0300 misfire")
    assert text(tell_report(ReadReport(lines=(other,)))).startswith("No fault was read, 1 of other")
    reading = ReadReport(lines=(own, other, other))
    assert "1 fault, 2 of other units" in tell_evidence(Report(id="r", reading=reading))


def test_a_report_counts_what_one_line_and_all_of_them_repeat(text: Any) -> None:
    def shown(*at: int) -> str:
        lines = tuple(CodeLine(line=n, raw="B0001 and on", code="B0001") for n in at)
        return " ".join(text(tell_report(ReadReport(lines=lines))).split())

    one = shown(*[7] * 45, 8)
    assert one.count("B0001 and on") == 2
    assert "and 5 more on this line; --json tells each" in one
    assert "and 200 more on other lines" in shown(*range(1200))


@pytest.mark.parametrize(
    ("low", "worked", "settled"), [(0.96, False, True), (0.7, False, False), (0.7, True, True)]
)
def test_settled_needs_both_ends_of_the_range_until_work_leaves_them_behind(
    low: float, worked: bool, settled: bool
) -> None:
    fired = StateBelief(sound=0.03, fired=0.97, faulty=0, damaged=0, unfit=0, missing=0)
    new = StateBelief(sound=0.97, fired=0, faulty=0.03, damaged=0, unfit=0, missing=0)
    ranges: dict[State, StateRange] = {}
    if low < 0.9:
        ranges = {"fired": StateRange(low=low, high=0.99, figure="a rate")}
    part = ComponentBelief(
        id="driver.front-bag", after_crash=fired, now=new if worked else fired, ranges=ranges
    )
    assert is_settled(part, 0.9) is settled


@pytest.mark.parametrize(("p", "told"), [(0.7, ("only if a look says so (70%)",)), (0.998, ())])
def test_what_is_certain_is_not_called_needed_only_if_a_look_says_so(
    p: float, told: tuple[str, ...]
) -> None:
    zeroed = Operation(n=84, id="set:a", action="set", title="Zero the angle", kind="look-first")
    assert tell_sureness(structs.replace(zeroed, p=p)) == told


@pytest.mark.parametrize(
    ("is_advice", "told"),
    [(False, "only if the maker asks for it"), (True, "stays closed: the maker does not ask")],
)
def test_a_look_into_a_closed_area_says_what_the_maker_answered(is_advice: bool, told: str) -> None:
    asked = Operation(n=179, id="look:door-left", action="look", title="Look: door", kind="ask")
    (note,) = tell_sureness(structs.replace(asked, is_advice=is_advice))
    assert note.startswith(told)
