"""Every card of every circuit can be carried out, whatever the power and the fault are."""

import re
from typing import Any

import msgspec
import pytest

from squibwise.isolate.bench import BenchRepair, BenchTest, access_of, outcome_chances
from squibwise.isolate.cards import card_of, confirming_card
from squibwise.isolate.tracing import search_of
from squibwise.model.evidence import SubstituteLoad
from squibwise.model.trace import BenchCard

from .building import CATALOG, COMPONENTS, a_case, a_line, a_report, believing

WAIT = 12.0
_NEEDS_POWER = (
    r"write the (configuration|update)|\bdrive where|\bclear the codes|\bconfigure it\b"
    r"|\binitialise\b|(?<!is )\bset to zero\b|live (value|status|resistance)|\bcrank\b"
)
_MEASURES = re.compile(r"meter|live values|dead weight|torque wrench|load for the supply pins")
CIRCUITS = tuple(c for c in COMPONENTS if not c.endswith("seat-frame"))
KINDS: tuple[Any, ...] = (
    "open-or-high",
    "low-or-short",
    "communication",
    "performance",
    "internal",
    "configuration",
)


def cards(component: str, fault: Any, status: Any, *, powered: bool) -> list[BenchCard]:
    """Return the card of every test and repair that a circuit allows, and of the second drive."""
    case = a_case(a_report(a_line(component, fault, status)))
    search = search_of(case, believing(), component, CATALOG)
    standing = msgspec.structs.replace(search.standing, powered=powered)
    benches: list[BenchTest | BenchRepair] = [*search.tests, *search.repairs]
    found = [card_of(b, search.context, standing, WAIT, CATALOG) for b in benches]
    return [*found, confirming_card(search.context, standing, CATALOG)]


@pytest.mark.parametrize("powered", [True, False])
@pytest.mark.parametrize("status", ["present", "intermittent"])
@pytest.mark.parametrize("component", CIRCUITS)
def test_every_card_can_be_carried_out(component: str, status: str, powered: bool) -> None:
    for fault in KINDS:
        for card in cards(component, fault, status, powered=powered):
            check_power(card, powered=powered)
            check_words(card)
            check_fastened(card)


def check_power(card: BenchCard, *, powered: bool) -> None:
    """Every change of power is a step of its own: down with a wait, up behind the gate."""
    now = "on" if powered else "off"
    for step in card.steps:
        text = step.text.lower()
        if step.power == "off" and now == "on":
            assert re.search(r"power off|every source off|key off", text), (card.id, text)
        if step.power == "on" and now == "off":
            assert re.search(r"gate|battery on|cabin clear", text), (card.id, text)
        now = now if step.power == "any" else step.power
    hands = [s for s in card.steps if s.power == "off"]
    assert card.hold_minutes == 0.0 or hands, card.id
    if card.hold_minutes:
        assert any("wait" in s.text.lower() for s in hands), card.id


def check_fastened(card: BenchCard) -> None:
    """Nothing that a card takes off lies loose when the power comes on."""
    texts = [s.text for s in card.steps]
    on = next((n for n, s in enumerate(card.steps) if s.power == "on"), None)
    hands = on is not None and any(s.power == "off" for s in card.steps[:on])
    opened = [t.removeprefix("Open: ") for t in texts[:on] if t.startswith("Open: ")]
    for what in opened if hands else ():
        put_back = f"Put back and fasten, as the maker says, what was taken off: {what}"
        assert put_back in texts[:on], (card.id, what)
        assert any("lies loose" in t for t in texts[:on]), card.id


def check_words(card: BenchCard) -> None:
    """No order that does not exist; a figure or the eye; an entry for every outcome."""
    loaded = False
    for step in card.steps:
        text = step.text.lower()
        if re.search(_NEEDS_POWER, text):
            assert step.power == "on", (card.id, text)
        if "loads in place" in text and step.power == "off":
            loaded = True
        if re.search(r"lock to lock|over its whole travel", text) and step.power == "on":
            assert loaded, (card.id, text)
    unplugged = any("unplug the control unit" in s.text for s in card.steps)
    if unplugged:
        assert not any("self-test, then read" in s.text for s in card.steps), card.id
    assert len(set(card.opens)) == len(card.opens)
    assert card.danger
    if card.kind == "test" and _MEASURES.search(" ".join(card.needs)):
        assert card.figure, card.id
    assert f'test = "{card.id}"' in card.entry
    assert all(word in card.entry for word in card.outcomes), card.id
    if card.id.startswith(("meter:", "values:", "load-at:", "volts:", "feed-at:")):
        assert card.figure, card.id


@pytest.mark.parametrize("component", CIRCUITS)
def test_a_wait_is_asked_only_where_a_hand_goes_near_a_charge(component: str) -> None:
    for card in cards(component, "open-or-high", "present", powered=False):
        assert card.hold_minutes == 0.0 or card.id == "second-drive"


def test_what_can_hurt_differs_by_circuit() -> None:
    dangers = {c.danger for x in CIRCUITS for c in cards(x, "internal", "present", powered=True)}
    assert len(dangers) >= 10


@pytest.mark.parametrize("component", CIRCUITS)
def test_nothing_that_is_open_is_opened_again(component: str) -> None:
    case = a_case(a_report(a_line(component, "open-or-high", "present")))
    search = search_of(case, believing(), component, CATALOG)
    for bench in (*search.tests, *search.repairs):
        opened = frozenset(access_of(bench, search.context))
        fresh = card_of(bench, search.context, search.standing, WAIT, CATALOG)
        standing = msgspec.structs.replace(search.standing, opened=opened)
        again = card_of(bench, search.context, standing, WAIT, CATALOG)
        assert len(fresh.opens) == len(opened)
        assert not again.opens
        assert not any(s.text.startswith("Open: ") for s in again.steps)
        assert again.minutes < fresh.minutes or not opened


@pytest.mark.parametrize("component", CIRCUITS)
def test_a_wait_is_charged_only_where_hands_go_near_a_charge(component: str) -> None:
    case = a_case(a_report(a_line(component, "open-or-high", "present")))
    search = search_of(case, believing(), component, CATALOG)
    calm = {e.id for e in search.context.chain.element if e.calm}
    for bench in (*search.tests, *search.repairs):
        card = card_of(bench, search.context, search.standing, WAIT, CATALOG)
        record = bench.repair if isinstance(bench, BenchRepair) else bench.test
        parted = isinstance(bench, BenchTest) and bench.test.meter
        every = isinstance(bench, BenchRepair) and "{plugs}" in bench.repair.access
        near = record.power != "on" and (bench.point.id not in calm or parted or every)
        assert (card.hold_minutes > 0.0) == near, card.id
        if record.power != "on":
            assert any(s.power == "off" for s in card.steps), card.id


@pytest.mark.parametrize("component", [c for c in CIRCUITS if CATALOG.kinds[c.split(".")[1]].fires])
def test_a_load_that_is_in_is_named_with_its_place_and_its_way_out(component: str) -> None:
    loop = f"{component}/1"
    load = SubstituteLoad(id="n1", serial="L-7", loop=loop, ohm=2.1, move="issued")
    case = a_case(a_report(a_line(component, "open-or-high", "present")), load)
    search = search_of(case, believing(), loop, CATALOG)
    at = next(e for e in search.context.chain.element if e.role == "plug")
    standing = msgspec.structs.replace(search.standing, load_at=at.id)
    for bench in (*search.tests, *search.repairs):
        card = card_of(bench, search.context, standing, WAIT, CATALOG)
        assert card.load.startswith(f"In the circuit now: load L-7, at {at.title}."), card.id
        if any(s.power == "off" for s in card.steps) and card.hold_minutes:
            assert card.load in [s.text for s in card.steps], card.id
        if card.kind == "repair" or card.id.startswith("load-at:"):
            assert 'serial = "L-7"' in card.entry, card.id
            assert "returned" in card.entry, card.id


@pytest.mark.parametrize("status", ["present", "intermittent"])
@pytest.mark.parametrize("component", CIRCUITS)
def test_the_outcomes_of_every_test_make_one_under_every_cause(component: str, status: Any) -> None:
    for fault in KINDS:
        search = search_of(
            a_case(a_report(a_line(component, fault, status))), believing(), component, CATALOG
        )
        for bench in search.tests:
            for suspect in search.first:
                each = outcome_chances(bench, suspect, search.context, CATALOG).values()
                assert min(each) >= 0.0, (bench.id, suspect.id)
                assert sum(each) == pytest.approx(1.0), (bench.id, suspect.id)
