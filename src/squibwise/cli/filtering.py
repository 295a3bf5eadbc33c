"""The filter that text passes on its way out of the program, to a screen or as JSON."""

import re
import unicodedata

_HARMLESS = re.compile(r"[\n\x20-\x7e\u00a0-\u00ac\u00ae-\u017f]*\Z")
_HIDDEN = ("Cc", "Cf", "Co", "Cs", "Zl", "Zp")
_KEPT = "\n"


def spell_out(text: str) -> str:
    """Return a text in which characters with a hidden effect stand as ``[U+001B]``.

    Those are control characters of both ranges, marks that turn the direction of writing, and
    whatever else is not shown. A tab becomes a space.
    """
    if _HARMLESS.match(text):
        return text
    return "".join(_spelled(c) for c in text.replace("\t", " "))


def _spelled(character: str) -> str:
    if character in _KEPT or unicodedata.category(character) not in _HIDDEN:
        return character
    return f"[U+{ord(character):04X}]"


def escape_hidden(text: str) -> str:
    """Return JSON in which characters with a hidden effect are escaped; it reads the same."""
    if _HARMLESS.match(text):
        return text
    return "".join(c if _spelled(c) == c else _escaped(c) for c in text)


def _escaped(character: str) -> str:
    units = character.encode("utf-16-be", "surrogatepass")
    pairs = (units[n : n + 2].hex() for n in range(0, len(units), 2))
    return "".join(f"\\u{pair}" for pair in pairs)
