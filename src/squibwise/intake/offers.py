"""Sheets of offers, CSV or XLSX: columns found by likeness, every bad row told by its line."""

import re
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.market import bare
from squibwise.errors import InputError
from squibwise.intake.columns import (
    ASKED,
    HEADER_ROWS,
    doubt_columns,
    find_header,
    guess_columns,
    name_currencies,
    read_cells,
)
from squibwise.intake.importers import separated, text, workbook
from squibwise.intake.importers.base import Document, Extract, RawLine
from squibwise.intake.offer_cells import (
    ANSWERED,
    NEEDED,
    BadCellError,
    Cells,
    Reader,
    find_lead_unit,
    read_offer,
    read_terms,
    tells_lead,
)
from squibwise.intake.patterns import pattern
from squibwise.intake.sums import find_point
from squibwise.intake.vin import read_vin
from squibwise.model.cost import Money
from squibwise.model.market import ColumnGuess, Offer, OfferSheet, Supplier
from squibwise.model.origin import Finding, Origin

_MOST_ROWS = 3_000
_ZIP = b"PK\x03\x04"
_SIGNS = ";\t|,"
_GUARDED = pattern(r"^'(?=[=+@\t-])")  # written so that no spreadsheet takes it for a formula
_COUNTING = pattern(r"\d{1,4}\.?")
_AS_ASKED = frozenset(
    ("part", "offer", "quantity", "state", "side", "unit", ASKED, *(f"asked-{w}" for w in ANSWERED))
)
_SUMS = frozenset(("price", "shipping", "free-from", "dangerous"))


class _Section(msgspec.Struct, frozen=True):
    """Rows below one row of headings; a workbook may have several."""

    head: RawLine
    columns: tuple[ColumnGuess, ...]
    rows: tuple[RawLine, ...]


def read_offers(
    data: bytes,
    name: str,
    catalog: Catalog,
    currency: str,
    confirmed: Mapping[str, str] | None = None,
    supplier: str = "",
    usual: Mapping[str, str] | None = None,
) -> OfferSheet:
    """Return the offers of a sheet; a row that cannot be used is a finding with its line.

    Args:
        data: The file's bytes.
        name: Its name as the user wrote it.
        catalog: Headings and words.
        currency: Of prices that name none.
        confirmed: Headings that the user says are which column.
        supplier: Who sent the sheet, for rows that name nobody.
        usual: The same of the sheets that the bench gets: this one need not have them.

    Raises:
        InputError: It is no sheet, or no row heads the part, the supplier and the price, or what
            the user says of its columns cannot be.
    """
    found = _extract(data, name)
    cells = {c for line in found.lines[:HEADER_ROWS] for c in line.cells}
    here = {h: word for h, word in (usual or {}).items() if h in cells} | dict(confirmed or {})
    sections = _split_sections(found.lines, name, catalog, here, supplier)
    findings = [*found.findings, *_unmet_headings(usual or {}, here, name)]
    offers: dict[str, Offer] = {}
    terms: dict[str, dict[str, Money]] = {}
    for section in sections:
        reader = _open_reader(section, name, catalog, currency)
        findings += doubt_columns(section.columns, section.head, name, catalog)
        findings += _tax_findings(section, reader)
        for line in section.rows:
            told = {"supplier": supplier} if supplier else {}
            told |= _cells_of(line, section.columns)
            if not _is_answered(told, supplier):
                continue
            try:
                offer = _unique(read_offer(told, line, reader), offers, line)
                stated = read_terms(told, reader)
            except BadCellError as bad:
                findings.append(_bad_row(str(bad), line, name))
                continue
            offers[offer.id] = offer
            known = terms.get(offer.supplier, {})
            findings += _doubt_offer(offer, told, known, stated, catalog)
            terms[offer.supplier] = known | {
                w: max(m, known.get(w, m), key=lambda x: x.minor) for w, m in stated.items()
            }
    findings += [_no_freight(s, name) for s, known in terms.items() if "shipping" not in known]
    return OfferSheet(
        offers=tuple(offers.values()),
        suppliers=tuple(_supplier(s, known, currency) for s, known in terms.items()),
        columns=sections[0].columns,
        findings=tuple(findings),
    )


def _unmet_headings(
    usual: Mapping[str, str], here: Mapping[str, str], name: str
) -> Iterable[Finding]:
    """Yield which headings that the bench keeps a sheet has not, in one line."""
    if unmet := [f"'{heading}'" for heading in usual if heading not in here]:
        yield Finding(
            code="column-unused",
            severity="note",
            message=f"No heading of this sheet: {', '.join(unmet)} of [columns].",
            remedy="Nothing is to do if they are of another sheet.",
            origin=Origin(file=name),
        )


def _split_sections(
    lines: Sequence[RawLine],
    name: str,
    catalog: Catalog,
    confirmed: Mapping[str, str],
    supplier: str,
) -> list[_Section]:
    """Return the rows below each row of headings: a workbook's next sheet has its own.

    Raises:
        InputError: No row heads what is needed, or there are more rows than a car has offers.
    """
    needed = tuple(w for w in NEEDED if not (w == "supplier" and supplier))
    head, columns = find_header(lines, name, catalog, confirmed, needed)
    rows = lines[lines.index(head) + 1 :]
    if numbering := _find_numbering(columns, rows, confirmed):
        counted = {**confirmed, numbering: ASKED}
        held = read_cells(head.cells, rows, catalog)
        again = guess_columns(head.cells, catalog, counted, held=held)
        if {g.column for g in again}.issuperset(needed):
            confirmed, columns = counted, again
    if len(rows) > _MOST_ROWS:
        raise InputError(
            f"{name}: more than {_MOST_ROWS:,} rows; no sheet of offers for a car has that many.",
            remedy="Keep the rows that are meant for this car.",
        )
    headings = {bare(h) for c in catalog.market.columns.values() for h in c.headings}
    sections = [(head, columns, list[RawLine]())]
    for line in rows:
        may_head = sum(bare(c) in headings for c in line.cells) >= len(needed) - 1
        again = guess_columns(line.cells, catalog, confirmed) if may_head else ()
        if {g.column for g in again}.issuperset(needed):
            sections.append((line, again, []))
        else:
            sections[-1][2].append(line)
    return [_Section(h, c, tuple(r)) for h, c, r in sections]


def _find_numbering(
    columns: Sequence[ColumnGuess], rows: Sequence[RawLine], confirmed: Mapping[str, str]
) -> str:
    """Return the heading of parts where nothing but the number of each row stands; else nothing."""
    place = next(n for n, g in enumerate(columns) if g.column == "part")
    heading = columns[place].heading
    cells = [c for row in rows for c in row.cells[place : place + 1] if c]
    counts = bool(cells) and all(_COUNTING.fullmatch(c) for c in cells)
    return heading if counts and heading not in confirmed else ""


def _open_reader(section: _Section, name: str, catalog: Catalog, currency: str) -> Reader:
    lead = next((g.heading for g in section.columns if g.column == "lead"), "")
    return Reader(
        catalog=catalog,
        currency=currency,
        name=name,
        said=name_currencies(section.columns, catalog),
        point=_find_point(section.rows, section.columns),
        lead_in=find_lead_unit(lead, catalog),
    )


def _cells_of(line: RawLine, guesses: Sequence[ColumnGuess]) -> dict[str, str]:
    pairs = zip(guesses, line.cells, strict=False)
    return {g.column: _GUARDED.sub("", c) for g, c in pairs if g.column and c}


def _doubt_offer(
    offer: Offer,
    cells: Cells,
    known: Mapping[str, Money],
    stated: Mapping[str, Money],
    catalog: Catalog,
) -> list[Finding]:
    """Return what is doubtful of an offer that is used.

    Args:
        offer: As it was read.
        cells: It was read from.
        known: Shipping terms of its supplier in earlier rows.
        stated: Those of this row.
        catalog: For the VIN of the donor.
    """
    found = [] if tells_lead(cells) else [_lead_assumed(offer, cells)]
    found += _vin_findings(offer, catalog)
    if any(known.get(word, amount) != amount for word, amount in stated.items()):
        found.append(_two_terms(offer))
    return found


def _extract(data: bytes, name: str) -> Extract:
    if data.startswith(_ZIP):
        return workbook.read(Document(data=data, name=name))
    decoded, findings = text.decode(data, name)
    lines = decoded.splitlines()[:HEADER_ROWS]
    sign = max(_SIGNS, key=lambda s: max((x.count(s) for x in lines), default=0))
    found = separated.read(Document(data=data, name=name, text=decoded), sign)
    return msgspec.structs.replace(found, findings=(*findings, *found.findings))


def _is_answered(cells: Cells, supplier: str) -> bool:
    """A row of a request without price and supplier was not answered, and is nobody's offer."""
    told = set(cells) - ({"supplier"} if supplier else set())
    return bool(told - _AS_ASKED) and not told.isdisjoint(("price", "supplier"))


def _unique(offer: Offer, ids: Mapping[str, Offer], line: RawLine) -> Offer:
    """Return the offer under an id of its own; a request may be answered by several suppliers."""
    if offer.id not in ids:
        return offer
    return msgspec.structs.replace(offer, id=f"{offer.id}/line-{line.number}")


def _supplier(name: str, stated: Mapping[str, Money], currency: str) -> Supplier:
    return Supplier(
        name=name,
        shipping=stated.get("shipping", Money(minor=0, currency=currency)),
        free_from=stated.get("free-from"),
        dangerous=stated.get("dangerous"),
    )


def _find_point(rows: Sequence[RawLine], guesses: Sequence[ColumnGuess]) -> str:
    """Return the sign that stands before the cents of a sheet's sums; empty = they do not tell."""
    places = [i for i, g in enumerate(guesses) if g.column in _SUMS]
    return find_point(line.cells[i] for line in rows for i in places if i < len(line.cells))


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


def _two_terms(offer: Offer) -> Finding:
    return Finding(
        code="offer-terms-differ",
        severity="warning",
        message=f"{offer.supplier} has other shipping terms here than in an earlier row: the "
        "dearer ones are used.",
        remedy="Give one supplier the same shipping terms in every row.",
        origin=offer.origin,
    )


def _tax_findings(section: _Section, reader: Reader) -> list[Finding]:
    """Return that a sheet speaks of tax, once: sums are taken as they stand."""
    price = next(n for n, g in enumerate(section.columns) if g.column == "price")
    for line in (section.head, *section.rows):
        cell = line.cells[price] if price < len(line.cells) else ""
        words = re.findall(r"[^\W\d_]+", cell)
        told = [*words, *(f"{a} {b}" for a, b in pairwise(words))]
        if any(reader.catalog.market.meaning("tax", w) for w in told):
            return [
                Finding(
                    code="offer-tax",
                    severity="note",
                    message=f"'{cell}' speaks of tax: prices are taken as they stand.",
                    remedy="Write every price as you will pay it, from every supplier alike.",
                    origin=Origin(file=reader.name, line=line.number),
                )
            ]
    return []
