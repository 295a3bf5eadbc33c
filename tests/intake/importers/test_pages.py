"""Letters become lines, cells and rows by where they stand; checked against a reference reader."""

import io
from pathlib import Path

import pdfplumber
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.intake.importers import extract
from squibwise.intake.importers.base import Document
from squibwise.intake.importers.pages import Glyph, Marks, RuledLine, lines_of, page_rows, whole
from squibwise.intake.importers.pdf import read

SAMPLES = Path(__file__).parent / "samples"
SIZE = 10.0
WIDTH = 5.0  # of every letter


def printed(x: float, y: float, text: str, tracking: float = 0.0) -> list[Glyph]:
    """Return the letters of a text set from a place on, spaces left out as on a real page."""
    step = WIDTH + tracking
    return [
        Glyph(x0=x + n * step, x1=x + n * step + WIDTH, y=y, size=SIZE, sign=sign)
        for n, sign in enumerate(text)
        if sign != " "
    ]


def page(*texts: tuple[float, float, str]) -> Marks:
    return Marks(glyphs=tuple(g for x, y, text in texts for g in printed(x, y, text)))


def rows(marks: Marks) -> list[list[str]]:
    return [[cell.text for cell in row.cells] for row in page_rows(marks)]


@pytest.mark.parametrize("name", ["ruled.pdf", "page-break.pdf"])
def test_a_ruled_table_has_the_rows_that_a_reference_reader_finds(name: str) -> None:
    """The reference library is pdfplumber."""
    data = (SAMPLES / name).read_bytes()
    with pdfplumber.open(io.BytesIO(data)) as pdf:
        tables = [table for p in pdf.pages for table in p.extract_tables()]
    theirs = [[" ".join((c or "").split()) for c in row] for table in tables for row in table]
    theirs = list(dict.fromkeys(tuple(c for c in row if c) for row in theirs))
    ours = [tuple(c for c in x.cells if c) for x in extract(data, name).lines if len(x.cells) > 2]
    assert ours == theirs


@settings(max_examples=40, deadline=None)
@given(st.permutations(range(12)))
def test_the_order_in_which_letters_were_drawn_does_not_matter(order: list[int]) -> None:
    words = printed(50, 100, "B0001 stored")
    letters = [words[i] for i in order if i < len(words)]
    assert [s.text for line in lines_of(letters) for s in line.segments] == ["B0001 stored"]


@settings(max_examples=30, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.from_regex(r"B0[0-9]{3}", fullmatch=True),
            st.from_regex(r"[a-z]{3,9}( [a-z]{3,9}){0,2}", fullmatch=True),
            st.sampled_from(["present", "stored", "pending"]),
        ),
        min_size=1,
        max_size=12,
    )
)
def test_a_table_without_rules_reads_back_exactly(table: list[tuple[str, str, str]]) -> None:
    marks = page(
        *(
            (x, 100 + 14.0 * n, row[i])
            for n, row in enumerate(table)
            for i, x in enumerate((50, 130, 400))
        )
    )
    assert rows(marks) == [list(row) for row in table]


def test_a_cell_that_goes_on_below_belongs_to_its_row() -> None:
    marks = page(
        (50, 100, "B0001"),
        (130, 100, "Driver frontal"),
        (300, 100, "present"),
        (130, 112, "inflator open"),
        (50, 130, "B0002"),
        (130, 130, "Passenger"),
        (300, 130, "stored"),
    )
    assert rows(marks) == [
        ["B0001", "Driver frontal inflator open", "present"],
        ["B0002", "Passenger", "stored"],
    ]


def test_a_code_in_the_middle_of_a_tall_row_without_rules_keeps_its_words() -> None:
    texts: list[tuple[float, float, str]] = []
    for n in range(4):
        y = 100 + 40.0 * n
        texts += [(130, y - 6, f"Circuit {n} open"), (130, y + 6, "or high")]
        texts += [(50, y, f"B000{n}"), (300, y, "present")]
    assert rows(page(*texts)) == [
        [f"B000{n}", f"Circuit {n} open or high", "present"] for n in range(4)
    ]


def test_a_row_of_column_names_that_repeats_lower_on_the_next_page_is_read_once() -> None:
    head = ((50.0, "Code"), (130.0, "Text"))
    pages = [
        page(
            *((x, 100 + 30.0 * n, word) for x, word in head),
            (50, 160, f"B000{n}"),
            (130, 160, "open"),
        )
        for n in range(2)
    ]
    found = [row.text() for rows_ in whole([page_rows(p) for p in pages]) for row in rows_]
    assert found == ["Code\tText", "B0000\topen", "B0001\topen"]


def test_an_indented_line_under_a_plain_line_stays_a_line() -> None:
    marks = page((50, 100, "B0001 Driver bag open"), (80, 112, "Status present"))
    assert rows(marks) == [["B0001 Driver bag open"], ["Status present"]]


def test_a_column_far_below_is_no_continuation() -> None:
    marks = page((50, 100, "B0001"), (130, 100, "Driver"), (130, 160, "Printed on 2 March"))
    assert rows(marks) == [["B0001", "Driver"], ["Printed on 2 March"]]


def test_text_spaced_out_by_the_typesetter_is_closed_up() -> None:
    glyphs = printed(50, 100, "B0001 Driver bag open", tracking=4.0)
    assert rows(Marks(glyphs=tuple(glyphs))) == [["B0001 Driver bag open"]]


@pytest.mark.parametrize("text", ["4 1 1 2 3 1 2 4", "59 02 FF 80 01 11 2F", "1 2 3 4 5 6 7 8 9"])
def test_digits_that_stand_apart_stay_apart(text: str) -> None:
    assert rows(page((50, 100, text))) == [[text]]


def test_letters_printed_twice_to_look_bold_are_read_once() -> None:
    glyphs = printed(50, 100, "B0001") + printed(50.2, 100, "B0001")
    assert rows(Marks(glyphs=tuple(glyphs))) == [["B0001"]]


def two_columns(shift: float) -> Marks:
    left = [(50.0, 100 + 14.0 * n, f"B000{n} left fault") for n in range(6)]
    right = [(320.0, 100 + shift + 14.0 * n, f"B001{n} right fault") for n in range(6)]
    return page((50, 80, "A heading over both columns of the page that is long"), *left, *right)


@pytest.mark.parametrize("shift", [0.0, 2.5, 7.0])
def test_two_columns_are_read_one_after_the_other(shift: float) -> None:
    found = [row[0] for row in rows(two_columns(shift))]
    assert [row.split()[0] for row in found] == [
        "A",
        *[f"B000{n}" for n in range(6)],
        *[f"B001{n}" for n in range(6)],
    ]


def test_a_table_of_two_columns_is_not_a_page_of_two_columns() -> None:
    table = [(f"B000{n}", f"Driver circuit {n} open") for n in range(8)]
    marks = page(
        *(
            (x, 100 + 14.0 * n, row[i])
            for n, row in enumerate(table)
            for i, x in enumerate((50, 300))
        )
    )
    assert rows(marks) == [list(row) for row in table]


def ruled(
    cuts: list[float], walls: list[float]
) -> tuple[tuple[RuledLine, ...], tuple[RuledLine, ...]]:
    level = tuple(RuledLine(at=y, start=walls[0], end=walls[-1]) for y in cuts)
    return level, tuple(RuledLine(at=x, start=cuts[0], end=cuts[-1]) for x in walls)


def test_a_code_in_the_middle_of_a_tall_ruled_row_keeps_its_words() -> None:
    texts = page(
        (130, 100, "Driver frontal"),
        (50, 106, "B0001"),
        (300, 106, "present"),
        (130, 112, "inflator open"),
        (130, 130, "Passenger"),
        (50, 136, "B0002"),
        (300, 136, "stored"),
        (130, 142, "inflator"),
    )
    level, upright = ruled([90, 120, 150], [45, 125, 295, 400])
    marks = Marks(glyphs=texts.glyphs, level=level, upright=upright)
    assert rows(marks) == [
        ["B0001", "Driver frontal inflator open", "present"],
        ["B0002", "Passenger inflator", "stored"],
    ]


def test_an_empty_cell_of_a_grid_keeps_its_place() -> None:
    """``left`` reaches over two rows: no rule parts them in its column."""
    texts = page(
        *((50, 100, "left"), (130, 100, "B0001"), (300, 100, "open")),
        *((130, 120, "B0002"), (300, 120, "short")),
        *((50, 140, "right"), (130, 140, "B0003"), (300, 140, "open")),
    )
    level, upright = ruled([70, 90, 110, 130, 150], [45, 125, 295, 400])
    assert rows(Marks(glyphs=texts.glyphs, level=level, upright=upright)) == [
        ["left", "B0001", "open"],
        ["", "B0002", "short"],
        ["right", "B0003", "open"],
    ]


def test_a_box_around_several_faults_does_not_join_them() -> None:
    texts = page(
        (50, 100, "13"),
        (130, 100, "Driver open"),
        (50, 112, "14"),
        (130, 112, "Passenger open"),
    )
    level, upright = ruled([80, 90, 120], [45, 400])
    assert rows(Marks(glyphs=texts.glyphs, level=level, upright=upright)) == [
        ["13", "Driver open"],
        ["14", "Passenger open"],
    ]


def test_a_row_cut_by_a_page_break_is_joined() -> None:
    first = page(
        (50, 40, "Report of car 7, page 1"),
        (50, 100, "B0001"),
        (130, 100, "Driver frontal"),
        (300, 100, "present"),
    )
    second = page(
        (50, 40, "Report of car 7, page 2"),
        (130, 80, "inflator open"),
        (50, 100, "B0002"),
        (130, 100, "Passenger"),
        (300, 100, "stored"),
    )
    found = whole([page_rows(first), page_rows(second)])
    assert [[c.text for c in row.cells] for rows_ in found for row in rows_] == [
        ["Report of car 7, page 1"],
        ["B0001", "Driver frontal inflator open", "present"],
        ["B0002", "Passenger", "stored"],
    ]


def test_a_fault_that_stands_at_the_same_place_of_two_pages_is_kept_twice() -> None:
    one = page_rows(page((50, 100, "B0001"), (130, 100, "Driver open")))
    found = whole([one, page_rows(page((50, 100, "B0001"), (130, 100, "Driver open")))])
    assert sum(len(rows_) for rows_ in found) == 2


def turned(quarters: int) -> bytes:
    """Return a page whose text is drawn turned, and which is shown turned back."""
    from importlib.util import module_from_spec, spec_from_file_location

    spec = spec_from_file_location("make_samples", Path(__file__).parent / "make_samples.py")
    assert spec is not None
    assert spec.loader is not None
    maker = module_from_spec(spec)
    spec.loader.exec_module(maker)
    matrix = (
        b"1 0 0 1 100 700",
        b"0 1 -1 0 200 100",
        b"-1 0 0 -1 400 300",
        b"0 -1 1 0 200 700",
    )[quarters]
    text = b"BT /F1 12 Tf " + matrix + b" Tm (B0001 Driver open) Tj 0 -20 Td (B0002 Row 2) Tj ET"
    made: bytes = maker.minimal_pdf(text, page=b"/Rotate %d" % (90 * quarters))
    return made


@pytest.mark.parametrize("quarters", range(4))
def test_a_turned_page_reads_as_an_upright_one(quarters: int) -> None:
    found = read(Document(data=turned(quarters), name="turned.pdf"))
    assert [line.text for line in found.lines] == ["B0001 Driver open", "B0002 Row 2"]
