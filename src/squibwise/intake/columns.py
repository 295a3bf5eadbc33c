"""Which heading of a list is which column: by the words it is known by, else by likeness."""

import re
from collections.abc import Iterable, Mapping, Sequence, Set

from squibwise.catalog.load import Catalog
from squibwise.catalog.market import Column, bare
from squibwise.errors import InputError
from squibwise.intake.importers.base import RawLine
from squibwise.intake.patterns import pattern
from squibwise.intake.sums import read_number
from squibwise.model.market import ColumnGuess
from squibwise.model.origin import Finding, Origin

HEADER_ROWS = 15
"""Rows among which the headings stand."""
WEIGHTY = frozenset(("part", "supplier", "price", "side", "condition", "donor-vin"))
"""Columns that decide what is bought from whom: one that is only guessed is confirmed first."""
ASKED = "asked"
"""How the column words begin of what a request says: taken by their own headings only."""
_VIN = pattern(r"[A-HJ-NPR-Za-hj-npr-z0-9]{17}")
_TWICE = 2  # cells that name a side, before a column without a known heading is one of sides
_LONGEST = 120  # letters of a heading that are compared
_SHORT, _HELD = 4, 90.0  # letters of a short form; likeness of a heading that holds a known one


def find_header(
    lines: Sequence[RawLine],
    name: str,
    catalog: Catalog,
    confirmed: Mapping[str, str],
    needed: Sequence[str],
) -> tuple[RawLine, tuple[ColumnGuess, ...]]:
    """Return the first row that heads all that is needed, and what its columns are.

    Args:
        lines: Of the sheet, from its first.
        name: Of the sheet.
        catalog: Columns by the ways they are headed.
        confirmed: Headings that the user says are which column.
        needed: Columns that there must be.

    Raises:
        InputError: There is no such row, or what the user says of its columns cannot be.
    """
    _refuse_strange(confirmed, lines, name, catalog)
    best: tuple[ColumnGuess, ...] = ()
    for n, line in enumerate(lines[:HEADER_ROWS]):
        held = read_cells(line.cells, lines[n + 1 :], catalog)
        guesses = guess_columns(line.cells, catalog, confirmed, held=held)
        if {g.column for g in guesses}.issuperset(needed):
            return line, guesses
        best = max(best, guesses, key=lambda row: len({g.column for g in row} & set(needed)))
    found = {g.column for g in best}
    missing = [w for w in needed if w not in found]
    open_ones = [g.heading for g in best if not g.column and g.heading]
    remedy = "Head the columns 'part', 'supplier', 'price', 'lead days' and so on."
    if found & set(needed) and open_ones:
        headings = ", ".join(f"'{h}'" for h in open_ones)
        likely = _find_likely(open_ones, missing[0], lines, catalog)
        option = f'--column "{likely}={missing[0]}"'
        remedy = f"Not understood: {headings}. Say which it is, such as {option}."
    if missing == ["supplier"]:
        remedy = f"If one supplier sent it all: --supplier NAME. {remedy}"
    raise InputError(f"{name}: no row heads a column for {', '.join(missing)}.", remedy=remedy)


def _find_likely(
    open_ones: Sequence[str], missing: str, lines: Sequence[RawLine], catalog: Catalog
) -> str:
    """Return the heading that is most like a column that is missing: of sums for a price, else not.

    One that names a currency comes first.
    """
    head = next(n for n, line in enumerate(lines) if set(open_ones) <= set(line.cells))
    rows = [line.cells for line in lines[head + 1 : head + 1 + _LONGEST]]

    def share_of_sums(heading: str) -> float:
        place = lines[head].cells.index(heading)
        cells = [c for row in rows if (c := "".join(row[place : place + 1]).strip())]
        sums = sum(read_number(c) is not None for c in cells) / max(1, len(cells))
        return sums + bool(read_currencies(heading, catalog)) if missing == "price" else -sums

    return max(open_ones, key=share_of_sums)


def _refuse_strange(
    confirmed: Mapping[str, str], lines: Sequence[RawLine], name: str, catalog: Catalog
) -> None:
    """Refuse a heading that the sheet has not, or a column that there is not."""
    cells = [c for line in lines[:HEADER_ROWS] for c in line.cells]
    for heading, word in confirmed.items():
        if word not in catalog.market.columns:
            raise InputError(f"'{word}' is no column.", remedy=_name_column(heading, catalog))
        if heading not in cells:
            raise InputError(
                f"{name}: there is no heading '{heading}'.",
                remedy="Write the heading as it stands in the sheet, capitals and signs too.",
            )


def read_confirmed(told: Iterable[str]) -> dict[str, str]:
    """Return what a user says of columns, written ``HEADING=COLUMN`` each, by heading.

    Raises:
        InputError: One is written otherwise.
    """
    pairs = [c.strip().rpartition("=") for c in told if c.strip()]
    if any(not heading for heading, _, _ in pairs):
        raise InputError("A column is named 'HEADING=COLUMN'.", remedy='Such as "Our price=price".')
    return {heading.strip(): word.strip() for heading, _, word in pairs}


def guess_columns(
    headings: Sequence[str],
    catalog: Catalog,
    confirmed: Mapping[str, str],
    columns: Iterable[Column] | None = None,
    held: Mapping[int, str] | None = None,
) -> tuple[ColumnGuess, ...]:
    """Return what each heading is taken for; the likeliest heading wins a column, once.

    Args:
        headings: As they stand in the sheet.
        catalog: Currencies, and how sure a likeness must be.
        confirmed: Headings that the user says are which column.
        columns: The columns there are; those of a sheet of offers unless named.
        held: What the cells below a heading that is not known can only be, by its place.
    """
    columns = catalog.market.columns.values() if columns is None else columns
    known = {bare(h): c.word for c in columns for h in (c.word, *c.headings)}
    least = catalog.fact("market.heading-sure").number()

    def denies(heading: str) -> bool:
        return not catalog.market.denials.isdisjoint(heading.split())

    scored: list[tuple[float, int, str]] = []
    for place, heading in enumerate(headings):
        plain = _plain(heading, catalog)
        if heading in confirmed:
            scored.append((101.0, place, confirmed[heading]))
        elif plain in known:
            scored.append((100.0, place, known[plain]))
        elif place in (held or {}):
            scored.append((99.5, place, (held or {})[place]))
        elif plain:
            alike = {
                h: w
                for h, w in known.items()
                if not w.startswith(ASKED) and denies(h) == denies(plain)
            }
            score, word = max(
                ((_likeness(plain, h), w) for h, w in alike.items()), default=(0.0, "")
            )
            scored.append((min(score, 99.0), place, word))
    taken: dict[int, tuple[str, float]] = {}
    for score, place, word in sorted(scored, key=lambda s: (-s[0], s[1])):
        repeated = word != ASKED and word in {w for w, _ in taken.values()}
        if score >= least and not repeated:
            taken.setdefault(place, (word, score))
    return tuple(
        ColumnGuess(
            heading=h,
            column=taken.get(i, ("", 0.0))[0],
            sure=taken.get(i, ("", 100.0))[1] >= 100.0,
        )
        for i, h in enumerate(headings)
    )


def read_cells(
    headings: Sequence[str], rows: Sequence[RawLine], catalog: Catalog
) -> dict[int, str]:
    """Return what stands below a heading where it tells the column: donors, sides, sums of money.

    Args:
        headings: As they stand in the sheet.
        rows: Below them.
        catalog: Words for a side, and currencies.
    """
    found = {}
    for place, heading in enumerate(headings):
        cells = [r.cells[place].strip() for r in rows if place < len(r.cells)]
        cells = [c for c in cells if c]
        sides = sum(catalog.market.meaning("label-side", c) is not None for c in cells)
        if cells and all(_VIN.fullmatch(c) for c in cells):
            found[place] = "donor-vin"
        elif sides >= _TWICE and 2 * sides >= len(cells):
            found[place] = "side"
        elif cells and read_currencies(heading, catalog) and not _plain_words(heading, catalog):
            found[place] = "price"
    return found


def _plain_words(heading: str, catalog: Catalog) -> bool:
    """Tell whether a heading of a sum says by its words what the sum is of."""
    words = _plain(heading, catalog).split()
    known = {
        w for c in catalog.market.columns.values() for h in c.headings for w in bare(h).split()
    }
    return not known.isdisjoint(words)


def _plain(heading: str, catalog: Catalog) -> str:
    """Return a heading in small letters, without signs and without the currency it names."""
    words = re.sub(r"[:(),.$\u20ac\u00a3*\u00b0\u00ba]+", " ", bare(heading[:_LONGEST])).split()
    return " ".join(w for w in words if w.upper() not in catalog.currencies.codes)


def _likeness(plain: str, known: str) -> float:
    """Return how alike a heading is to a known one, of 100.

    A heading that holds the whole known one says more than its letters: the last words most.
    """
    from rapidfuzz import fuzz

    alike = max(fuzz.ratio(plain, known), fuzz.token_sort_ratio(plain, known))
    held = f" {known} " in f" {plain} "
    short = len(plain) >= _SHORT and known.startswith(plain)
    if held or short:
        alike = max(alike, _HELD + (2.0 if plain.endswith(known) else 0.0) + len(known) / 20.0)
    return float(alike)


def name_currencies(guesses: Sequence[ColumnGuess], catalog: Catalog) -> dict[str, frozenset[str]]:
    """Return the currencies that a heading may name, by column."""
    named = {g.column: read_currencies(g.heading, catalog) for g in guesses if g.column}
    return {column: codes for column, codes in named.items() if codes}


def read_currencies(text: str, catalog: Catalog) -> frozenset[str]:
    """Return the currencies that a text may be in, by a code or a sign; empty = it names none."""
    known = catalog.currencies.codes
    if codes := frozenset(c for c in re.findall(r"\b[A-Z]{3}\b", text) if c in known):
        return codes
    signs = [(w, x.means) for x in catalog.market.words if x.column == "currency" for w in x.words]
    for sign, means in sorted(signs, key=lambda s: -len(s[0])):
        edge = r"\b" if sign.isalpha() else ""
        if re.search(f"{edge}{re.escape(sign)}{edge}", text.lower()):
            return frozenset(means.split())
    return frozenset()


def doubt_columns(
    guesses: Sequence[ColumnGuess], head: RawLine, name: str, catalog: Catalog
) -> list[Finding]:
    """Return which headings were taken for a column by likeness, and which are not used."""
    guessed = [g for g in guesses if g.column and not g.sure]
    weighty = any(g.column in WEIGHTY for g in guessed)
    unused = [g.heading for g in guesses if not g.column and g.heading]
    told = []
    if guessed:
        pairs = ", ".join(f"'{g.heading}' for '{g.column}'" for g in guessed)
        options = " ".join(f'--column "{g.heading}={g.column}"' for g in guessed)
        words = f"Taken by likeness or by what stands below: {pairs}."
        told.append(("column-guessed", words, f"Confirm: {options}."))
    if unused:
        names = ", ".join(f"'{h}'" for h in unused)
        told.append(
            ("column-unused", f"Columns not used: {names}.", _name_column(unused[0], catalog))
        )
    if perhaps := _suggest(unused, {g.column for g in guesses}, catalog):
        pairs = ", ".join(f"'{h}' may be '{word}'" for h, word in perhaps.items())
        options = " ".join(f'--column "{h}={word}"' for h, word in perhaps.items())
        message = f"{pairs}, of which no other column tells."
        told.append(("column-guessed", message, f"If so: {options}."))
    origin = Origin(file=name, line=head.number)
    return [
        Finding(
            code=code,
            severity="warning" if weighty and n == 0 else "note",
            message=message,
            remedy=remedy,
            origin=origin,
        )
        for n, (code, message, remedy) in enumerate(told)
    ]


def _suggest(unused: Sequence[str], taken: Set[str], catalog: Catalog) -> dict[str, str]:
    """Return what each heading that is not used shares its words with, of what none tells yet."""
    open_ones = {
        c.word: c
        for c in catalog.market.columns.values()
        if c.word not in taken and not c.word.startswith(ASKED)
    }
    found: dict[str, str] = {}
    for heading in unused:
        words = {w for w in _plain(heading, catalog).split() if len(w) > _SHORT}
        shared = {
            word: max((len(words & {*h.split()}) / len(h.split()) for h in c.headings), default=0.0)
            for word, c in open_ones.items()
            if word not in found.values()
        }
        best = max(shared, key=lambda w: shared[w], default="")
        if best and shared[best] > 0.0:
            found[heading] = best
    return found


def _name_column(heading: str, catalog: Catalog) -> str:
    """Return how a user says which column a heading is."""
    words = ", ".join(w for w in catalog.market.columns if not w.startswith(ASKED))
    return f'Say what one is: --column "{heading}=WORD", WORD one of {words}.'
