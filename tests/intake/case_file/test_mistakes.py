"""Every mistake is told at once, each with its line and a remedy. Cases are ours."""

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from squibwise.catalog.load import load_catalog
from squibwise.errors import InputError
from squibwise.intake.case_file.checks import Notes
from squibwise.intake.case_file.load import load_case, read_case
from squibwise.intake.case_file.toml_text import decode, parse
from squibwise.model.origin import Finding

Refused = Callable[[str], tuple[Finding, ...]]
LOOK = '[[evidence]]\nkind = "look"\ncomponent = "driver.front-bag"\nseen = "cover-torn"\n'
E = "[[evidence]]\n"
LOOK_AT = E + "kind = 'look'\ncomponent = '{}'\nseen = 'intact'\n"
SAID_LIKE_TWIN = (
    "[[evidence]]\nkind = 'look'\ncomponent = 'driver.buckle-pretensioner'\nseen = 'stalk-normal'\n"
)
SAID_FIRED = LOOK_AT.format("driver.front-bag").replace("intact", "fired")
PRICE = "[[price]]\nwhat = '{}'\nlow = {}\nlikely = 2\nhigh = 3\n"
OUTCOME = "kind = 'test-outcome'\nloop = 'driver.front-bag/9'\ntest = 'x'\noutcome = 'y'\n"
FINISHED = "kind = 'done'\nwhat = 'replaced'\ncomponent = 'left.curtain'\nitem = '{}'\n"
DONE = "kind = 'done'\nwhat = 'replacd'\ncomponent = 'codes'\n"
PASSED = "kind = 'passed'\nwhat = 'step:drvie'\nresult = 'passed'\n"

# Text, code, line, words that the message or the remedy must hold.
MISTAKES = [
    ("[case]\nregoin = 'GB'\n", "case-unknown-key", 2, "region"),
    ("[cra]\nvin = 'x'\n", "case-unknown-key", 1, "car"),
    ("[[evidence]]\nkind = 'look'\nseen = 'intact'\n", "case-missing-key", 1, "component"),
    ("[[evidence]]\ncomponent = 'left.curtain'\n", "case-missing-key", 1, "kind"),
    ("[[evidence]]\nkind = 'lok'\n", "case-unknown-kind", 2, "look"),
    ("car = 3\n", "case-wrong-type", 1, "[car]"),
    ("[evidence]\nkind = 'look'\n", "case-wrong-type", 1, "[[evidence]]"),
    ("evidence = [3]\n", "case-wrong-type", 1, "[[evidence]] 1"),
    ("[car]\nmodel_year = 1019\n", "case-wrong-value", 2, "1970 to 2060"),
    ("[car]\nmodel_year = '2019'\n", "case-wrong-value", 2, "whole number"),
    ("[car]\nmodel_year = 2019.0\n", "case-wrong-value", 2, "whole number"),
    ("[car]\nadd = 'left.curtain'\n", "case-wrong-value", 2, "list"),
    ("[case]\nid = 'two words'\n", "case-wrong-value", 2, "letters"),
    ("[case]\ntitle = true\n", "case-wrong-value", 2, "text"),
    ("[car]\ndrive_hand = 'lft'\n", "case-unknown-word", 2, "'left'"),
    ("[[evidence]]\nkind = 'impact'\nclock = 13\n", "case-wrong-value", 3, "1 to 12"),
    ("[[evidence]]\nkind = 'impact'\nclock = true\n", "case-wrong-value", 3, "not true"),
    ("[[evidence]]\nkind = 'impact'\nzone = 'nose-righ'\n", "case-unknown-word", 3, "nose-right"),
    (LOOK.replace("torn", "tron"), "case-unknown-look", 4, "cover-torn"),
    (LOOK.replace("driver.", "drver."), "case-unknown-component", 3, "'driver'"),
    (LOOK.replace("front-bag", "front-bga"), "case-unknown-component", 3, "front-bag"),
    (LOOK.replace("driver.", ""), "case-unknown-component", 3, "driver.front-bag"),
    (LOOK.replace("front-bag", "front-bag-0"), "case-unknown-component", 3, "front-bag"),
    (LOOK.replace("driver.", "left."), "case-place-not-allowed", 3, "driver, passenger"),
    (LOOK + "time = 2026-02-30\n", "case-impossible-date", 5, "2026-03-02"),
    (LOOK + "time = 30.02.2026\n", "case-impossible-date", 5, "year-month-day"),
    (LOOK + "time = 2026-03-02T09:10:00Z\n", "case-wrong-value", 5, "without offset"),
    (LOOK + "time = 'yesterday'\n", "case-wrong-value", 5, "2026-03-02"),
    (LOOK + "id = 'a'\n" + LOOK + "id = 'a'\n", "case-repeated-id", 10, "line 5"),
    ("[case]\nregion = 'Ohio'\n", "case-region-format", 2, "US-OH"),
    ("[case]\ncurrency = 'usd'\n", "case-unknown-currency", 2, "'USD'"),
    ("[case]\ncurrency = 'UUD'\n", "case-unknown-currency", 2, "USD"),
    ("[car]\nequipment = 'full-modern'\n", "case-unknown-template", 2, "full-modern-set"),
    ("[profile]\nname = 'belt-count'\n", "case-unknown-profile", 2, "belt-counter"),
    ("[profile]\nwait_minutes = { value = 3 }\n", "case-missing-key", 2, "source"),
    ("[profile]\nwait_minutes = 3\n", "case-wrong-type", 2, "wait_minutes"),
    ("[car]\nvin = '1O9HB5A26KR000417'\n", "vin-letter", 2, "O"),
    ("[car]\nvin = '0Z9HB5A26KR00041'\n", "vin-length", 2, "16"),
    (PRICE.format("front-bga", 1), "case-unknown-price", 2, "-bag"),
    (PRICE.format("curtain", 3), "case-price-order", 1, "order"),
    (PRICE.format("curtain", "nan"), "case-wrong-value", 3, "nan"),
    ("[[evidence]]\nkind = 'report'\nfile = 'evidence/scna.txt'\n", "case-missing-file", 3, "scan"),
    ("[[evidence]]\nkind = 'report'\nfile = '../../x.txt'\n", "case-file-outside", 3, "folder"),
    ("[[evidence]]\nkind = 'report'\nfile = '/etc/hostname'\n", "case-file-outside", 3, "folder"),
    (E + DONE, "case-unknown-word", 3, "replaced"),
    (E + PASSED, "case-unknown-item", 3, "drive"),
    (E + OUTCOME, "case-unknown-component", 3, "at most"),
    (E + OUTCOME.replace("/9", "/0"), "case-unknown-component", 3, "stage"),
    (E + OUTCOME.replace("driver.", "drver."), "case-unknown-component", 3, "driver"),
    (E + FINISHED.format("drive"), "case-unknown-item", 5, "step:drive"),
    (E + FINISHED.format("all of it"), "case-unknown-item", 5, "squibwise work"),
    (E + FINISHED.format("left.curtain:replac"), "case-unknown-item", 5, "replace"),
    (E + PASSED.replace("step:drvie", "label:curtain"), "case-unknown-component", 3, "curtain"),
    (E + PASSED.replace("step:drvie", "relaese"), "case-unknown-item", 3, "release"),
    (PRICE.format("left.front-bag", 1), "case-place-not-allowed", 2, "driver"),
    (PRICE.format("front-bag:replce", 1), "case-unknown-item", 2, "replace"),
    ("[car]\nstages = 2\n", "case-wrong-value", 2, "table"),
    ("[car]\nstages = { 'driver.front-bag' = 9 }\n", "case-wrong-value", 2, "1 to 4"),
    (E + 'kind = "report"\nfile = "a\\u0000b"\n', "case-missing-file", 3, "no file"),
    ("[[codes]]\nfile = 'evidence/scan.txt'\nsource = 'x'\n", "case-unreadable-file", 2, "columns"),
    (E + "kind = 'crash-data'\nfile = 'evidence/scan.txt'\n", "case-unreadable-file", 3, "scan"),
    ("[case]\nid = 'x\n", "case-syntax", 2, "not closed"),
    ("[car]\nvin = 0Z9HB5A26KR000417\n", "case-syntax", 2, "'vin' must stand in quotes"),
    ("[case]\nid = 'x'\n[[price]]\nlow = 1,200\n", "case-syntax", 4, "currency signs: 1200"),
    ("[[price]]\nlow = $1,250.50\n", "case-syntax", 2, "currency signs: 1250"),
    ("[[price]]\nlow = 180 USD\n", "case-syntax", 2, "currency signs: 180"),
    ("[case]\ntitle = \u201cMine\u201d\n", "case-syntax", 2, "curly quotes"),
    (E + "kind = 'report'\nunit_volts = 12,4\n", "case-syntax", 3, "with a point: 12.4"),
    (E + "kind = 'circumstance'\npresent = yes\n", "case-syntax", 3, "without quotes: true"),
    (E + "kind = 'circumstance'\npresent = False\n", "case-syntax", 3, "without quotes: false"),
    ("[car]\n// my car\n", "case-syntax", 2, "a remark begins with '#'"),
    ("[car]\nmodel_year = 2016;\n", "case-syntax", 2, "ends without ';'"),
    ('[car]\n"model_year": 2016,\n', "case-syntax", 2, "this is JSON"),
    (SAID_FIRED, "case-unknown-look", 4, "Did you mean 'deployed'?"),
    ('[[evidence]]\nfile = "C:\\Users\\me.txt"\n', "case-syntax", 2, "forward slashes"),
    ('[car]\ndrive_hand: "left"\n', "case-syntax", 2, "an equals sign, not a colon"),
    (E + "kind = 'lamp'\n", "case-unknown-kind", 2, "Did you mean 'lamp-check'?"),
    (LOOK_AT.format("driver airbag"), "case-unknown-component", 3, "driver.front-bag"),
    (LOOK_AT.format("driver.airbag"), "case-unknown-component", 3, "driver.front-bag"),
    (SAID_LIKE_TWIN, "case-unknown-look", 4, "Did you mean 'stalk-like-twin'?"),
    (LOOK_AT.format("centre.lamp"), "case-unknown-component", 3, "Did you mean 'warning-lamp'?"),
    ("[case]\nid = \"it's\n", "case-syntax", 2, "begins with \""),
    ("[case]\nid = 'x'\n#a\nid = 'y'\n", "case-syntax", 4, "line 2"),
    ("[case]\nid = 'x'\n[car]\n[case]\n", "case-syntax", 4, "[case] already stands in line 1"),
    ("[case\nid = 'x'\n", "case-syntax", 1, "bracket"),
    ("[case]\nid = harrow\n", "case-syntax", 2, "quotes"),
    ("[case]\nid = \n", "case-syntax", 2, "no value"),
    ("[case]\nid 'x'\n", "case-syntax", 2, "expected"),
    (E + "kind = 'report'\nfile = 'evidence'\n", "case-missing-file", 3, "is a folder"),
    (PRICE.format("curtain", "1e12"), "case-wrong-value", 3, "to 1e+09"),
    ("", "case-syntax", 1, "empty"),
]  # fmt: skip

LATER = ("case-syntax", "case-unreadable-file")  # files are read once the text is right


@pytest.mark.parametrize(("text", "code", "line", "words"), MISTAKES)
def test_a_mistake_is_told_with_its_line_and_a_remedy(
    refused: Refused, text: str, code: str, line: int, words: str
) -> None:
    found = [f for f in refused(text) if f.severity == "error"]
    assert [(f.code, f.origin.line) for f in found] == [(code, line)]
    assert words in found[0].message + found[0].remedy
    assert found[0].origin.file == "case.toml"


def test_all_mistakes_of_a_file_come_at_once_in_order_of_line(refused: Refused) -> None:
    texts = [t for t, code, _, _ in MISTAKES if t.startswith("[[") and code not in LATER]
    found = refused("\n".join(texts))
    lines = [f.origin.line or 0 for f in found]
    assert len(found) >= len(texts)
    assert lines == sorted(lines)


def test_an_impossible_date_does_not_hide_the_other_mistakes(refused: Refused) -> None:
    found = refused(LOOK + "time = 2026-13-01\n[car]\ndrive_hand = 'up'\n")
    assert [f.code for f in found] == ["case-impossible-date", "case-unknown-word"]


def test_a_syntax_error_is_told_alone(refused: Refused) -> None:
    found = refused("[car]\ndrive_hand = 'up'\n[case\n")
    assert [(f.code, f.origin.line) for f in found] == [("case-syntax", 3)]


def test_a_binary_file_is_no_case() -> None:
    with pytest.raises(InputError, match="not a text file"):
        decode(b"[case]\x00", "case.toml")
    with pytest.raises(InputError, match="UTF-8"):
        decode(b"\x89PNG\r\n\x1a\n\xff\xfe", "case.toml")


@pytest.mark.parametrize("text", ["a = " + "[" * 5000, "a = " + "{b=" * 3000])
def test_nesting_without_end_is_refused(text: str) -> None:
    with pytest.raises(InputError, match="TOML"):
        parse(text, "case.toml")


@pytest.mark.parametrize(
    "written",
    ["{}", "[\n  1,\n  {},\n]", "{{ a = [1, {}] }}", "[{{ a = 1 }}, {{ a = {} }}]", "0x{}"],
)
def test_a_number_without_end_is_named_at_its_own_line(written: str) -> None:
    value = written.format("9" * 5000)
    line = 2 + value.count("\n", 0, value.index("999"))
    with pytest.raises(InputError, match=rf"case.toml:{line}: .*thousand digits"):
        parse(f"[[price]]\nnew = {value}\non = 2026-10-01\n", "case.toml")


def test_what_is_nested_too_deep_is_named_at_its_own_line() -> None:
    with pytest.raises(InputError, match=r"case.toml:2: it is nested more than 20 deep"):
        parse(f"[car]\nadd = {'[' * 40}{']' * 40}\n", "case.toml")


@pytest.mark.parametrize("kind", ["pipe", "link", "folder"])
def test_what_stands_in_place_of_a_file_is_said_as_what_it_is(tmp_path: Path, kind: str) -> None:
    for place in (tmp_path / "case.toml", tmp_path / "f.txt"):
        if kind == "pipe":
            os.mkfifo(place)
        elif kind == "link":
            place.symlink_to(tmp_path / "gone")
        else:
            place.mkdir()
    with pytest.raises(InputError, match=rf"case.toml is a {kind}.*, not a file"):
        load_case(tmp_path, _CATALOG)
    (tmp_path / "case.toml").rmdir() if kind == "folder" else (tmp_path / "case.toml").unlink()
    (tmp_path / "case.toml").write_text(E + "kind = 'report'\nfile = 'f.txt'\n")
    with pytest.raises(InputError) as raised:
        load_case(tmp_path, _CATALOG)
    assert f"'f.txt' is a {kind}" in " ".join(f.message for f in raised.value.findings)


_CATALOG = load_catalog()
_NAMES = st.text(max_size=6)
_VALUES = st.recursive(
    st.one_of(
        st.just(10**400), st.booleans(), st.integers(), st.floats(), st.text(max_size=9),
        st.dates(), st.datetimes(),
        st.sampled_from(["look", "report", "driver.front-bag", "cover-torn", "evidence/scan.txt"]),
    ),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_NAMES, inner, max_size=3),
    max_leaves=6,
)  # fmt: skip
_KEYS = st.sampled_from(
    "case car profile evidence price kind id time file component seen vin what low add".split()
)
_TABLES = st.dictionaries(_KEYS, _VALUES, max_size=5)


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.fixed_dictionaries(
        {},
        optional={
            "case": _TABLES | _VALUES,
            "car": _TABLES | _VALUES,
            "profile": _TABLES,
            "evidence": st.lists(_TABLES, max_size=3) | _VALUES,
            "price": st.lists(_TABLES, max_size=2) | _VALUES,
        },
    )
)
def test_any_tables_end_in_a_case_or_in_findings(
    tmp_path_factory: pytest.TempPathFactory, raw: dict[str, object]
) -> None:
    notes = Notes("case.toml", tmp_path_factory.getbasetemp(), "", {}, _CATALOG)
    assert _told(raw, notes)


def _told(raw: dict[str, object], notes: Notes) -> bool:
    try:
        return bool(read_case(raw, notes).car.components)
    except InputError as refusal:
        return bool(refusal.findings) and all(f.message for f in refusal.findings)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[car]\n" + ".".join("a" * 60_000) + " = 1\n", "too many parts"),
        ("x = {" + " . ".join(["'a'"] * 30) + " = 1}\n", "too many parts"),
        ("[[ " + ".".join(["a"] * 30) + "]]\n", "too many parts"),
        ("x = " + "[" * 30 + "]" * 30 + "\n", "nested"),
        ("x = " + "{a=" * 3000 + "1" + "}" * 3000 + "\n", "nested"),
        ("[case]\nid = 0x" + "f" * 6000 + "\n", "digits"),
    ],
)
def test_what_has_no_end_is_refused_before_it_is_read(
    refused: Refused, text: str, told: str
) -> None:
    (finding,) = refused(text)
    assert finding.code == "case-syntax"
    assert told in finding.message


def test_points_in_a_text_are_no_parts_of_a_name() -> None:
    text = f"[case]\ntitle = 'read {'.'.join('abcdefghijklmnop')} = done'  # {'a.' * 30}\n"
    assert parse(text, "case.toml")[0]["case"]["title"].endswith("done")


def test_files_without_end_are_refused_before_they_are_read(load: Callable[[str], object]) -> None:
    named = "".join(
        f"[[evidence]]\nkind = 'report'\nid = 'r{n}'\nfile = 'evidence/scan.txt'\n"
        for n in range(301)
    )
    with pytest.raises(InputError, match="names files 301 times"):
        load(named)
