"""What a report states of itself: its day, the odometer, the unit's serial number."""

import datetime as dt
import re

from squibwise.catalog.load import Catalog
from squibwise.intake.report.sheet import Sheet

_DATED = re.compile(r"\b(?:date|datum|fecha|data)\b", re.IGNORECASE)
_DAY = re.compile(r"(?<!\d)(\d{1,4})([-./])(\d{1,2})\2(\d{2,4})(?!\d)")


def read_days(sheet: Sheet) -> tuple[dt.date, ...]:
    """What the day may be that the first line with a date states: day or month may come first."""
    dated = (ln.text for ln in sheet.lines if not ln.codes and _DATED.search(ln.text))
    for text in dated:
        found = _DAY.search(text)
        if found:
            one, two, three = int(found[1]), int(found[3]), int(found[4])
            late = three + 2000 if three < 100 else three
            orders = ((one, two, three),) if one > 31 else ((late, two, one), (late, one, two))
            return tuple(dict.fromkeys(d for o in orders if (d := _real_day(*o)) is not None))
    return ()


_ODOMETER = re.compile(
    r"\b(?:odometer|mileage|kilometerstand|km-stand|kilom[eé]trage|kilometraje)\b"
    r"[^\w\n]{0,12}(?:\((km|mi)\)[^\w\n]{0,4})?"
    r"(\d+(?:[.,' \u00a0\u202f]\d{3})*)(?!\d)(?:[.,]\d)?\s?(km|mi)?",
    re.IGNORECASE,
)


def read_odometer(sheet: Sheet) -> tuple[int | None, str]:
    """What the first line with an odometer states, and its unit; how a fault was stored is none."""
    for line in sheet.lines:
        found = None if line.codes else _ODOMETER.search(line.text)
        if found:
            digits = re.sub(r"\D", "", found[2])
            return (
                (int(digits), (found[1] or found[3] or "").lower())
                if len(digits) < 8
                else (None, "")
            )
    return None, ""


def _real_day(year: int, month: int, day: int) -> dt.date | None:
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None


def read_serial(sheet: Sheet, catalog: Catalog) -> str:
    """What the first line of no other unit states as a serial number."""
    words = "|".join(map(re.escape, catalog.said.stories["serial"]))
    stated = re.compile(
        rf"(?i)(?<![^\W_])(?:{words})(?![^\W_])[^\w\n]{{0,4}}{_NUMBER_OF}({_SERIAL})"
    )
    found = (stated.search(ln.text) for ln in sheet.lines if ln.unit != "other" and not ln.codes)
    numbers = (re.sub(r"[^0-9A-Z]", "", f[1].upper()) for f in found if f)
    return next((n for n in numbers if len(n) >= _SHORTEST_SERIAL), "")


_NUMBER_OF = r"(?:(?:no|nr|number|num|n[°º])\.?[^\w\n]{1,4})?"
_SERIAL = r"(?=[A-Z-]*\d)[A-Z0-9][A-Z0-9-]*"
_SHORTEST_SERIAL = 5  # characters from which a serial number is one of a kind
