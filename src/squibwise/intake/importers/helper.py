"""The helper process: reads one document from standard input and answers on standard output."""

import sys

import msgspec

from squibwise.errors import SquibwiseError, UnavailableError
from squibwise.intake.importers.base import Answer, Document, Importer, limit_this_process
from squibwise.intake.importers.choose import importer_of
from squibwise.intake.importers.text import decode

_ROOMY_MIB = 1_024


def main(format_: str, name: str) -> None:
    """Read standard input with one importer; a crash here is the parent's answer too."""
    importer = importer_of(format_)
    if importer.memory_mib < _ROOMY_MIB:
        sys.modules["numpy"] = None  # type: ignore[assignment]  # its threads alone want more
    limit_this_process(importer.memory_mib, importer.seconds)
    data = sys.stdin.buffer.read()
    sys.stdout.buffer.write(msgspec.json.encode(answer(importer, data, name)))


def answer(importer: Importer, data: bytes, name: str) -> Answer:
    """Return what an importer says to a document."""
    if importer.read is None:
        return Answer(message=f"{name}: {importer.format} is not read in a helper.")
    try:
        text = None if importer.binary else decode(data, name)[0]
        return Answer(extract=importer.read(Document(data=data, name=name, text=text)))
    except SquibwiseError as stop:
        missing = isinstance(stop, UnavailableError)
        return Answer(message=str(stop), remedy=stop.remedy, unavailable=missing)
    except MemoryError:
        return Answer(
            message=f"{name}: the {importer.format} file asks for more memory than a report needs.",
            remedy="Save the report as text and read that.",
        )


if __name__ == "__main__":
    main(*sys.argv[1:3])
