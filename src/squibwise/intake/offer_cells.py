"""One row of a sheet of offers: what its cells say, or why they cannot be used."""

import datetime as dt
import math
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.intake.columns import read_currencies
from squibwise.intake.importers.base import RawLine
from squibwise.intake.patterns import pattern
from squibwise.intake.sums import may_be_thousands, read_number
from squibwise.model.cost import Money, from_major
from squibwise.model.market import (
    CONDITIONS,
    LINE_STATES,
    MOST_DAYS,
    Condition,
    Days,
    LineState,
    Offer,
)
from squibwise.model.origin import Origin

ANSWERED = ("vin", "stages", "connectors")
"""What a request tells besides the side, under ``asked-`` and the word."""
NEEDED = ("part", "supplier", "price")
_LEADS = frozenset(("lead", "lead-low", "lead-high"))
_DAY = pattern(r"\d{4}-\d\d-\d\d|\d\d?[./]\d\d?[./]\d{2,4}")
_FORMULA = pattern(r"=(?:\$?[A-Z]{1,3}\$?\d|[^(]*\(|\d)")
_DOTTED = pattern(r"(\d\d?)\.(\d\d?)\.(\d{4})")
_RANGE = pattern(r"(\d+)\s*(?:[-\u2013]|to|\.\.|bis|[a\u00e0]|do|at\u00e9|ate)\s*(\d+)", re.I)
_NUMBER = pattern(r"(?<![\w.,])\d{1,2}(?![\w.,])")
_COUNTED = pattern(r"(?<![\w.,])(\d{1,2})[ \t-]*([^\W\d_]+)")
_BRACKETS = pattern(r"\([^()]*\)")
_LARGEST_SET = 12
_UNIT_DAYS = {
    "hour": Fraction(1, 24),
    "working-day": Fraction(7, 5),
    "week": Fraction(7),
    "month": Fraction(30),
}
Cells = Mapping[str, str]


class BadCellError(Exception):
    """A cell that cannot be used; its text says what is wrong."""


class Reader(msgspec.Struct, frozen=True):
    """What every row is read with.

    Attributes:
        said: Currencies that a heading may name, by column.
        point: Sign before the cents in this sheet; empty = its prices do not tell.
        lead_in: Unit of lead times that the heading names; empty = days.
    """

    catalog: Catalog
    currency: str
    name: str
    said: Mapping[str, frozenset[str]]
    point: str
    lead_in: str


def read_offer(cells: Cells, line: RawLine, reader: Reader) -> Offer:
    """Return the offer of a row.

    Raises:
        BadCellError: A cell cannot be used.
    """
    for word in NEEDED:
        if word not in cells:
            raise BadCellError(f"no {word} is given")
        if _FORMULA.match(cells[word]):
            raise BadCellError(f"the {word} '{cells[word]}' is a formula: write what it comes to")
    _refuse_pairs(cells, reader)
    cells, pieces = _read_set(cells, reader)
    meant = _condition(cells.get("condition", "new"), reader)
    used = reader.catalog.fact("market.used-fails").number()
    return Offer(
        id=cells.get("offer", f"line-{line.number}"),
        fits=_part(cells),
        supplier=" ".join(cells["supplier"].split()),
        price=_money(cells["price"], "price", cells, reader, above=0),
        condition=meant,
        part_number=cells.get("part-number", ""),
        pieces=pieces,
        quantity=_whole(cells["quantity"], "quantity", 1) if "quantity" in cells else None,
        lead=_lead(cells, reader),
        donor_vin=cells.get("donor-vin", "").replace(" ", "").upper(),
        documents=_documents(cells.get("documents", ""), reader),
        fails=_share(cells["fails"], "fails") if "fails" in cells else used * (meant != "new"),
        return_days=_whole(cells["return-days"], "return days", 0)
        if "return-days" in cells
        else None,
        restock=_share(cells.get("restock", "0"), "restock"),
        state=_state(cells.get("state", "quoted"), reader),
        quoted_on=_date(cells.get("quoted-on")),
        ordered_on=_date(cells.get("ordered-on")),
        label_number=cells.get("label-number", "").strip(),
        label_side=_side(cells.get("label-side", ""), reader),
        label_what=cells.get("label-what", "").strip(),
        answered=_answered(cells),
        origin=Origin(file=reader.name, line=line.number, raw=line.text),
    )


def _part(cells: Cells) -> str:
    """Return what an offer is for, with the side that stands in a column of its own."""
    part, side = cells["part"], cells.get("side", "")
    return part if not side or "@" in part else f"{part}, {side}"


def _answered(cells: Cells) -> dict[str, str]:
    """Return what an answered request says of what was asked for: its part is named by a key."""
    if "@" not in cells["part"]:
        return {}
    told = {w: cells.get(f"asked-{w}", "").strip() for w in ANSWERED}
    told["side"] = cells.get("side", "").strip()
    return {w: text for w, text in told.items() if text}


def _refuse_pairs(cells: Cells, reader: Reader) -> None:
    """Refuse a row that is priced by the pair: what one of them costs is not said."""
    market, unit = reader.catalog.market, cells.get("unit", "")
    told = re.findall(r"[^\W\d_]+", f"{cells['price']} {unit}")
    words = (*re.findall(r"[^\W\d_]+", cells["part"]), *told, unit)
    is_pair = any(market.meaning("pair", w) for w in words)
    if is_pair or any(market.meaning("pair-unit", w) for w in (*told, unit.strip(" ."))):
        raise BadCellError("it is priced by the pair: write a row for each part with its own price")


def _read_set(cells: Cells, reader: Reader) -> tuple[Cells, int]:
    """Return a row whose part is named without its count, and how many pieces its price is for.

    1 = no set, 0 = a set of nobody says how many.

    Raises:
        BadCellError: Several pieces are named that are not called a set: the price may be of one.
    """
    part, unit = cells["part"], cells.get("unit", "")
    is_set = _has(f"{part} {unit} {cells['price']}", "set", reader)
    counted = [
        int(n) for n, word in _COUNTED.findall(f"{part} {unit}") if _has(word, "piece", reader)
    ]
    numbers = counted or ([int(n) for n in _NUMBER.findall(f"{part} {unit}")] if is_set else [])
    several = [n for n in numbers if 2 <= n <= _LARGEST_SET]
    if several and not is_set and "quantity" not in cells:
        raise BadCellError(
            f"the price may be of one or of all {several[0]}: write 'set' beside it, or the "
            "quantity and the price of one"
        )
    if not (is_set or several):
        return cells, 1
    pieces = (several or [0])[0] if is_set else 1
    return {**cells, "part": _without_count(part, several, reader)}, pieces


def _has(text: str, column: str, reader: Reader) -> bool:
    """Does a text hold a word of a column."""
    meaning = reader.catalog.market.meaning
    return any(meaning(column, w) is not None for w in re.findall(r"[^\W\d_]+", text))


def _without_count(part: str, counts: Sequence[int], reader: Reader) -> str:
    """Return the name of a part without what says how many: in brackets, or as a number."""
    if "@" in part:
        return part.split()[0]
    kept = _BRACKETS.sub(
        lambda b: "" if any(_has(b[0], c, reader) for c in ("set", "piece")) else b[0], part
    )
    kept = _COUNTED.sub(
        lambda c: "" if _has(c[2], "piece", reader) and int(c[1]) in counts else c[0], kept
    )
    kept = _NUMBER.sub(lambda n: "" if int(n[0]) in counts else n[0], kept)
    return " ".join(kept.replace(" -", " ").split()).strip(" ,;")


def _condition(text: str, reader: Reader) -> Condition:
    """Return the condition that a cell tells; a word for an earlier life counts before 'new'."""
    words = re.findall(r"\w+", text.lower())
    told = [text, *words, *(f"{a} {b}" for a, b in pairwise(words))]
    meant = {reader.catalog.market.meaning("condition", w) for w in told}
    for condition in reversed(CONDITIONS):
        if condition in meant:
            return condition
    raise BadCellError(f"'{text}' is no condition: write new, recycled or rebuilt")


def read_terms(cells: Cells, reader: Reader) -> dict[str, Money]:
    """Return the shipping terms that a row states."""
    words = ("shipping", "free-from", "dangerous")
    return {w: _money(cells[w], w, cells, reader) for w in words if w in cells}


def _money(text: str, what: str, cells: Cells, reader: Reader, above: int = -1) -> Money:
    currency, asked = reader.currency, cells.get("currency", "")
    if asked and not read_currencies(asked, reader.catalog):
        raise BadCellError(f"'{asked}' is no currency: write {currency}")
    named = read_currencies(text, reader.catalog) or read_currencies(asked, reader.catalog)
    named = named or reader.said.get(what, frozenset((currency,)))
    if currency not in named:
        told = f"is in {min(named)}" if len(named) == 1 else f"'{text}' is in another currency"
        raise BadCellError(f"the {what} {told}, the case in {currency}")
    amount = _number(text, what, reader.point)
    if amount < 0 or from_major(amount, currency).minor <= above:
        raise BadCellError(f"the {what} '{text}' is not above nothing")
    return from_major(amount, currency)


def _number(text: str, what: str, point: str | None = None) -> Decimal:
    """Return the one number of a cell; ``point`` is the sign before the cents where it is known."""
    number = read_number(text, point)
    if number is None:
        raise BadCellError(f"the {what} '{text}' is not one number")
    if point is not None and may_be_thousands(text, point):
        raise BadCellError(f"the {what} '{text}' may be {number} or a thousand times as much")
    return number


def _whole(text: str, what: str, least: int) -> int:
    number = _number(text, what)
    if number != int(number) or number < least:
        raise BadCellError(f"the {what} '{text}' is not a whole number from {least}")
    return int(number)


def _share(text: str, what: str) -> float:
    """Return a share written ``8 %``, ``8`` (per cent) or ``0.08``."""
    number = float(_number(text, what))
    share = number / 100.0 if "%" in text or number > 1.0 else number
    if not 0.0 <= share < 1.0:
        raise BadCellError(f"'{text}' is no share for {what}")
    return share


def tells_lead(cells: Cells) -> bool:
    """Does a row tell a lead time: 'in stock' and 'on request' are none."""
    return any(re.search(r"\d", cells[w]) for w in _LEADS & set(cells))


def find_lead_unit(text: str, catalog: Catalog) -> str:
    """Return the unit that a lead time is told in; empty = none is named."""
    words = re.findall(r"[^\W\d_]+", text)
    told = [*(f"{a} {b}" for a, b in pairwise(words)), *words]
    return next((u for w in told if (u := catalog.market.meaning("lead-unit", w))), "")


def _in_days(count: int, unit: str) -> int:
    """Return days of the calendar; five days of work are seven of them."""
    return math.ceil(count * _UNIT_DAYS.get(unit, Fraction(1)))


def _lead(cells: Cells, reader: Reader) -> Days:
    if not tells_lead(cells):
        is_there = reader.catalog.market.meaning("lead-word", cells.get("lead", "")) is not None
        usual = reader.catalog.fact("market.lead-in-stock" if is_there else "market.lead-unknown")
        return Days(low=int(usual.low or 0), likely=int(usual.number()), high=int(usual.high or 0))
    written = cells.get("lead", "")
    if _DAY.search(written):
        raise BadCellError(f"the lead days '{written}' are a date: write how many days it takes")
    unit = find_lead_unit(written, reader.catalog) or reader.lead_in
    both = _RANGE.search(written)
    if both:
        low, high = (_in_days(int(n), unit) for n in both.groups())
        likely = round((low + high) / 2)
    elif written:
        likely = _in_days(_whole(written, "lead days", 0), unit)
        low = high = likely
    elif "lead-low" in cells and "lead-high" in cells:
        low = high = likely = 0
    else:
        raise BadCellError("of the lead time only one end is given")
    low = _whole(cells["lead-low"], "least days", 0) if "lead-low" in cells else low
    high = _whole(cells["lead-high"], "most days", 0) if "lead-high" in cells else high
    likely = likely if written else round((low + high) / 2)
    if high > MOST_DAYS:
        raise BadCellError(f"{high} lead days are more than {MOST_DAYS}")
    if not low <= likely <= high:
        raise BadCellError(f"lead days {low}, {likely}, {high} are out of order")
    return Days(low=low, likely=likely, high=high)


def _documents(text: str, reader: Reader) -> tuple[str, ...]:
    words = [w.strip() for w in re.split(r"[;,/+]", text) if w.strip()]
    meant = (reader.catalog.market.meaning("documents", w) or w.lower() for w in words)
    return tuple(dict.fromkeys(meant))


def _side(text: str, reader: Reader) -> str:
    if not text:
        return ""
    meant = reader.catalog.market.meaning("label-side", text)
    if meant is None:
        raise BadCellError(f"the side '{text}' on the label is neither left nor right")
    return meant


def _state(text: str, reader: Reader) -> LineState:
    word = reader.catalog.market.meaning("line-state", text) or text.strip().lower()
    for state in LINE_STATES:
        if word == state:
            return "quoted" if state == "asked" else state
    raise BadCellError(f"'{text}' is no state of a line: {', '.join(LINE_STATES)}")


def _date(text: str | None) -> dt.date | None:
    if not text:
        return None
    dotted = _DOTTED.fullmatch(text)
    try:
        if dotted:
            return dt.date(*(int(n) for n in dotted.group(3, 2, 1)))
        return dt.date.fromisoformat(text[:10])
    except ValueError:
        raise BadCellError(f"the date '{text}' is not written 2026-03-02") from None
