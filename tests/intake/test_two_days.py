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
