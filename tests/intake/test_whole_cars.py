"""Prints of the whole car in many dresses: other units' lines name no part and change nothing.

Texts of our own, common practice, no source.
"""

import re
from pathlib import Path

import pytest
from texts import read_text

from squibwise.model.report import CodeLine

PRINTS = re.findall(
    r"(?ms)^=== (\S+) (\w+)\n(.*?)(?=^===|\Z)",
    (Path(__file__).parent / "whole_cars.txt").read_text(encoding="utf-8"),
)
Told = dict[str | None, tuple[object, ...]]


def _told(lines: tuple[CodeLine, ...]) -> Told:
    """What the lines of the restraint unit tell, which are those that our texts number B1A1x."""
    own = [ln for ln in lines if (ln.code or "").startswith("B1A1")]
    return {ln.code: (ln.component, ln.fault, ln.status, ln.present, ln.unit) for ln in own}


@pytest.mark.parametrize(("name", "ending", "text"), PRINTS, ids=[p[0] for p in PRINTS])
def test_lines_of_other_units_name_no_part_and_change_none(
    name: str, ending: str, text: str
) -> None:
    rows = text.splitlines(keepends=True)
    own = [row for at, row in enumerate(rows) if row.startswith("*") or (at == 0 and "|" in row)]
    own = rows[:1] + own if ending != "txt" else own
    whole = read_text(text.replace("*", ""), f"r.{ending}").lines
    alone = read_text("".join(own).replace("*", ""), f"r.{ending}").lines
    assert _told(whole) == _told(alone) != {}
    others = [ln for ln in whole if ln.code not in _told(whole) and ln.unit != "other"]
    assert [(ln.code, ln.kind) for ln in others if ln.kind or ln.unit == "restraint"] == []
