"""What owners tell of a fault: words of four languages, and signs that move causes by them."""

import re
import unicodedata
from collections.abc import Iterator

import msgspec

from squibwise.errors import CatalogError
from squibwise.model.words import Basis

TOUCHED = (
    "self",
    "plug-mates",
    "wheel",
    "wheel-top",
    "seat",
    "seat-cover",
    "unit",
    "wiring",
    "dash",
    "pillar",
    "nose",
    "door",
)
DEVICE = "device"  # stands in a sign for the words of the device of the traced circuit
_LETTERS = {"\u00e4": "ae", "\u00f6": "oe", "\u00fc": "ue", "\u00df": "ss", "\u0142": "l"}


def plain(text: str) -> str:
    """Return a text in small letters without accents; umlauts become two letters."""
    small = text.strip().lower().replace("\u2019", "'")
    for letter, written in _LETTERS.items():
        small = small.replace(letter, written)
    return "".join(c for c in unicodedata.normalize("NFKD", small) if not unicodedata.combining(c))


class StoryWord(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Words of four languages that mean one thing, as owners write them.

    Attributes:
        id: Name, used by signs.
        kinds: Component kinds that it means, when it means the device of a circuit.
        en: English words, apart by spaces; ``*`` = any letters, ``_`` = a space or nothing.
        de: German words.
        fr: French words.
        es: Spanish words.
    """

    id: str
    kinds: tuple[str, ...] = ()
    en: str
    de: str
    fr: str
    es: str

    def __post_init__(self) -> None:
        words = f"{self.en} {self.de} {self.fr} {self.es}"
        if not re.fullmatch(r"[a-z0-9*_ '/.-]+", words):
            raise CatalogError(f"word {self.id}: write it in small letters, without accents")

    def pattern(self) -> re.Pattern[str]:
        """Return what finds any of the words in a text of small letters without accents."""
        words = f"{self.en} {self.de} {self.fr} {self.es}".split()
        each = {re.escape(w).replace(r"\*", r"\w*").replace("_", "[ -]?") for w in words}
        longest = sorted(each, key=len, reverse=True)
        return re.compile(rf"(?<!\w)(?:{'|'.join(longest)})(?!\w)")


class Sign(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Something that moves causes up or down.

    Attributes:
        id: Name; faults say how many steps it moves them.
        title: The reason in a mechanic's words.
        tells: Word ids, apart by spaces, that tell it when they stand close together.
        reach: How many words apart they may stand.
        unless: Word ids that void it.
        phrases: Patterns of further words in which it is told.
        negative: Is it told as a denial, so that "never" does not turn it round.
        hard: Is it read from the car, so that it tells as much beside other signs as alone.
        touches: Words of ``TOUCHED``: it tells that these were worked on.
        at: Element id that it speaks of; empty for the whole circuit.
        placed: Is it told of one connector: the one that its sentence names, if it names one.
    """

    id: str
    title: str
    tells: tuple[str, ...] = ()
    reach: int = 7
    unless: tuple[str, ...] = ()
    phrases: tuple[str, ...] = ()
    negative: bool = False
    hard: bool = False
    touches: tuple[str, ...] = ()
    at: str = ""
    placed: bool = False
    source: str = "judgement"
    basis: Basis = "judgement"

    def __post_init__(self) -> None:
        if not set(self.touches) <= set(TOUCHED):
            raise CatalogError(f"sign {self.id}: unknown touched word")

    def problems(self) -> Iterator[str]:
        """Yield what is wrong with its patterns; not asked at each start, as it takes long."""
        for phrase in self.phrases:
            try:
                re.compile(phrase)
            except re.error as error:
                yield f"sign {self.id}: '{phrase}' is no pattern: {error}"
