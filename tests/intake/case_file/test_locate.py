"""The locator names the line of every table, key and element. Cases are ours (TOML 1.0 syntax)."""

import tomllib

from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.intake.case_file.toml_text import line_of, locate

TEXT = '''# a comment with [brackets] and = signs
title = "x"  # trailing

[car]
"quoted key" = 1
add = [ # open
  "driver.knee-bag",   # first
  "left.curtain",
]
wait = { value = 3, source = "a, b = {c}" }

[[evidence]]
kind = "look"
note = """
[evidence]
fake = 1
"""
seen = 'x # y'
[evidence.sub]
deep = 1

[[evidence]]
a.b = 2
c = [[1, 2],
     [3]]
'''


def test_headers_keys_elements_and_inline_tables_have_their_lines() -> None:
    lines = locate(TEXT)
    expected = {
        ("title",): 2,
        ("car",): 4,
        ("car", "quoted key"): 5,
        ("car", "add"): 6,
        ("car", "add", 0): 7,
        ("car", "add", 1): 8,
        ("car", "wait", "source"): 10,
        ("evidence", 0): 12,
        ("evidence", 0, "note"): 14,
        ("evidence", 0, "seen"): 18,
        ("evidence", 0, "sub"): 19,
        ("evidence", 0, "sub", "deep"): 20,
        ("evidence", 1): 22,
        ("evidence", 1, "a", "b"): 23,
        ("evidence", 1, "c", 1, 0): 25,
    }
    assert {path: lines[path] for path in expected} == expected
    assert ("evidence", 0, "fake") not in lines


def test_windows_line_ends_change_no_line() -> None:
    assert locate(TEXT.replace("\n", "\r\n")) == locate(TEXT)


def test_a_missing_key_falls_back_to_its_table() -> None:
    assert line_of(locate(TEXT), ("evidence", 1, "nothing")) == 22
    assert line_of(locate(TEXT), ("nowhere",)) is None


_KEYS = st.from_regex(r"[a-z][a-z0-9_-]{0,6}", fullmatch=True)
_SCALARS = st.one_of(
    st.integers(-5, 5).map(str),
    st.booleans().map(lambda b: str(b).lower()),
    st.text(st.characters(codec="ascii", exclude_categories=("Cc",)), max_size=8)
    .filter(lambda s: "'" not in s)
    .map(lambda s: f"'{s}'"),
    st.just("2026-03-02T09:10:00"),
)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.dictionaries(_KEYS, _SCALARS, max_size=4), min_size=1, max_size=4),
    st.lists(st.sampled_from(["", "# [x]", "  # a = 1"]), max_size=3),
)
def test_every_key_of_a_generated_file_is_found_on_its_own_line(
    tables: list[dict[str, str]], blank: list[str]
) -> None:
    out: list[str] = []
    expected: dict[tuple[str | int, ...], int] = {}
    for index, table in enumerate(tables):
        out += [*blank, "[[evidence]]  # one"]
        expected[("evidence", index)] = len(out)
        for key, value in table.items():
            out.append(f"{key} = {value} # c")
            expected[("evidence", index, key)] = len(out)
    text = "\n".join(out)
    tomllib.loads(text)
    lines = locate(text)
    assert {path: lines.get(path) for path in expected} == expected


def test_a_quoted_key_is_the_key_it_spells() -> None:
    assert locate('"a\\u0062 c" = 1\n')[("ab c",)] == 1
    assert locate('"a\\qb" = 1\n') == {('"a\\qb"',): 1}  # no TOML: as written


@settings(max_examples=200, deadline=None)
@given(st.text(max_size=60))
def test_any_text_ends_without_an_error(text: str) -> None:
    assert all(line >= 1 for line in locate(text).values())
