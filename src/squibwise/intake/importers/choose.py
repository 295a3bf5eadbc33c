"""Which importer reads a document: by its content, with its name as a hint only."""

import msgspec

from squibwise.errors import InputError, ModelError, SquibwiseError, UnavailableError
from squibwise.intake.importers import (
    bus_log,
    mail,
    objects,
    pdf,
    picture,
    separated,
    webpage,
    workbook,
)
from squibwise.intake.importers.base import (
    MAX_BYTES,
    MAX_LINES,
    MAX_TEXT_BYTES,
    Document,
    Extract,
    Importer,
    Part,
    RawLine,
    Unpacked,
    read_apart,
    refuse_large,
    refuse_many,
)
from squibwise.intake.importers.text import TEXT, decode, empty
from squibwise.model.origin import Finding, Origin

IMPORTERS: tuple[Importer, ...] = (
    pdf.IMPORTER,
    picture.IMPORTER,
    workbook.IMPORTER,
    bus_log.BLF_LOG,
    bus_log.ASC_LOG,
    bus_log.TEXT_LOG,
    mail.IMPORTER,
    webpage.IMPORTER,
    objects.IMPORTER,
    separated.IMPORTER,
)
_MAX_DEPTH = 4
_HELPER_SECONDS = 4
_ALONE = "Save the attached report as a file and read that."


def importer_of(format_: str) -> Importer:
    """Return the importer of a format.

    Raises:
        ModelError: There is none.
    """
    for importer in (*IMPORTERS, TEXT, picture.PAGES):
        if importer.format == format_:
            return importer
    raise ModelError(f"no importer is called '{format_}'")


def claimants(data: bytes, name: str) -> tuple[str, ...]:
    """Return the formats whose importer claims a document; ``text`` when none does.

    More than one is a fault of the importers.

    Raises:
        InputError: It is empty, too large, or neither text nor a known format.
    """
    return tuple(i.format for i in _claiming(data, name)[0])


def extract(data: bytes, name: str) -> Extract:
    """Return the numbered lines of a document of any format.

    Args:
        data: The file's bytes.
        name: Its name as the user wrote it; used in messages and as a hint.

    Raises:
        InputError: It cannot be read; nothing of it was used.
        UnavailableError: It needs an optional part that is not installed.
    """
    return _extract(data, name, 0, _HELPER_SECONDS)


def _extract(data: bytes, name: str, depth: int, seconds: int) -> Extract:
    """Return the lines of a document that may stand in others, helpers within so many seconds."""
    importers, document, doubts = _claiming(data, name)
    importer = importers[0]
    if importer.unpack is not None:
        found = _contents(importer.unpack(document), name, depth, seconds)
    elif importer.apart or importer.read is None:
        found = read_apart(_hurried(importer, seconds), data, name)
        if not found.lines and importer is pdf.IMPORTER and picture.is_installed():
            found = _seen(found, data, name)
    else:
        found = importer.read(document)
    refuse_large(name, sum(len(li.text) for li in found.lines), MAX_TEXT_BYTES, "a report's text")
    return msgspec.structs.replace(found, findings=doubts + found.findings)


def _hurried(importer: Importer, seconds: int) -> Importer:
    """Return an importer with less time; one that is slow by its nature keeps its own."""
    if importer.seconds > _HELPER_SECONDS:
        return importer
    return msgspec.structs.replace(importer, seconds=min(seconds, importer.seconds))


def _seen(found: Extract, data: bytes, name: str) -> Extract:
    """Return what is seen on the pages of a PDF without text; as it was when nothing is."""
    try:
        return read_apart(picture.PAGES, data, name)
    except InputError:
        return found


def _claiming(data: bytes, name: str) -> tuple[tuple[Importer, ...], Document, tuple[Finding, ...]]:
    """Return the importers that claim a document, the document, and doubts about its text."""
    refuse_large(name, len(data), MAX_BYTES)
    if not data.strip():
        raise empty(name)
    document = Document(data=data, name=name)
    claiming = tuple(i for i in IMPORTERS if i.binary and i.claims(document))
    if claiming:
        return claiming, document, ()
    text, doubts = decode(data, name)
    document = Document(data=data, name=name, text=text)
    claiming = tuple(i for i in IMPORTERS if not i.binary and i.claims(document))
    return claiming or (TEXT,), document, doubts


def _contents(unpacked: Unpacked, name: str, depth: int, seconds: int) -> Extract:
    """Return the lines of everything in a container, numbered on from part to part.

    The parts that need a helper share the seconds there are, so that many attachments take no
    longer than one; those for which none is left are not read, and that is said.
    """
    if depth >= _MAX_DEPTH:
        raise InputError(
            f"{name}: messages are nested more than {_MAX_DEPTH} deep.",
            remedy=_ALONE,
        )
    lines: list[RawLine] = []
    findings = list(unpacked.findings)
    heavy = [part for part in unpacked.parts if _is_heavy(part)]
    share = max(seconds // max(len(heavy), 1), 1)
    for part in unpacked.parts:
        try:
            if part in heavy[seconds:]:
                raise InputError(f"{part.name}: there are too many attachments.", remedy=_ALONE)
            found = _extract(part.data, part.name, depth + 1, share)
            refuse_many(name, len(lines) + len(found.lines), MAX_LINES, "lines")
        except (InputError, UnavailableError) as stop:
            findings.append(_unread(part, stop))
            continue
        start = lines[-1].number if lines else 0
        lines += (_numbered_on(line, start) for line in found.lines)
        if start:
            findings.append(_begins(part, name, start + 1))
        findings += (_moved_on(f, name, start) for f in found.findings)
    if not lines:
        reasons = " ".join(f.message for f in findings)
        raise InputError(
            f"{name}: there is no report in it. {reasons}".strip(),
            remedy=_ALONE,
        )
    return Extract(lines=tuple(lines), findings=tuple(findings), format="mail")


def _is_heavy(part: Part) -> bool:
    """Tell whether a part goes to a helper, or holds parts that may."""
    try:
        importer = _claiming(part.data, part.name)[0][0]
    except InputError:
        return False
    return importer.apart or importer.unpack is not None


def _numbered_on(line: RawLine, start: int) -> RawLine:
    return RawLine(number=line.number + start, text=line.text, cells=line.cells)


def _moved_on(finding: Finding, name: str, start: int) -> Finding:
    line = finding.origin.line
    origin = Origin(file=name, line=line + start) if line else finding.origin
    return msgspec.structs.replace(finding, origin=origin)


def _begins(part: Part, name: str, number: int) -> Finding:
    return Finding(
        code="attachment-begins",
        severity="note",
        message=f"Here begins {part.name}; its lines are numbered on.",
        origin=Origin(file=name, line=number),
    )


def _unread(part: Part, stop: SquibwiseError) -> Finding:
    return Finding(
        code="attachment-unread",
        severity="warning",
        message=f"An attachment was not read: {stop}",
        remedy=stop.remedy,
        origin=Origin(file=part.name),
    )
