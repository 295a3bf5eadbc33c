"""What a file holds that was handed in as a report and is none: crash data, numbers, lists."""

from collections.abc import Iterator, Sequence
from functools import lru_cache

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.market import bare
from squibwise.intake.crash_data.counted import counts_events
from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.lexicon import Lexicon
from squibwise.intake.report.language.words import FAULTS, HEADS
from squibwise.intake.report.sheet import Line
from squibwise.model.origin import Finding, Origin

_RECORDER = pattern(
    r"(?i)delta-?\s?v\b|time to (?:first|second|nth|deploy|maximum)|"
    r"ignition cycles?,? (?:crash|download)|"
    r"vehicle indicated speed|complete file recorded|multi-?event|service brake|accelerator pedal|"
    r"belt status|time from event"
)
_ELEMENTS = 3  # names of recorder elements that make a file recorder data
_NUMBERS = pattern(  # two numbers or more, or one that is no whole one
    r"\s*[+-]?\d+(?:[.,]\d+(?:[eE][+-]?\d+)?|(?:[.,]\d+)?(?:\s*[\s,;|]\s*[+-]?\d+(?:[.,]\d+)?)+)[\s,;|]*"
)
_NUMBER = pattern(r"\d+(?:[.,]\d+)?")
_MANY = 20  # rows of numbers that make a table
_MOSTLY = 0.8
_WORD, _FEW_WORDS = 4, 8  # letters of a word that shows a language, and so many of them
_STRANGE = 0.3  # share of known words below which the language is none that is known
_FIRST_ROWS = 5  # among which the names of columns stand
_PRICED = pattern(
    r"(?i)(?:[$€£]\s?\d|\d[.,]\d\d\s?(?:[$€£]|eur|usd|gbp|chf|pln|zł)?\W*$|\b(?:vat|mwst|tva|iva)\b)"
)
_FEW = 3
_MOST_CELLS = 100
_MOST_LINES = 8


class _Kind(msgspec.Struct, frozen=True):
    """What a kind of file is called in a finding, and where it goes."""

    code: str
    what: str
    remedy: str


_EVENT = "an event of a crash record"  # what a line counts, with what fired in it
_LISTED_FAULTS = frozenset({"deployed", "crashrecord"})  # of devices that fired
_KINDS = {
    "recorder": _Kind(
        "crash-data-not-a-report",
        "This file holds data of a crash recorder, not the faults of a unit; none was read.",
        'Give it as evidence of kind = "crash-data".',
    ),
    "numbers": _Kind(
        "not-a-report",
        "This file holds rows of numbers, not the faults of a unit; none was read.",
        'Accelerations or speeds of a crash: give it as evidence of kind = "crash-data". '
        "Resistances and voltages: `measured`, one by one.",
    ),
    "offers": _Kind(
        "not-a-report",
        "This file is a sheet of offers, not the faults of a unit; none was read.",
        "Name it with `buy CASE --offers FILE`.",
    ),
    "lots": _Kind(
        "not-a-report",
        "This file is a list of lots, not the faults of a unit; none was read.",
        "Give it to `screen`.",
    ),
    "prices": _Kind(
        "not-a-report",
        "This file is a list of prices or an invoice; no fault was read from it.",
        "Prices go into the case as [[price]], what was done with `did`; "
        "ask for the report of the restraint unit.",
    ),
}


def name_table(lines: Sequence[Line], catalog: Catalog) -> str:
    """Return what a file is by its rows and headings: ``recorder``, ``numbers``, ``offers``...

    Args:
        lines: Of the file, with their codes, before their words are read.
        catalog: The headings of sheets of offers and of lists of lots.

    Returns:
        Empty where it may be a report.
    """
    told = [ln for ln in lines if ln.text.strip()]
    rows = [ln for ln in told if _NUMBERS.fullmatch(ln.text)]
    is_short = len(rows) >= max(_FEW, len(told) - 1) and all(map(_is_measured, rows))
    if is_short or (len(rows) >= _MANY and len(rows) >= _MOSTLY * len(told)):
        return "numbers"
    coded = sum(any(c.is_exact for c in ln.codes) for ln in told)
    # Source: cfr-49-563, names of the elements of tables I and II.
    if not coded and sum(bool(_RECORDER.search(ln.text)) for ln in told) >= _ELEMENTS:
        return "recorder"
    if 2 * coded > len(told) or not any(ln.cells for ln in told):
        return ""
    for line in told[:_FIRST_ROWS] if not coded else told[:1]:
        offered, sold = (_headed(line, known) for known in _headings(catalog))
        if {"price", "supplier"} <= offered or {"price", "part", "condition"} <= offered:
            return "offers"
        if len(sold) > _FEW and "id" in sold:
            return "lots"
    return ""


def _is_measured(row: Line) -> bool:
    """Tell whether a row holds several numbers, one of them with a fraction: no list of codes."""
    numbers = _NUMBER.findall(row.text)
    return len(numbers) > 1 and any("." in n or "," in n for n in numbers)


@lru_cache(maxsize=4)
def _headings(catalog: Catalog) -> tuple[dict[str, str], dict[str, str]]:
    """What each heading stands for in a sheet of offers, and in a list of lots."""
    tables = catalog.market.columns.values(), catalog.lots.column
    offers, lots = ({bare(h): c.word for c in t for h in (c.word, *c.headings)} for t in tables)
    return offers, lots


def _headed(line: Line, known: dict[str, str]) -> set[str]:
    """The columns that the cells of a row are headings of, word for word."""
    return {known[cell] for cell in map(bare, line.cells[:_MOST_CELLS]) if cell in known}


def is_priced(lines: Sequence[Line]) -> bool:
    """Return whether most lines of a file end in a price, as those of a list or a bill do."""
    told = [ln for ln in lines if ln.role != "blank"]
    priced = sum(bool(_PRICED.search(ln.text)) for ln in told)
    return priced >= _FEW and 2 * priced > len(told)


def tell_other(kind: str, name: str) -> Finding:
    """Return the finding that says what a file is and where it goes."""
    told = _KINDS[kind]
    return Finding(
        code=told.code,
        severity="warning",
        message=told.what,
        remedy=told.remedy,
        origin=Origin(file=name),
    )


def tell_language(lines: Sequence[Line], lexicon: Lexicon, name: str) -> Iterator[Finding]:
    """Yield that a text is in a language that is not read, where few of its words are known."""
    words = [t.text for ln in lines if not ln.cells for t in ln.tokens]
    words = [w for w in words if len(w) >= _WORD and w.isalpha()]
    if len(words) < _FEW_WORDS or sum(w in lexicon.known for w in words) > _STRANGE * len(words):
        return
    yield Finding(
        code="language-not-known",
        severity="warning",
        message="Most words of this text are in no language that is read here. Read are English, "
        "German, Spanish, French, Italian, Portuguese, Polish and some Dutch.",
        remedy="Write part, side and fault of each line in one of these, or put what each code "
        "means under [[codes]]; what is not read is no clean scan.",
        origin=Origin(file=name),
    )


def set_events_aside(lines: Sequence[Line], catalog: Catalog) -> None:
    """Take ``event 1 frontal: belts, driver airbag`` for what it is, no fault and none's words."""
    for line in lines:
        is_bare = not line.codes and line.role not in ("blank", "meta")
        if not is_bare or not any(sign.isdecimal() for sign in line.text):
            continue
        words = line.words
        names_part = bool(words.features & HEADS or "belt" in words.features)
        tells_fault = words.features & FAULTS - _LISTED_FAULTS or words.statuses
        if names_part and not tells_fault and counts_events(line.text, catalog):
            line.role, line.why, line.count, line.is_module = "aside", _EVENT, None, False


def tell_events(unread: Sequence[Line], name: str) -> Iterator[Finding]:
    """Yield the finding about lines that belong into a file of crash data."""
    found = [line for line in unread if line.why == _EVENT]
    if found:
        numbers = ", ".join(str(line.number) for line in found[:_MOST_LINES])
        yield Finding(
            code="events-in-report",
            severity="warning",
            message="What a crash record lists as fired stands in this report and was not read "
            f"as such (line {numbers}).",
            remedy="Save these lines as a file of their own and give it as evidence of "
            'kind = "crash-data".',
            origin=Origin(file=name, line=found[0].number, raw=found[0].raw),
        )
