"""The car of a case: what its table says, what a VIN tells, and the maker's code tables."""

from collections.abc import Mapping

import msgspec

from squibwise.catalog.codes import read_own_codes
from squibwise.catalog.load import Catalog
from squibwise.errors import InputError, ModelError
from squibwise.intake.case_file import reports
from squibwise.intake.case_file.equipment import make_car
from squibwise.intake.case_file.evidence import ReportEntry
from squibwise.intake.case_file.notes import Notes
from squibwise.intake.case_file.written import Written
from squibwise.intake.vin import read_vin
from squibwise.model.car import Car, OwnCode


def vin_and_year(text: str | None, catalog: Catalog) -> tuple[str | None, int | None]:
    """Return a VIN in upper case with the model year it tells; None for what is not known."""
    read = read_vin(text, catalog)[0] if text else None
    return (read.text, read.model_year) if read else (None, None)


def the_car(written: Written, files: Mapping[str, bytes], notes: Notes) -> Car:
    """Return the car of a case file, before the evidence adds to it.

    Args:
        written: The tables.
        files: Content of the files that the case names; a report may tell the VIN.
        notes: Takes what is remarkable.
    """
    vin, year = vin_and_year(written.car.vin, notes.catalog)
    if vin is None:
        vin, year = vin_and_year(_vin_of_reports(written, files, notes), notes.catalog)
    stated = written.car.model_year
    if stated and year and stated != year:
        message = f"model_year is {stated}, the VIN says {year}."
        remedy = "What you wrote is used; correct one of them."
        notes.add("case-other-year", ("car", "model_year"), message, remedy, "warning")
    car = make_car(written.car, vin, stated or year, notes.catalog)
    if car.assumed:
        message = f"no equipment is stated; it is taken to be '{car.equipment}'."
        remedy = 'Write equipment = "..." under [car] once you know.'
        notes.add("case-equipment-assumed", ("car",), message, remedy, "note")
    return msgspec.structs.replace(car, codes=_codes(written, notes))


def _codes(written: Written, notes: Notes) -> tuple[OwnCode, ...]:
    kinds = frozenset(notes.catalog.kinds)
    codes: list[OwnCode] = []
    for index, table in written.codes.items():
        try:
            codes += read_own_codes(notes.folder / table.file, table.source, kinds)
        except (InputError, ModelError) as error:
            notes.add("case-unreadable-file", ("codes", index, "file"), f"{error}.", error.remedy)
    return tuple(codes)


def _vin_of_reports(written: Written, files: Mapping[str, bytes], notes: Notes) -> str | None:
    named = (one.entry.file for one in written.entries if isinstance(one.entry, ReportEntry))
    vins = (reports.vin_in(name, files[name], notes.catalog) for name in named)
    return None if written.car.vin else next((vin for vin in vins if vin), None)
