"""Whole jobs as a technician would try them: orders, hours, the order of work. Cars made up."""

import io
from functools import cache
from typing import Any

import msgspec
import pytest
from rich.console import Console
from tests.cli.whole_jobs import JOBS, Job, look

from squibwise import case as line
from squibwise.catalog.load import load_catalog
from squibwise.cli.demo import DEMO_CASES
from squibwise.cli.terminal import lay_out
from squibwise.entering.saying import find_told
from squibwise.entering.tick_before import find_missing
from squibwise.entering.tick_order import Tick, refuse_obstacles
from squibwise.entering.tick_visit import expand_visit
from squibwise.entering.ticking import drop_fallen, tell_left_open
from squibwise.errors import InputError
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.names import split_component
from squibwise.model.proof import Overview
from squibwise.model.work import Operation, Visit, Work
from squibwise.present.rows import list_component_rows, list_operation_rows, list_order_rows
from squibwise.present.tell_brief import make_brief, tell_brief
from squibwise.present.tell_orders import tell_order_list
from squibwise.present.tell_trace import tell_trace
from squibwise.present.tell_visits import WIDTH
from squibwise.present.tell_work import PAGE, tell_work
from squibwise.present.telling import Table, Telling, Text

CATALOG = load_catalog()
LOCKED_BELT = "webbing-locked"


@cache
def opened(job: str) -> Case:
    return line.make_case(JOBS[job].tables(), CATALOG, {"scan.txt": JOBS[job].scan})


@cache
def whole(job: str) -> Overview:
    return line.overview(opened(job), CATALOG)


def places(todo: Work) -> dict[str, int]:
    return {o.id: at for at, o in enumerate(todo.operations)}


def fires(component: str) -> bool:
    return CATALOG.kinds[split_component(component).kind].fires


def _ticked_above(todo: Work, number: int) -> Work:
    """Return the work with every line above one ticked, and the gates closed that they close.

    What is known against a key-on stands at the head of the list.
    """
    done = {o.id for o in todo.operations[:number]}
    shut = {g.word for g in CATALOG.tasks.gates.values() if f"step:{g.step}" in done}

    def tick(operation: Operation) -> Operation:
        left = tuple(w for w in operation.blocked_by if w not in shut)
        is_done = operation.done or operation.id in done
        return msgspec.structs.replace(operation, done=is_done, blocked_by=left)

    visits = tuple(
        msgspec.structs.replace(
            v,
            areas=tuple(
                msgspec.structs.replace(a, operations=tuple(map(tick, a.operations)))
                for a in v.areas
            ),
        )
        for v in todo.visits
    )
    return msgspec.structs.replace(todo, visits=visits, unsettled=())


@pytest.mark.parametrize("job", JOBS)
def test_a_line_that_is_ticked_after_all_above_it_is_never_refused(job: str) -> None:
    """But for the lamp and the last scan, which say so: what is seen there stands for them."""
    todo = whole(job).todo
    for number, operation in enumerate(todo.operations):
        if operation.done or operation.id in ("step:lamp-check", "step:final-scan"):
            continue
        refuse_obstacles(
            Tick(
                todo=_ticked_above(todo, number),
                chosen=frozenset((operation.id, *operation.demands)),
                catalog=CATALOG,
                safe=True,
                note="all others live, the rest stays open; 20 kg laid on, 20.3 read",
            )
        )


def test_a_number_that_fell_off_the_list_is_told_and_no_mistake() -> None:
    left, told = drop_fallen((526, 91, 99999), whole("lamp-on").todo, CATALOG)
    assert left == (91, 99999)
    assert [t.split()[1] for t in told] == ["526"]


def test_a_tick_that_leaves_a_part_open_says_which_and_why() -> None:
    tables = JOBS["rebuilt"].tables()
    tables["evidence"] = [*tables["evidence"], look("driver.retractor-pretensioner", LOCKED_BELT)]
    case = line.make_case(tables, CATALOG, {"scan.txt": JOBS["rebuilt"].scan})
    told = tell_left_open(line.work(case, CATALOG), (5, 167), case.evidence, CATALOG)
    assert [t.split(":")[0] for t in told] == [
        "no. 167 stays open for the driver belt retractor with pretensioner"
    ]


def test_a_visit_may_be_named_in_quotes() -> None:
    todo = whole("lamp-on").todo
    quoted = expand_visit(("visit 1",), todo, CATALOG)
    assert quoted == expand_visit(("visit", "1"), todo, CATALOG)
    assert quoted.words == ["1"]


def test_an_order_list_that_is_open_names_the_look_that_settles_it() -> None:
    chosen = frozenset({"step:order-closed"})
    with pytest.raises(InputError) as refused:
        refuse_obstacles(Tick(todo=whole("side-pole").todo, chosen=chosen, catalog=CATALOG))
    assert "squibwise saw CASE centre.headliner WORD" in str(refused.value)
    looks = [o for o in whole("side-pole").todo.operations if o.action == "look" and not o.done]
    assert f"squibwise did CASE {looks[0].n}\n" in refused.value.remedy


# Judgement, common practice, no source.
@pytest.mark.parametrize("job", JOBS)
def test_the_hours_are_within_a_quarter_of_what_a_workshop_would_say(job: str) -> None:
    said = whole(job).todo.hours["followed"].likely / 60
    assert said == pytest.approx(JOBS[job].hours, rel=0.25)


@pytest.mark.parametrize("job", JOBS)
def test_what_fired_is_said_and_nothing_else_that_is_seen_whole(job: str) -> None:
    states: Assessment = whole(job).states
    told = {c.id for c in states.components if c.after_crash.fired >= 0.9}
    assert set(JOBS[job].fired) <= told
    assert "passenger.front-bag" not in told or "passenger.front-bag" in JOBS[job].fired


@pytest.mark.parametrize("job", JOBS)
def test_a_power_up_with_loads_is_only_where_the_job_needs_it(job: str) -> None:
    assert ("prove" in {v.id for v in whole(job).todo.visits}) == JOBS[job].long


def test_a_lamp_that_is_on_without_a_crash_leads_to_the_circuit() -> None:
    brief = make_brief(opened("lamp-on"), whole("lamp-on"), CATALOG)
    assert [c.loop for c in brief.circuits] == ["driver.seat-bag/1"]
    assert any("squibwise trace CASE driver.seat-bag/1" in n for n in brief.next)
    assert not any("windshield" in n for n in brief.next)
    todo = whole("lamp-on").todo
    ids = {o.id for o in todo.operations}
    assert not {"step:unit-bolted", "step:fit-loads", "step:return-loads"} & ids
    assert [o.id for o in todo.operations if o.hold_minutes] == ["step:make-safe"]
    assert todo.orders == ()
    words = {w for o in todo.operations for w in o.blocked_by}
    assert not words & {"unit-bolted", "power-safe", "loads-returned"}


@pytest.mark.parametrize("job", JOBS)
def test_one_screen_holds_the_job(job: str) -> None:
    brief = make_brief(opened(job), whole(job), CATALOG)
    assert tell_brief(opened(job), brief, "job", CATALOG).title == "job"


@pytest.mark.parametrize("job", JOBS)
def test_nothing_is_done_behind_a_trim_that_is_closed_again(job: str) -> None:
    """What lies behind an opening is fitted, joined and looked at before it is closed."""
    todo = whole(job).todo
    at = places(todo)
    for operation in todo.operations:
        for word in operation.after:
            closed = at.get(f"close:{word.removeprefix('open:')}")
            if word.startswith("open:") and closed is not None and operation.action != "close":
                assert at[operation.id] < closed, (operation.id, word)


@pytest.mark.parametrize("job", JOBS)
def test_before_every_power_up_each_igniter_circuit_is_joined_or_holds_a_load(job: str) -> None:
    """Common practice, no source: no igniter connector hangs open while the unit is powered."""
    apart: set[str] = set()
    for visit in whole(job).todo.visits:
        if visit.power == "on" and visit.id != "read":
            assert not apart, (visit.id, apart)
        for operation in visit.operations:
            apart |= {c for c in operation.undoes if fires(c)}
            apart -= set(operation.joins)
            loaded = {loop.partition("/")[0] for loop in operation.loads}
            if operation.id == "step:fit-loads":
                apart -= loaded
            if operation.id == "step:return-loads":
                apart |= loaded


@pytest.mark.parametrize("job", JOBS)
def test_nothing_live_is_powered_on_a_loaded_car_while_its_cover_is_off(job: str) -> None:
    """Judgement: a curtain is powered with its trims clipped, never through an open roof."""
    todo = whole(job).todo
    at = places(todo)
    power = at.get("step:first-power", -1)
    early = {c for o in todo.operations if at[o.id] < power for c in o.joins if fires(c)}
    for way in (o for o in todo.operations if o.action == "open"):
        is_open = at.get(f"close:{way.id.removeprefix('open:')}", -1) > power
        assert not (is_open and early & {*way.undoes}), way.id


@pytest.mark.parametrize("job", JOBS)
def test_the_unit_is_bolted_down_before_power_and_before_it_is_covered(job: str) -> None:
    at = places(whole(job).todo)
    bolted = at.get("step:unit-bolted")
    for way in ("flap", "console", "panel"):
        if bolted is not None and f"close:{way}" in at:
            assert bolted < at[f"close:{way}"]
    if bolted is not None and "step:first-power" in at:
        assert bolted < at["step:first-power"]


@pytest.mark.parametrize("job", JOBS)
def test_the_order_list_names_each_part_with_its_place(job: str) -> None:
    """A parts desk needs one number a line: door and pillar sensors are two kinds of part."""
    told = tell_order_list(opened(job), whole(job).todo, CATALOG)
    rows = [r for s in told.sections for b in s.blocks if isinstance(b, Table) for r in b.rows]
    vague = ("front or rear", "by piece", "as a kit", "back frame or track")
    assert [r for r in rows if any(v in r[1] for v in vague)] == []
    assert len({r[1] for r in rows}) == len(rows)
    seats = ("belt assembly", "inertia reel", "buckle")
    for row in (r for r in rows if any(s in r[1] for s in seats)):
        assert any(side in row[1] for side in ("left", "right", "centre")), row


def test_an_order_list_without_a_part_says_so_and_one_of_many_asks_for_no_unlikely_part() -> None:
    empty = msgspec.structs.replace(whole("two-front-bags").todo, orders=())
    told = tell_order_list(opened("two-front-bags"), empty, CATALOG)
    assert "Nothing to order" in "".join(
        b.text for s in told.sections for b in s.blocks if isinstance(b, Text)
    )
    orders = whole("two-front-bags").todo.orders
    rare = [o.title for o in orders if o.kind not in ("certain", "rule") and o.p < 0.2]
    whole_list = tell_order_list(opened("two-front-bags"), whole("two-front-bags").todo, CATALOG)
    rows = [
        r for s in whole_list.sections for b in s.blocks if isinstance(b, Table) for r in b.rows
    ]
    assert rare
    assert not any(title in row[1] for row in rows for title in rare)


def test_the_order_list_marks_rules_apart_and_asks_which_piece() -> None:
    told = tell_order_list(opened("two-front-bags"), whole("two-front-bags").todo, CATALOG)
    assert told.about[0].startswith("VIN not stated")
    rows = {
        s.heading: {r[1]: r[2] for b in s.blocks if isinstance(b, Table) for r in b.rows}
        for s in told.sections
    }
    kinds = {o.title.partition(",")[0]: o.kind for o in whole("two-front-bags").todo.orders}
    for title, kind in (("Order: certain", "certain"), ("Order: by rule", "rule")):
        assert rows[title]
        heads = {r.partition(",")[0] for r in rows[title]} & {*kinds}
        assert all(kinds[h] == kind for h in heads)
    every = {part: note for listed in rows.values() for part, note in listed.items()}
    kit = next(note for part, note in every.items() if "fasteners" in part)
    assert "passenger airbag (beam bolts often)" in kit


def test_the_desk_gets_the_number_on_the_old_part() -> None:
    labels = [
        {"kind": "part-label", "component": c, "number": n, "provenance": p}
        for c, n, p in (
            ("driver.front-bag", "9Z-117-A", "original"),
            ("passenger.front-bag", "9Z-118-B", "new"),
        )
    ]
    tables = JOBS["two-front-bags"].tables()
    tables["evidence"] = [*tables["evidence"], *labels]
    car = line.make_case(tables, CATALOG, {"scan.txt": JOBS["two-front-bags"].scan})
    told = tell_order_list(car, whole("two-front-bags").todo, CATALOG)
    notes = [r[2] for s in told.sections for b in s.blocks if isinstance(b, Table) for r in b.rows]
    assert [n for n in notes if "on the old part: 9Z-117-A" in n]
    assert not [n for n in notes if "9Z-118-B" in n]


def test_a_flooded_car_gets_its_first_power_on_loads_with_its_new_unit_in() -> None:
    """Common practice, no source: no key-on of a flooded car before the wet parts are out."""
    todo = whole("flooded").todo
    assert [v.id for v in todo.visits if v.power == "on"] == ["prove", "final"]
    loads = next(o.loads for o in todo.operations if o.id == "step:fit-loads")
    assert {"driver.buckle-pretensioner/1", "driver.retractor-pretensioner/1"} <= {*loads}
    place = {o.id: n for n, o in enumerate(todo.operations)}
    assert place["fit:control-unit@centre"] < place["step:first-power"]
    live = [o for o in todo.operations if o.id.startswith("fit:front-b")]
    assert all(place[o.id] > place["step:return-loads"] for o in live)
    assert not any(
        "under load" in w for w in make_brief(opened("flooded"), whole("flooded"), CATALOG).wrong
    )
    assert "step:save-codes" not in {o.id for o in todo.operations}
    brief = make_brief(opened("flooded"), whole("flooded"), CATALOG)
    assert any("no key-on" in d for d in brief.dangers)
    listed = {c for o in todo.orders for c in o.contains}
    assert {"driver.buckle-pretensioner", "driver.retractor-pretensioner"} <= listed


def test_a_car_flooded_to_its_seats_may_be_switched_on_when_the_list_says_so() -> None:
    """Wet switches came out with their belts and buckles, and what is new was looked at as old.

    Common practice, no source: no power before every wet part is out, or dry and proved.
    """
    tables = Job(evidence=(), scan="", year=2019, equipment="full-modern-set", hours=1.0).tables()
    dry = line.make_case(tables, CATALOG, {})
    tables["evidence"] = [find_told(["flood", "to", "seats"], dry.car, CATALOG)]
    visits = line.work(line.make_case(tables, CATALOG, {}), CATALOG).visits
    before = [o for v in visits[: [v.id for v in visits].index("prove")] for o in v.operations]
    out = [o for o in before if o.action == "out"]
    inspected = [d for o in before if o.action == "look" for d in o.demands or (o.id,)]
    loads = next(o.loads for o in before if o.id == "step:fit-loads")
    tables["evidence"] += [
        *(passed(d) for d in inspected),
        *(replaced(c) for o in before if o.action == "fit" for c in o.components),
        *(issued(f"L{n}", loop) for n, loop in enumerate(loads)),
    ]
    still_in = line.work(line.make_case(tables, CATALOG, {}), CATALOG)
    assert any("buckle switch" in told for told in still_in.unsettled)
    tables["evidence"] += [passed(o.id) for o in out]
    assert line.work(line.make_case(tables, CATALOG, {}), CATALOG).unsettled == ()
    tables["evidence"] += [replaced(c) for o in out for c in o.components]
    made = line.work(line.make_case(tables, CATALOG, {}), CATALOG)
    assert [o.id for o in made.operations if o.action == "look" and not o.done] == []


def passed(word: str) -> dict[str, Any]:
    return {"kind": "passed", "what": word, "result": "passed", "by": "R. Own"}


def replaced(component: str) -> dict[str, Any]:
    return {"kind": "done", "what": "replaced", "component": component}


def issued(mark: str, loop: str) -> dict[str, Any]:
    load = {"kind": "substitute-load", "serial": mark, "loop": loop, "ohm": 2.1}
    return {**load, "move": "issued"}


@pytest.mark.parametrize(
    ("title", "is_wet"),
    [
        ("Flood to the cushions", True),
        ("Hochwasser 2021", True),
        ("never flooded, rear hit", False),
    ],
)
def test_a_flood_that_only_the_title_tells_of_counts(title: str, is_wet: bool) -> None:
    """The cautious reading: a key-on may be held for nothing, a wet charge may not be missed."""
    tables = JOBS["flooded"].tables()
    tables["case"] = {**tables["case"], "title": title}
    tables["evidence"] = [e for e in tables["evidence"] if e["kind"] != "story"]
    case = line.make_case(tables, CATALOG, {"scan.txt": JOBS["flooded"].scan})
    todo = line.work(case, CATALOG)
    assert ("step:wet" in {o.id for o in todo.operations}) == is_wet
    assert ("flood-by-title" in {f.code for f in todo.findings}) == is_wet


def test_no_card_is_powered_on_a_flooded_car() -> None:
    card = line.trace(opened("flooded"), "driver.front-bag", CATALOG)
    assert any("no key-on" in told for told in card.no_power)
    shown = tell_trace(opened("flooded"), card, CATALOG)
    rows = [r for s in shown.sections for b in s.blocks if isinstance(b, Table) for r in b.rows]
    assert ("danger", card.no_power[0]) in rows


def test_a_failed_key_on_gate_is_told_and_an_old_scan_does_not_stand_for_reading_the_unit() -> None:
    tables = JOBS["side-pole"].tables()
    refused = {"kind": "passed", "what": "key-on-safe", "result": "failed", "by": "R"}
    tables["evidence"] = [*tables["evidence"], refused]
    case = line.make_case(tables, CATALOG, {"scan.txt": JOBS["side-pole"].scan})
    whole_car = line.overview(case, CATALOG)
    assert any("No key-on" in d for d in make_brief(case, whole_car, CATALOG).dangers)
    bench = next(o for o in whole_car.todo.operations if o.id == "step:bench-read")
    assert not bench.done


def after(job: str, *signed: str | dict[str, Any]) -> Work:
    """Return the work of a job once these words are signed as passed, or entered, in this order."""
    tables = JOBS[job].tables()
    entries = [passed(w) if isinstance(w, str) else w for w in signed]
    tables["evidence"] = [*tables["evidence"], *entries]
    return line.work(line.make_case(tables, CATALOG, {"scan.txt": JOBS[job].scan}), CATALOG)


def test_what_was_opened_is_closed_and_what_was_taken_out_goes_back() -> None:
    """Though nothing asks for it any more."""
    at = places(after("rear-ended", "open:nose", "out:driver-bag@driver"))
    assert "close:nose" in at
    assert at["fit:driver-bag@driver"] < at["step:final-power"]


# Common practice, no source: a knee airbag is bolted below the panel and over its bolts.
def test_a_knee_airbag_is_out_before_the_panel_that_it_holds() -> None:
    at = places(whole("two-front-bags").todo)
    assert at["step:make-safe"] < at["out:knee-bag@driver"] < at["open:panel"]
    assert at["open:panel"] < at["out:passenger-bag@passenger"]


# Common practice, no source: the pillar trims lie over the ends of panel and headliner.
def test_pillar_trims_come_off_before_panel_and_headliner_and_go_back_after_both() -> None:
    at = places(after("side-pole", "open:panel"))
    for side in ("left", "right"):
        opened, closed = at[f"open:a-{side}"], at[f"close:a-{side}"]
        assert opened < min(at["open:panel"], at["open:roof"])
        assert max(at["close:panel"], at["close:roof"]) < closed < at["step:final-power"]
    assert "open:console" not in at, "it comes out with the panel"


def test_a_key_on_is_signed_again_once_the_power_was_off_again() -> None:
    signed = after("two-front-bags", "power-safe")
    powers = [o for o in signed.operations if o.id in ("step:first-power", "step:final-power")]
    assert len(powers) == 2
    assert all("power-safe" not in o.blocked_by for o in powers)
    again = after("two-front-bags", "power-safe", "step:first-power", "step:second-power-down")
    last = next(o for o in again.operations if o.id == "step:final-power")
    assert "power-safe" in last.blocked_by


# Common practice, no source: who finds a fault with the loads in takes the power off, mends it and
# powers on loads again; what is read on loads is read while they are in.
def test_power_on_loads_comes_again_after_an_off_before_all_was_read_on_them() -> None:
    load = issued("L1", "driver.front-bag/1")
    on, off, wait = (f"step:{w}" for w in ("first-power", "second-power-down", "second-make-safe"))
    back = {**load, "move": "returned"}
    del back["ohm"]
    read = ("step:second-scan", "step:move-steering")

    def due(*signed: str | dict[str, Any]) -> list[str]:
        wanted = (on, read[0], off, wait)
        ops = after("two-front-bags", load, "power-safe", on, *signed).operations
        return [o.id for o in ops if o.id in wanted and not o.done]

    assert due() == [read[0], off, wait]
    assert due(off, wait) == [on, read[0]]
    assert due(off, wait, "power-safe", on) == [read[0], off, wait]
    assert due(*read, off, wait) == []
    assert due(off, wait, back) == []  # nobody reads on loads that are out
    todo = after("two-front-bags", load, "power-safe", on)
    counted = next(o.id for o in todo.operations if o.id == "step:return-loads")
    first = {o.id for f in find_missing(todo, frozenset({counted})).values() for o in f}
    assert first >= {*read, off, wait}


def test_what_left_the_heat_goes_back_after_the_structure_is_signed() -> None:
    todo = after("two-front-bags", "step:heat-out", "structure-sound")
    back = next(o for o in todo.operations if o.id == "step:heat-back")
    assert not back.done
    bare = after("two-front-bags", "structure-sound")
    assert "step:heat-back" not in places(bare)


def test_what_must_be_firm_is_shut_before_the_unit_is_powered_and_the_wheel_is_turned() -> None:
    """Common practice, no source: panel and column bolted in, wheel on, before any power."""
    at = places(whole("two-front-bags").todo)
    for firm in ("close:panel", "close:wheel", "fit:instrument-panel@centre"):
        assert at[firm] < at["step:first-power"], firm
    assert at["step:unit-bolted"] < at["fit:instrument-panel@centre"]  # it stands behind it
    assert at["close:b-left"] > at["step:return-loads"]


def test_the_passenger_airbag_is_mounted_with_the_panel_and_plugged_in_after_the_loads() -> None:
    at = places(whole("two-front-bags").todo)
    bag = "passenger-bag@passenger"
    assert at[f"fit:{bag}"] < at["step:first-power"]
    assert at["step:return-loads"] < at[f"join:{bag}"] < at["step:final-power"]
    tables = JOBS["two-front-bags"].tables()
    tables["car"] = {**tables["car"], "model_year": 1998}
    old = line.make_case(tables, CATALOG, {"scan.txt": JOBS["two-front-bags"].scan})
    short = places(line.work(old, CATALOG))
    assert "step:first-power" not in short
    assert f"join:{bag}" not in short


def test_loads_go_in_once_everything_that_holds_no_charge_is_in_and_joined() -> None:
    todo = whole("two-front-bags").todo
    before: dict[str, set[str]] = {}
    for one in todo.operations:
        before[one.id] = {*one.after, *(x for a in one.after for x in before[a])}
    strip = next(v for v in todo.visits if v.id == "strip")
    built = {o.id for a in strip.areas if a.phase == "build" for o in a.operations}
    wanted = {i for i in built if i.startswith(("fit:", "join:"))}
    assert any(i.startswith("join:") for i in wanted)
    assert wanted <= before["step:fit-loads"]


def test_high_voltage_is_made_safe_first_and_comes_back_last() -> None:
    """Common practice, no source: orange first, yellow second; a qualified person at both ends."""
    todo = whole("hybrid").todo
    hands = [o for o in todo.operations if o.action in ("open", "out", "fit", "join", "close")]
    assert hands[0].id == "open:hv"
    assert hands[-1].id in ("close:hv", "fit:bolts-kit@centre")
    assert places(todo)["close:hv"] > max(places(todo)[o.id] for o in hands if "bag" in o.id)
    brief = make_brief(opened("hybrid"), whole("hybrid"), CATALOG)
    assert any("High voltage" in d for d in brief.dangers)


def test_the_battery_cable_is_in_before_any_power() -> None:
    todo = whole("hybrid").todo
    at = places(todo)
    fitted = [i for i in at if i.startswith("fit:battery-cutoff@")]
    assert fitted
    assert at[fitted[0]] < at["step:first-power"]
    loads = {x.partition(".")[2] for o in todo.operations for x in o.loads}
    assert not {"battery-cutoff/1", "high-voltage-cutoff/1"} & loads


def test_a_lamp_watched_before_the_work_proves_nothing_of_it() -> None:
    early = {"kind": "lamp-check", "lit": True, "out_after_s": 5.0, "stayed_out": True}
    tables = JOBS["rebuilt"].tables()
    tables["evidence"] = [early, *tables["evidence"]]
    case = line.make_case(tables, CATALOG, {"scan.txt": JOBS["rebuilt"].scan})
    todo = line.work(case, CATALOG)
    assert not next(o for o in todo.operations if o.id == "step:lamp-check").done
    assert not next(i for i in todo.items if i.id == "step:lamp-check").done


@pytest.mark.parametrize("job", JOBS)
def test_every_inflator_that_is_not_settled_as_fired_is_told_as_live(job: str) -> None:
    brief = make_brief(opened(job), whole(job), CATALOG)
    states = whole(job).states
    live = " ".join(brief.dangers)
    for belief in states.components:
        family = CATALOG.kinds[split_component(belief.id).kind].family
        if family == "bag" and belief.now.missing < 0.5 and belief.id not in brief.fired:
            assert CATALOG.kinds[split_component(belief.id).kind].title in live, belief.id


def test_a_car_is_swept_and_its_answers_are_rows() -> None:
    job = JOBS["left-offset"]
    changes: dict[str, dict[str, Any]] = {
        "as it is": {},
        "by condition": {"profile": {"name": "by-condition"}},
        "bag intact": {
            "evidence": [{"kind": "look", "component": "left.curtain", "seen": "intact"}]
        },
    }
    cases = line.sweep(job.tables(), changes, CATALOG, {"scan.txt": job.scan})
    assert list(cases) == list(changes)
    assert cases["by condition"].profile.name == "by-condition"
    assert len(cases["bag intact"].evidence) == len(cases["as it is"].evidence) + 1
    todo = whole("left-offset").todo
    orders, operations = list_order_rows(todo), list_operation_rows(todo)
    assert [r["n"] for r in operations] == [o.n for o in todo.operations]
    assert {r["assembly"] for r in orders} == {o.assembly for o in todo.orders}
    states = list_component_rows(whole("left-offset").states)
    for rows in (orders, operations, states):
        assert len({tuple(r) for r in rows}) == 1
    after = [sum(v for k, v in r.items() if k.startswith("after_")) for r in states]
    assert after == pytest.approx([1.0] * len(states))


DEMOS = tuple(sorted(d.name for d in DEMO_CASES.iterdir() if d.is_dir()))


def done_before(todo: Work, visits: int) -> Work:
    """Return the work with all of its first visits done."""

    def finished(visit: Visit) -> Visit:
        areas = tuple(
            msgspec.structs.replace(
                area,
                operations=tuple(msgspec.structs.replace(o, done=True) for o in area.operations),
            )
            for area in visit.areas
        )
        return msgspec.structs.replace(visit, areas=areas)

    told = (finished(v) if n < visits else v for n, v in enumerate(todo.visits))
    return msgspec.structs.replace(todo, visits=tuple(told))


@pytest.mark.parametrize("name", [*JOBS, *DEMOS])
def test_the_work_is_a_page_at_every_visit_and_hides_no_danger(name: str) -> None:
    told = opened(name) if name in JOBS else line.open_case(DEMO_CASES / name, CATALOG)
    todo, costs = line.costed(told, CATALOG)
    for visits in range(len(todo.visits)):
        left = done_before(todo, visits)
        shown = printed(tell_work(told, left, costs, CATALOG))
        words = " ".join(shown.split())
        assert len(shown.splitlines()) <= PAGE
        due = [o for o in left.operations if not o.done]
        assert all(c.short in words for o in due for c in o.cautions)
        assert all(gate in words for o in due for gate in o.blocked_by)
        assert words.lower().count("wait 30 min") == sum(o.hold_minutes == 30 for o in due)
        assert all(danger in words for danger in todo.no_power)
        hv = {a.area for v in left.visits for a in v.areas if any(not o.done for o in a.operations)}
        assert ("High voltage made safe" in words) == ("hv" in hv)


def printed(telling: Telling) -> str:
    text = io.StringIO()
    console = Console(file=text, width=WIDTH, color_system=None, markup=False, highlight=False)
    for block in lay_out(telling, WIDTH):
        console.print(block)
    return text.getvalue()


def test_a_visit_alone_has_every_operation_and_caution_of_it(run: Any) -> None:
    shown = run("work", DEMO_CASES / "harrow-07", "--visit", "2").out
    assert "11  Save the codes of the restraint unit as a file" in shown
    assert "Take away every source of power" not in shown
    assert "Key-on is the dangerous moment. Nobody inside" in shown


def test_a_visit_that_is_not_there_is_refused_with_those_that_are(run: Any) -> None:
    done = run("work", DEMO_CASES / "harrow-07", "--visit", "9")
    assert done.code == 2
    assert "no visit 9" in done.err
    assert "1 Arrival, nothing touched" in done.err


def test_no_camera_is_aimed_on_a_car_older_than_such_cameras() -> None:
    """Cameras behind the windshield are hardly found before 2008 (from memory)."""
    ids = {o.id for o in whole("old-car-driver-bag").todo.operations}
    assert "set:aim-camera" not in ids
    assert "set:aim-camera" in {o.id for o in whole("two-front-bags").todo.operations}
