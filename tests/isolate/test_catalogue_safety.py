"""No test of the catalogue can hurt somebody, and the loader refuses one that could."""

import re
import shutil
from pathlib import Path

import pytest

from squibwise.case import open_case, trace
from squibwise.catalog.load import DATA, Catalog
from squibwise.catalog.loops import LoopTest
from squibwise.errors import CatalogError

from .building import CATALOG, COMPONENTS

BROKEN = Path(__file__).parent / "broken"
TESTS = [pytest.param(t, id=f"{t.id} at {t.at}") for t in CATALOG.loops.tests]
IGNITER = [t for t in CATALOG.loops.tests if "igniter" in t.circuits or not t.circuits]


@pytest.mark.parametrize("test", TESTS)
def test_a_meter_is_put_only_on_unplugged_circuits_with_the_power_off(test: LoopTest) -> None:
    text = " ".join((test.title, *test.how, *test.needs)).lower()
    measures_ohms = re.search(r"\bohmmeter\b|\bmeter that\b|\bresistance and insulation\b", text)
    if measures_ohms:
        assert test.meter
    if test.meter:
        assert (test.igniters, test.power) == ("unplugged", "off")
        assert "no-meter" in test.cautions


@pytest.mark.parametrize("test", TESTS)
def test_no_step_puts_a_meter_or_test_lamp_on_an_igniter(test: LoopTest) -> None:
    for step in test.how:
        words = step.lower()
        assert not re.search(r"(ohm ?meter|test lamp|multimeter) (on|across|to|at) ", words)
        if re.search(r"\b(igniter|charge|device's side)\b", words) and "measure" in words:
            assert "no igniter" in words or "do not measure" in words


@pytest.mark.parametrize("test", TESTS)
def test_a_substitute_load_goes_only_into_igniter_loops_at_2_0_to_2_2_ohm(test: LoopTest) -> None:
    if test.rule == "split":
        assert test.circuits == ("igniter",)
        assert test.power == "through"
        assert "2.0 to 2.2 ohm" in " ".join(test.how)
        assert {"loads-out", "full-wait", "key-on", "unit-bolted"} <= set(test.cautions)
        assert test.at != "device"


@pytest.mark.parametrize("test", TESTS)
def test_movement_only_with_loads_in_place_of_every_igniter_in_reach(test: LoopTest) -> None:
    if test.moves:
        assert test.igniters == "loads"
        assert "every igniter in reach" in " ".join((*test.how, *test.needs))


@pytest.mark.parametrize("test", TESTS)
def test_power_comes_on_only_behind_its_cautions(test: LoopTest) -> None:
    if test.power in ("through", "on"):
        assert "key-on" in test.cautions
    if test.power in ("off", "through"):
        assert "full-wait" in test.cautions
    if test.power == "any":
        assert not test.opens
        assert "without touching it" in " ".join(test.how)


def test_the_clock_spring_is_never_turned_with_the_column_uncoupled() -> None:
    at_spring = [t for t in CATALOG.loops.tests if t.at in ("clock-spring", "<coil>")]
    turning = [t for t in at_spring if "lock to lock" in " ".join((t.title, *t.how)).lower()]
    assert len(turning) == 2
    assert all("clock-spring-turn" in t.cautions for t in at_spring)
    for test in turning:
        assert "column stays coupled" in " ".join(test.how)
        assert "clock-spring-turn" in test.cautions


def test_key_on_has_its_gate_and_hands_have_their_wait() -> None:
    on, off = " ".join(CATALOG.loops.steps_on), " ".join(CATALOG.loops.steps_off)
    for words in (
        "bolted down",
        "nobody inside",
        "cabin clear",
        "high voltage safe",
        "not pinched",
    ):
        assert words in on
    assert "Wait {wait} min," in off
    assert "second battery" in off


def test_codes_that_unplugging_raises_are_left_aside() -> None:
    split = [t for t in CATALOG.loops.tests if t.rule == "split"]
    assert all("do not count" in " ".join(t.how) for t in split)


def test_every_component_with_a_circuit_has_a_chain_from_device_to_unit() -> None:
    for kind in CATALOG.kinds.values():
        for place in kind.places if kind.circuit else ():
            chain = CATALOG.loops.chain(kind.kind, place)
            assert chain is not None, f"{place}.{kind.kind}"
            assert (chain.circuit == "igniter") == kind.fires
    assert len(COMPONENTS) == len(set(COMPONENTS))


# One broken sample per refusal.
REFUSALS = [
    ("meter-on-igniter.toml", "every igniter unplugged and the power off"),
    ("meter-powered.toml", "every igniter unplugged and the power off"),
    ("meter-uncautioned.toml", "needs the caution 'no-meter'"),
    ("movement-with-igniters.toml", "loads in place of every igniter"),
    ("power-without-gate.toml", "needs the caution 'key-on'"),
    ("load-on-a-sensor.toml", "only in igniter loops"),
    ("outcome-without-meaning.toml", "an outcome without a meaning"),
    ("chance-out-of-range.toml", "out of range"),
    ("unknown-power.toml", "unknown power or igniters word"),
    ("unknown-caution.toml", "unknown caution nobody-wrote-this"),
    ("unknown-access.toml", "unknown access cellar"),
    ("twice.toml", "stands twice"),
]


@pytest.mark.parametrize(("sample", "message"), REFUSALS)
def test_a_dangerous_or_broken_test_is_refused(sample: str, message: str, tmp_path: Path) -> None:
    shutil.copytree(DATA, tmp_path / "data")
    target = tmp_path / "data" / "loops" / "tests.toml"
    target.write_text(target.read_text() + (BROKEN / sample).read_text())
    with pytest.raises(CatalogError, match=message):
        _ = Catalog(tmp_path / "data").loops


@pytest.mark.parametrize(
    ("file", "sample", "message"),
    [
        ("faults.toml", "fault-unknown-word.toml", "unknown fault"),
        ("faults.toml", "fault-rank.toml", "unknown fault"),
        ("chains.toml", "chain-circuit.toml", "unknown circuit"),
        ("chains.toml", "chain-role.toml", "unknown role"),
        ("repairs.toml", "repair-source.toml", "unknown source hearsay"),
    ],
)
def test_a_broken_loop_file_is_refused(
    file: str, sample: str, message: str, tmp_path: Path
) -> None:
    shutil.copytree(DATA, tmp_path / "data")
    target = tmp_path / "data" / "loops" / file
    target.write_text(target.read_text() + (BROKEN / sample).read_text())
    with pytest.raises(CatalogError, match=message):
        _ = Catalog(tmp_path / "data").loops


def test_connectors_of_an_igniter_circuit_are_parted_with_the_power_off() -> None:
    folder = Path(__file__).parents[2] / "src" / "squibwise" / "demo" / "burdock-09"
    card = trace(open_case(folder, CATALOG), "passenger.front-bag/1", CATALOG).next_test
    parted = [step for step in card.steps if "apart" in step.text]
    assert parted
    assert [step for step in parted if step.power != "off"] == []
