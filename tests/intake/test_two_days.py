"""Two days as the last columns of a list: the later says what is there now.

Texts of our own; common practice, no source.
"""

import pytest
from texts import read_text

LISTS = {
    "days": "code   item                day 1  day 2\n"
    "B1511  left curtain open   A      -\nB1512  driver bag open     A      A\n",
    "dates": "Code   Fehler                      12.03.  14.03.\n"
    "B1511  Kopfairbag links offen      x       -\nB1512  Fahrerairbag Unterbrechung  x       x\n",
    "newest first": "Code   Fehler                      14.03.  12.03.\n"
    "B1511  Kopfairbag links offen      -       x\nB1512  Fahrerairbag Unterbrechung  x       x\n",
    "one and nought": "codigo  texto                      antes  ahora\n"
    "B1511   cortina izquierda abierta  1      0\nB1512   airbag conductor abierto   1      1\n",
    "cells": "code,text,scan 1,scan 2\nB1511,left curtain open,yes,--\n"
    "B1512,driver airbag open,yes,yes\nB1512,driver airbag open,--,yes\n",
}


@pytest.mark.parametrize("text", LISTS.values(), ids=LISTS)
def test_a_dash_below_the_later_day_ends_its_row(text: str) -> None:
    assert [(ln.code, ln.present) for ln in read_text(text).lines][:2] == [
        ("B1511", False),
        ("B1512", True),
    ]


def test_columns_that_are_no_days_end_nothing() -> None:
    text = "code   item                active  stored\n"
    text += "B1511  left curtain open   x       -\nB1512  driver bag open     x       x\n"
    assert [ln.present for ln in read_text(text).lines] == [True, True]


GOOD_OR_BAD = {
    "bars": "Avant | Après\nB1513 | rideau droit | bon | court-circuit\n"
    "B1514 | rideau gauche | coupé | bon\n",
    "newest first": "Today | Last week\nB1513 | right curtain | short to ground | ok\n"
    "B1514 | left curtain | ok | open\n",
    "readings": "Old scan | New scan\nB1513 right curtain | ok | short\n"
    "B1514 left curtain | open | clear\n",
    "way in and out": "| Code | Teil | Eingang | Ausgang |\n| B1513 | Kopfairbag rechts | i.O. | "
    "Masseschluss |\n| B1514 | Kopfairbag links | Unterbrechung | kein Fehler |\n",
    "repair": "Teil  x  Vor Reparatur  Nach Reparatur\nB1513  Kopfairbag rechts  -  Kurzschluss\n"
    "B1514  Kopfairbag links  Unterbrechung  weg\n",
}


@pytest.mark.parametrize("text", GOOD_OR_BAD.values(), ids=GOOD_OR_BAD)
def test_what_is_good_before_and_bad_after_is_a_fault(text: str) -> None:
    bad, good = read_text(text).lines
    assert (bad.component, bad.present) == ("right.curtain", True)
    assert bad.fault in ("low-or-short", "short-to-ground")
    assert (good.component, good.present) == ("left.curtain", False)


def test_a_number_alone_in_the_later_list_is_there() -> None:
    lines = read_text("Before: B1511, B1512\nAfter: B1512\n").lines
    assert [(ln.code, ln.present) for ln in lines] == [
        ("B1511", False),
        ("B1512", False),
        ("B1512", True),
    ]
