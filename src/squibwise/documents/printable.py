"""Text that any font at hand can show: what cannot be shown is spelled out, never dropped."""

import json
import re
import unicodedata
from functools import lru_cache
from typing import Any

import typst

LONGEST_WORD = 28
LONGEST_TEXT = 700
CUT = " ... (whole text in the attached record)"
WORD_BREAK = "\u200b"
_PLAIN = re.compile(r"[\x20-\x7e\u00a0-\u00ac\u00ae-\u017f]*\Z")
_LONG_WORD = re.compile(rf"[^\s{WORD_BREAK}]{{{LONGEST_WORD},}}")
_HIDDEN = ("Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp")


def printable(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    """Return a JSON value whose every text can be set in type.

    White space becomes single spaces, lines stay lines, a character without a glyph or with a
    hidden effect (such as one that turns the direction of writing) is spelled as ``[U+XXXX]``,
    long words may break, and very long texts are cut with a note. The attached record keeps every
    text as it was.
    """
    if isinstance(value, str):
        return breakable(_shortened("\n".join(map(spelled, _lines(value)))))
    if isinstance(value, dict):
        return {k: printable(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [printable(v) for v in value]
    return value


def _lines(text: str) -> list[str]:
    """Return the lines of a text with white space as single spaces; empty lines are left out."""
    return [one for line in text.split("\n") if (one := " ".join(line.split()))]


def spelled(text: str) -> str:
    """Return a text with every character that cannot be shown spelled out."""
    if _PLAIN.match(text):
        return text
    return "".join(c if _PLAIN.match(c) or _can_show(c) else f"[U+{ord(c):04X}]" for c in text)


def ascii_only(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    """Return a JSON value with everything beyond ASCII spelled out, for when type setting fails."""
    if isinstance(value, str):
        return "".join(c if " " <= c <= "~" else f"[U+{ord(c):04X}]" for c in value)
    if isinstance(value, dict):
        return {k: ascii_only(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [ascii_only(v) for v in value]
    return value


def breakable(text: str) -> str:
    """Return a text whose long words may break at the end of a line."""
    return _LONG_WORD.sub(lambda m: _with_breaks(m.group()), text)


def _with_breaks(word: str) -> str:
    step = LONGEST_WORD // 2
    return WORD_BREAK.join(word[n : n + step] for n in range(0, len(word), step))


def _shortened(text: str) -> str:
    return text if len(text) <= LONGEST_TEXT else text[:LONGEST_TEXT] + CUT


@lru_cache(maxsize=4096)
def _can_show(character: str) -> bool:
    """Return whether some built-in font has a glyph: asked of the type setter itself."""
    if unicodedata.category(character) in _HIDDEN or unicodedata.combining(character):
        return False
    source = '#set document(title: "x")\n#json(bytes(sys.inputs.text))'
    try:
        typst.compile(
            source.encode(),
            format="pdf",
            ignore_system_fonts=True,
            pdf_standards=["a-3a"],
            sys_inputs={"text": json.dumps(character)},
        )
    except typst.TypstError:
        return False
    return True
