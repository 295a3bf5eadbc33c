"""How many commands it takes to bring a car from its scan to a closed record. Car made up."""

import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Line = Callable[..., Any]
MOST_COMMANDS = 60
BY = ("--by", "R. Own")
CASE = """[case]
id = "rear"
region = "US-OH"
[car]
model_year = 2017
equipment = "front-bags"
[profile]
name = "by-condition"
wait_minutes = { value = 3, source = "own invented manual, page 2" }
[[evidence]]
kind = "impact"
zone = "tail"
clock = 6
extent = "light"
"""
CLEAN = "RESTRAINT CONTROL MODULE\nNo fault codes stored\nSupply 12.6 V\n"


class Typist:
    """Types commands and counts them; a class because it keeps the count."""

    def __init__(self, run: Line, case: Path) -> None:
        self.run = run
        self.case = case
        self.typed = 0

    def __call__(self, *words: str | Path) -> Any:
        self.typed += 1
        done = self.run(words[0], self.case, *words[1:])
        assert done.code in (0, 1), done.err
        return done

    def operations(self) -> list[dict[str, Any]]:
        visits = self.run("work", self.case, "--json").json()["visits"]
        return [o for v in visits for a in v["areas"] for o in a["operations"]]

    def open_numbers(self, *actions: str) -> list[str]:
        return [str(o["n"]) for o in self.operations() if o["action"] in actions and not o["done"]]


@pytest.fixture
def typist(run: Line, tmp_path: Path) -> Typist:
    case = tmp_path / "rear"
    case.mkdir()
    (case / "case.toml").write_text(CASE, encoding="utf-8")
    (tmp_path / "before.txt").write_text(CLEAN, encoding="utf-8")
    (tmp_path / "after.txt").write_text(CLEAN.replace("12.6", "12.7"), encoding="utf-8")
    return Typist(run, case)


def test_a_rear_ended_car_is_closed_with_few_commands(typist: Typist, tmp_path: Path) -> None:
    typist("add", tmp_path / "before.txt", "--when", "before-repair", "--complete")
    typist("did", "1", "3", *BY)
    typist("did", "2", "--safe", *BY)
    for gate in ("structure-sound", "unit-bolted", "power-safe"):
        typist("did", gate, "--safe", *BY)
    typist("did", "21", *BY, "--time", "2026-06-05T09:00")
    typist("did", "22", *BY, "--time", "2026-06-05T09:05")
    early = typist.open_numbers("open", "look", "out", "join", "fit", "close")
    typist("did", ",".join(early), *BY)
    steps = {o["id"]: o for o in typist.operations() if o["action"] == "do"}
    proofs = ("step:clear", "step:lamp-check", "step:drive", "step:final-scan", "step:papers")
    rest = [str(o["n"]) for i, o in steps.items() if not o["done"] and i not in proofs]
    typist("did", ",".join(rest), *BY)
    if settings := typist.open_numbers("set"):
        typist("did", ",".join(settings), *BY)
    (tmp_path / "cleared.txt").write_text(
        '[[evidence]]\nkind = "done"\nwhat = "cleared"\ncomponent = "codes"\n', encoding="utf-8"
    )
    typist("add", tmp_path / "cleared.txt")
    typist("did", str(steps["step:lamp-check"]["n"]), "--lamp", "6", *BY)
    typist("did", str(steps["step:drive"]["n"]), *BY)
    typist("add", tmp_path / "after.txt", "--when", "after-repair", "--complete")
    typist("did", "lamp-check", "maker-procedure", "--note", "own invented manual, page 4", *BY)
    typist("did", "cautions", "release", *BY)
    released = typist("release", "-o", tmp_path / "record.pdf", "--json").json()
    assert [(g["id"], g["missing"]) for g in released["open_gates"]] == []
    assert typist.typed < MOST_COMMANDS
    evidence = tomllib.loads((typist.case / "case.toml").read_text(encoding="utf-8"))["evidence"]
    assert len(evidence) > typist.typed
