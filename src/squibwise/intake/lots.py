"""Rows of a list of lots to cars with evidence; a row that cannot be read is told by its line."""

import re
from collections.abc import Mapping

from squibwise.catalog.components import whole_template
from squibwise.catalog.load import Catalog
from squibwise.intake.case_file.car_files import likeliest_template
from squibwise.intake.columns import read_currencies
from squibwise.intake.offers import read_number
from squibwise.model.car import Car
from squibwise.model.evidence import Evidence, Impact, Occupant, Statement
from squibwise.model.lots import LotRow
from squibwise.model.names import ZONES
from squibwise.model.origin import Finding, Origin

COLUMNS = (
    "id", "region", "model_year", "drive_hand", "equipment", "zone", "clock", "extent", "deployed",
    "not_deployed", "airbags", "driver_belt", "passenger", "resale", "other_costs",
)  # fmt: skip
SAYING = ("equipment", "model_year", "drive_hand", *COLUMNS[5:13])
"""Columns that say something of the restraint system, the car first: lots alike in them are
believed alike."""

LIST_CURRENCY = "USD"
"""Of every list: the level of the catalogue's prices."""
_WORDED = ("zone", "extent", "airbags", "driver_belt", "passenger")
_EXTENTS = ("none", "light", "moderate", "severe")
_YEARS = (1985, 2035)


class _UnreadableError(Exception):
    """A cell that cannot be used; its text says why."""


def read_lot(row: Mapping[str, str], line: int, name: str, catalog: Catalog) -> LotRow | Finding:
    """Return a row as a lot, or what is wrong with it.

    Args:
        row: Cells by column; what is missing or empty is unknown.
        line: Of the list.
        name: Of the list.
        catalog: Templates and components.
    """
    try:
        return _lot(_state(row, catalog), line, catalog)
    except _UnreadableError as error:
        return Finding(
            code="lot-row-bad",
            severity="warning",
            message=f"This lot is skipped: {error}.",
            remedy="Correct the row; every other lot is screened.",
            origin=Origin(file=name, line=line, raw=",".join(row.values())[:200]),
        )


def _state(row: Mapping[str, str], catalog: Catalog) -> dict[str, str]:
    """Return what a row states, in our own words; what is not known is left out."""
    stated = {k: v.strip() if k == "id" else catalog.lots.stated(v) for k, v in row.items()}
    return {k: catalog.lots.meaning(k, v) if k in _WORDED else v for k, v in stated.items() if v}


def _lot(row: Mapping[str, str], line: int, catalog: Catalog) -> LotRow:
    if "id" not in row:
        raise _UnreadableError("it has no id")
    year = _whole(row, "model_year", *_YEARS)
    car = _car(row, year, catalog)
    return LotRow(
        line=line,
        id=row["id"],
        car=car,
        region=row.get("region"),
        evidence=_evidence(row, car),
        resale=_amount(row, "resale", catalog),
        other_costs=_amount(row, "other_costs", catalog),
    )


def _car(row: Mapping[str, str], year: int | None, catalog: Catalog) -> Car:
    name = row.get("equipment")
    if name is not None and name not in catalog.templates:
        known = ", ".join(catalog.templates)
        raise _UnreadableError(f"'{name}' is no equipment template: write one of {known}")
    assumed = name is None
    name = name or likeliest_template(year, catalog.templates)
    template = whole_template(name, catalog.templates)
    return Car(
        model_year=year,
        drive_hand=_word(row, "drive_hand", ("left", "right")) or "left",  # type: ignore[arg-type]
        equipment=name,
        components=tuple(sorted(template.components)),
        stages=dict(template.stages),
        assumed=assumed,
    )


def _evidence(row: Mapping[str, str], car: Car) -> tuple[Evidence, ...]:
    found: list[Evidence] = []
    zone, extent = _word(row, "zone", ZONES), _word(row, "extent", _EXTENTS)
    clock = _whole(row, "clock", 1, 12)
    if zone or clock or extent:
        found.append(Impact(id="impact", zone=zone, clock=clock, extent=extent))  # type: ignore[arg-type]
    for column, says in (("deployed", "deployed"), ("not_deployed", "not-deployed")):
        for component in row.get(column, "").replace(";", " ").split():
            if component not in car.components:
                raise _UnreadableError(
                    f"{column} names '{component}', which this car has not: write ids such as "
                    "driver.front-bag with ; between them"
                )
            found.append(Statement(id=f"said-{component}", component=component, says=says))
    if said := _word(row, "airbags", ("deployed", "not-deployed")):
        found.append(Statement(id="said", says=said))
    if belt := _word(row, "driver_belt", ("latched", "unlatched")):
        found.append(Occupant(id="driver", seat="driver", present=True, belt=belt))  # type: ignore[arg-type]
    if beside := _word(row, "passenger", ("yes", "no")):
        found.append(Occupant(id="passenger", seat="passenger", present=beside == "yes"))
    return tuple(found)


def _word(row: Mapping[str, str], column: str, known: tuple[str, ...]) -> str | None:
    word = row.get(column)
    if word is not None and word not in known:
        raise _UnreadableError(f"{column} is '{word}', not one of {', '.join(known)}")
    return word


def _whole(row: Mapping[str, str], column: str, low: int, high: int) -> int | None:
    if column not in row:
        return None
    text = row[column].removesuffix(".0")
    if not (text.isdecimal() and low <= int(text) <= high):
        raise _UnreadableError(f"{column} '{row[column]}' is no whole number from {low} to {high}")
    return int(text)


def _amount(row: Mapping[str, str], column: str, catalog: Catalog) -> float | None:
    if column not in row:
        return None
    amount = read_amount(row[column], catalog)
    if amount is None:
        raise _UnreadableError(f"{column} '{row[column]}' is no amount in {LIST_CURRENCY}")
    return amount


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
    return amount if 0.0 <= amount < 1e9 else None
