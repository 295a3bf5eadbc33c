"""Which importer reads a document: by its content, with its name as a hint only."""

from squibwise.intake.importers.base import Extract
from squibwise.intake.importers.encoding import decode
from squibwise.intake.importers.limits import MAX_BYTES, refuse_large
from squibwise.intake.importers.text import empty, read_text


def claimants(data: bytes, name: str) -> tuple[str, ...]:
    """Return the formats whose importer claims a document; text when none does.

    Raises:
        InputError: It is empty or too large.
    """
    refuse_large(name, len(data), MAX_BYTES)
    if not data.strip():
        raise empty(name)
    return ("text",)


def extract(data: bytes, name: str) -> Extract:
    """Return the numbered lines of a document of any format.

    Args:
        data: The file's bytes.
        name: Its name as the user wrote it; used in messages and as a hint.

    Raises:
        InputError: It cannot be read; nothing of it was used.
        UnavailableError: It needs an optional part that is not installed.
    """
    claimants(data, name)
    text, doubts = decode(data, name)
    found = read_text(text, name)
    return Extract(lines=found.lines, findings=doubts + found.findings, format=found.format)
