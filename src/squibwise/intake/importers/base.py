"""What every importer takes and hands over, and how much of a file is read."""

from collections.abc import Callable

import msgspec

from squibwise.errors import InputError
from squibwise.model.origin import Finding


class RawLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One line of a report, whatever its format was.

    Attributes:
        number: Line in the file, from 1; row of a sheet, or line counted over all pages.
        text: Its text, cells joined by a tab where there are cells.
        cells: The cells of a table row; empty when the format has none.
    """

    number: int
    text: str
    cells: tuple[str, ...] = ()


class Extract(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What an importer got out of a file.

    Attributes:
        lines: In reading order.
        findings: What was wrong or remarkable with the file.
        format: Word for the format, such as ``text``, ``csv``, ``pdf``.
        recorded: Anything an importer read beside text, such as crash data series.
    """

    lines: tuple[RawLine, ...]
    findings: tuple[Finding, ...] = ()
    format: str
    recorded: tuple[object, ...] = ()


class Document(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A file that was handed in.

    Attributes:
        data: Its bytes.
        name: Its name as the user wrote it; a hint, and the file named in messages.
        text: Its text; None for a format that is not text.
    """

    data: bytes
    name: str
    text: str | None = None

    def ends(self, *endings: str) -> bool:
        """Tell whether the name ends so, in any case."""
        return self.name.lower().endswith(endings)


class Part(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A document inside another one, such as an attachment."""

    data: bytes
    name: str


class Unpacked(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a container held.

    Attributes:
        parts: Documents to be read on their own, in order.
        findings: What was left out and why.
    """

    parts: tuple[Part, ...]
    findings: tuple[Finding, ...] = ()


class Importer(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One format.

    Attributes:
        format: Its word.
        claims: Tells by the content whether a document is of this format.
        read: Returns the lines; None for a container.
        unpack: Returns the documents inside; None for a format that is read itself.
        binary: It is not text: asked first, on the bytes alone.
        apart: Read in a helper process with limits on memory and time.
        seconds: What the helper may take. [s]
        memory_mib: What the helper may take. [MiB]
    """

    format: str
    claims: Callable[[Document], bool]
    read: Callable[[Document], Extract] | None = None
    unpack: Callable[[Document], Unpacked] | None = None
    binary: bool = False
    apart: bool = False
    seconds: int = 4
    memory_mib: int = 192


MIB = 1 << 20
MAX_BYTES = 20 * MIB
MAX_TEXT_BYTES = 640 << 10
MAX_JSON_BYTES = MIB
MAX_PAGE_BYTES = 4 * MIB
MAX_LINES = 20_000
MAX_LINE_CHARS = 1_000
MAX_CELLS = 64

_CUT = "Cut the part with the faults into a file of its own and read that."


def size_text(count: int) -> str:
    """Return a number of bytes in words: ``3.2 MB`` or ``17 bytes``."""
    return f"{count / MIB:.1f} MB" if count >= MIB >> 4 else f"{count} bytes"


def refuse_large(name: str, count: int, limit: int, what: str = "a file") -> None:
    """Refuse what is larger than a report can be.

    Raises:
        InputError: There are more bytes than the limit.
    """
    if count > limit:
        raise InputError(
            f"{name}: {size_text(count)} is more than {what} may have ({size_text(limit)}).",
            remedy=_CUT,
        )


def refuse_many(name: str, count: int, limit: int, what: str) -> None:
    """Refuse more lines, rows, pages or parts than a report can have.

    Raises:
        InputError: There are more than the limit.
    """
    if count > limit:
        raise InputError(
            f"{name}: more than {limit} {what}; no scan report has that many.", remedy=_CUT
        )
