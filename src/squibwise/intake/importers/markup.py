"""Cut a web page's source into text and tags, in time that grows with its length only.

The standard library's parser takes time with the square of the length on broken markup (decision
112), so this one looks for each kind of end once and never again when there is none left.
"""

import re
from collections.abc import Iterator
from typing import NamedTuple

_OPENING = re.compile(r"<(?=/?[A-Za-z]|[!?])")  # any other ``<`` is text
_NAME = re.compile(r"/?([A-Za-z][A-Za-z0-9:-]{0,30})")
_SKIPPED = ("script", "style", "template", "svg", "math", "noframes", "object")
_ENDS = {tag: re.compile(f"</{tag}", re.IGNORECASE) for tag in _SKIPPED}


class Token(NamedTuple):
    """A piece of text or a tag; a tuple because a page has a million of them.

    Attributes:
        text: The text, entities still in it; for a tag what stands behind its name.
        tag: Name of the tag in small letters, ``/`` before a closing one; empty for text.
    """

    text: str
    tag: str = ""


def tokens(source: str) -> Iterator[Token]:
    """Return text and tags in order; scripts, styles, drawings and comments left out."""
    last = {sign: source.rfind(sign) for sign in ('"', "'", ">", "-->")}
    at = 0
    while at < len(source):
        found = _OPENING.search(source, at)
        opening = found.start() if found else len(source)
        if opening > at:
            yield Token(source[at:opening])
        if opening == len(source):
            return
        at, token = _markup(source, opening, last)
        if token is not None:
            yield token
            at = _skipped(source, at, token.tag)


def _markup(source: str, at: int, last: dict[str, int]) -> tuple[int, Token | None]:
    """Return where the markup at a ``<`` ends, and its tag; None for a comment and its like."""
    if source.startswith("<!--", at) and last["-->"] > at:
        return source.index("-->", at + 2) + 3, None
    name = _NAME.match(source, at + 1)
    end = _tag_end(source, at, last)
    if name is None:
        return end + 1, None
    slash = "/" if source[at + 1] == "/" else ""
    return end + 1, Token(source[name.end() : end], slash + name[1].lower())


def _tag_end(source: str, at: int, last: dict[str, int]) -> int:
    """Return where the ``>`` of a tag is, those inside quotes not counted."""
    first = end = source.find(">", at) if last[">"] > at else len(source)
    start = at
    while end < len(source):
        quote = _open_quote(source, start, end)
        if not quote:
            return end
        if last[quote] <= end or last[">"] <= last[quote]:
            return first  # the quote never closes: it is a slip
        start = source.index(quote, end + 1) + 1
        if last[">"] < start:
            return first
        end = source.index(">", start)
    return len(source)


def _open_quote(source: str, start: int, end: int) -> str:
    """Return the quote that is still open at the end of a stretch, or nothing."""
    quote = ""
    for sign in re.findall("[\"']", source[start:end]):
        if not quote:
            quote = sign
        elif sign == quote:
            quote = ""
    return quote


def _skipped(source: str, at: int, tag: str) -> int:
    """Return where to go on: behind the content of a script and its like."""
    if tag not in _ENDS:
        return at
    closing = _ENDS[tag].search(source, at)
    return closing.start() if closing else len(source)
