"""How many commands it takes to bring a car from `new` to a closed record. Cars made up."""

import datetime as dt
import shlex
import shutil
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import pytest

from squibwise.cli.demo import DEMO_CASES

Line = Callable[..., Any]
Operation = dict[str, Any]
MOST_COMMANDS, MOST_LINES = 60, 80  # as set for the program: commands, or lines typed
SOURCE = ("--source", "own invented manual, page 12")
CLEAN = "RESTRAINT CONTROL MODULE\nNo fault codes stored\nAll tests completed\nSupply 12.7 V\n"
OCCUPANTS = "".join(
    f'[[evidence]]\nkind = "occupant"\nseat = "{seat}"\npresent = true\nbelt = "latched"\n'
    for seat in ("driver", "passenger")
)


class Car(msgspec.Struct, frozen=True, kw_only=True):
    """A car, what is seen of it, what its maker says, and what is fitted."""

    scan: str
    typed: str
    seen: dict[str, str]
    answers: dict[str, str]
    fitted: tuple[str, ...]


BELTS = ("driver.retractor-pretensioner", "passenger.retractor-pretensioner")
FRONT_SCAN = """RESTRAINT CONTROL MODULE
B0001-1B Driver frontal stage 1 deployment circuit resistance high, current
B0010-1B Passenger frontal stage 1 deployment circuit resistance high, current
B0071-1B Driver seat belt retractor pretensioner circuit resistance high, current
B0072-1B Passenger seat belt retractor pretensioner circuit resistance high, current
B1193-00 Crash event recorded, deployment commanded, stored, locked
"""
REAR = Car(
    scan="""RESTRAINT CONTROL MODULE
B0071-1B Driver seat belt retractor pretensioner circuit resistance high, current
B0072-1B Passenger seat belt retractor pretensioner circuit resistance high, current
""",
    typed='[[evidence]]\nkind = "impact"\nzone = "tail"\nclock = 6\nextent = "moderate"\n'
    + OCCUPANTS,
    seen={
        **dict.fromkeys(BELTS, "webbing-locked"),
        "driver.front-bag": "cover-whole",
        "passenger.front-bag": "cover-whole",
        "driver.buckle-pretensioner": "stalk-like-twin",
        "passenger.buckle-pretensioner": "stalk-like-twin",
    },
    answers={
        "unit-belts": "no",
        "buckles": "no",
        "anchors": "no",
        "height-adjusters": "no",
        "rear-belts": "no",
        "front-belts": "no",
        "headliner": "no",
        "side-sensors-fired": "no",
        "trims": "no",
    },
    fitted=BELTS,
)


class Typist:
    """Types commands and counts them; a class because it keeps the count and the hour."""

    def __init__(self, run: Line, case: Path) -> None:
        self.run = run
        self.case = case
        self.typed = 0
        self.now = dt.datetime(2026, 6, 5, 8, 0)

    def __call__(self, *words: str | Path) -> Any:
        self.typed += 1
        done = self.run(words[0], self.case, *words[1:])
        assert done.code in (0, 1), done.err
        return done

    def sign(self, *words: str) -> None:
        self.now += dt.timedelta(minutes=35)
        self("did", *words, "--by", "R. Own", "--time", self.now.isoformat(timespec="minutes"))

    def operations(self) -> list[Operation]:
        visits = self.run("work", self.case, "--json").json()["visits"]
        return [o for v in visits for a in v["areas"] for o in a["operations"]]

    def questions(self) -> set[str]:
        asked = self.run("work", self.case, "--json").json()["questions"]
        return {q["id"] for q in asked if not q["answered"]}


def bundles(operations: list[Operation]) -> Iterator[tuple[str, ...]]:
    """Yield what is typed for operations in order: as many in one stroke as are taken."""
    plain: list[str] = []
    for one in operations:
        alone = stroke(one)
        if alone is None:
            plain.append(str(one["n"]))
            continue
        if plain:
            yield (",".join(plain),)
            plain = []
        if alone:
            yield alone
    if plain:
        yield (",".join(plain),)


SAID = {
    "step:lamp-check": ("--lamp", "6"),
    "step:fit-loads": ("--ohm", "2.1"),
    "step:live-charges": ("--note", "all live, boxed"),
    "set:seat-zero": ("--note", "answers: zero set; empty reads 0.1 kg"),
}


def stroke(operation: Operation) -> tuple[str, ...] | None:
    """Return what is typed for an operation that is ticked alone; nothing for one that is not."""
    number, word = str(operation["n"]), operation["id"]
    if word in ("step:final-scan", "step:save-codes"):
        return ()  # a report stands for them
    if word in SAID:
        return (number, *SAID[word])
    if word in ("step:key-on-gate", "step:structure", "step:unit-bolted"):
        return (number, "--safe")
    if "power-safe" in operation["blocked_by"] and operation["action"] == "do":
        return (number, "--safe")
    return (number,) if operation["hold_minutes"] or word == "step:drive" else None


def open_case(typist: Typist, car: Car, tmp_path: Path) -> None:
    """From the scan to what is to be done."""
    (tmp_path / "before.txt").write_text(car.scan, encoding="utf-8")
    (tmp_path / "typed.toml").write_text(car.typed, encoding="utf-8")
    stated = ("--region", "US-OH", "--year", "2017", "--vin", "0Z9HB5A25HR000417")
    equipment = ("--equipment", "curtains-and-weight-sensing")
    typist("new", *stated, *equipment, "--report", tmp_path / "before.txt")
    typist("add", tmp_path / "typed.toml")
    for part, word in car.seen.items():
        typist("saw", part, word, "--by", "R. Own", "--time", "2026-06-05T08:00")
    answer_asked(typist, car)


def answer_asked(typist: Typist, car: Car) -> None:
    """Answer what is asked by now, as the maker's procedure has it."""
    asked = typist.questions()
    words = [w for q, word in car.answers.items() if q in asked for w in (q, word)]
    if words:
        typist("answer", *words, *SOURCE)


def finish_work(typist: Typist, car: Car) -> None:
    """From the first look to the drive."""
    for number, part in enumerate(car.fitted):
        origin = ("--provenance", "new", "--seller", "dealer", "--recall-checked")
        label = ("--serial", f"S-{number}", *origin, "--time", "2026-06-05T08:10")
        typist("label", part, f"9Z-{number}117-A", *label)
    left = [
        o
        for o in typist.operations()
        if not o["done"] and (o["counted"] or o["action"] in ("look", "set"))
    ]
    closing = next(str(o["n"]) for o in left if o["id"] == "step:order-closed")
    for words in bundles(left):
        if closing in words[0].split(","):
            answer_asked(typist, car)  # what the looks asked
        typist.sign(*words)


def test_a_rear_ended_car_is_closed_with_few_commands(run: Line, tmp_path: Path) -> None:
    """Its belts fired; a front hit is closed by the typed session below."""
    car = REAR
    typist = Typist(run, tmp_path / "car")
    open_case(typist, car, tmp_path)
    ordered = {
        c for o in run("work", typist.case, "--json").json()["orders"] for c in o["contains"]
    }
    assert set(car.fitted) <= ordered
    finish_work(typist, car)
    (tmp_path / "after.txt").write_text(CLEAN, encoding="utf-8")
    after = ("--when", "after-repair", "--complete", "--time", "2026-06-06T08:00")
    typist("add", tmp_path / "after.txt", *after)
    typist.now = dt.datetime(2026, 6, 6, 8, 0)
    typist.sign("disposal", "lamp-check", "maker-procedure", "--note", "own manual, page 4")
    typist.sign("cautions", "release")
    released = typist("release", "-o", tmp_path / "record.pdf", "--json").json()
    assert [(g["id"], g["missing"]) for g in released["open_gates"]] == []
    assert typist.typed < MOST_COMMANDS
    evidence = tomllib.loads((typist.case / "case.toml").read_text(encoding="utf-8"))["evidence"]
    assert len(evidence) > typist.typed
    assert len(car.typed.splitlines()) < MOST_LINES


LEFT_SCAN = """Airbag control module - 6 codes found, all modules read
B0001-1B Driver frontal stage 1 deployment control  circuit resistance high  Present
B0002-1B Driver frontal stage 2 deployment control  circuit resistance high  Present
B0070-1B Driver seatbelt retractor pretensioner circuit open  Present
B0072-1B Passenger seatbelt pretensioner circuit open  Present
B0090-00 Left front crash sensor no communication
B1193-00 Crash event stored, locked
All circuits read. Battery 12.5 V
"""


@pytest.mark.parametrize("session", ["two_bags", "left_offset"])
def test_a_typed_session_brings_a_car_from_new_to_release(
    session: str, run: Line, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every line as a person typed it, by numbers or by visits; no file was edited."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "before.txt").write_text(FRONT_SCAN, encoding="utf-8")
    (tmp_path / "after.txt").write_text(CLEAN, encoding="utf-8")
    (tmp_path / "left.txt").write_text(LEFT_SCAN, encoding="utf-8")
    typed = Path(__file__).with_name(f"{session}.session").read_text("utf-8").splitlines()
    assert len(typed) < MOST_COMMANDS
    for line in typed:
        done = run(*shlex.split(line)[1:])
        assert done.code in (0, 1), (line, done.err)
    assert "no open gate (21 closed)" in done.out


def test_a_circuit_is_traced_by_one_short_command_each(run: Line, tmp_path: Path) -> None:
    case = tmp_path / "c"
    shutil.copytree(DEMO_CASES / "clover-05", case)
    part, loop = "driver.seat-bag", "driver.seat-bag/1"
    assert "is no outcome of reseat:seat-plug" in run("tried", case, part, "lock-opn").err
    assert "Enter one of" in run("tried", case, part, "look:seat-plg", "fine").err
    looked = ("driver seat airbag", "look:seat-plug", "lock-open", "--by", "R")
    repair = ("tried", case, part, "reseat:seat-plug", "not", "fixed")
    assert "no. 2 is open" in run(*repair, "--done").err
    assert run("did", case, "1", "--by", "R").code == 0
    assert run("did", case, "2", "--safe", "--by", "R").code == 0
    assert run("tried", case, *looked).code == 0
    shown = run("trace", case, loop)
    assert f"squibwise tried clover-05 {loop} 'not fixed'" in shown.out
    assert "Nobody says that reseat:seat-plug was carried out" in run(*repair).err
    assert run(*repair, "--done").code == 0
    assert "--ohm 2.1" in run("loaded", case, part, "in").err
    assert "measures 2 to 2.2 ohm" in run("loaded", case, part, "in", "--ohm", "21").err
    assert run("loaded", case, part, "in", "--ohm", "2.1").code == 0
    assert "is in driver.seat-bag/1 already" in run("loaded", case, part, "in", "--ohm", "2").err
    assert run("loaded", case, part, "out").code == 0
    assert "no load" in run("loaded", case, part, "out").err
    taken = ("loop-resistance", "2.0", "ohm", "--method", "substitute-load")
    assert run("measured", case, part, *taken).code == 0
    assert run("measured", case, "driver.seat-frame", "torque", "42", "Nmm").code == 2
    written = tomllib.loads((case / "case.toml").read_text(encoding="utf-8"))["evidence"][-5:]
    assert [(e.get("test"), e.get("outcome")) for e in written[:2]] == [
        ("look:seat-plug", "lock-open"),
        ("reseat:seat-plug", "not fixed"),
    ]
    assert [e.get("move") for e in written[2:4]] == ["issued", "returned"]
    assert (written[4]["component"], written[4]["value"]) == (loop, 2.0)
