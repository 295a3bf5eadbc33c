"""The only report says that the airbag unit does not answer: said at once, and where to look.

What a technician does then is common practice, no source.
"""

from pathlib import Path

import squibwise
from squibwise.case import overview
from squibwise.present.tell_brief import make_brief, tell_brief
from squibwise.present.tell_report import tell_report

CATALOG = squibwise.load_catalog()
HERE = Path(__file__).parent / "unit-does-not-answer"
CASE = squibwise.open_case(HERE, CATALOG)
WHOLE = overview(CASE, CATALOG)


def test_the_first_screen_says_that_nothing_was_read_and_looks_at_the_supply() -> None:
    brief = make_brief(CASE, WHOLE, CATALOG)
    told = repr(tell_brief(CASE, brief, "x", CATALOG))
    assert brief.silent == ("scan",)
    assert "nothing was read: the airbag control unit did not answer (scan)" in told
    look = next(told for told in brief.next if told.startswith("look: "))
    assert all(word in look for word in ("fuse", "supply", "ground", "plug"))


def test_the_unit_is_traced_and_no_circuit_is_clean() -> None:
    assert [c.loop for c in WHOLE.states.circuits] == ["centre.control-unit/1"]
    assert "supply" in WHOLE.states.circuits[0].causes[0].id
    report = next(e for e in CASE.evidence if isinstance(e, squibwise.model.report.Report))
    assert report.reading.coverage.complete is False  # though somebody ticked it
    assert "Nothing was read" in tell_report(report.reading).title
