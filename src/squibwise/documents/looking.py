"""What can be measured of the pictures of a case: their size, their contrast, which are the same.

Nothing here says what a picture is of. A picture that is tiny, of one colour, or cannot be opened
shows nothing to anybody; one that was stored anew under another name is still one picture.
"""

import io
import warnings
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from squibwise.model.case import Picture

FORMATS = ("JPEG", "PNG", "WEBP", "GIF", "TIFF")
ENDINGS = tuple(".jpg .jpeg .png .webp .gif .tif .tiff .heic .mp4 .mov".split())
MOST_PIXELS = 60_000_000
_SMALL, _TINY = 64, 16
Grey = NDArray[np.float64]


def look_at(data: bytes) -> tuple[Picture, Grey | None]:
    """Return what can be measured of a picture, and what it looks like in 16 by 16 grey levels.

    Size 0, and no looks, where it cannot be opened: no picture, cut short, of a format that is not
    read here, or larger than 60 million pixels.
    """
    try:
        with warnings.catch_warnings(), Image.open(io.BytesIO(data), formats=FORMATS) as image:
            warnings.simplefilter("ignore")
            width, height = image.size
            if width * height > MOST_PIXELS:
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
