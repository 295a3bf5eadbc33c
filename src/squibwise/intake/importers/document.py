"""A document on its way to an importer, and what an importer is."""

from collections.abc import Callable

import msgspec

from squibwise.intake.importers.base import Extract
from squibwise.model.origin import Finding


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
