"""What every importer hands over: the numbered lines of a report."""

import msgspec

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
