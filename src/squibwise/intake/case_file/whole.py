"""From raw tables to a case: records, files, car, evidence in order of time."""

from collections.abc import Iterable, Mapping
from pathlib import Path as FilePath
from typing import Any

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.intake.case_file import build, reports, vehicle
from squibwise.intake.case_file.equipment import make_car, with_codes, with_mentioned
from squibwise.intake.case_file.evidence import CrashDataEntry, ReportEntry
from squibwise.intake.case_file.notes import Notes
from squibwise.intake.case_file.records import CarTable, GivenTable
from squibwise.intake.case_file.written import Written, WrittenEntry, read_written
from squibwise.intake.importers import extract
from squibwise.intake.report.entry import read_extract, vin_in
from squibwise.model.car import Car, Given, OwnRule, Profile
from squibwise.model.case import Case
from squibwise.model.evidence import Evidence
from squibwise.model.origin import Finding, Origin
from squibwise.model.report import Report


def read_case(raw: Mapping[str, Any], notes: Notes) -> Case:
    """Return the case that the tables of a file describe.

    Args:
        raw: The tables as ``tomllib`` gives them.
        notes: Holds the file's name and folder; every mistake is added to it.

    Raises:
        InputError: With every mistake of the file, each with its line.
    """
    written = read_written(raw, notes)
    files = _files(written, notes)
    refuse(notes)
    car = vehicle.the_car(written, files, notes)
    evidence = [one for entry in written.entries for one in _evidence(entry, files, car, notes)]
    refuse(notes)
    car = with_codes(with_mentioned(car, notes), evidence, notes)
    _check_years(evidence, car, notes)
    reports.note_unnamed(files, notes)
    return Case(
        id=written.case.id or notes.folder.resolve().name or "case",
        title=written.case.title,
        region=written.case.region,
        currency=written.case.currency,
        car=car,
        profile=_profile(written),
        evidence=build.in_order_of_time(evidence),
        prices=_prices(written, notes),
        findings=(*_in_order(notes.findings), *_of_reports(evidence)),
        files={name: reports.digest(data) for name, data in sorted(files.items())},
    )


def implicit_case(name: str, folder: FilePath, data: bytes, catalog: Catalog) -> Case:
    """Return the case of a report that stands alone: nothing is known but what it says.

    Raises:
        InputError: The report cannot be read.
    """
    notes = Notes(name, folder, "", {}, catalog)
    found = extract(data, name)
    vin, year = vehicle.vin_and_year(vin_in(found, name, catalog), catalog)
    car = make_car(CarTable(), vin, year, catalog)
    reading = reports.with_origin_in(read_extract(found, name, catalog, car), name)
    report = Report(id="report-1", reading=reading, origin=Origin(file=name))
    message = f"Nobody stated the equipment; it is taken to be '{car.equipment}'."
    remedy = "`squibwise new FOLDER` makes a case in which it can be stated."
    notes.add("case-equipment-assumed", (), message, remedy, "note")
    car = with_codes(car, [report], notes)
    return Case(
        id=FilePath(name).stem,
        title=f"Report {name}",
        car=car,
        evidence=(report,),
        findings=(*notes.findings, *reading.findings),
        files={name: reports.digest(data)},
    )


def refuse(notes: Notes) -> None:
    """Stop when anything is wrong with the case file.

    Raises:
        InputError: With every finding, in order of line.
    """
    wrong = [f for f in notes.findings if f.severity == "error"]
    if wrong:
        count = "one mistake" if len(wrong) == 1 else f"{len(wrong)} mistakes"
        raise InputError(
            f"{notes.name} has {count}.",
            remedy="Correct the file; nothing was changed.",
            findings=_in_order(wrong),
        )


def _in_order(findings: Iterable[Finding]) -> tuple[Finding, ...]:
    return tuple(sorted(findings, key=lambda f: f.origin.line or 0))


def _of_reports(evidence: Iterable[Evidence]) -> tuple[Finding, ...]:
    return tuple(f for e in evidence if isinstance(e, Report) for f in e.reading.findings)


def _files(written: Written, notes: Notes) -> dict[str, bytes]:
    named = [
        (one.entry.file, (*one.path, "file"))
        for one in written.entries
        if isinstance(one.entry, ReportEntry | CrashDataEntry)
    ]
    named += [(table.file, ("codes", i, "file")) for i, table in written.codes.items()]
    files = {name: reports.file_bytes(name, path, notes) for name, path in named}
    return {name: data for name, data in files.items() if data is not None}


def _evidence(
    one: WrittenEntry, files: Mapping[str, bytes], car: Car, notes: Notes
) -> list[Evidence]:
    entry = one.entry
    origin = notes.origin(one.path, build.person(entry))
    if isinstance(entry, CrashDataEntry):
        return reports.crash_data(one, entry.file, files[entry.file], origin, notes)
    if not isinstance(entry, ReportEntry):
        return [build.plain(entry, one.id, origin)]
    path = (*one.path, "file")
    reading = reports.one_report(entry.file, files[entry.file], car, path, notes)
    if reading is None:
        return []
    reports.compare_vin(car, reading, entry.file, path, notes)
    return [build.report(entry, one.id, reports.with_origin_in(reading, entry.file), origin)]


def _check_years(evidence: Iterable[Evidence], car: Car, notes: Notes) -> None:
    """A car is seldom built more than a year before its model year."""
    for one in evidence:
        if one.time and car.model_year and one.time.year < car.model_year - 1:
            message = f"'{one.id}' is of {one.time.year}, the car of {car.model_year}."
            finding = Finding(
                code="case-time-before-car",
                severity="warning",
                message=message,
                remedy="Correct the time or the model year.",
                origin=one.origin,
            )
            notes.findings.append(finding)


def _profile(written: Written) -> Profile:
    table = written.profile

    def given(figure: GivenTable | None) -> Given | None:
        return None if figure is None else Given(value=figure.value, source=figure.source)

    return Profile(
        name=table.name,
        wait_minutes=given(table.wait_minutes),
        loop_low_ohm=given(table.loop_low_ohm),
        loop_high_ohm=given(table.loop_high_ohm),
        rules=tuple(
            OwnRule(component=r.component, action=r.action, when=r.when, source=r.source)
            for r in table.rules
        ),
    )


def _prices(written: Written, notes: Notes) -> tuple[Any, ...]:
    currency = written.case.currency
    return tuple(
        build.price(table, currency, notes.origin(("price", index)))
        for index, table in written.prices.items()
    )
