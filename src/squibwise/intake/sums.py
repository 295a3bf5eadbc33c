"""Numbers and sums as people write them: a point or a comma before the cents, thousands apart."""

import re
from collections.abc import Iterable
from decimal import Decimal

from squibwise.intake.patterns import pattern

_NUMBER = pattern(r"-?\d[\d\s.,'\u2019]*")
_CENTS = pattern(r"\d([.,])\d\d?(?!\d)(?![.,]\d)")
_GROUPED = pattern(r"(?<![\d.,])[1-9]\d{0,2}([.,])\d{3}(?![\d.,])")
_WRITTEN = pattern(
    r"-?(?:\d+(?:[.,]\d+)?|\d{1,3}(?:\.\d{3})+(?:,\d+)?|\d{1,3}(?:,\d{3})+(?:\.\d+)?)"
)
_APART = pattern(r"[\s'\u2019]")
_THOUSANDS = pattern(r"-?\d{1,3}(?:[\s'\u2019]\d{3})+(?:[.,]\d+)?")
_OTHER = {".": ",", ",": "."}


def read_number(text: str, point: str | None = None) -> Decimal | None:
    """Return a number written 1,234.50, 1.234,50, 1 234,50 or 1234.5; None when it is not one.

    Args:
        text: What is written, with or without signs.
        point: Sign that stands before the cents, where that is known.
    """
    found = _NUMBER.findall(text)
    if len(found) != 1:
        return None
    written = found[0].strip().rstrip(".,")
    if _APART.search(written) and not _THOUSANDS.fullmatch(written):
        return None
    digits = _APART.sub("", written)
    if not _WRITTEN.fullmatch(digits):
        return None
    last = max(digits.rfind("."), digits.rfind(","))
    if last >= 0:
        whole, tail = re.sub(r"[.,]", "", digits[:last]), digits[last + 1 :]
        alone = digits[last] != point if point else digits[last] == ","
        grouped = len(tail) == 3 and (digits.count(digits[last]) > 1 or alone)
        digits = whole + tail if grouped else f"{whole}.{tail}"
    return Decimal(digits)


def plain_sum(text: str, point: str) -> str:
    """Return a cell whose one number is written with a point before its cents and no other sign.

    Args:
        text: What is written, with or without signs of money; one without a number stays.
        point: Sign that stands before the cents.
    """
    if may_be_thousands(text, point):
        return text.replace(point, ".")  # left as doubtful as it is
    number = read_number(text, point)
    return text if number is None else _NUMBER.sub(f"{number:.2f} ", text, count=1).strip()


def may_be_thousands(text: str, point: str = "") -> bool:
    """Tell whether a sum such as 1.189 may be meant a thousand times as large: no cents have three.

    Args:
        text: What is written.
        point: Sign that stands before the cents; empty = that is not known.
    """
    found = _GROUPED.search(text)
    return found is not None and found[1] == (point or ".")


def find_point(cells: Iterable[str], *, whole_cars: bool = False) -> str:
    """Return the sign that stands before the cents of a sheet's sums; empty = they do not tell.

    Args:
        cells: Sums of the sheet.
        whole_cars: They are sums of cars, so three digits after a sign are thousands where no sum
            of the sheet has cents.
    """
    known = list(cells)
    found = {c[1] for cell in known for c in [_CENTS.search(cell)] if c}
    if not found and whole_cars:
        found = {_OTHER[c[1]] for cell in known for c in [_GROUPED.search(cell)] if c}
    return found.pop() if len(found) == 1 else ""
