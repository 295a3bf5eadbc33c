"""Text that any font at hand can show: what cannot be shown is spelled out, never dropped."""

import json
import re
import unicodedata
from collections.abc import Iterable, Iterator
from functools import lru_cache
from pathlib import Path
from typing import Any

import typst

LONGEST_WORD = 28
LONGEST_TEXT = 700
CUT = " ... (whole text in the attached record)"
WORD_BREAK = "\u200b"
LONGEST_SPELLED = 3  # more characters in a row that no font has become one note
_PLAIN = re.compile(r"[\x20-\x7e\u00a0-\u00ac\u00ae-\u017f]*\Z")
_LONG_WORD = re.compile(rf"[^\s{WORD_BREAK}]{{{LONGEST_WORD},}}")
_HIDDEN = ("Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp")
_BLOCK = 256  # characters are tried by blocks of so many: fonts have a script or have it not


def printable(value: Any, fonts: Path | None = None) -> Any:  # noqa: ANN401 - any JSON value
    """Return a JSON value whose every text can be set in type.

    White space becomes single spaces, lines stay lines, a character without a glyph or with a
    hidden effect (such as one that turns the direction of writing) is spelled as ``[U+XXXX]``,
    many of them in a row become one note, long words may break, and very long texts are cut. The
    attached record keeps every text as it was. Texts are cut before anything is tried, so that a
    long text costs no more than a short one.

    Args:
        value: The texts.
        fonts: Folder with fonts of the user's own, for letters that the built-in ones lack.
    """
    cut = _cut_texts(value)
    _try_together(frozenset("".join(_texts(cut))), fonts)
    return _spelled_texts(cut, fonts)


def needs_fonts(value: Any) -> bool:  # noqa: ANN401 - any JSON value
    """Return whether some text holds a letter that no built-in font has."""
    letters = frozenset("".join(_texts(_cut_texts(value))))
    _try_together(letters, None)
    return any(not _is_hidden(one) and not _shown.get((None, one), True) for one in letters)


def _cut_texts(value: Any) -> Any:  # noqa: ANN401
    if isinstance(value, str):
        return _shortened("\n".join(_lines(value)))
    if isinstance(value, dict):
        return {k: _cut_texts(v) for k, v in value.items()}
    return [_cut_texts(v) for v in value] if isinstance(value, list | tuple) else value


def _texts(value: Any) -> Iterator[str]:  # noqa: ANN401
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for part in value.values():
            yield from _texts(part)
    elif isinstance(value, list):
        for part in value:
            yield from _texts(part)


def _spelled_texts(value: Any, fonts: Path | None) -> Any:  # noqa: ANN401
    if isinstance(value, str):
        return breakable("\n".join(spelled(line, fonts) for line in value.split("\n")))
    if isinstance(value, dict):
        return {k: _spelled_texts(v, fonts) for k, v in value.items()}
    return [_spelled_texts(v, fonts) for v in value] if isinstance(value, list) else value


def _lines(text: str) -> list[str]:
    """Return the lines of a text with white space as single spaces; empty lines are left out."""
    return [one for line in text.split("\n") if (one := " ".join(line.split()))]


def spelled(text: str, fonts: Path | None = None) -> str:
    """Return a text with every character that cannot be shown spelled out."""
    if _PLAIN.match(text):
        return text
    shown: list[str] = []
    missing: list[str] = []
    apart = _wide_that_cannot_show(text, fonts)
    for character in text:
        is_there = character not in apart and _can_show(character, fonts)
        if _PLAIN.match(character) or is_there:
            shown += [*_told_missing(missing), character]
            missing = []
        else:
            missing.append(character)
    return "".join((*shown, *_told_missing(missing)))


def _wide_that_cannot_show(text: str, fonts: Path | None) -> frozenset[str]:
    """Return the letters of East Asia in a text where some of them lack a glyph, else none.

    They are told together: half a word of Japanese helps nobody.

    Source: Unicode Standard Annex 11, classes W and F, by the standard library.
    """
    wide = frozenset(c for c in text if unicodedata.east_asian_width(c) in "WF")
    return wide if any(not _can_show(c, fonts) for c in wide) else frozenset()


def _told_missing(missing: list[str]) -> list[str]:
    if len(missing) > LONGEST_SPELLED and all(map(str.isalpha, missing)):
        return [f"[{len(missing)} letters that no font here has, see the attached record]"]
    return [f"[U+{ord(c):04X}]" for c in missing]


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


_shown: dict[tuple[Path | None, str], bool] = {}


def _try_together(characters: Iterable[str], fonts: Path | None) -> None:
    """Find out of many characters at once which can be shown, a block of them at a time."""
    blocks: dict[int, list[str]] = {}
    for one in sorted(characters):
        if (fonts, one) not in _shown and not _PLAIN.match(one) and not _is_hidden(one):
            blocks.setdefault(ord(one) // _BLOCK, []).append(one)
    for block in blocks.values():
        _try_block(block, fonts)


def _try_block(block: list[str], fonts: Path | None) -> None:
    if _sets("".join(block), fonts):
        _shown.update(dict.fromkeys(((fonts, one) for one in block), True))
    elif len(block) == 1 or not (_sets(block[0], fonts) or _sets(block[-1], fonts)):
        _shown.update(dict.fromkeys(((fonts, one) for one in block), False))
    else:
        half = len(block) // 2
        _try_block(block[:half], fonts)
        _try_block(block[half:], fonts)


def _can_show(character: str, fonts: Path | None) -> bool:
    """Return whether some font has a glyph: asked of the type setter itself."""
    if _is_hidden(character):
        return False
    if (fonts, character) not in _shown:
        _try_block([character], fonts)
    return _shown[fonts, character]


def _is_hidden(character: str) -> bool:
    return unicodedata.category(character) in _HIDDEN or bool(unicodedata.combining(character))


@lru_cache(maxsize=4096)
def _sets(text: str, fonts: Path | None) -> bool:
    source = '#set document(title: "x")\n#json(bytes(sys.inputs.text))'
    try:
        typst.compile(
            source.encode(),
            format="pdf",
            font_paths=typst.Fonts(include_system_fonts=False, font_paths=[fonts] if fonts else []),
            pdf_standards=["a-3a"],
            sys_inputs={"text": json.dumps(text)},
        )
    except typst.TypstError:
        return False
    return True
