"""Values as people write them: numbers with units, rows of numbers, yes and no."""

import math
import re

import msgspec

from squibwise.catalog.crash_data import CrashWords

_NUMBER = r"[-+\u2212]?(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][-+]?\d+)?"
_ONE = re.compile(rf"^\s*({_NUMBER})\s*([^\d\s].*)?$")
_BRACKETS = re.compile(r"[\[(]([^\])]*)[\])]")
_ROW_SPLIT = re.compile(r"[;|\t]|,\s+|\s+|,(?![\d])|(?<=\d),(?=[-+\u2212]?\d)")


class Amount(msgspec.Struct, frozen=True, kw_only=True):
    """A number and the unit word behind it; empty when none was written."""

    number: float
    unit: str = ""


def number(text: str) -> float | None:
    """Return a number, decimal point or comma; None when it is none.

    >>> number("-12,5"), number("x")
    (-12.5, None)
    """
    low = text.strip()
    try:
        value = float(low)
    except ValueError:
        low = low.replace("\u2212", "-")
        return float(low.replace(",", ".")) if re.fullmatch(_NUMBER, low) else None
    return value if math.isfinite(value) and "_" not in low else None


def amount(text: str) -> Amount | None:
    """Return the number a value starts with, and its unit; None when it is no number.

    >>> amount("-27 km/h")
    Amount(number=-27.0, unit='km/h')
    """
    found = _ONE.match(text)
    if found is None:
        return None
    value = number(found[1])
    if value is None:
        return None
    unit = (found[2] or "").strip().strip("[]()").strip()
    return Amount(number=value, unit=unit)


def row(text: str) -> tuple[float, ...] | None:
    """Return a row of at least three numbers; None when it is none.

    >>> row("0, -1.5, -3")
    (0.0, -1.5, -3.0)
    """
    cells = [cell for cell in _ROW_SPLIT.split(text.strip().strip("[]")) if cell.strip()]
    values = [number(cell) for cell in cells]
    if len(values) < 3 or any(value is None for value in values):
        return None
    return tuple(value for value in values if value is not None)


def unit_in(name: str, words: CrashWords) -> str:
    """Return the unit word that a name carries in brackets or as its last part; else empty.

    >>> from squibwise.catalog.load import load_catalog
    >>> words = load_catalog().crash_words
    >>> unit_in("Delta-V, longitudinal (km/h)", words), unit_in("floor_x_g", words)
    ('km/h', 'g')
    """
    inside = [part.strip() for part in _BRACKETS.findall(name)]
    parts = re.split(r"[\s_,]+", _BRACKETS.sub(" ", name).strip())
    last = parts[-1] if len(parts) > 1 else ""
    return next((p for p in (*inside, last) if words.unit_of(p) is not None), "")


def flag(text: str, words: CrashWords) -> bool | None:
    """Return yes or no; None when the value is missing or another word."""
    low = text.strip().casefold()
    if low in words.yes:
        return True
    return False if low in words.no else None
