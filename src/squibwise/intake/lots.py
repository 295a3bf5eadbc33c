"""Rows of a list of lots to cars with evidence; a row that cannot be read is told by its line."""

import re
from collections.abc import Collection, Mapping

from squibwise.catalog.components import whole_template
from squibwise.catalog.load import Catalog
from squibwise.intake.case_file.car_files import likeliest_template
from squibwise.intake.columns import read_currencies
from squibwise.intake.patterns import pattern
from squibwise.intake.said_parts import WHOLE, UnclearPartError, read_said_parts
from squibwise.intake.sums import may_be_thousands, read_number
from squibwise.model.car import Car
from squibwise.model.evidence import Circumstance, Evidence, Impact, Occupant, Statement
from squibwise.model.lots import BadLot, LotRow
from squibwise.model.names import ZONES
from squibwise.model.origin import Finding, Origin

COLUMNS = (
    "id", "region", "model_year", "drive_hand", "equipment", "zone", "clock", "extent", "deployed",
    "not_deployed", "airbags", "driver_belt", "passenger", "resale", "other_costs", "currency",
)  # fmt: skip
SAYING = ("equipment", "region", "model_year", "drive_hand", *COLUMNS[5:13])
"""Columns that say something of the restraint system, the car first: lots alike in them are
believed alike."""
SUMS = ("resale", "other_costs")

LIST_CURRENCY = "USD"
"""Of every list: the level of the catalogue's prices."""
_KNOWN = {
    "drive_hand": ("left", "right"),
    "zone": (*ZONES, "elsewhere", "flood", "fire"),
    "extent": ("none", "light", "moderate", "severe"),
    "airbags": ("deployed", "not-deployed"),
    "driver_belt": ("latched", "unlatched"),
    "passenger": ("yes", "no"),
}
_YEARS = (1985, 2035)
_DAYS = (
    pattern(r"(?:\d{1,2}[./-]){1,2}((?:19|20)\d\d)"),
    pattern(r"((?:19|20)\d\d)(?:[./-]\d{1,2}){1,2}(?:[ T].*)?"),
)
_ABBREVIATED = pattern(r"^[^\W\d_]{1,3}[.:]?\s+(?=\d)")  # such as EZ 05/2018
_REGION = pattern(r"[A-Z]{2}-[A-Z0-9]{1,3}")
_MONTH = pattern(r"(?:0?[1-9]|1[0-2])[/.](\d\d)")
_HOUR = pattern(r"(\d{1,2})(?:[:.]00)?\s*(?:o['\u2019]?\s?clock|[^\W\d_]{1,8}\.?)?")
_MOST, _LONGEST = 1e9, 10


NO_ID = BadLot(what="the lot has no id", remedy="Write its number into the column of ids.")


class _UnreadableError(Exception):
    """A cell that cannot be used."""

    def __init__(self, what: str, remedy: str) -> None:
        super().__init__(what)
        self.bad = BadLot(what=what, remedy=f"{remedy}.")


def read_lot(row: Mapping[str, str], line: int, name: str, catalog: Catalog) -> LotRow | Finding:
    """Return a row as a lot, or what is wrong with it.

    Args:
        row: Cells by column; what is missing or empty is unknown.
        line: Of the list.
        name: Of the list.
        catalog: Templates and components.
    """
    try:
        return _lot(row, line, catalog)
    except _UnreadableError as error:
        return Finding(
            code="lot-row-bad",
            severity="warning",
            message=f"{error.bad.what}.",
            remedy=error.bad.remedy,
            origin=Origin(file=name, line=line, raw=",".join(row.values())[:200]),
        )


def read_sums(
    row: Mapping[str, str], catalog: Catalog
) -> tuple[float | None, float | None] | BadLot:
    """Return what a row says of money, in whole units, or what is wrong with it; None = nothing."""
    try:
        return _amount(row, "resale", catalog), _amount(row, "other_costs", catalog)
    except _UnreadableError as error:
        return error.bad


def _lot(row: Mapping[str, str], line: int, catalog: Catalog) -> LotRow:
    if not row.get("id", "").strip():
        raise _UnreadableError(NO_ID.what, NO_ID.remedy.removesuffix("."))
    said = {k: catalog.lots.stated(v) for k, v in row.items()}
    said = {k: catalog.lots.meaning(k, v) if k in _KNOWN else v for k, v in said.items() if v}
    said["region"] = read_country(said.get("region", ""))
    car = _car(said, catalog)
    parts = _said_of_parts(said, car, catalog)
    if car.assumed and (missing := parts.keys() - {WHOLE, *car.components}):
        car = _car(said, catalog, missing)
        parts = _said_of_parts(said, car, catalog)
    _refuse_missing(parts, car)
    return LotRow(
        line=line,
        id=row["id"].strip(),
        car=car,
        region=said["region"] or None,
        evidence=_evidence(said, parts),
        resale=_amount(row, "resale", catalog),
        other_costs=_amount(row, "other_costs", catalog),
    )


def _car(row: Mapping[str, str], catalog: Catalog, has: Collection[str] = ()) -> Car:
    """Return the car of a row; where its equipment is assumed, one that has these components."""
    year = _year(row.get("model_year"))
    name = row.get("equipment")
    if name is not None and name not in catalog.templates:
        raise _UnreadableError(f"'{name}' is no equipment template", _one_of(catalog.templates))
    assumed = name is None
    name = name or likeliest_template(year, catalog.templates, row.get("region") or None, has)
    template = whole_template(name, catalog.templates)
    return Car(
        model_year=year,
        drive_hand=_word(row, "drive_hand") or "left",  # type: ignore[arg-type]
        equipment=name,
        components=tuple(sorted(template.components)),
        stages=dict(template.stages),
        assumed=assumed,
    )


def _evidence(row: Mapping[str, str], parts: Mapping[str, bool]) -> tuple[Evidence, ...]:
    found: list[Evidence] = []
    zone, extent, clock = _word(row, "zone"), _word(row, "extent"), _hour(row.get("clock"))
    if zone in ("flood", "fire"):
        found.append(Circumstance(id="told", what=zone, present=True))
    zone = zone if zone in ZONES else None  # damage elsewhere says nothing of where it was struck
    if zone or clock or extent:
        found.append(Impact(id="impact", zone=zone, clock=clock, extent=extent))  # type: ignore[arg-type]
    for part, fired in parts.items():
        says = "deployed" if fired else "not-deployed"
        named = None if part == WHOLE else part
        found.append(Statement(id=f"said-{named}" if named else "said", component=named, says=says))
    if belt := _word(row, "driver_belt"):
        found.append(Occupant(id="driver", seat="driver", present=True, belt=belt))  # type: ignore[arg-type]
    if beside := _word(row, "passenger"):
        found.append(Occupant(id="passenger", seat="passenger", present=beside == "yes"))
    return tuple(found)


def _said_of_parts(row: Mapping[str, str], car: Car, catalog: Catalog) -> dict[str, bool]:
    """Return whether each part of which a row speaks fired; of one it may say one thing only."""
    found: dict[str, bool] = {}
    for column, fired in (("deployed", True), ("not_deployed", False), ("airbags", True)):
        for part, says in _said_in(column, row.get(column, ""), car, catalog).items():
            if found.setdefault(part, says == fired) != (says == fired):
                raise _UnreadableError(
                    f"'{part}' stands under deployed and under not_deployed"
                    if part != WHOLE
                    else "the airbags stand as deployed and as not deployed",
                    "Keep the one that was seen, or take it out of both",
                )
    return found


def _said_in(column: str, text: str, car: Car, catalog: Catalog) -> dict[str, bool]:
    """Return what a cell says of each part: whether it agrees with its column."""
    whole = catalog.lots.meaning("airbags", text)
    if not text.strip(";, "):
        return {}
    if whole in _KNOWN["airbags"] and column != "not_deployed":
        return {WHOLE: whole == "deployed"}
    if text.isdecimal() and len(text) <= _COUNTED and column != "not_deployed":
        return {WHOLE: int(text) > 0}
    try:
        said = read_said_parts(text, car, catalog)
    except UnclearPartError as unclear:
        raise _UnreadableError(f"{column}: {unclear}", _NAMES) from None
    return dict.fromkeys(said, True) if column == "not_deployed" else said


_NAMES = (
    "Write names such as 'driver + passenger' or 'curtain left', ids such as driver.front-bag, or "
    "yes or no; or leave the cell empty"
)
_COUNTED = 2  # digits of a count of airbags


def _refuse_missing(parts: Mapping[str, bool], car: Car) -> None:
    """Refuse a part that no car of the stated equipment has."""
    for part in parts:
        if part != WHOLE and part not in car.components:
            raise _UnreadableError(
                f"deployed names '{part}', which this car has not",
                f"{_NAMES}. A car that has it has other equipment",
            )


def _word(row: Mapping[str, str], column: str) -> str | None:
    word = row.get(column)
    if word is not None and word not in _KNOWN[column]:
        raise _UnreadableError(f"{column} is '{word}'", _one_of(_KNOWN[column]))
    return word


def _one_of(words: Mapping[str, object] | tuple[str, ...]) -> str:
    return f"Write one of {', '.join(words)}, or leave the cell empty"


def read_country(text: str) -> str:
    """Return the country of a region that is written as ISO 3166-2 writes it; of another, none."""
    return text.strip()[:2] if _REGION.fullmatch(text.strip()) else ""


def read_year(text: str) -> str:
    """Return the year of a cell: of a model year, or of the day or month of first registration."""
    plain = _ABBREVIATED.sub("", text.strip().removesuffix(".0"))
    for day in _DAYS:
        if found := day.fullmatch(plain):
            return found[1]
    if found := _MONTH.fullmatch(plain):
        return f"20{found[1]}" if int(f"20{found[1]}") <= _YEARS[1] else f"19{found[1]}"
    return plain


def _year(text: str | None) -> int | None:
    return None if text is None else _whole(read_year(text), "model_year", *_YEARS)


def _hour(text: str | None) -> int | None:
    if text is None:
        return None
    hour = _HOUR.fullmatch(text.removesuffix(".0"))
    return _whole(hour[1] if hour else text, "clock", 1, 12)


def _whole(text: str, column: str, low: int, high: int) -> int:
    if not (text.isdecimal() and len(text) <= len(str(high)) and low <= int(text) <= high):
        raise _UnreadableError(
            f"{column} '{text}' is no whole number from {low} to {high}",
            f"Write a number from {low} to {high}, or leave the cell empty",
        )
    return int(text)


def _amount(row: Mapping[str, str], column: str, catalog: Catalog) -> float | None:
    text, currency = row.get(column, ""), row.get("currency", "")
    if text.isdecimal() and currency in ("", LIST_CURRENCY) and len(text) < _LONGEST:
        return float(text)
    text = catalog.lots.stated(text)
    if not text:
        return None
    _refuse_currency(text, catalog.lots.stated(currency), column, catalog)
    if may_be_thousands(text):
        raise _UnreadableError(
            f"{column} '{text}' may be a sum with cents or a thousand times as much",
            "Write it without a sign between the thousands, such as 13750",
        )
    amount = read_amount(text, catalog)
    if amount is None:
        raise _UnreadableError(
            f"{column} '{text}' is no amount in {LIST_CURRENCY}",
            "Write one sum such as 13750, or leave the cell empty: no limit is told then",
        )
    return amount


def _refuse_currency(text: str, beside: str, column: str, catalog: Catalog) -> None:
    """Refuse a sum whose sign, code or column beside it names another currency than the list's."""
    named = read_currencies(text, catalog) or read_currencies(beside, catalog)
    if (named or beside) and LIST_CURRENCY not in named:
        told = f"'{text}'" if not beside else f"'{text}', currency '{beside}',"
        raise _UnreadableError(
            f"{column} {told} is no amount in {LIST_CURRENCY}",
            f"Parts are priced in {LIST_CURRENCY}: convert the sum, or leave the cell empty",
        )


def read_amount(text: str, catalog: Catalog) -> float | None:
    """Return an amount of money in whole units, with or without signs; None when it is none.

    Prices of the catalogue, and so every list, are in its one currency: an amount in another is
    none.
    """
    try:
        amount = float(text)
    except ValueError:
        named = read_currencies(text, catalog)
        bare = re.sub("[a-z]+", "", text, flags=re.IGNORECASE) if named else text
        number = None if re.search("[a-z]", bare, re.IGNORECASE) else read_number(bare)
        is_other = bool(named) and LIST_CURRENCY not in named
        amount = -1.0 if number is None or is_other else float(number)
    return amount if 0.0 <= amount < _MOST else None
