"""Expressions that are compiled for the texts alone in which they may find something."""

import re

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from squibwise.intake import patterns
from squibwise.intake.patterns import pattern
from squibwise.intake.report.clauses import lines
from squibwise.intake.report.codes import blinks
from squibwise.intake.report.layout import boxes

HINTED = {
    f"{module.__name__}.{name}": one
    for module in (blinks, boxes, lines)
    for name, one in vars(module).items()
    if isinstance(one, patterns._Pattern) and one._needs
}


def test_without_its_letters_an_expression_finds_nothing_and_is_not_compiled(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    hinted = pattern(r"(\d)\s*pau[sz]e", needs=("paus", "pauz"))
    with monkeypatch.context() as at:
        at.setattr(patterns.re, "compile", None)
        assert [*hinted.finditer("3 blinks")] == hinted.findall("3 blinks") == []
        assert hinted.search("3 blinks") is hinted.match("3") is hinted.fullmatch("") is None
    assert hinted.findall("3 pauze 4 pause") == ["3", "4"]
    assert hinted.search("3 blinks") is None
    assert hinted.sub("-", "3 pause") == "-"


@pytest.mark.parametrize("name", HINTED)
@settings(max_examples=8, deadline=None)
@given(data=st.data())
def test_whatever_an_expression_finds_has_some_of_its_letters(
    name: str, data: st.DataObject
) -> None:
    hinted = HINTED[name]
    found = re.compile(hinted._text).search(data.draw(st.from_regex(hinted._text)))
    assert found is None or any(letters in found.group() for letters in hinted._needs)
