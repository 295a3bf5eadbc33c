"""Any report written from a known list in a self-identifying layout is read back exactly."""

from collections.abc import Callable

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from written_reports import FAULTS, LANGUAGES, LAYOUTS, PARTS, STATUSES, Known

from squibwise.catalog.load import load_catalog
from squibwise.intake.report.reader import read_report

CATALOG = load_catalog()


@st.composite
def known_lists(draw: st.DrawFn) -> tuple[str, list[Known]]:
    """Faults of one language, each with a maker's code of its own."""
    language = draw(st.sampled_from(LANGUAGES))
    parts = draw(
        st.lists(st.sampled_from(sorted(PARTS[language], key=str)), min_size=1, max_size=6)
    )
    numbers = st.integers(0x1000, 0x1FFF)
    codes = draw(st.lists(numbers, min_size=len(parts), max_size=len(parts), unique=True))
    faults = [
        Known(
            code=f"B{number:04X}",
            component=component,
            stage=stage,
            fault=draw(st.sampled_from(sorted(FAULTS[language]))),
            status=draw(st.sampled_from(sorted(STATUSES[language]))),
        )
        for (component, stage), number in zip(parts, codes, strict=True)
    ]
    return language, faults


@pytest.mark.parametrize("layout", LAYOUTS, ids=lambda f: f.__name__)
@given(written=known_lists())
@settings(max_examples=60, deadline=None)
def test_a_written_report_is_read_back_exactly(
    layout: Callable[[Known, str], str], written: tuple[str, list[Known]]
) -> None:
    language, faults = written
    text = f"{len(faults)} DTC\n\n" + "\n".join(layout(f, language) for f in faults)
    read = read_report(text.encode("utf-8"), "report.txt", CATALOG)
    got = [(ln.code, ln.component, ln.stage, ln.fault, ln.status) for ln in read.lines]
    assert got == [f.read() for f in faults]
    assert read.unread == ()


@pytest.mark.parametrize("text", ["13", "9001", "01221", "4-11", "Code 24", "70311"])
def test_an_ambiguous_code_comes_back_as_candidates(text: str) -> None:
    (line,) = read_report(text.encode(), "report.txt", CATALOG).lines
    assert line.component is None
    assert line.fault == "unknown"
    assert line.candidates
    assert sum(c.weight for c in line.candidates) == pytest.approx(1.0)
