"""Web pages to lines."""

import html
import re
from collections.abc import Iterator
from typing import NamedTuple

from squibwise.intake.importers.base import (
    MAX_LINES,
    MAX_PAGE_BYTES,
    Document,
    Extract,
    Importer,
    RawLine,
    refuse_large,
    refuse_many,
)
from squibwise.intake.importers.text import empty, row_lines
from squibwise.intake.patterns import pattern

_OPENING = pattern(r"<(?=/?[A-Za-z]|[!?])")  # any other ``<`` is text
_NAME = pattern(r"/?([A-Za-z][A-Za-z0-9:-]{0,30})")
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


_PAGE = pattern(r"<(!doctype\s+html|html|head|body|table|div|p|h[1-6]|ul|pre)\b", re.IGNORECASE)
_BLOCKS = frozenset(
    "p div br li ul ol h1 h2 h3 h4 h5 h6 hr dl title caption section article header footer main "
    "nav form fieldset legend option pre body blockquote address details summary".split()
)
_ROW_STARTS, _CELLS = ("tr", "dt"), ("td", "th", "dd")
_STRUCK = frozenset({"s", "del", "strike"})  # struck out, as in a chat
_MAX_TAGS = 300_000
_ENDED_BY = {"dt": "dl", "table": "tr"}
_ROLE = pattern(r"\brole\s*=\s*[\"']?(row|cell|gridcell|columnheader|rowheader)\b")
_SPAN = pattern(r"\browspan\s*=\s*[\"']?(\d{1,3})", re.IGNORECASE)
_MOST_SPAN = 100
_ALT = pattern(r"\balt\s*=\s*(?:\"([^\"]{1,200})\"|'([^']{1,200})')", re.IGNORECASE)


def claims(document: Document) -> bool:
    """Tell whether it begins with a tag and has one of a web page near its beginning."""
    head = (document.text or "")[:4_000].lstrip()
    return head.startswith("<") and _PAGE.search(head) is not None


def read(document: Document) -> Extract:
    """Return a page's lines as a person reads them, counted from the top of the page.

    Raises:
        InputError: There is no text on it, or more than a report has.
    """
    refuse_large(document.name, len(document.data), MAX_PAGE_BYTES, "a web page")
    refuse_many(document.name, (document.text or "").count("<"), _MAX_TAGS, "tags on a page")
    page = _Page(document.name)
    for token in tokens(document.text or ""):
        page.take(token)
    page.end_row()
    if not page.lines:
        raise empty(document.name)
    return Extract(lines=tuple(page.lines), format="html")


class _Page:
    """The page as far as it has been read; a class because tags arrive one by one."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.lines: list[RawLine] = []
        self._cells: list[list[str]] = [[]]  # pieces of each cell; a break is "\n"
        self._spans: list[int] = [1]  # rows that each cell reaches over
        self._carried: dict[int, tuple[int, str]] = {}  # rows to go and text, by column
        self._in_row = False
        self._row_end = ""  # the tag whose end also ends the row
        self._open = 0  # how many of those tags are open
        self._verbatim = False

    def take(self, token: Token) -> None:
        """Add a piece of text, or do what a tag asks for."""
        if not token.tag:
            self._add_text(token.text)
            return
        tag = _role(token) or token.tag
        name = tag.removeprefix("/")
        if self._ends_row(token.tag):
            self.end_row()
        elif tag in _ROW_STARTS or name == "table":
            self.end_row()
            self._in_row = tag in _ROW_STARTS
            self._carried = {} if name == "table" else self._carried
            self._row_end, self._open = _ENDED_BY.get(token.tag, token.tag), 1
        elif tag in _CELLS:
            self._cells.append([])
            span = _SPAN.search(token.text[:2_000])
            self._spans.append(min(int(span[1]), _MOST_SPAN) if span else 1)
        elif name in _BLOCKS:
            self._verbatim = tag == "pre" or (self._verbatim and tag != "/pre")
            self._cells[-1].append("\n")
            if not self._in_row:
                self.end_row()
        elif name in _STRUCK:
            self._cells[-1].append("~~")
        elif tag == "img":
            self._add_picture(token.text)

    def _ends_row(self, tag: str) -> bool:
        """Tell whether a tag closes the element that the row began with."""
        if self._in_row and tag.removeprefix("/") == self._row_end:
            self._open += -1 if tag.startswith("/") else 1
        return self._in_row and self._open == 0

    def _add_text(self, text: str) -> None:
        plain = html.unescape(text)
        self._cells[-1].append(plain if self._verbatim else " ".join(plain.split("\n")))

    def _add_picture(self, attributes: str) -> None:
        words = _ALT.search(attributes[:4_000])
        if words:
            self._add_text(f" {words[1] or words[2]} ")

    def end_row(self) -> None:
        """Hand over what was gathered: a row with its cells, or the lines of the one cell."""
        spans, self._spans = self._spans, [1]
        if not any(self._cells):  # the page has many rows without a letter
            self._cells, self._in_row = [[]], False
            return
        cells = ["".join(pieces).replace("\r", "\n") for pieces in self._cells]
        if len(cells) > 1 and (self._carried or max(spans) > 1):
            cells = cells[:1] + self._carry(cells[1:], spans[1:])
        filled = [cell for cell in cells if cell.strip()]
        self._cells, self._in_row = [[]], False
        if len(filled) > 1:
            self._put(cells[1:] if not cells[0].strip() else cells)
        elif filled:
            for line in filled[0].split("\n"):
                self._put([line])

    def _carry(self, cells: list[str], spans: list[int]) -> list[str]:
        """Return a row with the cells that reach down into it from the rows above."""
        row: list[str] = []
        own = iter(zip(cells, spans, strict=True))
        carried, self._carried = self._carried, {}
        for column in range(len(cells) + len(carried)):
            left, text = carried.get(column, (0, ""))
            if not left:
                text, left = next(own, ("", 0))
            row.append(text)
            if left > 1:
                self._carried[column] = (left - 1, text)
        return row

    def _put(self, cells: list[str]) -> None:
        number = self.lines[-1].number + 1 if self.lines else 1
        found = row_lines(number, cells)
        if len(cells) == 1:
            found = [RawLine(number=line.number, text=line.text) for line in found]
        self.lines += found
        refuse_many(self.name, len(self.lines), MAX_LINES, "lines on a page")


def _role(token: Token) -> str:
    """Return the table tag that an element plays by its role, or nothing."""
    role = _ROLE.search(token.text[:2_000]) if "role" in token.text else None
    if role is None:
        return ""
    return "tr" if role[1] == "row" else "td"


IMPORTER = Importer(format="html", claims=claims, read=read)
