"""How much of the main pages is told in German and Spanish: word by word, beside the English."""

import re
from collections.abc import Iterator
from html.parser import HTMLParser
from typing import Any

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.catalog.screens import load_screens, say
from squibwise.present.tell_bench import open_circuits

CARS = ("harrow-07", "burdock-09", "clover-05")
SPOKEN = ("aria-label", "placeholder", "alt")
NOT_SPOKEN = ("script", "style", "pre", "title")
WORD = re.compile(r"[^\W\d_]{3,}")
ID = re.compile(r"\b[a-z]+\d?(?:-[a-z0-9]+)*[.:](?:[a-z0-9-]+)[^\s,;)]*|\b[a-z]+-\d+\b|`[^`]+`")
SAME = {
    "English",
    "Deutsch",
    "Español",
    "airbag",
    "airbags",
    "sensor",
    "control",
    "metal",
    "pin",
    "final",
    "OFF",
    "min",
    "mph",
    "USD",
    "AUD",
    "VIN",
    "CSV",
    "XLSX",
}
"""Names, units, and words that are the same in two of the languages."""
LEAST_SHARE = 0.99


class Texts(HTMLParser):
    """The texts of a page in their order. A class because the parser is one."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.within: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note what is read out of an element."""
        self.within.append(tag)
        self.found += [value for name, value in attrs if name in SPOKEN and value]

    def handle_endtag(self, tag: str) -> None:
        """Leave an element and what was not closed in it."""
        while self.within and self.within.pop() != tag:
            pass

    def handle_data(self, data: str) -> None:
        """Note a text that is seen."""
        if data.strip() and not set(self.within) & set(NOT_SPOKEN):
            self.found.append(" ".join(data.split()))


def texts(call: Any, path: str, language: str) -> list[str]:
    """Return the texts of a page in a language."""
    answer = call.client.get(path, headers={"accept-language": language})
    assert answer.status_code == 200, path
    page = Texts()
    page.feed(answer.text)
    return page.found


def main_pages(call: Any, car: str) -> Iterator[str]:
    """Yield the main pages of a car: front, looks, parts, trace cards, questions, work, gates."""
    whole = call.app.state.bench.whole(call.app.state.bench.open(car))
    yield from (f"/car/{car}{page}" for page in ("", "/look", "/trace", "/ask", "/prove"))
    yield from (f"/car/{car}/work?visit={v.id}" for v in whole.todo.visits)
    yield from (f"/car/{car}/trace/{c}/1" for c in open_circuits(whole))
    parts = [b.id for b in whole.states.components]
    yield from (f"/car/{car}/part/{part}" for part in parts[::6])


def left_english(english: str, told: str, own: set[str]) -> list[str]:
    """Return the words of a text that stand as in English, ids and what people wrote aside."""
    if english in own:
        return []
    kept = set(WORD.findall(ID.sub(" ", english))) - SAME
    return [w for w in WORD.findall(ID.sub(" ", told)) if w in kept]


@pytest.mark.parametrize("language", ["de", "es"])
def test_the_main_pages_are_told_in_the_language(call: Any, language: str) -> None:
    words, left = 0, []
    for car in CARS:
        case = call.app.state.bench.open(car).case
        lines = {
            f"line {x.line}: {x.raw}"
            for e in case.evidence
            if hasattr(e, "reading")
            for x in getattr(e.reading, "lines", ())
        }
        own = {case.title, f"{car} {case.title}", car}
        for path in main_pages(call, car):
            pairs = zip(texts(call, path, "en"), texts(call, path, language), strict=True)
            for english, told in pairs:
                if any(line in english for line in lines):
                    continue  # the words of a report are its own
                words += len(WORD.findall(told))
                left += [(w, told, path) for w in left_english(english, told, own)]
    assert words > 10_000
    assert 1.0 - len(left) / words >= LEAST_SHARE, left[:40]


def test_every_name_and_caution_of_the_catalogue_is_told_in_every_language() -> None:
    catalog, screens = load_catalog(), load_screens()
    named = {kind.title for kind in catalog.kinds.values()}
    named |= {assembly.title for assembly in catalog.assemblies.values()}
    named |= {caution.text for caution in catalog.cautions.values()}
    named |= {look.text for kind in catalog.kinds for look in catalog.looks(kind).values()}
    named |= {gate.text for gate in catalog.tasks.gates.values()}
    assert len(named) > 150
    assert named - set(screens.words) == set()


# Ours: a figure in its place, a list cut outside brackets, brackets in brackets, a merged article.
@pytest.mark.parametrize(
    ("english", "language", "told"),
    [
        ("17.0 h (12.8 to 24.6)", "de", "17.0 h (12.8 bis 24.6)"),
        ("front airbag (driver, passenger), windshield", "de",
         "Frontairbag (Fahrer, Beifahrer), Windschutzscheibe"),
        ("driver front airbag", "es", "airbag frontal, conductor"),
        ("seen: glass cracked or starred (R) (look-1, case.toml:42; judgement)", "de",
         "gesehen: Scheibe gesprungen oder mit Stern (R) (look-1, case.toml:42; Urteil)"),
        ("what somebody wrote himself", "de", "what somebody wrote himself"),
        ("", "de", ""),
        ("damaged", "en", "damaged"),
    ],
)  # fmt: skip
def test_a_text_is_told_with_what_stands_in_its_places(
    english: str, language: str, told: str
) -> None:
    assert say(english, language) == told
