"""The page on the case file covers every kind and key, its examples load, the schema is current."""

import json
import re
from pathlib import Path

import msgspec
import pytest

from squibwise.catalog.load import Catalog
from squibwise.intake import load_case
from squibwise.intake.case_file.schema import ENTRIES, CaseFile, Entry, write_schema
from squibwise.model.words import RELEASE_WORDS

ROOT = Path(__file__).parents[3]
PAGE = (ROOT / "docs" / "case-file.md").read_text(encoding="utf-8")
_SECTION = r"^#{2,3} `(?:\[\[?)?([a-z-]+)(?:\]\]?)?`\n(.*?)(?=^## |^### |\Z)"
SECTIONS: dict[str, str] = dict(re.findall(_SECTION, PAGE, re.MULTILINE | re.DOTALL))
EXAMPLES = {
    name: re.findall(r"```toml\n(.*?)```", text, re.DOTALL) for name, text in SECTIONS.items()
}


Record = type[msgspec.Struct]


def keys_of(record: Record, *, without: Record | None = None) -> set[str]:
    names = {field.encode_name for field in msgspec.structs.fields(record)}
    return names - ({f.encode_name for f in msgspec.structs.fields(without)} if without else set())


def listed(section: str) -> set[str]:
    table = SECTIONS[section].partition("| key | value |")[2].partition("\n\n")[0]
    rows = re.findall(r"^\| (`.*?) \|", table, re.MULTILINE)
    return {word for row in rows for word in re.findall(r"`([a-z_0-9]+)`", row)}


@pytest.mark.parametrize("kind", ENTRIES)
def test_every_kind_of_evidence_has_a_section_with_exactly_its_keys(kind: str) -> None:
    assert listed(kind) == keys_of(ENTRIES[kind], without=Entry)


@pytest.mark.parametrize("table", CaseFile.__struct_fields__)
def test_every_table_has_a_section_with_exactly_its_keys(table: str) -> None:
    expected = {
        "evidence": keys_of(Entry),
        "profile": {"name", "wait_minutes", "loop_low_ohm", "loop_high_ohm", "rules"}
        | {"seat_off_kg", "seat_gap_kg"}
        | {"sold_apart", "comes_with"}
        | {"component", "action", "when", "source"},
    }
    records = {f.name: f.type for f in msgspec.structs.fields(CaseFile)}
    record = records[table]
    record = getattr(record, "__args__", (record,))[0]
    assert listed(table) == (expected.get(table) or keys_of(record))


@pytest.mark.parametrize("kind", ENTRIES)
def test_every_kind_has_an_example_that_uses_it(kind: str) -> None:
    assert [e for e in EXAMPLES[kind] if f'kind = "{kind}"' in e]


@pytest.mark.parametrize("name", [n for n in EXAMPLES if EXAMPLES[n]])
def test_every_example_loads(name: str, folder: Path, catalog: Catalog) -> None:
    (folder / "evidence" / "scan-before.txt").write_text("B0001-1B driver airbag open\n")
    (folder / "evidence" / "recorder.txt").write_text(RECORDER)
    (folder / "evidence" / "codes.tsv").write_text(CODES)
    (folder / "evidence" / "driver-bag.jpg").write_bytes(b"\xff\xd8\xff\xe0 a picture")
    for example in EXAMPLES[name]:
        (folder / "case.toml").write_text(example, encoding="utf-8")
        case = load_case(folder, catalog)
        assert case.car.components
        assert [f.text() for f in case.findings if f.severity == "error"] == []


def test_every_gate_and_release_word_is_on_the_page(catalog: Catalog) -> None:
    words = [*catalog.tasks.gates, *RELEASE_WORDS]
    assert [w for w in words if f"`{w}`" not in SECTIONS["passed"]] == []


def test_the_schema_file_is_made_from_the_records(tmp_path: Path) -> None:
    """``write_schema(Path("docs/case.schema.json"))`` writes it."""
    write_schema(tmp_path / "schema.json")
    made = (tmp_path / "schema.json").read_bytes()
    assert (ROOT / "docs" / "case.schema.json").read_bytes() == made
    assert json.loads(made)["$defs"]["LookEntry"]["properties"]["kind"]["enum"] == ["look"]


# Elements of 49 CFR 563 Table I as key/value text; values are ours.
RECORDER = "delta-V, longitudinal, maximum: -27 km/h\n"
CODES = "code\tcomponent\tstage\tfault\ttext\nB1234\tdriver.front-bag\t1\topen-or-high\topen\n"
