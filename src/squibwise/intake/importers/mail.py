"""Messages saved as a file (.eml), and web pages saved as one file (.mhtml): their parts."""

import re
from typing import TYPE_CHECKING

from squibwise.errors import InputError
from squibwise.intake.importers.base import (
    MIB,
    Document,
    Importer,
    Part,
    Unpacked,
    refuse_large,
    refuse_many,
)
from squibwise.intake.patterns import pattern
from squibwise.model.origin import Finding, Origin

if TYPE_CHECKING:  # the library loads when a message is met
    from email.message import Message

_KNOWN = {
    "from",
    "to",
    "subject",
    "date",
    "mime-version",
    "received",
    "message-id",
    "return-path",
    "delivered-to",
    "content-type",
    "content-transfer-encoding",
    "snapshot-content-location",
    "reply-to",
    "cc",
}
_HEADER = pattern(r"([A-Za-z][A-Za-z0-9-]{1,60}):(?=\s|$)")
_BRANCH = pattern(rb"boundary\s*[*=]|content-type:\s*message/", re.IGNORECASE)
_MAX_PARTS, _MAX_NESTING = 50, 8
_MAX_BYTES = 12 * MIB
_LEFT_OUT = {
    "application/pgp-signature",
    "application/pkcs7-signature",
    "text/calendar",
    "text/vcard",
}
_REMEDY = "Save the attached report as a file and read that."


def claims(document: Document) -> bool:
    """Tell whether it begins with a block of message headers, at least three well-known ones."""
    found = set()
    for line in (document.text or "").lstrip("\r\n")[:8_000].splitlines()[:80]:
        header = _HEADER.match(line)
        if header:
            found.add(header[1].lower())
        elif not line.startswith((" ", "\t", "From ")) or not line.strip():
            break
    known = found & _KNOWN
    return len(known) >= 3 and bool(known & {"from", "mime-version", "received"})


def unpack(document: Document) -> Unpacked:
    """Return the text and the attachments of a message; pictures of its layout are left out.

    Raises:
        InputError: It has more parts, or is nested deeper, than a message with a report is.
    """
    name = document.name
    refuse_large(name, len(document.data), _MAX_BYTES, "a message")
    refuse_many(name, len(_BRANCH.findall(document.data)), _MAX_PARTS, "parts in a message")
    import email

    try:
        message = email.message_from_bytes(document.data)
        leaves = _leaves(message, 0)
    except RecursionError:
        raise InputError(f"{name}: the message is nested too deep.", remedy=_REMEDY) from None
    refuse_many(name, len(leaves), _MAX_PARTS, "parts in a message")
    kept = [leaf for leaf in leaves if not _is_left_out(leaf)]
    parts = [_part(leaf, f"{name}/{_title(leaf, n)}") for n, leaf in enumerate(kept, start=1)]
    subject = _subject(message, name)
    left = tuple(_left_out(name, leaf) for leaf in leaves if _is_left_out(leaf))
    return Unpacked(parts=(*subject, *(p for p in parts if p.data.strip())), findings=left)


def _leaves(message: "Message", depth: int) -> list["Message"]:
    """Return the parts that hold something themselves; of alternatives the best one."""
    if depth > _MAX_NESTING:
        raise RecursionError
    if not message.is_multipart():
        return [message]
    inner = message.get_payload()
    found = [_leaves(m, depth + 1) for m in inner if not isinstance(m, str)]
    if message.get_content_subtype() == "alternative" and found:
        return max(found, key=_rank)
    return [leaf for leaves in found for leaf in leaves]


def _rank(leaves: list["Message"]) -> int:
    """Order alternatives: a page with a table, then text, then any other page."""
    content = _bytes(leaves[0]) if leaves else b""
    if leaves and leaves[0].get_content_type() == "text/html":
        return 3 if b"<table" in content.lower() else 1
    return 2 if content.strip() else 0


def _bytes(leaf: "Message") -> bytes:
    """Return a part's content, its transfer encoding undone; text as UTF-8."""
    content = leaf.get_payload(decode=True)
    if not isinstance(content, bytes):
        return b""
    charset = leaf.get_content_charset()
    if charset is None or leaf.get_content_maintype() != "text":
        return content
    try:
        return content.decode(charset).encode("utf-8")
    except (LookupError, ValueError):  # a wrong or unknown charset: let it be found out
        return content


def _part(leaf: "Message", name: str) -> Part:
    return Part(data=_bytes(leaf), name=name)


def _title(leaf: "Message", number: int) -> str:
    given = leaf.get_filename()
    return given if given else f"part {number}"


def _is_left_out(leaf: "Message") -> bool:
    kind = leaf.get_content_type()
    layout = leaf.get_content_maintype() == "image" and leaf.get("Content-ID") is not None
    return layout or kind in _LEFT_OUT or leaf.get_content_maintype() in ("audio", "video", "font")


def _left_out(name: str, leaf: "Message") -> Finding:
    return Finding(
        code="attachment-left-out",
        severity="note",
        message="A part of the message holds no report and was left out: "
        f"{leaf.get_filename() or 'without a name'} ({leaf.get_content_type()}).",
        remedy="If it is the report, save it as a file and read that.",
        origin=Origin(file=name),
    )


def _subject(message: "Message", name: str) -> tuple[Part, ...]:
    """Return the subject line as a part of its own: it often names the car."""
    from email.errors import MessageError
    from email.header import decode_header, make_header

    raw = str(message.get("Subject", ""))
    try:
        subject = str(make_header(decode_header(raw)))
    except (LookupError, ValueError, MessageError):
        subject = raw
    line = " ".join(subject.encode("utf-8", "replace").decode().split())
    return (Part(data=f"Subject: {line}".encode(), name=f"{name}/subject"),) if line else ()


IMPORTER = Importer(format="mail", claims=claims, unpack=unpack)
