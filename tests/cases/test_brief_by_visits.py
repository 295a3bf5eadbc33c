"""The one screen of two demo cars in every state that a walk through their visits brings."""

import datetime as dt
import re
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest

from squibwise import case as line
from squibwise.catalog.load import load_catalog
from squibwise.cli import output
from squibwise.cli.demo import DEMO_CASES
from squibwise.entering.tick_visit import expand_visit
from squibwise.entering.ticking import entries_for, read_numbers
from squibwise.errors import InputError
from squibwise.model.work import Visit
from squibwise.present.tell_brief import LINES, make_brief, tell_brief

CATALOG = load_catalog()
DEEP = "cars-bought-in-november/from-the-auction"
MOST_STROKES, LEAST_STROKES = 30, 8
FINAL = "step:final-power"
SAID: dict[str, dict[str, Any]] = {
    "--safe": {"safe": True},
    "--ohm": {"ohm": 2.1},
    "--note": {"note": "all others live"},
    "(once": {"note": "asked later"},
}


class Walk:
    """A car worked on visit by visit; a class because it keeps the case and the hour."""

    def __init__(self, car: str) -> None:
        folder = DEMO_CASES / car
        self.tables = tomllib.loads((folder / "case.toml").read_text("utf-8"))
        files = (f for f in folder.rglob("*") if f.is_file())
        self.files = {f.relative_to(folder).as_posix(): f.read_bytes() for f in files}
        self.now = dt.datetime(2026, 6, 5, 8)
        self.look()

    def look(self) -> None:
        self.case = line.make_case(self.tables, CATALOG, self.files)
        self.whole = line.overview(self.case, CATALOG)

    def tick(self, words: list[str], **said: Any) -> None:
        self.now += dt.timedelta(minutes=40)
        entries = entries_for(
            self.whole.todo,
            read_numbers(words),
            CATALOG,
            {"by": "R. Own", "time": self.now},
            failed=False,
            evidence=self.case.evidence,
            **said,
        )
        self.tables["evidence"] = [*self.tables.get("evidence", ()), *map(dict, entries)]
        self.look()

    def follow(self, words: list[str], **said: Any) -> None:
        """Tick it, once what a refusal names first is ticked."""
        try:
            self.tick(words, **said)
        except InputError as stop:
            owed = re.search(r"squibwise did CASE ([\d,-]+)$", str(stop.remedy), re.MULTILINE)
            if owed is None:
                raise
            self.tick([owed[1]])
            self.tick(words, **said)

    def strokes(self) -> Iterator[str]:
        """Yield after each stroke where the car stands, until only what no tick does is left."""
        yield "new"
        while due := [n for n, v in enumerate(self.whole.todo.visits, 1) if is_due(v)]:
            words = ["visit", str(due[0])]
            try:
                stroke = expand_visit(words, self.whole.todo, CATALOG, self.case.evidence)
            except InputError as stop:
                told = str(stop.remedy).split("squibwise saw CASE COMPONENT WORD. ")
            else:
                try:
                    self.tick(stroke.words)
                except InputError:
                    powered = (o.done for o in self.whole.todo.operations if o.id == FINAL)
                    if not any(powered):
                        raise
                    return  # a part that nobody decided: off again before the memory is cleared
                told = [*stroke.told]
                yield " ".join(words)
            for sentence in told:
                if "squibwise add" in sentence or "--lamp" in sentence:
                    return
                command = re.search(r"squibwise did CASE ([\d,-]+) *(--\w+|\(once)?", sentence)
                if command and "after the power came off" not in sentence:
                    self.follow([command[1].strip(",")], **SAID.get(command[2], {}))
                    yield command[0]


def is_due(visit: Visit) -> bool:
    return any(
        o.counted and not o.done and o.kind in ("certain", "rule") and o.action != "trace"
        for o in visit.operations
    )


@pytest.mark.parametrize(("car", "has_loads"), [("sorrel-03", True)])
def test_it_stays_one_screen_in_every_state(
    car: str, has_loads: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nine loads in, and the folder lies deep."""
    walk, heights, loads = Walk(car), {}, 0
    for number, state in enumerate(walk.strokes()):
        brief = make_brief(walk.case, walk.whole, CATALOG)
        output.show(tell_brief(walk.case, brief, f"{DEEP}/{walk.case.id}", CATALOG))
        shown = capsys.readouterr().out
        heights[f"{number}: {state}"] = len(shown.splitlines())
        loads += "A substitute load is still in" in shown
        assert all(d in " ".join(shown.split()) for d in brief.dangers), state
        assert number < MOST_STROKES
    assert len(heights) >= LEAST_STROKES
    assert bool(loads) == has_loads
    assert max(heights.values()) <= LINES, heights
