"""Causes of misreadings, each in several words and languages. See causes.py.

What is told must be read, and nothing is invented, but in the texts named as not yet read.
"""

from functools import cache
from pathlib import Path

import causes
import pytest

from squibwise.catalog.load import load_catalog
from squibwise.intake.report.reader import read_report
from squibwise.model.car import Car

CATALOG = load_catalog()
TEXTS = {t.name: t for t in causes.load(Path(__file__).parent / "causes.txt")}
NOT_READ = frozenset({"statusbelow-5", "modcol-5", "whencol-3"})


@cache
def differences(name: str) -> tuple[str, ...]:
    text = TEXTS[name]
    car = Car(equipment="full-modern-set", components=(), drive_hand=text.hand)
    read = read_report(text.text.encode(), f"r.{text.ending}", CATALOG, car)
    return tuple(causes.differences(text, read.lines))


@pytest.mark.parametrize("name", sorted(TEXTS.keys() - NOT_READ))
def test_a_text_tells_what_it_tells_and_nothing_more(name: str) -> None:
    assert differences(name) == ()


def test_what_is_not_read_yet_is_still_not_read() -> None:
    """A text that is read now belongs to the others."""
    assert [name for name in NOT_READ if not differences(name)] == []
