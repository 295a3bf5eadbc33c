"""Words of the screens in the languages they are told in: ``screens.tsv``."""

from functools import cache
from pathlib import Path

import msgspec

from squibwise.catalog.reading import read_tsv, refuse_repeats
from squibwise.errors import CatalogError

LANGUAGES = {"en": "English", "de": "Deutsch", "es": "Español"}
FILE = Path(__file__).parent / "data" / "screens.tsv"


class Screens(msgspec.Struct, frozen=True, kw_only=True):
    """What is said in each language, by its English words."""

    words: dict[str, dict[str, str]]

    def say(self, text: str, language: str) -> str:
        """Return a phrase in a language; in English where it has no translation."""
        return self.words.get(text, {}).get(language, text)


@cache
def load_screens(file: Path = FILE) -> Screens:
    """Return the words of the screens.

    Raises:
        CatalogError: A phrase stands twice or lacks a language.
    """
    rows = read_tsv(file, tuple(LANGUAGES))
    refuse_repeats((row["en"] for row in rows), file.name)
    lacking = [row["en"] for row in rows if not all(row[code] for code in LANGUAGES)]
    if lacking:
        raise CatalogError(f"{file.name}: {lacking} are not told in every language")
    return Screens(words={row["en"]: row for row in rows})
