"""Each kept sample is claimed by one importer and reads as written down here by hand."""

import importlib.util
from pathlib import Path

import pytest

from squibwise.errors import InputError, UnavailableError
from squibwise.intake.importers import claimants, extract
from squibwise.intake.importers.choose import IMPORTERS

SAMPLES = Path(__file__).parent / "samples"
HERE = Path(__file__).parent

SCAN = [
    "Airbag control unit",
    "Vehicle: 0Z9HB5A26KR000417   Supply 12.4 V",
    "3 faults",
    "B0001-1B  Driver frontal inflator, 1st stage - open or increased resistance   present",
    "B0010-1B  Passenger frontal inflator, 1st stage - circuit resistance high   stored",
    "B0070-1A  LH front belt retractor pretensioner - resistance low   pending",
]
GERMAN = [
    "Code|Beschreibung|Status",
    "B0001-1B|Zündkreis Fahrerairbag geöffnet, Widerstand zu groß|aktiv",
    "B0070-1A|Gurtstraffer links; Widerstand zu klein|sporadisch",
]
BOOK = [
    "Code|Description|Status|Count",
    "B0001-1B|Driver frontal inflator open|present|4",
    "0013|Passenger frontal inflator||2.5",
    "B0070-1A|LH pretensioner|yes",
]
UNITS = [
    "Control unit 7E8",
    "B0001-11 status 0x2F mask 0xFF",
    "B0070-1A status 0x2C mask 0xFF",
    "B1000-16 status 0x08 mask 0xFF",
    "Control unit 7E9",
    "0 faults",
]

# name: (format, rows; cells parted by bars)
EXPECTED: dict[str, tuple[str, list[str]]] = {
    "scan-utf8.txt": ("text", SCAN),
    "scan-utf16.txt": ("text", SCAN),
    "scan-cp1252.txt": (
        "text",
        [
            "Code   Beschreibung   Status",
            "B0001-1B   Zündkreis Fahrerairbag geöffnet, Widerstand zu groß   aktiv",
            "B0070-1A   Gurtstraffer links    Widerstand zu klein   sporadisch",
        ],
    ),
    "table.csv": ("csv", GERMAN),
    "table.tsv": ("tsv", ["Code|Text|Status", "B0001-1B|Driver bag open|present"]),
    "book.xlsx": ("xlsx", BOOK),
    "page.html": (
        "html",
        [
            "Scan of 2 March",
            "Airbag control unit",
            "Vehicle: 0Z9HB5A26KR000417",
            "2 faults",
            "Code|Description|Status",
            "B0001-1B|Driver frontal inflator resistance > 5 ohm|present",
            "B0070-1A|LH front belt pretensioner|stored",
            "B0004-1B|Driver knee inflator",
            "Odometer|61204",
            "B0072-1A RH pretensioner",
            "B0073-1A row 2",
        ],
    ),
    "report.json": (
        "json",
        [
            "vin: 0Z9HB5A26KR000417",
            "Airbag control unit",
            "B0001-1B|Driver frontal inflator, open||stored|count: 3|confirmed",
            "B0070-1A|LH pretensioner, resistance low||stored, pending",
            "B0010|Passenger frontal inflator||status 0x2F",
        ],
    ),
    "lines.jsonl": ("json", ["B0001|open", "B0002|short"]),
    "message.eml": (
        "mail",
        [
            "Subject: Scan of 0Z9HB5A26KR000417, größer",
            "The scan is attached.",
            "B0004-1B Driver knee inflator open",
            *GERMAN,
            *BOOK,
        ],
    ),
    "answers.txt": (
        "answers",
        [
            "B0001-11 status 0x2F mask 0xFF",
            "B0070-1A status 0x2C mask 0xFF",
            "B1000-16 status 0x08 mask 0xFF",
        ],
    ),
    "candump.log": ("answers", UNITS),
    "can.asc": ("asc", UNITS),
    "can.blf": ("blf", UNITS),
    "ruled.pdf": (
        "pdf",
        [
            "Airbag control unit",
            "Code|Description|Status|Remark",
            "B0001-1B|Driver frontal inflator, 1st stage, open or increased resistance|present|"
            "seen 4 times since the codes were cleared last",
            "B0010-1B|Passenger frontal inflator, 1st stage, circuit resistance high|stored",
            "B0070-1A|LH front belt pretensioner|pending|x",
        ],
    ),
    "level-rules.pdf": (
        "pdf",
        [
            "Code|Description|Status",
            "B0001-1B|Driver frontal inflator, 1st stage, open or increased resistance|present",
            "B0070-1A|LH front belt retractor pretensioner, resistance low|stored",
        ],
    ),
    "open-table.pdf": (
        "pdf",
        [
            "Airbag control unit",
            "Vehicle 0Z9HB5A26KR000417|Supply 12.4 V",
            "Code|Description|Status|Remark",
            "B0001-1B|Driver frontal inflator, 1st stage, open or increased resistance|present|"
            "seen 4 times since the codes were cleared last",
            "B0010-1B|Passenger frontal inflator|stored",
            "B0004-1B|Driver knee inflator, circuit resistance above the limit|"
            "pending, intermittent|x",
        ],
    ),
    "boxes.pdf": (
        "pdf",
        [
            "Airbag unit, 2 faults",
            "B0001-1B Driver frontal inflator open",
            "Status: present",
            "Odometer: 61204",
            "B0010-1B Passenger frontal inflator open",
            "Status: stored",
            "Odometer: 61204",
        ],
    ),
    "two-columns.pdf": (
        "pdf",
        [
            "Stored faults of the restraint system, key on",
            *[f"B10{n:02} Circuit {n} open, stored" for n in range(16)],
        ],
    ),
    "two-modules.pdf": (
        "pdf",
        [
            "Airbag unit, 3 faults",
            "B0001-1B Driver frontal inflator, 1st stage,",
            "resistance too high",
            "B0010-1B Passenger frontal inflator open",
            "B0004-1B Driver knee inflator open",
            "Belt unit, 2 faults",
            "B0070-1A LH retractor pretensioner",
            "B0072-1A RH retractor pretensioner",
        ],
    ),
    "page-break.pdf": (
        "pdf",
        [
            "Report of car 7|page 1",
            "Code|Description|Status",
            *[
                f"B00{n}-1B|Circuit {n}, open or increased resistance between the unit and the part"
                "|present"
                for n in range(10, 20)
            ],
        ],
    ),
    "spaced-letters.pdf": (
        "pdf",
        ["B0001-1B Driver frontal inflator open", "B0010-1B Passenger frontal inflator open"],
    ),
    "sideways.pdf": (
        "pdf",
        ["B0001-1B Driver frontal inflator open", "B0010-1B Passenger frontal inflator open"],
    ),
    "picture.pdf": ("pdf", []),
}
REFUSED: dict[str, str] = {
    "macros.xlsm": "holds macros",
    "links.xlsx": "links to other files",
    "entities.xlsx": "XML entities",
    "bomb.xlsx": "unpacks to far more",
    "bomb.pdf": "more memory or time",
    "locked.pdf": "locked with a password",
}
UNAVAILABLE = {"picture.png"}


@pytest.mark.parametrize("name", EXPECTED)
def test_a_sample_reads_as_written_by_hand(name: str) -> None:
    found = extract((SAMPLES / name).read_bytes(), name)
    rows = ["|".join(line.cells) if line.cells else line.text for line in found.lines]
    assert (found.format, rows) == EXPECTED[name]


@pytest.mark.parametrize("name", EXPECTED)
def test_the_text_of_a_row_is_its_cells_parted_by_tabs(name: str) -> None:
    for line in extract((SAMPLES / name).read_bytes(), name).lines:
        if line.cells:
            assert line.text == "\t".join(cell for cell in line.cells if cell)


@pytest.mark.parametrize("name", REFUSED)
def test_a_hostile_sample_is_refused_with_a_remedy(name: str) -> None:
    with pytest.raises(InputError, match=REFUSED[name]) as caught:
        extract((SAMPLES / name).read_bytes(), name)
    assert str(caught.value).startswith(f"{name}: ")
    assert caught.value.remedy
    assert caught.value.exit_code == 2


@pytest.mark.parametrize("path", sorted(SAMPLES.iterdir()), ids=lambda p: p.name)
def test_one_importer_and_no_more_claims_a_document(path: Path) -> None:
    assert len(claimants(path.read_bytes(), path.name)) == 1


@pytest.mark.parametrize("path", sorted(SAMPLES.iterdir()), ids=lambda p: p.name)
def test_the_content_decides_when_the_name_misleads(path: Path) -> None:
    data = path.read_bytes()
    assert claimants(data, "scan.dat") == claimants(data, path.name)


def test_every_sample_is_expected_and_listed_with_its_origin() -> None:
    names = {p.name for p in SAMPLES.iterdir()}
    assert names == {*EXPECTED, *REFUSED, *UNAVAILABLE}
    page = (HERE / "README.md").read_text(encoding="utf-8")
    assert {n for n in names if f"`{n}`" not in page} == set()


def test_every_format_has_a_sample() -> None:
    claimed = {claimants(p.read_bytes(), p.name)[0] for p in SAMPLES.iterdir()}
    assert claimed == {*(i.format for i in IMPORTERS), "text"}


@pytest.mark.skipif(
    importlib.util.find_spec("rapidocr_onnxruntime") is not None, reason="the part is installed"
)
def test_a_picture_without_the_optional_part_says_how_to_get_it() -> None:
    with pytest.raises(UnavailableError, match="not installed") as caught:
        extract((SAMPLES / "picture.png").read_bytes(), "picture.png")
    assert "squibwise[pictures]" in caught.value.remedy
    assert caught.value.exit_code == 2


def test_a_pdf_without_text_is_said_to_be_a_picture() -> None:
    found = extract((SAMPLES / "picture.pdf").read_bytes(), "picture.pdf")
    assert [(f.code, f.severity) for f in found.findings] == [("picture-page", "error")]
    assert "text" in found.findings[0].remedy
