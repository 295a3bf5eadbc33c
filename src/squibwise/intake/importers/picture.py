"""Pictures of a screen to lines."""

import importlib
import importlib.util
import re
import struct
from collections.abc import Callable, Sequence
from typing import Any

import msgspec

from squibwise.errors import InputError, UnavailableError
from squibwise.intake.importers.base import Document, Extract, Importer, RawLine
from squibwise.intake.importers.pages import Marks, PageLine, Segment, rows_of
from squibwise.intake.importers.text import row_lines
from squibwise.intake.patterns import pattern
from squibwise.model.origin import Finding, Origin

_TOKEN = pattern(
    r"(?<![\w-])([PCBU8])([0-3OoIl|])([0-9A-FOoIl|]{3})(?:([-:])([0-9A-FOoIl|]{2}))?(?![\w|-])"
)
_DIGITS = str.maketrans({"O": "0", "o": "0", "I": "1", "l": "1", "|": "1"})
_TRUE_DIGITS = 2  # a word such as "BOIL" has none


def repair_codes(text: str) -> tuple[str, tuple[tuple[str, str], ...]]:
    """Return a text with mistaken signs in codes put right, and each change.

    >>> repair_codes("BOO01-1B open")
    ('B0001-1B open', (('BOO01-1B', 'B0001-1B'),))
    >>> repair_codes("80001-1B open")[0]
    'B0001-1B open'
    >>> repair_codes("80001 open")
    ('80001 open', ())
    """
    changes: list[tuple[str, str]] = []

    def put_right(found: re.Match[str]) -> str:
        repaired = _repaired(found)
        if repaired != found[0]:
            changes.append((found[0], repaired))
        return repaired

    return _TOKEN.sub(put_right, text), tuple(changes)


def _repaired(found: re.Match[str]) -> str:
    first, second, rest, sign, failure = found.groups()
    if sum(c.isdigit() for c in f"{second}{rest}{failure or ''}") < _TRUE_DIGITS:
        return found[0]
    if first == "8":
        if failure is None:  # five digits are a code of another style
            return found[0]
        first = "B"
    tail = f"{sign}{failure.translate(_DIGITS)}" if failure else ""
    return f"{first}{f'{second}{rest}'.translate(_DIGITS)}{tail}"


_MARKS = (
    b"\x89PNG\r\n\x1a\n",
    b"\xff\xd8\xff",
    b"GIF87a",
    b"GIF89a",
    b"II*\x00",
    b"MM\x00*",
)
_LIBRARY = "rapidocr_onnxruntime"
_MAX_PIXELS = 40_000_000
_MAX_PAGES, _MAX_SIDE, _DOTS_PER_INCH = 3, 4_000, 200
_SAME_LINE = 0.5  # of the height of a line
_TYPE = "Type its lines off into a text file, or save the report as text or PDF."

Box = tuple[Sequence[Sequence[float]], str, float]


def claims(document: Document) -> bool:
    """Tell whether the mark of a picture stands at its beginning."""
    data = document.data
    is_bitmap = data.startswith(b"BM") and data[6:10] == b"\x00" * 4
    is_web = data.startswith(b"RIFF") and data[8:12] == b"WEBP"
    is_phone = data[4:8] == b"ftyp" and data[8:12] in (b"heic", b"heix", b"mif1", b"avif")
    return data.startswith(_MARKS) or is_bitmap or is_web or is_phone


def read(document: Document) -> Extract:
    """Return the lines seen in a picture, each to be confirmed by a person.

    Raises:
        UnavailableError: The optional part that reads pictures is not installed.
        InputError: The picture is too large, or nothing was seen in it.
    """
    _refuse_huge(document)
    boxes, _ = _reader(document.name)(document.data)
    return seen(boxes or (), document.name)


def read_pages(document: Document) -> Extract:
    """Return the lines seen on the pages of a PDF without text. Raises as ``read``."""
    import pypdfium2

    reader = _reader(document.name)
    pdf = pypdfium2.PdfDocument(document.data)
    boxes: list[Box] = []
    for number in range(min(len(pdf), _MAX_PAGES)):
        page = pdf[number]
        scale = min(_DOTS_PER_INCH / 72, (_MAX_SIDE / max(*page.get_size(), 1.0)))
        found, _ = reader(page.render(scale=scale).to_numpy())
        boxes += (_lower(box, number * 2.0 * _MAX_SIDE) for box in found or ())
    read_off = seen(boxes, document.name)
    unseen = (_unseen(document.name, len(pdf)),) if len(pdf) > _MAX_PAGES else ()
    return msgspec.structs.replace(read_off, findings=unseen + read_off.findings)


def _unseen(name: str, pages: int) -> Finding:
    return Finding(
        code="picture-page",
        severity="error",
        message=f"Only the first {_MAX_PAGES} of {pages} pages, which are pictures, were read.",
        remedy=f"Save the other pages as files of their own. Or: {_TYPE}",
        origin=Origin(file=name),
    )


def is_installed() -> bool:
    """Tell whether the optional part that reads pictures is there."""
    return importlib.util.find_spec(_LIBRARY) is not None


def _lower(box: Box, by: float) -> Box:
    corners, text, certainty = box
    return [(x, y + by) for x, y in corners], text, certainty


def _reader(name: str) -> Callable[[Any], tuple[Sequence[Box] | None, Any]]:
    try:
        library = importlib.import_module(_LIBRARY)
    except ImportError:
        raise UnavailableError(
            f"{name}: this is a picture, and the optional part that reads pictures "
            "is not installed.",
            remedy=f"Install it with pip install 'squibwise[pictures]'. Or: {_TYPE}",
        ) from None
    reader: Callable[[Any], tuple[Sequence[Box] | None, Any]] = library.RapidOCR()
    return reader


def seen(boxes: Sequence[Box], name: str) -> Extract:
    """Return the lines of text boxes, codes repaired, each with a finding to confirm it.

    Args:
        boxes: Corners, text and certainty of each stretch of text.
        name: The picture's name.

    Raises:
        InputError: There is no text in it.
    """
    lines: list[RawLine] = []
    findings: list[Finding] = []
    for row in rows_of(_lines(boxes), Marks(glyphs=())):
        number = len(lines) + 1
        repaired = [repair_codes(cell.text) for cell in row.cells]
        changes = [change for _, changed in repaired for change in changed]
        made = row_lines(number, [text for text, _ in repaired])[:1]
        if not made:
            continue
        lines += made
        findings.append(_confirm(name, number, lines[-1].text, changes))
    if not lines:
        raise InputError(f"{name}: no text was seen in the picture.", remedy=_TYPE)
    return Extract(lines=tuple(lines), findings=tuple(findings), format="picture")


def _lines(boxes: Sequence[Box]) -> list[PageLine]:
    groups: list[list[tuple[float, float, Segment]]] = []
    for y, size, segment in sorted(map(_placed, boxes), key=lambda b: b[0]):
        if groups and y - groups[-1][0][0] <= _SAME_LINE * size:
            groups[-1].append((y, size, segment))
        else:
            groups.append([(y, size, segment)])
    return [
        PageLine(y=g[0][0], size=g[0][1], segments=tuple(sorted((s for _, _, s in g), key=_left)))
        for g in groups
    ]


def _left(segment: Segment) -> float:
    return segment.x0


def _placed(box: Box) -> tuple[float, float, Segment]:
    """Return the middle, the height and the stretch of a text box."""
    corners, text, _ = box
    xs, ys = [float(c[0]) for c in corners], [float(c[1]) for c in corners]
    segment = Segment(x0=min(xs), x1=max(xs), text=" ".join(text.split()))
    return (min(ys) + max(ys)) / 2, max(max(ys) - min(ys), 1.0), segment


def _confirm(name: str, number: int, text: str, changes: Sequence[tuple[str, str]]) -> Finding:
    changed = "".join(f" '{a}' was taken for '{b}'." for a, b in changes)
    return Finding(
        code="confirm-line",
        severity="warning",
        message=f"Read off a picture: {' '.join(text.split())!r}.{changed}",
        remedy="Compare it with the picture, sign by sign, before relying on it.",
        origin=Origin(file=name, line=number),
    )


def _refuse_huge(document: Document) -> None:
    pixels = _pixels(document.data)
    if pixels > _MAX_PIXELS:
        raise InputError(
            f"{document.name}: the picture has {pixels / 1e6:.0f} million points, "
            f"more than {_MAX_PIXELS / 1e6:.0f} million.",
            remedy="Make it smaller, so that the text is still well readable.",
        )


def _pixels(data: bytes) -> int:
    """Return how many points a PNG, GIF or BMP says it has; 0 for other kinds."""
    try:
        if data.startswith(b"\x89PNG"):
            width, height = struct.unpack(">II", data[16:24])
        elif data.startswith(b"GIF8"):
            width, height = struct.unpack("<HH", data[6:10])
        elif data.startswith(b"BM"):
            width, height = struct.unpack("<Ii", data[18:26])
        else:
            return 0
    except struct.error:
        return 0
    return int(abs(width * height))


IMPORTER = Importer(
    format="picture",
    claims=claims,
    read=read,
    binary=True,
    apart=True,
    seconds=60,
    memory_mib=4_096,
)

PAGES = Importer(
    format="pdf-picture",
    claims=lambda document: False,  # asked for only when a PDF turned out to hold no text
    read=read_pages,
    binary=True,
    apart=True,
    seconds=90,
    memory_mib=4_096,
)
