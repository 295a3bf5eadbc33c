"""Tables, web pages, JSON and messages: the odd shapes that reports come in."""

import io
from email.message import EmailMessage

import msgspec
import openpyxl
import pypdfium2
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.catalog.load import load_catalog
from squibwise.errors import InputError
from squibwise.intake.importers import Extract, choose, claimants, extract, picture
from squibwise.intake.importers.base import Document, Importer, read_apart
from squibwise.intake.importers.picture import _pixels, claims, read, repair_codes, seen
from squibwise.intake.importers.webpage import tokens
from squibwise.intake.report.reader import read_report


def rows(text: str | bytes, name: str = "report") -> list[str]:
    data = text if isinstance(text, bytes) else text.encode()
    return ["|".join(x.cells) if x.cells else x.text for x in extract(data, name).lines]


# Tables


@pytest.mark.parametrize("sign", [";", "\t", "|"])
def test_any_usual_sign_parts_the_fields(sign: str) -> None:
    text = f"Code{sign}Text\nB0001{sign}open, driver\nB0002{sign}short\n"
    assert rows(text) == ["Code|Text", "B0001|open, driver", "B0002|short"]


def test_a_sheet_programs_first_line_names_the_sign() -> None:
    assert rows("sep=;\r\nB0001;open\r\n") == ["B0001|open"]


def test_a_record_has_the_number_of_the_line_it_starts_on() -> None:
    found = extract(b'a;b;c\n"B0001";"two\nlines";x\nB0002;y;z\n', "t.csv")
    assert [line.number for line in found.lines] == [1, 2, 4]
    assert found.lines[1].cells == ("B0001", "two lines", "x")


@pytest.mark.parametrize(
    "text",
    [
        "B0001, B0010, B0070\nB0072, B0073, B0075\n",
        "B0001 open, driver side\nB0002 short, passenger side, stage 2\nplain words\n",
        "Airbag unit\nB0001 open\nB0002 short\n",
    ],
)
def test_a_text_with_commas_is_no_table(text: str) -> None:
    assert claimants(text.encode(), "scan.txt") == ("text",)


cell = st.text(
    st.characters(
        codec="utf-8", exclude_categories=("Cc", "Cs", "Zs", "Zl", "Zp", "Cf", "Co", "Cn")
    ),
    min_size=1,
    max_size=12,
)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(cell, cell, cell), min_size=2, max_size=8), st.sampled_from(";\t,"))
def test_a_table_reads_back_exactly(table: list[tuple[str, str, str]], sign: str) -> None:
    quoted = [[f'"{c.replace(chr(34), chr(34) * 2)}"' for c in row] for row in table]
    head = sign.join(["Fault code", "What is wrong", "Status word"])
    text = "\n".join([head, *(sign.join(row) for row in quoted)])
    found = extract(text.encode(), "t.csv").lines
    assert [line.cells for line in found[1:]] == table


# Web pages


@settings(max_examples=150, deadline=None)
@given(st.text(alphabet="<>/!-\"' =abtdr&;\n", max_size=60))
def test_the_scanner_ends_on_any_markup_and_keeps_text_outside_it(noise: str) -> None:
    found = list(tokens(f"before{noise}"))
    assert found[0].text.startswith("before")
    assert sum(len(t.text) + len(t.tag) for t in found) <= len(noise) + 6


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ("<html><p>1 < 2 and 3 > 2", ["1 < 2 and 3 > 2"]),
        ("<html><p title='a > b'>B0001", ["B0001"]),
        ('<html><p title="never closed>B0001', ["B0001"]),
        ("<html><!-- B0009 --><p>B0001<!-- open", ["B0001"]),
        ("<html><p>B0001<br>open</p>", ["B0001", "open"]),
        ("<html><SCRIPT>B0009</SCRIPT ><p>B0001", ["B0001"]),
        ("<html><td>loose cell", ["loose cell"]),
        (
            "<html><dl><dt>B0001</dt><dd>bag</dd><dd>open</dd><dt>B0002</dt></dl>",
            ["B0001|bag|open", "B0002"],
        ),
        ("<html><table><tr><td>B0001<td><table><tr><td>x<td>y</table></table>", ["B0001", "x|y"]),
        ("<html><p>5&nbsp;&Omega; &lt;limit&gt; &#x110000;", ["5 Ω <limit> \ufffd"]),
    ],
)
def test_odd_pages_read_as_a_browser_shows_them(source: str, expected: list[str]) -> None:
    assert rows(source, "page.html") == expected


# JSON


@pytest.mark.parametrize(
    ("source", "expected"),
    [
        ('["B0001 driver open", "B0002 short"]', ["B0001 driver open", "B0002 short"]),
        ('[["B0001", "open"], ["B0002", "short"]]', ["B0001|open", "B0002|short"]),
        ('{"B0001": "open"}', ["B0001: open"]),
        ('{"B0001": {"text": "open", "status": "stored"}}', ["B0001|open||stored"]),
        ('{"code": "B0001", "ftb": "0x1b", "text": "open"}', ["B0001-1B|open"]),
        ('{"code": "B0001", "text": "a", "text": "b"}', ["B0001|a|||text: b"]),
        ('{"code": 532, "description": "open"}', ["532|open"]),
        ('{"code": "B0001", "text": null, "mil": true, "warm": false}', ["B0001||||mil"]),
        ('{"volts": 12.40, "nothing": NaN}', ["volts: 12.40", "nothing: NaN"]),
    ],
)
def test_json_of_many_shapes_is_a_line_per_fault(source: str, expected: list[str]) -> None:
    assert rows(source, "report.json") == expected


def test_only_what_stands_under_the_name_of_codes_is_one() -> None:
    source = (
        '[{"name": "Engine", "dtcs": [{"code": "P0301", "text": "misfire"}]},'
        ' {"name": "Restraints", "software": "B1040", "dtcs":'
        ' [{"code": "B1A12", "part": "B1042-C", "text": "driver front airbag open"}]}]'
    )
    found = read_report(source.encode(), "r.json", load_catalog())
    assert [(ln.code, ln.unit, ln.component) for ln in found.lines] == [
        ("P0301", "other", None),
        ("B1A12", "restraint", "driver.front-bag"),
    ]


UNITS_OF_JSON = (
    '{"Airbag": {"B1A01": "left curtain open"}, "PX": {"B1C01": "left side open"}}',
    '{"Airbag": [{"code": "B1A01", "text": "left curtain open"}],'
    ' "PX": [{"code": "B1C01", "text": "left side open"}]}',
    '{"modules": {"Airbag": {"dtcs": [{"nr": "B1A01", "text": "left curtain open"}]},'
    ' "PX": {"sw": "B1042", "dtcs": [{"nr": "B1C01", "text": "left side open"}]}}}',
    '[{"ecu": "Airbag", "code": "B1A01", "desc": "left curtain open"},'
    ' {"ecu": "PX", "code": "B1C01", "desc": "left side open"}]',
)


@pytest.mark.parametrize("source", UNITS_OF_JSON)
def test_a_name_of_codes_or_beside_one_is_that_of_their_unit(source: str) -> None:
    found = read_report(source.encode(), "r.json", load_catalog())
    told = [(ln.code, ln.unit, ln.component) for ln in found.lines]
    assert told == [("B1A01", "restraint", "left.curtain"), ("B1C01", "unknown", None)]


@pytest.mark.parametrize(
    "source",
    [
        '{"module": "Airbag", "partNumber": "B1099", "id": "B1E10", "text": "driver airbag open"}',
        '{"unit": "SRS", "sw": "B1207", "faults": ["B1E10 driver airbag open"]}',
    ],
)
def test_numbers_in_the_shape_of_codes_are_none_beside_the_name_of_codes(source: str) -> None:
    found = read_report(source.encode(), "r.json", load_catalog())
    assert [(ln.code, ln.component) for ln in found.lines] == [("B1E10", "driver.front-bag")]


def test_broken_json_is_read_as_text_with_a_warning() -> None:
    found = extract(b'{"code": "B0001",\n"text": "open"', "report.json")
    assert [line.text for line in found.lines] == ['{"code": "B0001",', '"text": "open"']
    assert [(f.code, f.severity) for f in found.findings] == [("json-broken", "warning")]


# Messages


def message(**parts: str) -> EmailMessage:
    mail = EmailMessage()
    mail["From"], mail["To"], mail["Subject"] = "a@example.org", "b@example.org", "Scan"
    mail.set_content(parts.get("plain", "Hello\n"))
    if "html" in parts:
        mail.add_alternative(parts["html"], subtype="html")
    return mail


def test_of_two_forms_of_a_text_the_one_with_a_table_is_read() -> None:
    table = "<html><table><tr><td>B0001<td>open</table></html>"
    assert rows(message(plain="B0001\nopen\n", html=table).as_bytes())[1:] == ["B0001|open"]


def test_of_two_forms_without_a_table_the_plain_one_is_read() -> None:
    page = "<html><p>B0001 <b>open</b></p></html>"
    assert rows(message(plain="B0001 open\n", html=page).as_bytes())[1:] == ["B0001 open"]


@pytest.mark.parametrize("charset", ["iso-8859-1", "utf-8", "iso-8859-2", "no-such-charset"])
def test_a_text_part_is_read_in_its_own_character_set(charset: str) -> None:
    body = "Zünder geöffnet".encode("latin-1" if charset.startswith("no") else charset)
    head = f"From: a\nTo: b\nMIME-Version: 1.0\nContent-Type: text/plain; charset={charset}\n\n"
    assert rows(head.encode() + body) == ["Zünder geöffnet"]


def test_a_page_saved_as_one_file_is_read() -> None:
    mht = (
        b"From: <Saved by a browser>\r\nSubject: Scan\r\nMIME-Version: 1.0\r\n"
        b'Content-Type: multipart/related; type="text/html"; boundary="x"\r\n\r\n--x\r\n'
        b"Content-Type: text/html\r\nContent-Transfer-Encoding: quoted-printable\r\n\r\n"
        b"<html><table><tr><td>B0001</td><td>r=C3=BCck</td></tr></table></html>\r\n"
        b"--x\r\nContent-Type: text/css\r\n\r\n\r\n--x--\r\n"
    )
    assert rows(mht, "page.mhtml") == ["Subject: Scan", "B0001|rück"]


def test_a_report_that_mentions_a_subject_is_no_message() -> None:
    text = b"Date: 2 March 2026\nSubject: Harrow 7\nTechnician: R\n\nB0001 open\n"
    assert claimants(text, "scan.txt") == ("text",)


def test_a_message_without_a_report_is_refused_with_the_reasons() -> None:
    mail = EmailMessage()
    mail["From"], mail["To"], mail["Message-ID"] = "a@example.org", "b@example.org", "<1@x>"
    mail.add_attachment(b"PK\x03\x04", maintype="application", subtype="zip", filename="a.zip")
    with pytest.raises(InputError, match=r"no report in it.*archive is damaged"):
        extract(mail.as_bytes(), "mail.eml")


def test_numbers_go_on_through_the_parts_of_a_message() -> None:
    mail = message(plain="one\ntwo\n")
    mail.add_attachment("B0001 open\n", filename="scan.txt")
    found = extract(mail.as_bytes(), "mail.eml")
    assert [line.number for line in found.lines] == [1, 2, 3, 4]
    begins = [f.origin.line for f in found.findings if f.code == "attachment-begins"]
    assert begins == [2, 4]


# Pictures


@pytest.mark.parametrize(
    ("seen_text", "meant"),
    [
        ("BOO01-1B", "B0001-1B"),
        ("B0O1O-1B open", "B0010-1B open"),
        ("B00I1", "B0011"),
        ("B0l93-O0", "B0193-00"),
        ("80001-1B", "B0001-1B"),
        ("C0O31:23", "C0031:23"),
        ("UOO73-04", "U0073-04"),
    ],
)
def test_mistaken_signs_are_put_right_within_a_code(seen_text: str, meant: str) -> None:
    assert repair_codes(seen_text)[0] == meant


@pytest.mark.parametrize(
    "text",
    ["B0001-1B open", "B8B88", "80001", "BOIL", "POOL 100", "COOLANT", "9OO1 11", "5 ohm", "OBD"],
)
def test_what_no_code_grammar_settles_stays_as_it_was_read(text: str) -> None:
    assert repair_codes(text) == (text, ())


@settings(max_examples=200, deadline=None)
@given(st.from_regex(r"[PCBU][0-3][0-9A-F]{3}(-[0-9A-F]{2})?", fullmatch=True), st.text(max_size=5))
def test_a_true_code_is_never_changed(code: str, after: str) -> None:
    assert repair_codes(code)[0] == code
    assert repair_codes(repair_codes(code + after)[0])[1] == ()


def box(x: float, y: float, text: str) -> tuple[list[list[float]], str, float]:
    width = 8.0 * len(text)
    return [[x, y], [x + width, y], [x + width, y + 14], [x, y + 14]], text, 0.9


def test_every_line_of_a_picture_is_to_be_confirmed() -> None:
    found = seen(
        [box(200, 11, "Driver open"), box(10, 10, "BOO01-1B"), box(10, 40, "3 faults")], "p"
    )
    assert [line.text for line in found.lines] == ["B0001-1B\tDriver open", "3 faults"]
    assert [(f.code, f.severity, f.origin.line) for f in found.findings] == [
        ("confirm-line", "warning", 1),
        ("confirm-line", "warning", 2),
    ]
    assert "'BOO01-1B' was taken for 'B0001-1B'" in found.findings[0].message


class FakeReader:
    """Stands in for the optional picture reader; sees one line on every page."""

    def RapidOCR(self) -> "FakeReader":
        return self

    def __call__(self, picture: object) -> tuple[list[object], object]:
        assert getattr(picture, "ndim", 0) == 3
        return [box(10, 10, "B0OO1-1B"), box(200, 12, "Driver open")], None


def blank_pages(count: int) -> bytes:
    pdf = pypdfium2.PdfDocument.new()
    for _ in range(count):
        pdf.new_page(595, 842)
    out = io.BytesIO()
    pdf.save(out)
    return out.getvalue()


@pytest.mark.parametrize(("count", "unseen"), [(1, 0), (3, 0), (5, 1)])
def test_pages_without_text_are_read_as_pictures(
    monkeypatch: pytest.MonkeyPatch, count: int, unseen: int
) -> None:
    monkeypatch.setattr(picture.importlib, "import_module", lambda _: FakeReader())
    found = picture.read_pages(Document(data=blank_pages(count), name="scan.pdf"))
    assert [line.text for line in found.lines] == ["B0001-1B\tDriver open"] * min(count, 3)
    assert [f.code for f in found.findings].count("picture-page") == unseen


def test_a_pdf_in_which_nothing_is_seen_stays_a_pdf_without_text(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def apart(importer: Importer, data: bytes, name: str) -> Extract:
        if importer is picture.PAGES:
            raise InputError("nothing was seen", remedy="type it off")
        return read_apart(importer, data, name)

    monkeypatch.setattr(choose, "read_apart", apart)
    monkeypatch.setattr(picture, "is_installed", lambda: True)
    found = extract(blank_pages(1), "scan.pdf")
    assert (found.lines, [f.code for f in found.findings]) == ((), ["picture-page"])


def test_a_picture_without_text_is_refused() -> None:
    with pytest.raises(InputError, match="no text"):
        seen([], "p.png")


def png(width: int, height: int) -> bytes:
    return (
        b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR"
        + width.to_bytes(4, "big")
        + height.to_bytes(4, "big")
    )


def test_a_picture_of_a_billion_points_is_refused_before_it_is_opened() -> None:
    document = Document(data=png(40_000, 40_000), name="huge.png")
    assert claims(document)
    with pytest.raises(InputError, match="1600 million points"):
        read(document)


@pytest.mark.parametrize(
    "data",
    [
        b"GIF89a\x10\x00\x20\x00",
        b"BM"
        + b"\x00" * 16
        + (16).to_bytes(4, "little")
        + (-32).to_bytes(4, "little", signed=True),
        png(16, 32),
    ],
)
def test_the_size_of_a_picture_is_read_from_its_head(data: bytes) -> None:
    assert _pixels(data) == 16 * 32


def test_records_go_through_the_helpers_answer_unchanged() -> None:
    found = extract(b"a;b;c\nB0001;x;y\n", "t.csv")
    assert msgspec.json.decode(msgspec.json.encode(found), type=type(found)) == found


# Source: HTML Living Standard 4.9.11, attribute rowspan: a cell reaches down over further rows.
def test_a_cell_that_reaches_over_rows_stands_in_each_of_them() -> None:
    page = (
        "<html><body><table>\n<tr><th>Side</th><th>Part</th><th>DTC</th></tr>\n"
        "<tr><td rowspan='2'>Left</td><td>Belt</td><td>B3A10</td></tr>\n"
        "<tr><td>Curtain</td><td>B3A16</td></tr>\n"
        "<tr><td>Right</td><td rowspan=2>Belt</td><td>B3A21</td></tr>\n"
        "<tr><td>Far</td><td>B3A22</td></tr></table><table><tr><td>x</td><td>y</td></tr></table>"
        "</body></html>"
    )
    rows = [line.cells for line in extract(page.encode(), "page.html").lines]
    assert rows == [
        ("Side", "Part", "DTC"),
        ("Left", "Belt", "B3A10"),
        ("Left", "Curtain", "B3A16"),
        ("Right", "Belt", "B3A21"),
        ("Far", "Belt", "B3A22"),
        ("x", "y"),
    ]


# Source: ECMA-376 part 1, 18.3.1.55 mergeCell: the first cell of a range holds what all show.
def test_a_merged_cell_of_a_sheet_stands_in_each_row_that_it_reaches_over() -> None:
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    for row in (["Notes"], [], ["B0001", "open", "now"], ["B0002", None, None], ["B0003", "short"]):
        sheet.append(row)
    for span in ("A1:C2", "B3:B4", "C3:C5"):
        sheet.merge_cells(span)
    file = io.BytesIO()
    book.save(file)
    assert rows(file.getvalue(), "book.xlsx") == [
        "Notes",
        "B0001|open|now",
        "B0002|open|now",
        "B0003|short|now",
    ]
