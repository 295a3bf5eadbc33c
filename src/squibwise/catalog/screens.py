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
}
"""What may stand in a place, by its name; in every other place anything may."""
_JOINTS = (". ", "; ", ": ", ", ")
_MERGED = {"es": ((" de el ", " del "), (" a el ", " al "))}
_KEPT = 20_000


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
        return self._whole(text, language) or self._by_pieces(text, language) or text

    def _whole(self, text: str, language: str) -> str:
        """Return a word or sentence of the tables; empty when it is none."""
        known = self.words.get(text) or self.words.get(text.replace("-", " "))
        if known is not None:
            return known[language]
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
            pieces = _split(text, joint)
            if len(pieces) > 1:
                if joint == ": ":  # what stands before the first is a label of all the rest
                    pieces = [pieces[0], joint.join(pieces[1:])]
                ends = "." if joint == ". " else ""
                said = [self.say(p + ends, language) for p in pieces[:-1]]
                said.append(self.say(pieces[-1], language))
                return (" " if ends else joint).join(said)
        if text.endswith(".") and len(text) > 1:
            return f"{self.say(text[:-1], language)}."
        return ""


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
    with_places = [_sentence(row) for row in rows if _places(row["en"])]
    return Screens(
        words={row["en"]: row for row in rows if not _places(row["en"])},
        sentences=_by_first_word(sorted(with_places, key=lambda s: -s.weight)),
    )


_PLACES = re.compile(r"\{([a-z]+)\}")


def _places(text: str) -> list[str]:
    return _PLACES.findall(text)


def _sentence(row: dict[str, str]) -> Sentence:
    pieces = _PLACES.split(row["en"])
    made = "".join(
        f"(?P<{piece}>{_FILLED_BY.get(piece, '.+?')})" if n % 2 else re.escape(piece)
        for n, piece in enumerate(pieces)
    )
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
    """Return a text in a language, by the shipped tables; what they do not hold stays English."""
    return load_screens().say(text, language)
