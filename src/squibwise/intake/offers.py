"""Sheets of offers, CSV or XLSX: columns found by likeness, every bad row told by its line."""

import datetime as dt
import math
import re
from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.intake.columns import (
    ASKED,
    HEADER_ROWS,
    doubt_columns,
    find_header,
    name_currencies,
    read_currencies,
)
from squibwise.intake.importers import separated, text, workbook
from squibwise.intake.importers.base import Document, Extract, RawLine
from squibwise.intake.patterns import pattern
from squibwise.intake.sums import find_point, may_be_thousands, read_number
from squibwise.intake.vin import read_vin
from squibwise.model.cost import Money, from_major
from squibwise.model.market import (
    CONDITIONS,
    LINE_STATES,
    MOST_DAYS,
    ColumnGuess,
    Condition,
    Days,
    LineState,
    Offer,
    OfferSheet,
    Supplier,
)
from squibwise.model.origin import Finding, Origin

_NEEDED = ("part", "supplier", "price")
_MOST_ROWS = 3_000
_ZIP = b"PK\x03\x04"
_SIGNS = ";\t|,"
_LEADS = frozenset(("lead", "lead-low", "lead-high"))
_DAY = pattern(r"\d{4}-\d\d-\d\d|\d\d?[./]\d\d?[./]\d{2,4}")
_RANGE = pattern(r"(\d+)\s*(?:[-\u2013]|to|\.\.|bis|[a\u00e0]|do|at\u00e9|ate)\s*(\d+)", re.I)
_GUARDED = pattern(r"^'(?=[=+@\t-])")  # written so that no spreadsheet takes it for a formula
_SUMS = frozenset(("price", "shipping", "free-from", "dangerous"))
_UNIT_DAYS = {
    "hour": Fraction(1, 24),
    "working-day": Fraction(7, 5),
    "week": Fraction(7),
    "month": Fraction(30),
}
Cells = Mapping[str, str]


class _BadCellError(Exception):
    """A cell that cannot be used; its text says what is wrong."""


def read_offers(
    data: bytes,
    name: str,
    catalog: Catalog,
    currency: str,
    confirmed: Mapping[str, str] | None = None,
) -> OfferSheet:
    """Return the offers of a sheet; a row that cannot be used is a finding with its line.

    Args:
        data: The file's bytes.
        name: Its name as the user wrote it.
        catalog: Headings and words.
        currency: Of prices that name none.
        confirmed: Headings that the user says are which column.

    Raises:
        InputError: It is no sheet, or no row heads the part, the supplier and the price, or what
            the user says of its columns cannot be.
    """
    found = _extract(data, name)
    head, guesses = find_header(found.lines, name, catalog, confirmed or {}, _NEEDED)
    rows = _rows_below(found.lines, head, name)
    reader = _Reader(
        catalog=catalog,
        currency=currency,
        name=name,
        said=name_currencies(guesses, catalog),
        point=_find_point(rows, guesses),
        lead_in=_lead_unit(next((g.heading for g in guesses if g.column == "lead"), ""), catalog),
    )
    findings = [*found.findings, *doubt_columns(guesses, head, name, catalog)]
    offers: list[Offer] = []
    terms: dict[str, dict[str, Money]] = {}
    ids: set[str] = set()
    for line in rows:
        cells = _cells_of(line, guesses)
        if not _is_answered(cells):
            continue
        try:
            offer = _unique(_offer(cells, line, reader), ids, line)
            stated = _terms_of(cells, reader)
        except _BadCellError as bad:
            findings.append(_bad_row(str(bad), line, name))
            continue
        ids.add(offer.id)
        offers.append(offer)
        findings += [] if _tells_lead(cells) else [_lead_assumed(offer, cells)]
        known = terms.get(offer.supplier, {})
        findings += _vin_findings(offer, catalog)
        if any(known.get(word, amount) != amount for word, amount in stated.items()):
            findings.append(_two_terms(offer.supplier, line, name))
        terms[offer.supplier] = stated | known  # what is said first stays, what is new is added
    findings += [_no_freight(s, name) for s, known in terms.items() if "shipping" not in known]
    return OfferSheet(
        offers=tuple(offers),
        suppliers=tuple(_supplier(s, known, currency) for s, known in terms.items()),
        columns=guesses,
        findings=tuple(findings),
    )


def _cells_of(line: RawLine, guesses: Sequence[ColumnGuess]) -> dict[str, str]:
    pairs = zip(guesses, line.cells, strict=False)
    return {g.column: _GUARDED.sub("", c) for g, c in pairs if g.column and c}


def _rows_below(lines: Sequence[RawLine], head: RawLine, name: str) -> Sequence[RawLine]:
    rows = lines[lines.index(head) + 1 :]
    if len(rows) > _MOST_ROWS:
        raise InputError(
            f"{name}: more than {_MOST_ROWS:,} rows; no sheet of offers for a car has that many.",
            remedy="Keep the rows that are meant for this car.",
        )
    return rows


class _Reader(msgspec.Struct, frozen=True):
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


def _extract(data: bytes, name: str) -> Extract:
    if data.startswith(_ZIP):
        return workbook.read(Document(data=data, name=name))
    decoded, findings = text.decode(data, name)
    lines = decoded.splitlines()[:HEADER_ROWS]
    sign = max(_SIGNS, key=lambda s: max((x.count(s) for x in lines), default=0))
    found = separated.read(Document(data=data, name=name, text=decoded), sign)
    return msgspec.structs.replace(found, findings=(*findings, *found.findings))


def _is_answered(cells: Cells) -> bool:
    """A row of a request without price and supplier was not answered, and is nobody's offer."""
    return bool(set(cells) - {"part", "offer", "quantity", "state", ASKED}) and any(
        w in cells for w in ("price", "supplier")
    )


def _offer(cells: Cells, line: RawLine, reader: _Reader) -> Offer:
    for word in _NEEDED:
        if word not in cells:
            raise _BadCellError(f"no {word} is given")
    meant = _condition(cells.get("condition", "new"), reader)
    used = reader.catalog.fact("market.used-fails").number()
    return Offer(
        id=cells.get("offer", f"line-{line.number}"),
        fits=cells["part"],
        supplier=" ".join(cells["supplier"].split()),
        price=_money(cells["price"], "price", cells, reader, above=0),
        condition=meant,
        part_number=cells.get("part-number", ""),
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
        origin=Origin(file=reader.name, line=line.number, raw=line.text),
    )


def _condition(text: str, reader: _Reader) -> Condition:
    """Return the condition that a cell tells; a word for an earlier life counts before 'new'."""
    words = re.findall(r"\w+", text.lower())
    told = [text, *words, *(f"{a} {b}" for a, b in pairwise(words))]
    meant = {reader.catalog.market.meaning("condition", w) for w in told}
    for condition in reversed(CONDITIONS):
        if condition in meant:
            return condition
    raise _BadCellError(f"'{text}' is no condition: write new, recycled or rebuilt")


def _unique(offer: Offer, ids: set[str], line: RawLine) -> Offer:
    """Return the offer under an id of its own; a request may be answered by several suppliers."""
    if offer.id not in ids:
        return offer
    return msgspec.structs.replace(offer, id=f"{offer.id}/line-{line.number}")


def _terms_of(cells: Cells, reader: _Reader) -> dict[str, Money]:
    """Return the shipping terms that a row states."""
    words = ("shipping", "free-from", "dangerous")
    return {w: _money(cells[w], w, cells, reader) for w in words if w in cells}


def _supplier(name: str, stated: Mapping[str, Money], currency: str) -> Supplier:
    return Supplier(
        name=name,
        shipping=stated.get("shipping", Money(minor=0, currency=currency)),
        free_from=stated.get("free-from"),
        dangerous=stated.get("dangerous"),
    )


def _money(text: str, what: str, cells: Cells, reader: _Reader, above: int = -1) -> Money:
    currency, asked = reader.currency, cells.get("currency", "")
    if asked and not read_currencies(asked, reader.catalog):
        raise _BadCellError(f"'{asked}' is no currency: write {currency}")
    named = read_currencies(text, reader.catalog) or read_currencies(asked, reader.catalog)
    named = named or reader.said.get(what, frozenset((currency,)))
    if currency not in named:
        told = f"is in {min(named)}" if len(named) == 1 else f"'{text}' is in another currency"
        raise _BadCellError(f"the {what} {told}, the case in {currency}")
    amount = _number(text, what, reader.point)
    if amount < 0 or from_major(amount, currency).minor <= above:
        raise _BadCellError(f"the {what} '{text}' is not above nothing")
    return from_major(amount, currency)


def _find_point(rows: Sequence[RawLine], guesses: Sequence[ColumnGuess]) -> str:
    """Return the sign that stands before the cents of a sheet's sums; empty = they do not tell."""
    places = [i for i, g in enumerate(guesses) if g.column in _SUMS]
    return find_point(line.cells[i] for line in rows for i in places if i < len(line.cells))


def _number(text: str, what: str, point: str | None = None) -> Decimal:
    """Return the one number of a cell; ``point`` is the sign before the cents where it is known."""
    number = read_number(text, point)
    if number is None:
        raise _BadCellError(f"the {what} '{text}' is not one number")
    if point == "" and may_be_thousands(text):
        raise _BadCellError(f"the {what} '{text}' may be {number} or a thousand times as much")
    return number


def _whole(text: str, what: str, least: int) -> int:
    number = _number(text, what)
    if number != int(number) or number < least:
        raise _BadCellError(f"the {what} '{text}' is not a whole number from {least}")
    return int(number)


def _share(text: str, what: str) -> float:
    """Return a share written ``8 %``, ``8`` (per cent) or ``0.08``."""
    number = float(_number(text, what))
    share = number / 100.0 if "%" in text or number > 1.0 else number
    if not 0.0 <= share < 1.0:
        raise _BadCellError(f"'{text}' is no share for {what}")
    return share


def _tells_lead(cells: Cells) -> bool:
    """Does a row tell a lead time: 'in stock' and 'on request' are none."""
    return any(re.search(r"\d", cells[w]) for w in _LEADS & set(cells))


def _lead_unit(text: str, catalog: Catalog) -> str:
    """Return the unit that a lead time is told in; empty = none is named."""
    words = re.findall(r"[^\W\d_]+", text)
    told = [*(f"{a} {b}" for a, b in pairwise(words)), *words]
    return next((u for w in told if (u := catalog.market.meaning("lead-unit", w))), "")


def _in_days(count: int, unit: str) -> int:
    """Return days of the calendar; five days of work are seven of them."""
    return math.ceil(count * _UNIT_DAYS.get(unit, Fraction(1)))


def _lead(cells: Cells, reader: _Reader) -> Days:
    if not _tells_lead(cells):
        usual = reader.catalog.fact("market.lead-unknown")
        return Days(low=int(usual.low or 0), likely=int(usual.number()), high=int(usual.high or 0))
    written = cells.get("lead", "")
    if _DAY.search(written):
        raise _BadCellError(f"the lead days '{written}' are a date: write how many days it takes")
    unit = _lead_unit(written, reader.catalog) or reader.lead_in
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
        raise _BadCellError("of the lead time only one end is given")
    low = _whole(cells["lead-low"], "least days", 0) if "lead-low" in cells else low
    high = _whole(cells["lead-high"], "most days", 0) if "lead-high" in cells else high
    likely = likely if written else round((low + high) / 2)
    if high > MOST_DAYS:
        raise _BadCellError(f"{high} lead days are more than {MOST_DAYS}")
    if not low <= likely <= high:
        raise _BadCellError(f"lead days {low}, {likely}, {high} are out of order")
    return Days(low=low, likely=likely, high=high)


def _documents(text: str, reader: _Reader) -> tuple[str, ...]:
    words = [w.strip() for w in re.split(r"[;,/+]", text) if w.strip()]
    meant = (reader.catalog.market.meaning("documents", w) or w.lower() for w in words)
    return tuple(dict.fromkeys(meant))


def _side(text: str, reader: _Reader) -> str:
    if not text:
        return ""
    meant = reader.catalog.market.meaning("label-side", text)
    if meant is None:
        raise _BadCellError(f"the side '{text}' on the label is neither left nor right")
    return meant


def _state(text: str, reader: _Reader) -> LineState:
    word = reader.catalog.market.meaning("line-state", text) or text.strip().lower()
    for state in LINE_STATES:
        if word == state:
            return "quoted" if state == "asked" else state
    raise _BadCellError(f"'{text}' is no state of a line: {', '.join(LINE_STATES)}")


def _date(text: str | None) -> dt.date | None:
    if not text:
        return None
    try:
        return dt.date.fromisoformat(text[:10])
    except ValueError:
        raise _BadCellError(f"the date '{text}' is not written 2026-03-02") from None


def _vin_findings(offer: Offer, catalog: Catalog) -> tuple[Finding, ...]:
    if not offer.donor_vin:
        return ()
    return tuple(
        f
        if f.code == "vin-check-digit-elsewhere"
        else msgspec.structs.replace(f, severity="warning")
        for f in read_vin(offer.donor_vin, catalog, offer.origin)[1]
    )


def _bad_row(message: str, line: RawLine, name: str) -> Finding:
    return Finding(
        code="offer-row-bad",
        severity="warning",
        message=f"This row is not used: {message}.",
        remedy="Correct the row and read the sheet again; the other rows are used.",
        origin=Origin(file=name, line=line.number, raw=line.text),
    )


def _lead_assumed(offer: Offer, cells: Cells) -> Finding:
    days, told = offer.lead, cells.get("lead")
    given = f"'{told}' is no number of days" if told else "No lead time is given"
    return Finding(
        code="offer-lead-assumed",
        severity="note",
        message=f"{given}: {days.low} to {days.high} days are assumed (judgement).",
        remedy="Ask, and write the days into the sheet.",
        origin=offer.origin,
    )


def _no_freight(supplier: str, name: str) -> Finding:
    return Finding(
        code="offer-freight-unknown",
        severity="note",
        message=f"{supplier} states no freight: nothing is counted for it.",
        remedy="Ask, and write it into the column 'shipping' of one of its rows; 0 if it is free.",
        origin=Origin(file=name),
    )


def _two_terms(supplier: str, line: RawLine, name: str) -> Finding:
    return Finding(
        code="offer-terms-differ",
        severity="warning",
        message=f"{supplier} has other shipping terms here than in an earlier row: the "
        "earlier ones are used.",
        remedy="Give one supplier the same shipping terms in every row.",
        origin=Origin(file=name, line=line.number),
    )
