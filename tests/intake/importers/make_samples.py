# ruff: noqa: E501
"""Make the sample files of the importers: ``python tests/intake/importers/make_samples.py``.

Everything in them is invented. The files are kept in ``samples`` so that the tests and the fuzzers
read bytes that do not change with a library's release; what each must read as is written by hand in
``test_samples.py``.
"""

import datetime as dt
import io
import zipfile
import zlib
from email.message import EmailMessage
from pathlib import Path

import can
import pypdfium2
import typst
import xlsxwriter

HERE = Path(__file__).parent / "samples"
STAMP = (2026, 3, 2, 9, 10, 0)

REPORT = """Airbag control unit
Vehicle: 0Z9HB5A26KR000417   Supply 12.4 V
3 faults
B0001-1B  Driver frontal inflator, 1st stage - open or increased resistance   present
B0010-1B  Passenger frontal inflator, 1st stage - circuit resistance high   stored
B0070-1A  LH front belt retractor pretensioner - resistance low   pending
"""
GERMAN = """Code;Beschreibung;Status
B0001-1B;Zündkreis Fahrerairbag geöffnet, Widerstand zu groß;aktiv
B0070-1A;"Gurtstraffer links; Widerstand zu klein";sporadisch
"""
PAGES = {
    "ruled.pdf": """#set page(margin: 2cm)
#set text(size: 11pt)
= Airbag control unit
#table(columns: (2.2cm, 5cm, 3cm, 1fr), [*Code*], [*Description*], [*Status*], [*Remark*],
[B0001\\-1B], [Driver frontal inflator, 1st stage, open or increased resistance], [present], [seen 4 times since the codes were cleared last],
[B0010\\-1B], [Passenger frontal inflator, 1st stage, circuit resistance high], [stored], [],
[B0070\\-1A], [LH front belt pretensioner], [pending], [x])
""",
    "open-table.pdf": """#set page(margin: 2cm)
= Airbag control unit
Vehicle 0Z9HB5A26KR000417 #h(1fr) Supply 12.4 V
#table(stroke: none, columns: (2.2cm, 5cm, 4cm, 1fr), [*Code*], [*Description*], [*Status*], [*Remark*],
[B0001\\-1B], [Driver frontal inflator, 1st stage, open or increased resistance], [present], [seen 4 times since the codes were cleared last],
[B0010\\-1B], [Passenger frontal inflator], [stored], [],
[B0004\\-1B], [Driver knee inflator, circuit resistance above the limit], [pending, intermittent], [x])
""",
    "level-rules.pdf": """#set page(margin: 2cm)
#table(stroke: (x: none, y: 0.5pt), columns: (2.2cm, 5cm, 1fr), [*Code*], [*Description*], [*Status*],
[B0001\\-1B], [Driver frontal inflator, 1st stage, open or increased resistance], [present],
[B0070\\-1A], [LH front belt retractor pretensioner, resistance low], [stored])
""",
    "two-columns.pdf": """#set page(margin: 2cm, columns: 2, height: 9cm)
#place(top + center, scope: "parent", float: true)[= Stored faults of the restraint system, key on]
"""
    + "\n\n".join(f"B10{n:02} Circuit {n} open, stored" for n in range(16)),
    "two-modules.pdf": """#set page(margin: 2cm)
#grid(columns: (1fr, 1fr), gutter: 1cm, [Airbag unit, 3 faults

B0001\\-1B Driver frontal inflator, 1st stage, resistance too high

B0010\\-1B Passenger frontal inflator open

B0004\\-1B Driver knee inflator open], [Belt unit, 2 faults

B0070\\-1A LH retractor pretensioner

B0072\\-1A RH retractor pretensioner])
""",
    "spaced-letters.pdf": """#set page(margin: 2cm)
#set text(tracking: 0.3em)
B0001\\-1B Driver frontal inflator open

B0010\\-1B Passenger frontal inflator open
""",
    "page-break.pdf": """#set page(margin: 2cm, height: 9cm, header: [Report of car 7 #h(1fr) page #context counter(page).display()])
#table(columns: (2.2cm, 5cm, 1fr), table.header([*Code*], [*Description*], [*Status*]),
"""
    + ",".join(
        f"[B00{n}\\-1B], [Circuit {n}, open or increased resistance between the unit and the part], "
        "[present]"
        for n in range(10, 20)
    )
    + ")",
    "sideways.pdf": """#set page(flipped: true, margin: 2cm)
#rotate(90deg, reflow: true)[
B0001\\-1B Driver frontal inflator open

B0010\\-1B Passenger frontal inflator open]
""",
    "boxes.pdf": """#set page(margin: 2cm)
== Airbag unit, 2 faults
#box(stroke: 1pt, inset: 4pt, width: 100%)[B0001\\-1B  Driver frontal inflator open\\
Status: present\\
Odometer: 61204]

#box(stroke: 1pt, inset: 4pt, width: 100%)[B0010\\-1B  Passenger frontal inflator open\\
Status: stored\\
Odometer: 61204]
""",
}
PAGE = """<!DOCTYPE html>
<html><head><title>Scan of 2 March</title>
<style>td { color: red }</style>
<script>document.write("<tr><td>B0999</td></tr>")</script></head>
<body><h1>Airbag control unit</h1>
<!-- B0998 is not a fault -->
<p>Vehicle: 0Z9HB5A26KR000417<br>2&nbsp;faults</p>
<table><tr><th>Code</th><th>Description</th><th>Status</th></tr>
<tr><td>B0001-1B<td><div>Driver frontal inflator</div><div>resistance &gt; 5 ohm</div><td>
<img src="red.png" alt="present"></tr>
<tr><td>B0070-1A</td><td>LH front belt pretensioner</td><td>stored</td></tr></table>
<div role="row"><span role="cell">B0004-1B</span><span role="cell">Driver knee inflator</span></div>
<dl><dt>Odometer<dd>61204</dl>
<pre>B0072-1A RH pretensioner
B0073-1A row 2</pre></body></html>
"""
JSON = """{"vin": "0Z9HB5A26KR000417", "modules": [{"name": "Airbag control unit", "faults": [
 {"code": "B0001", "failureType": "1B", "description": "Driver frontal inflator, open",
  "status": "stored", "count": 3, "confirmed": true, "pending": false},
 {"dtc": "B0070-1A", "text": "LH pretensioner, resistance low", "status": ["stored", "pending"]},
 {"code": "B0010", "statusByte": "0x2F", "meaning": "Passenger frontal inflator"}]}]}
"""
HEX = """Request 19 02 FF
Answer  59 02 FF 80 01 11 2F 80 70 1A 2C
90 00 16 08
Request 19 06 80 01 11 01
Answer  59 06 80 01 11 2F 01 05
"""
FRAMES = (
    (0x7DF, "0319020900000000"),
    (0x7E8, "037F197800000000"),
    (0x7E8, "100F5902FF800111"),
    (0x123, "5902FF8001112F00"),
    (0x7E0, "3000000000000000"),
    (0x7E8, "212F80701A2C9000"),
    (0x7E8, "22160800AAAAAAAA"),
    (0x7E9, "035902FF00000000"),
    (0x7EA, "037F193100000000"),
)


def minimal_pdf(content: bytes, stream: bytes = b"", page: bytes = b"", tail: bytes = b"") -> bytes:
    """Return a PDF of one page, written object by object."""
    objects = [
        b"<</Type/Catalog/Pages 2 0 R>>",
        b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
        b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 595 842]" + page + b"/Contents 4 0 R/Resources"
        b"<</Font<</F1<</Type/Font/Subtype/Type1/BaseFont/Helvetica>>>>>>>>",
        b"<</Length %d%s>>stream\n" % (len(content), stream) + content + b"\nendstream",
    ]
    return assembled(objects, tail)


def assembled(objects: list[bytes], tail: bytes = b"") -> bytes:
    """Return a PDF of numbered objects with its cross-reference table."""
    out, places = b"%PDF-1.4\n", []
    for number, content in enumerate(objects, start=1):
        places.append(len(out))
        out += b"%d 0 obj" % number + content + b"endobj\n"
    table = b"".join(b"%010d 00000 n \n" % place for place in places)
    head = b"xref\n0 %d\n0000000000 65535 f \n" % (len(objects) + 1)
    trailer = b"trailer<</Size %d/Root 1 0 R%s>>" % (len(objects) + 1, tail)
    return out + head + table + trailer + b"startxref\n%d\n%%%%EOF" % len(out)


def locked_pdf() -> bytes:
    """Return a PDF that no password opens: its check values are made up."""
    lock = (
        b"/Encrypt<</Filter/Standard/V 1/R 2/P -44/O<" + b"41" * 32 + b">/U<" + b"42" * 32 + b">>>"
    )
    ident = b"/ID[<" + b"43" * 16 + b"><" + b"43" * 16 + b">]"
    return minimal_pdf(b"BT /F1 12 Tf 100 700 Td (B0001) Tj ET", tail=lock + ident)


def bomb_pdf() -> bytes:
    """Return a PDF of a few kilobytes whose page unpacks to 512 MB, packed twice."""
    pack = zlib.compressobj(9)
    inner = b"".join(pack.compress(b" " * (1 << 20)) for _ in range(512)) + pack.flush()
    return minimal_pdf(zlib.compress(inner, 9), b"/Filter[/FlateDecode/FlateDecode]")


def workbook(extra: dict[str, bytes] | None = None) -> bytes:
    """Return a workbook with two sheets, and further parts put into its archive."""
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out)
    book.set_properties({"created": dt.datetime(*STAMP)})
    zeros = book.add_format({"num_format": "0000"})
    sheet = book.add_worksheet("Airbag unit")
    sheet.write_row(0, 0, ["Code", "Description", "Status", "Count"])
    sheet.write_row(2, 0, ["B0001-1B", "Driver frontal inflator\nopen", "present", 4])
    sheet.write(3, 0, 13, zeros)
    sheet.write(3, 1, "Passenger frontal inflator")
    sheet.write(3, 3, 2.5)
    book.add_worksheet("Belts").write_row(0, 0, ["B0070-1A", "LH pretensioner", True])
    book.close()
    if not extra:
        return out.getvalue()
    with zipfile.ZipFile(out, "a", zipfile.ZIP_DEFLATED) as archive:
        for name, content in extra.items():
            archive.writestr(zipfile.ZipInfo(name, STAMP), content, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def message() -> bytes:
    """Return a message with text twice, a table and a workbook attached, and a layout picture."""
    mail = EmailMessage()
    mail["From"], mail["To"] = "shop@example.org", "bench@example.org"
    mail["Subject"], mail["Message-ID"] = "Scan of 0Z9HB5A26KR000417, größer", "<1@example.org>"
    mail.set_content("The scan is attached.\nB0004-1B Driver knee inflator open\n")
    mail.add_alternative("<html><p>The scan is attached.</p></html>", subtype="html")
    mail.add_attachment(
        GERMAN.encode("cp1252"), maintype="text", subtype="csv", filename="table.csv"
    )
    mail.add_attachment(
        workbook(), maintype="application", subtype="octet-stream", filename="book.xlsx"
    )
    mail.add_attachment(b"\x89PNG\r\n\x1a\n", maintype="image", subtype="png", cid="<logo>")
    mail.set_boundary("=====squibwise=====")
    return mail.as_bytes()


def bus_log(ending: str) -> bytes:
    """Return the frames as a log of python-can."""
    path = HERE / f"can.{ending}"
    with can.Logger(path) as log:
        for number, (sender, data) in enumerate(FRAMES):
            log(
                can.Message(
                    timestamp=1_772_442_600.0 + number / 10,
                    arbitration_id=sender,
                    data=bytes.fromhex(data),
                    is_extended_id=False,
                )
            )
    return path.read_bytes()


def picture() -> bytes:
    """Return the top of a page as a picture."""
    page = pypdfium2.PdfDocument(typst.compile(PAGES["level-rules.pdf"].encode()))[0]
    out = io.BytesIO()
    page.render(scale=1.5).to_pil().crop((60, 60, 840, 260)).convert("L").save(out, "PNG")
    return out.getvalue()


def samples() -> dict[str, bytes]:
    """Return every sample by its name."""
    entity = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "aaaaaaaaaa">]><x>&a;</x>'
    candump = "".join(
        f"({1772442600 + n}.{n:06}) can0 {sender:03X}#{data}\n"
        for n, (sender, data) in enumerate(FRAMES)
    )
    made = {
        "scan-utf8.txt": REPORT.encode(),
        "scan-utf16.txt": REPORT.encode("utf-16"),
        "scan-cp1252.txt": GERMAN.replace(";", "   ").replace('"', "").encode("cp1252"),
        "table.csv": GERMAN.encode("cp1252"),
        "table.tsv": b"Code\tText\tStatus\r\nB0001-1B\tDriver bag open\tpresent\r\n",
        "book.xlsx": workbook(),
        "macros.xlsm": workbook({"xl/vbaProject.bin": b"\xd0\xcf\x11\xe0"}),
        "links.xlsx": workbook({"xl/externalLinks/externalLink1.xml": b"<externalLink/>"}),
        "bomb.xlsx": workbook({"xl/worksheets/sheet3.xml": b" " * (30 << 20)}),
        "entities.xlsx": workbook({"xl/extra.xml": entity}),
        "page.html": PAGE.encode(),
        "report.json": JSON.encode(),
        "lines.jsonl": b'{"code": "B0001", "text": "open"}\n{"code": "B0002", "text": "short"}\n',
        "message.eml": message(),
        "answers.txt": HEX.encode(),
        "candump.log": candump.encode(),
        "can.asc": bus_log("asc"),
        "can.blf": bus_log("blf"),
        "locked.pdf": locked_pdf(),
        "bomb.pdf": bomb_pdf(),
        "picture.pdf": minimal_pdf(b"0 0 1 rg 100 100 200 200 re f"),
        "picture.png": picture(),
    }
    return made | {name: typst.compile(source.encode()) for name, source in PAGES.items()}


if __name__ == "__main__":
    HERE.mkdir(exist_ok=True)
    for name, data in samples().items():
        (HERE / name).write_bytes(data)
