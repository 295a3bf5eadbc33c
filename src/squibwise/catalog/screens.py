"""What the screens say in the languages they are told in: every table of ``screens/``.

A row is a word or a sentence in each language. Places for figures and names stand in braces; what
stands in a place is told in the language too.
"""

import re
from collections.abc import Sequence
from functools import cache, lru_cache
from pathlib import Path

import msgspec

from squibwise.catalog.reading import read_tsv, refuse_repeats
from squibwise.errors import CatalogError

LANGUAGES = {"en": "English", "de": "Deutsch", "es": "Español"}
FOLDER = Path(__file__).parent / "data" / "screens"
_FIGURE = r"[\d.,]+"
_SHARE = r"(?:over |under )?\d+%"
_TIME = r"\d[\d.,]* (?:h|min)(?: \d+ min)?"
_PLACE = (
    r"(?:driver|passenger|row ?[23] (?:left|centre|right)|tail|left|right"
    r"|(?:nose|door|pillar) (?:left|centre|right))"
)
_FILLED_BY = {
    **dict.fromkeys(("n", "m", "low", "high"), _FIGURE),
    **dict.fromkeys(("share", "least", "most"), _SHARE),
    **dict.fromkeys(("time", "wait"), _TIME),
    "sum": rf"(?:{_FIGURE} [A-Z]{{3}}|not priced)",
    "unit": r"\S+",
    "word": r"[A-Za-z][A-Za-z -]*?",
    "state": r"[a-z]+",
    "named": r"[A-Za-z][A-Za-z0-9 -]*",
    "place": _PLACE,
    "kind": r"[^.,:;?]+?",
    "id": r"\S+",
    "part": r"(?:(?![.:;] ).)+?",
    "pieces": r"(?:(?!\. ).)+?",
}
"""What may stand in a place, by its name; in every other place anything may."""
_JOINTS = (". ", "; ", ": ", ", ")
_MERGED = {"es": ((" de el ", " del "), (" a el ", " al "))}
_KEPT = 20_000
BROWSER, _COMMAND = (
    "browser",
    re.compile(r"CASE|--|`|\brecord|Record |case file|\[|\w_\w|docs/|nil = true|\w@\w"),
)
_BEFORE = re.compile(r"- |[^\s:]+\.[a-z]{2,5}(?::\d+)?: ")
"""What stands before a text and is no part of it: a dash, a file with its line."""


class Sentence(msgspec.Struct, frozen=True, kw_only=True):
    """A sentence with places.

    Attributes:
        pattern: What it is in English.
        told: What it is in each language.
        weight: Letters that stand outside places: of two that fit the heavier one is meant.
    """

    pattern: re.Pattern[str]
    told: dict[str, str]
    weight: int


_ASKED = {"es": "¿{}?"}
"""How a sentence becomes a question."""


class Screens(msgspec.Struct, frozen=True, kw_only=True):
    """What is said in each language.

    Attributes:
        words: What stands as it is, by its English words.
        sentences: What has places, the heaviest first, by the first word of a text; under ``""``
            those that begin with a place, which may fit any.
    """

    words: dict[str, dict[str, str]]
    sentences: dict[str, tuple[Sentence, ...]]

    def say(self, text: str, language: str) -> str:
        """Return a text in a language; what has no translation stays English."""
        if language == "en" or not text:
            return text
        before = _BEFORE.match(text)
        if before is not None:
            return before[0] + self.say(text[before.end() :], language)
        return self._sentence(text, language) or self._by_pieces(text, language) or text

    def _sentence(self, text: str, language: str) -> str:
        """Return a word or sentence of the tables, its full stop left out there or not."""
        bare = text.removesuffix(".")
        other, end = (bare, ".") if bare != text else (f"{text}.", "")
        for find in (self._word, self._filled):
            if told := find(text, language):
                return told
            if told := find(other, language):
                return told + end if end else told.removesuffix(".")
        asked = self._sentence(text[:-1], language) if text.endswith("?") else ""
        return _ASKED.get(language, "{}?").format(asked) if asked else ""

    def _word(self, text: str, language: str) -> str:
        """Return what stands as it is; empty when the tables do not hold it."""
        known = self.words.get(text) or self.words.get(text.replace("-", " "))
        return known[language] if known else ""

    def _filled(self, text: str, language: str) -> str:
        """Return a sentence with what stands in its places; empty when none fits."""
        first = text.partition(" ")[0]
        for sentence in self.sentences.get(first, self.sentences.get("", ())):
            found = sentence.pattern.fullmatch(text)
            if found is not None:
                filled = {k: self.say(v, language) for k, v in found.groupdict().items()}
                told = sentence.told[language].format(**filled)
                for apart, merged in _MERGED.get(language, ()):
                    told = told.replace(apart, merged)
                return told
        return ""

    def _by_pieces(self, text: str, language: str) -> str:
        """Return a text whose pieces are told one by one; empty when it has none."""
        before, within = _aside(text.removesuffix("."))
        if within:
            end = "." if text.endswith(".") else ""
            return f"{self.say(before, language)} ({self.say(within, language)}){end}"
        for joint in _JOINTS:
            pieces = self._gather(_split(text, joint), joint)
            if len(pieces) > 1:
                if joint == ": ":  # what stands before the first is a label of all the rest
                    pieces = [pieces[0], joint.join(pieces[1:])]
                ends = "." if joint == ". " else ""
                said = [self.say(p + ends, language) for p in pieces[:-1]]
                said.append(self.say(pieces[-1], language))
                return (" " if ends else joint).join(said)
        return ""

    def _gather(self, pieces: list[str], joint: str) -> list[str]:
        """Return pieces, with neighbours as one that are one row of the tables together."""
        for size in range(len(pieces) - 1, 1, -1):
            for at in range(len(pieces) - size + 1):
                run = joint.join(pieces[at : at + size])
                if run in self.words or f"{run}." in self.words:
                    before, after = pieces[:at], pieces[at + size :]
                    return [*self._gather(before, joint), run, *self._gather(after, joint)]
        return pieces


def _split(text: str, joint: str) -> list[str]:
    """Return a text cut at every joint that stands outside brackets."""
    pieces, depth, start = [], 0, 0
    for at, letter in enumerate(text):
        depth += (letter == "(") - (letter == ")")
        if depth == 0 and at >= start and text.startswith(joint, at):
            pieces.append(text[start:at])
            start = at + len(joint)
    return [*pieces, text[start:]]


def _aside(text: str) -> tuple[str, str]:
    """Return what stands before the brackets at the end of a text, and in them; else nothing."""
    depth = 0
    for at in range(len(text) - 1, 1, -1):
        depth += (text[at] == ")") - (text[at] == "(")
        if depth == 0:
            return (
                (text[: at - 1], text[at + 1 : -1]) if text[at - 1 : at + 1] == " (" else ("", "")
            )
    return "", ""


@cache
def load_screens(place: Path = FOLDER) -> Screens:
    """Return what the screens say, of a folder of tables or of one of them.

    Raises:
        CatalogError: A row stands twice, lacks a language, or its places differ between languages.
    """
    files = sorted(place.glob("*.tsv")) if place.is_dir() else [place]
    rows = [row for file in files for row in read_tsv(file, tuple(LANGUAGES))]
    refuse_repeats((row["en"] for row in rows), place.name)
    lacking = [row["en"] for row in rows if not all(row[code] for code in LANGUAGES)]
    if lacking:
        raise CatalogError(f"{place.name}: {lacking} are not told in every language")
    uneven = [r["en"] for r in rows if len({frozenset(_places(r[c])) for c in LANGUAGES}) > 1]
    if uneven:
        raise CatalogError(f"{place.name}: {uneven} have not the same places in every language")
    return _screens(rows)


@cache
def load_pages() -> Screens:
    """Return what stands on a page of the browser in place of a command of the terminal."""
    rows = read_tsv(FOLDER.parent / "browser.tsv", ("command", BROWSER))
    return _screens([{"en": row["command"], BROWSER: row[BROWSER]} for row in rows])


class Marks(msgspec.Struct, frozen=True, kw_only=True):
    """How figures are written.

    Attributes:
        decimal: Mark before the decimals.
        thousands: Mark between thousands.
        from_digits: Digits of a whole number from which on its thousands are set apart.
    """

    decimal: str
    thousands: str
    from_digits: int


@cache
def load_marks() -> dict[tuple[str, str], Marks]:
    """Return how figures are written, by language and country; ``-`` is every other country.

    Source: Unicode CLDR, numbers, as browsers have them.
    """
    columns = ("language", "country", "decimal", "thousands", "from_digits")
    rows = read_tsv(FOLDER.parent / "figure-marks.tsv", columns)
    refuse_repeats((f"{r['language']} {r['country']}" for r in rows), "figure-marks.tsv")
    return {
        (r["language"], r["country"]): Marks(
            decimal=r["decimal"],
            thousands=r["thousands"].replace("space", "\N{NO-BREAK SPACE}"),
            from_digits=int(r["from_digits"]),
        )
        for r in rows
    }


def find_marks(language: str, country: str) -> Marks:
    """Return how a language writes figures in a country; empty = in none that is known."""
    known = load_marks()
    return known.get((language, country)) or known[language, "-"]


def _screens(rows: Sequence[dict[str, str]]) -> Screens:
    with_places = [_sentence(row) for row in rows if _places(row["en"])]
    return Screens(
        words={row["en"]: row for row in rows if not _places(row["en"])},
        sentences=_by_first_word(sorted(with_places, key=lambda s: -s.weight)),
    )


_PLACES = re.compile(r"\{([a-z]+)\}")


def _places(text: str) -> list[str]:
    return _PLACES.findall(text)


def _sentence(row: dict[str, str]) -> Sentence:
    pieces, made = _PLACES.split(row["en"]), ""
    for n, piece in enumerate(pieces):
        named = f"(?P<{piece}>{_FILLED_BY.get(piece, '.+?')})"
        again = f"(?P={piece})"  # a place that stands twice holds the same
        made += re.escape(piece) if n % 2 == 0 else again if piece in pieces[1:n:2] else named
    return Sentence(pattern=re.compile(made), told=row, weight=sum(map(len, pieces[::2])))


def _by_first_word(sentences: Sequence[Sentence]) -> dict[str, tuple[Sentence, ...]]:
    begins = [_first_word(s.told["en"]) for s in sentences]
    return {
        first: tuple(s for s, own in zip(sentences, begins, strict=True) if own in (first, ""))
        for first in {"", *begins}
    }


def _first_word(text: str) -> str:
    """Return the first word of a sentence; empty when a place stands in it."""
    first, space, _ = text.partition(" ")
    return first if space and "{" not in first else ""


@lru_cache(maxsize=_KEPT)
def say(text: str, language: str) -> str:
    """Return a text as a page tells it in a language: pages where the terminal has commands.

    What the shipped tables do not hold stays English.
    """
    if _COMMAND.search(text):
        text = load_pages().say(text, BROWSER)
    return load_screens().say(text, language)
