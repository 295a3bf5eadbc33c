"""What can be measured of the pictures of a case: their size, their contrast, which are the same.

Nothing here says what a picture is of. A picture that is tiny, of one colour, or cannot be opened
shows nothing to anybody; one that was stored anew under another name is still one picture.
"""

import hashlib
import io
import warnings
from collections.abc import Callable, Mapping

import msgspec
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from squibwise.catalog.load import Catalog
from squibwise.documents.attached import draw_pdf
from squibwise.documents.photographs import LARGEST_COPY, plain_copy
from squibwise.model.case import Case, Picture
from squibwise.model.evidence import Photo, Recorder
from squibwise.model.report import Report

FORMATS = ("JPEG", "PNG", "WEBP", "GIF", "TIFF")
MOST_PIXELS, LONGEST_SIDE = 60_000_000, 30_000
MOST_BYTES = 100_000_000  # of a picture unpacked; a JPEG is opened no larger than is needed
FREE_PIXELS, PIXELS_A_BYTE = 8_000_000, 2_000  # a page of print, packed well, has some 700
_SMALL, _TINY = 64, 16
LARGEST_FILE = 40_000_000  # bytes of a file that is looked at
SHORTEST_TEXT = 20  # characters below which a text that a note names says nothing
Grey = NDArray[np.float64]


def look_at(data: bytes) -> tuple[Picture, Grey | None]:
    """Return what can be measured of a picture, and what it looks like in 16 by 16 grey levels.

    Size 0, and no looks, where it cannot be opened: no picture, cut short, of a format that is not
    read here, or larger unpacked than what a camera takes.
    """
    try:
        with warnings.catch_warnings(), Image.open(io.BytesIO(data), formats=FORMATS) as image:
            warnings.simplefilter("ignore")
            width, height = image.size
            if _is_huge(image, len(data)):
                return Picture(), None
            image.draft("L", (4 * _SMALL, 4 * _SMALL))  # a JPEG is opened no larger than needed
            grey = image.convert("L")
            small = grey.resize((_SMALL, _SMALL), Image.Resampling.BOX)
            tiny = small.resize((_TINY, _TINY), Image.Resampling.BOX)
    except (OSError, ValueError, SyntaxError, EOFError, Image.DecompressionBombError):
        return Picture(), None
    contrast = float(np.asarray(small, dtype=float).std())
    measured = Picture(width=width, height=height, contrast=round(contrast, 2))
    return measured, np.asarray(tiny, dtype=float)


def _is_huge(image: Image.Image, size: int) -> bool:
    """Return whether a picture unpacks to more than a photograph or a scan on paper does."""
    pixels = image.width * image.height
    a_pixel = {"JPEG": 1, "WEBP": 8}.get(image.format or "", len(image.getbands()))
    most = min(MOST_PIXELS, MOST_BYTES // a_pixel, FREE_PIXELS + PIXELS_A_BYTE * size)
    return pixels > most or max(image.size) > LONGEST_SIDE


def find_same(looks: Mapping[str, Grey], enough: float) -> dict[str, str]:
    """Return, by path, the first of the files before it that is the same picture stored anew.

    Args:
        looks: Grey levels by path, as ``look_at`` gives them, in the order of the case.
        enough: Correlation from which on two are the same, also turned or mirrored. [0 to 1]
    """
    names = [name for name, grey in looks.items() if grey.std() > 0]
    if not names:
        return {}
    plain = np.stack([_levelled(looks[name]) for name in names])
    turned = [np.stack([_levelled(t) for t in _turns(looks[name])]) for name in names]
    found: dict[str, str] = {}
    for n, name in enumerate(names[1:], start=1):
        likeness = (turned[n] @ plain[:n].T).max(axis=0)
        if likeness.max() >= enough:
            first = names[int(np.argmax(likeness >= enough))]
            found[name] = found.get(first, first)
    return found


def _turns(grey: Grey) -> list[Grey]:
    return [np.rot90(side, n) for side in (grey, np.fliplr(grey)) for n in range(4)]


def _levelled(grey: Grey) -> Grey:
    """Return grey levels whose product with those of another picture is their correlation."""
    level: Grey = (grey - grey.mean()).ravel()
    level /= np.linalg.norm(level)
    return level


def take_pictures(
    case: Case, read: Callable[[str], bytes], catalog: Catalog
) -> tuple[Case, dict[str, bytes]]:
    """Return the case with what its record says of its pictures, and the copies that it holds.

    A copy is the picture without what the camera wrote into the file. What is another file than
    was handed in has none, and nothing is measured of it.

    Args:
        case: The case, with the hash of each file as it was handed in.
        read: Gives the content of a file of the case; nothing where it is not there or too large.
        catalog: For how alike two pictures are that are the same.
    """
    photographs = {e.file for e in case.evidence if isinstance(e, Photo)}
    read_already = {e.file for e in case.evidence if isinstance(e, Report | Recorder)}
    copies: dict[str, bytes] = {}
    pictures: dict[str, Picture] = {}
    looks: dict[str, Grey] = {}
    for file in [f for f in case.files if f in photographs or f not in read_already]:
        data = read(file)
        copy = plain_copy(data) if len(data) <= LARGEST_COPY and file in photographs else None
        if copy is not None and _digest(data) == case.files[file]:
            copies[file] = copy
        measured, grey = _look_at_file(data, is_picture=file in photographs)
        if measured is not None:
            pictures[file] = measured
        if grey is not None:
            looks[file] = grey
    same = find_same(looks, catalog.fact("picture.same").number())
    told = {
        f: msgspec.structs.replace(p, same_as=same.get(f, "")) for f, p in sorted(pictures.items())
    }
    digests = {file: _digest(copy) for file, copy in sorted(copies.items())}
    return msgspec.structs.replace(case, copies=digests, pictures=told), copies


def _look_at_file(data: bytes, *, is_picture: bool) -> tuple[Picture | None, Grey | None]:
    """Return what is measured of a file: of a PDF its first page, of a text only whether it is one.

    None = nothing is measured of such a document, and it may show something.
    """
    if data.startswith(b"%PDF-"):
        return look_at(draw_pdf(data))
    if is_picture or plain_copy(data) is not None:
        return look_at(data)
    return (Picture(), None) if len(data.strip()) < SHORTEST_TEXT else (None, None)


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
