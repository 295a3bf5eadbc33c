"""Files built to do harm are refused, or read, within 5 seconds and 300 MB, with one message."""

import io
import resource
import subprocess
import sys
import time
import zipfile
import zlib
from collections.abc import Callable
from email.message import EmailMessage
from pathlib import Path

import msgspec
import pytest
import xlsxwriter

from squibwise.errors import InputError
from squibwise.intake.importers import base, extract
from squibwise.intake.importers.base import MAX_LINES, read_apart
from squibwise.intake.importers.choose import importer_of
from squibwise.intake.importers.pdf import MAX_PAGES

SECONDS = 5.0  # the judged limit of one read
HELPER_MB = 300.0  # the judged limit of memory
SAMPLES = Path(__file__).parent / "samples"


def spent() -> float:
    """Return the processor time of this process and its helpers; load does not change it. [s]"""
    used = (resource.getrusage(k) for k in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(u.ru_utime + u.ru_stime for u in used)


def refused(data: bytes, name: str, words: str) -> InputError:
    """Check that a file is refused in time with a message and a remedy."""
    began = spent()
    with pytest.raises(InputError, match=words) as caught:
        extract(data, name)
    assert spent() - began < SECONDS
    assert caught.value.remedy
    assert name in str(caught.value)
    return caught.value


def read_in_time(data: bytes, name: str) -> list[str]:
    began = spent()
    found = extract(data, name)
    assert spent() - began < SECONDS
    return [line.text for line in found.lines]


def read_or_refused(data: bytes, name: str) -> list[str]:
    """Return the lines of a file that may be refused; none then."""
    stop: InputError | None = None
    lines: list[str] = []
    began = spent()
    try:
        lines = [line.text for line in extract(data, name).lines]
    except InputError as caught:
        stop = caught
    assert spent() - began < SECONDS
    assert stop is None or stop.remedy
    return lines


def pdf(objects: list[bytes]) -> bytes:
    """Return a PDF of numbered objects; the first is the catalogue."""
    out, places = b"%PDF-1.5\n", []
    for number, content in enumerate(objects, start=1):
        places.append(len(out))
        out += b"%d 0 obj" % number + content + b"endobj\n"
    table = b"".join(b"%010d 00000 n \n" % place for place in places)
    head = b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    tail = b"trailer<</Size %d/Root 1 0 R>>startxref\n%d\n%%%%EOF" % (len(objects) + 1, len(out))
    return out + head + table + tail


def pdf_page(content: bytes, filters: bytes = b"") -> bytes:
    return pdf(
        [
            b"<</Type/Catalog/Pages 2 0 R>>",
            b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
            b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 595 842]/Contents 4 0 R/Resources<</Font<</F1"
            b"<</Type/Font/Subtype/Type1/BaseFont/Helvetica>>>>>>>>",
            b"<</Length %d%s>>stream\n" % (len(content), filters) + content + b"\nendstream",
        ]
    )


def packed(chunk: bytes, times: int) -> bytes:
    pack = zlib.compressobj(6)
    return b"".join(pack.compress(chunk) for _ in range(times)) + pack.flush()


@pytest.mark.parametrize("count", [MAX_PAGES + 1, 10_000])
def test_a_pdf_of_too_many_pages_is_refused(count: int) -> None:
    page = b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 595 842]>>"
    kids = b" ".join(b"%d 0 R" % n for n in range(3, count + 3))
    tree = b"<</Type/Pages/Kids[" + kids + b"]/Count %d>>" % count
    data = pdf([b"<</Type/Catalog/Pages 2 0 R>>", tree, *[page] * count])
    refused(data, "long.pdf", f"more than {MAX_PAGES} pages")


def test_a_pdf_that_only_claims_ten_thousand_pages_is_refused_or_read() -> None:
    tree = b"<</Type/Pages/Kids[3 0 R]/Count 10000>>"
    page = b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 595 842]>>"
    refused(pdf([b"<</Type/Catalog/Pages 2 0 R>>", tree, page]), "lie.pdf", "pages")


def test_a_pdf_whose_pages_loop_ends_in_time() -> None:
    tree = b"<</Type/Pages/Kids[2 0 R 2 0 R]/Count 4>>"
    data = pdf([b"<</Type/Catalog/Pages 2 0 R>>", tree])
    assert read_or_refused(data, "loop.pdf") == []


@pytest.mark.parametrize(
    ("content", "filters"),
    [
        (packed(b"0 0 m 9 9 l S\n" * 4_096, 2_000), b"/Filter/FlateDecode"),
        (packed(b"BT /F1 9 Tf (B0001 open) Tj ET\n" * 2_048, 300), b"/Filter/FlateDecode"),
        (packed(b"q " * 50_000, 100), b"/Filter/FlateDecode"),
        (packed(b"[" * 50_000, 20), b"/Filter/FlateDecode"),
    ],
    ids=["strokes", "letters", "saved-states", "open-lists"],
)
def test_a_pdf_bomb_costs_the_helper_not_the_program(content: bytes, filters: bytes) -> None:
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    assert len(read_or_refused(pdf_page(content, filters), "bomb.pdf")) <= MAX_LINES
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    assert grown * 1024 / 1e6 < HELPER_MB


def test_the_helper_keeps_within_its_memory() -> None:
    """In a process of its own: other tests of this one start larger children."""
    done = subprocess.run(
        [sys.executable, "-c", _MEASURED, str(SAMPLES / "bomb.pdf")],
        capture_output=True,
        text=True,
        check=True,
    )
    assert 1.0 < float(done.stdout) < HELPER_MB


_MEASURED = """
import resource, sys
from pathlib import Path
from squibwise.errors import InputError
from squibwise.intake.importers import extract

path = Path(sys.argv[1])
try:
    extract(path.read_bytes(), path.name)
except InputError:
    print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss * 1024 / 1e6)
"""


def test_a_helper_that_takes_too_long_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(base.sys, "executable", str(_script("import time\ntime.sleep(60)\n")))
    slow = msgspec.structs.replace(importer_of("pdf"), seconds=1)
    began = time.perf_counter()
    with pytest.raises(InputError, match="more memory or time"):
        read_apart(slow, b"%PDF-1.4", "slow.pdf")
    assert time.perf_counter() - began < SECONDS


def _script(source: str) -> Path:
    import tempfile

    path = Path(tempfile.mkdtemp()) / "python"
    path.write_text(f"#!{sys.executable}\n{source}")
    path.chmod(0o755)
    return path


@pytest.mark.parametrize(
    ("end", "told"),
    [
        ("raise SystemExit(1)", "ended without an answer .code 1."),
        ("raise ImportError('no such part')", "ImportError: no such part"),
        ("import os\nos.kill(os.getpid(), 11)", "Segmentation fault"),
        ("raise MemoryError", "more memory or time"),
        ("import os\nos.kill(os.getpid(), 9)", "more memory or time"),
    ],
)
def test_a_helper_that_crashes_says_nothing_of_the_file(
    monkeypatch: pytest.MonkeyPatch, end: str, told: str
) -> None:
    monkeypatch.setattr(base.sys, "executable", str(_script(f"{end}\n")))
    with pytest.raises(InputError, match=told) as refusal:
        read_apart(importer_of("pdf"), b"%PDF-1.4", "crash.pdf")
    assert "damaged" not in str(refusal.value)


def book(parts: dict[str, bytes]) -> bytes:
    """Return a workbook with parts of its archive replaced or added."""
    plain = io.BytesIO()
    with xlsxwriter.Workbook(plain) as made:
        made.add_worksheet().write(0, 0, "B0001-1B")
    out = io.BytesIO()
    with zipfile.ZipFile(plain) as old, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        for name in old.namelist():
            new.writestr(name, parts.get(name, old.read(name)))
        for name in parts.keys() - set(old.namelist()):
            new.writestr(name, parts[name])
    return out.getvalue()


SHEET = (
    b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
    b'<dimension ref="A1:XFD1048576"/><sheetData>%s</sheetData></worksheet>'
)
CELL = b'<row r="%d"><c r="%s%d" t="inlineStr"><is><t>B0001</t></is></c></row>'


def sheet(content: bytes) -> bytes:
    return book({"xl/worksheets/sheet1.xml": SHEET % content})


def test_a_sheet_that_lies_about_its_size_is_read_as_it_is() -> None:
    assert read_in_time(sheet(CELL % (1, b"A", 1)), "lie.xlsx") == ["B0001"]


def test_a_cell_in_the_last_row_of_a_sheet_is_refused() -> None:
    refused(sheet(CELL % (1_048_576, b"A", 1_048_576)), "far.xlsx", "rows")


def test_more_rows_than_a_report_has_are_refused() -> None:
    rows = b"".join(CELL % (n, b"A", n) for n in range(1, MAX_LINES + 3))
    refused(sheet(rows), "long.xlsx", "rows")


def test_more_cells_than_a_report_has_are_refused() -> None:
    cells = b"".join(b"<c><v>%d</v></c>" % (n * 7919 % 99_991) for n in range(60_001))
    refused(sheet(b'<row r="1">' + cells + b"</row>"), "wide.xlsx", "cells")


def test_many_parts_are_refused_before_a_library_opens_them() -> None:
    refused(book({f"xl/media/{n}.txt": b"" for n in range(1_001)}), "many.xlsx", "unpacks")


def test_an_archive_that_unpacks_to_much_more_is_refused() -> None:
    refused(book({"xl/media/a.txt": b" " * (25 << 20)}), "dense.xlsx", "unpacks")


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
def test_xml_entities_are_refused_in_any_encoding(encoding: str) -> None:
    lols = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
    bomb = f'<!DOCTYPE x [<!ENTITY l0 "lol">{lols}]><worksheet>&l9;</worksheet>'
    data = book({"xl/worksheets/sheet1.xml": bomb.encode(encoding)})
    refused(data, "entities.xlsx", "XML entities")


@pytest.mark.parametrize(
    "part", ["xl/vbaProject.bin", "xl/macrosheets/sheet1.xml", "xl/activeX/activeX1.bin"]
)
def test_macros_are_refused_wherever_they_hide(part: str) -> None:
    refused(book({part: b"x"}), "macros.xlsx", "macros")


@pytest.mark.parametrize(
    "part",
    ["xl/externalLinks/externalLink1.xml", "xl/connections.xml", "xl/embeddings/oleObject1.xml"],
)
def test_links_to_other_files_are_refused(part: str) -> None:
    refused(book({part: b"<a/>"}), "links.xlsx", "links to other files")


def test_an_old_or_locked_office_file_is_refused_with_what_to_do() -> None:
    stop = refused(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + b"\x00" * 600, "old.xls", "old or locked")
    assert "xlsx" in stop.remedy


def test_a_plain_archive_is_refused_with_what_to_do() -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("scan.txt", "B0001 open")
    assert "Take the report out" in refused(out.getvalue(), "scan.zip", "archive").remedy


@pytest.mark.parametrize("cut", [30, 200, 2_000, 4_000])
def test_a_workbook_cut_short_is_refused(cut: int) -> None:
    refused(book({})[:cut], "cut.xlsx", "damaged")


SLOW_MARKUP = [
    "<a ",
    "<!--",
    "</",
    "<![",
    '<a b="',
    "<a b=\"'>",
    "<script>",
    "<?",
    "&a",
    "<td>",
    "<b>x</b>",
    "<tr><td>",
    "<table>",
    "<div role=row>",
    "<script></script>",
]


@pytest.mark.parametrize("markup", SLOW_MARKUP)
def test_a_page_of_broken_markup_takes_time_with_its_length_only(markup: str) -> None:
    data = f"<html><p>B0001 open</p>{markup * (400_000 // len(markup))}".encode()
    began = spent()
    lines = read_or_refused(data, "tags.html")
    assert spent() - began < SECONDS  # time growing with the square would be minutes
    assert lines[:1] in ([], ["B0001 open"])


def test_a_page_of_a_million_tags_is_refused() -> None:
    data = b"<html><p>B0001 open</p>" + b"<b>" * 1_000_000
    refused(data, "tags.html", "tags on a page")


@pytest.mark.parametrize("markup", ["<td>", "<tr><td>"])
def test_a_page_of_as_many_tags_as_may_be_ends_in_time(markup: str) -> None:
    count = 290_000 // markup.count("<")
    data = f"<html><p>B0001 open</p>{markup * count}".encode()
    assert read_in_time(data, "tags.html") == ["B0001 open"]


NESTED: dict[str, Callable[[], bytes]] = {
    "lists.json": lambda: b'[{"code": ' + b"[" * 400_000,
    "closed.json": lambda: b"[" * 100_000 + b"]" * 100_000,
    "objects.json": lambda: b'{"a":' * 100_000 + b"1" + b"}" * 100_000,
    "eighty.json": lambda: b'{"a":' * 80 + b'{"code":"B0001"}' + b"}" * 80,
}


@pytest.mark.parametrize("name", NESTED)
def test_deep_json_is_read_as_text_and_said(name: str) -> None:
    began = spent()
    found = extract(NESTED[name](), name)
    assert spent() - began < SECONDS
    assert "json-broken" in [f.code for f in found.findings] or found.format == "text"


def test_json_with_a_number_of_600_thousand_digits_is_read() -> None:
    data = b'[{"code": "B0001", "count": ' + b"9" * 600_000 + b"}]"
    assert read_in_time(data, "digits.json")[0].startswith("B0001")


def nested_message(depth: int) -> bytes:
    inner = EmailMessage()
    inner.set_content("B0001 open\n")
    for _ in range(depth):
        outer = EmailMessage()
        outer["From"], outer["To"], outer["Subject"] = "a@example.org", "b@example.org", "scan"
        outer.add_attachment(inner)
        inner = outer
    return inner.as_bytes()


def test_a_message_in_a_message_is_read() -> None:
    assert "B0001 open" in read_in_time(nested_message(2), "mail.eml")


@pytest.mark.parametrize("depth", [12, 40])
def test_messages_nested_without_end_are_refused(depth: int) -> None:
    refused(nested_message(depth), "deep.eml", "nested|parts")


def test_a_message_of_too_many_parts_is_refused() -> None:
    head = (
        b"From: a\nTo: b\nSubject: c\nMIME-Version: 1.0\nContent-Type: multipart/mixed; boundary=x"
    )
    body = b"\n\n" + b"--x\n\nB0001\n" * 5_000 + b"--x--\n"
    refused(head + body, "parts.eml", "parts in a message")


def test_a_message_inside_boundaries_inside_boundaries_is_refused() -> None:
    head = b"From: a\nTo: b\nSubject: c\nMIME-Version: 1.0\n"
    body = b"".join(
        b'Content-Type: multipart/mixed; boundary="%d"\n\n--%d\n' % (n, n) for n in range(500)
    )
    refused(head + body, "boundaries.eml", "parts in a message")


def test_many_slow_attachments_take_no_longer_than_one() -> None:
    mail = EmailMessage()
    mail["From"], mail["To"], mail["Subject"] = "a@example.org", "b@example.org", "scan"
    mail.set_content("B0001 open\n")
    slow = pdf_page(packed(b"0 0 m 9 9 l S\n" * 4_096, 2_000), b"/Filter/FlateDecode")
    for number in range(12):
        mail.add_attachment(slow, maintype="application", subtype="pdf", filename=f"{number}.pdf")
    began = spent()
    found = extract(mail.as_bytes(), "mail.eml")
    assert spent() - began < SECONDS
    assert found.lines[-1].text == "B0001 open"
    unread = [f for f in found.findings if f.code == "attachment-unread"]
    assert sum("too many attachments" in f.message for f in unread) == 8


def test_an_attachment_that_is_refused_does_not_cost_the_rest() -> None:
    mail = EmailMessage()
    mail["From"], mail["To"], mail["Subject"] = "a@example.org", "b@example.org", "scan"
    mail.set_content("B0001 open\n")
    bomb = (SAMPLES / "bomb.xlsx").read_bytes()
    mail.add_attachment(bomb, maintype="application", subtype="octet-stream", filename="b.xlsx")
    found = extract(mail.as_bytes(), "mail.eml")
    assert found.lines[-1].text == "B0001 open"
    assert [f.code for f in found.findings if f.severity == "warning"] == ["attachment-unread"]


def test_a_field_that_never_closes_does_not_swallow_the_table() -> None:
    rows = [f"B{n:04};open {n};stored" for n in range(200)]
    rows[3] = 'B0003;"open;stored'
    lines = read_in_time("\n".join(rows).encode(), "table.csv")
    assert len(lines) == 200
    assert lines[150] == "B0150\topen 150\tstored"


def test_a_field_longer_than_the_library_takes_is_read_in_pieces() -> None:
    data = b"a;b;c\n" + b"B0001;" + b"x" * 200_000 + b";c\nB0002;b;c\n"
    lines = read_in_time(data, "table.csv")
    assert sum(line.count("x") for line in lines) == 200_000
    assert lines[-1] == "B0002\tb\tc"


def test_a_log_of_a_hundred_thousand_frames_ends_in_time() -> None:
    noise = "".join(f"({n}.0) can0 {n % 2000:03X}#0011223344556677\n" for n in range(100_000))
    answer = "(1.0) can0 7E8#075902FF8001112F\n"
    assert read_in_time((noise + answer + noise).encode(), "long.log") == [
        "B0001-11 status 0x2F mask 0xFF"
    ]


def test_a_blf_log_that_unpacks_to_400_mb_is_refused() -> None:
    head = (SAMPLES / "can.blf").read_bytes()[:144]
    body = packed(b"\x00" * (1 << 20), 400)
    size = 32 + len(body)
    container = (
        b"LOBJ"
        + (16).to_bytes(2, "little")
        + (1).to_bytes(2, "little")
        + size.to_bytes(4, "little")
        + (10).to_bytes(4, "little")
        + (2).to_bytes(2, "little")
        + b"\x00" * 6
        + (400 << 20).to_bytes(4, "little")
        + b"\x00" * 4
        + body
    )
    refused(head + container, "bomb.blf", "memory|damaged|no answer")


def test_a_subject_in_a_character_set_with_a_broken_name_is_kept_as_it_stands() -> None:
    """Found by damaging the samples."""
    data = b"Subject: =?ut\xff-8?q?airbag?=\nFrom: a@b\n\nB0001 driver airbag open\n"
    assert "B0001 driver airbag open" in read_or_refused(data, "broken.eml")
