"""Paragraphs wrapped at some width say what they say on one line; lists stay lists.

The texts are ours; the standard library's ``textwrap`` wraps them.
"""

import textwrap

import pytest
from tests.intake.texts import read_text

from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.layout.wrapped import join_wrapped

PARAGRAPHS = {
    "en": "Hello, we read the airbag unit today. It shows B1A01 driver airbag stage 2 open, which "
    "is current, B1A02 left curtain short to ground, only in memory, and B1A03 passenger belt "
    "pretensioner resistance too high, current as well.",
    "de": "Guten Tag, im Airbagsteuergerät stehen drei Fehler: B1A01 Fahrerairbag Stufe 2 "
    "Unterbrechung (aktuell), B1A02 Kopfairbag links Masseschluss (gespeichert) und B1A03 "
    "Gurtstraffer Beifahrer Widerstand zu hoch (aktuell). Mehr steht nicht drin.",
    "fr": "Bonjour, le calculateur airbag donne B1A01 airbag conducteur étage 2 circuit ouvert "
    "(présent) ; B1A02 rideau gauche court-circuit à la masse (mémorisé) ; B1A03 prétensionneur "
    "passager résistance trop élevée (présent). Le reste est bon.",
    "es": "La centralita de airbag tiene: B1A01 airbag conductor etapa 2 circuito abierto, "
    "presente. B1A02 cortina izquierda corto a masa, memorizado. B1A03 pretensor acompañante "
    "resistencia alta, presente.",
    "plain": "The left curtain has an open circuit and the passenger seat bag is shorted to "
    "ground. The driver belt pretensioner has a high resistance. The right door sensor does not "
    "answer.",
}


def _told(text: str) -> list[tuple[object, ...]]:
    lines = read_text(text).lines
    return [(ln.code, ln.component, ln.fault, ln.status, ln.present) for ln in lines]


@pytest.mark.parametrize("width", [40, 72])
@pytest.mark.parametrize("name", PARAGRAPHS)
def test_a_wrapped_paragraph_says_what_it_says_on_one_line(name: str, width: int) -> None:
    whole = _told(PARAGRAPHS[name])
    assert len(whole) >= 3
    assert all(component and fault != "unknown" for _, component, fault, *_ in whole)
    assert _told("\n".join(textwrap.wrap(PARAGRAPHS[name], width))) == whole


@pytest.mark.parametrize(
    "rows",
    [
        [
            "Driver front airbag, first igniter",
            "Passenger front airbag, igniter 2",
            "Clock spring of the steering whl.",
        ],
        [
            "left curtain airbag, circuit is open",
            "right curtain airbag, circuit is ok",
            "left seat airbag, shorted to ground",
        ],
        [
            "Cortinas: izquierda bien, derecha mal",
            "Asientos: izquierda bien, derecha mal",
            "Rodillas: izquierda mal, derecha bien",
        ],
    ],
)
def test_rows_of_a_list_of_nearly_one_length_stay_rows(rows: list[str]) -> None:
    raws = [RawLine(number=n, text=row) for n, row in enumerate(rows, start=1)]
    assert join_wrapped(raws) == raws
