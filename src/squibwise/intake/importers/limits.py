"""How much of a file is read. Our own choices, reasons and figures in decision 110."""

from squibwise.errors import InputError

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
