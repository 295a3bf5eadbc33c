"""A case file, or a bare report, to a case."""

from collections.abc import Iterable, Mapping
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, get_args

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.history.order import order_entries
from squibwise.history.power import ASK_WAIT, doubt_wait
from squibwise.intake.case_file import car_files
from squibwise.intake.case_file.car_files import make_car, with_codes, with_mentioned
from squibwise.intake.case_file.checks import Notes, name_kind
from squibwise.intake.case_file.schema import (
    CarTable,
    CrashDataEntry,
    Entry,
    GivenTable,
    ImpactEntry,
    PhotoEntry,
    PriceTable,
    ReportEntry,
)
from squibwise.intake.case_file.toml_text import (
    LARGEST_BYTES,
    KeyPath,
    decode,
    is_folder,
    locate,
    parse,
    read_bytes,
)
from squibwise.intake.case_file.written import Written, WrittenEntry, read_written
from squibwise.intake.importers import extract
from squibwise.intake.importers.base import MAX_BYTES
from squibwise.intake.report.reader import gather_extract, settle_extract, side_of_driver
from squibwise.model.car import Car, Given, OwnRule, Price, Profile
from squibwise.model.case import Case
from squibwise.model.cost import from_major
from squibwise.model.evidence import Evidence, Story
from squibwise.model.names import current_name
from squibwise.model.origin import Finding, Origin
from squibwise.model.report import ReadReport, Report

MODELS: dict[str, type[Any]] = {e.__struct_config__.tag: e for e in get_args(Evidence)}


def plain(entry: Entry, entry_id: str, origin: Origin) -> Any:  # noqa: ANN401 - any Evidence
    """Return the evidence that an entry without a file stands for."""
    given = msgspec.structs.asdict(entry) | {"id": entry_id, "origin": origin}
    if given.get("donor_vin"):
        given["donor_vin"] = given["donor_vin"].strip().upper()
    return MODELS[str(entry.__struct_config__.tag)](**given)


def person(entry: Entry) -> str | None:
    """Return who saw, said or did it; None when the entry names nobody."""
    return getattr(entry, "by", None) or getattr(entry, "from_", None) or None


def report(entry: ReportEntry, entry_id: str, reading: ReadReport, origin: Origin) -> Report:
    """Return a report as evidence; what the user states of its coverage goes before its text.

    Of a unit that did not answer, or whose reading broke off, not every circuit was read,
    whoever says so.
    """
    read = reading.coverage
    may_be = read.silent is None and read.broken_off is None
    complete = entry.complete if may_be else None
    stated = {"complete": complete, "unit_volts": entry.unit_volts}
    known = {key: value for key, value in stated.items() if value is not None}
    vouched = complete is True and reading.coverage.complete is not True
    coverage = msgspec.structs.replace(reading.coverage, **known, is_vouched=vouched)
    return Report(
        id=entry_id,
        time=entry.time,
        when=entry.when,
        reading=msgspec.structs.replace(reading, coverage=coverage),
        file=entry.file,
        origin=origin,
    )


def price(table: PriceTable, currency: str, origin: Origin) -> Price:
    """Return a price in minor units of the case's currency."""
    return Price(
        what=table.what,
        low=from_major(table.low, currency),
        likely=from_major(table.likely, currency),
        high=from_major(table.high, currency),
        source=table.source,
        on=table.on,
        origin=origin,
    )


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
    car = car_files.the_car(written, files, notes)
    evidence = [one for entry in written.entries for one in _evidence(entry, files, car, notes)]
    evidence += _told(notes)
    refuse(notes)
    car = with_codes(with_mentioned(car, notes), evidence, notes)
    _check_years(evidence, car, notes)
    digests = {name: car_files.digest(data) for name, data in sorted(files.items())}
    _note_copies(written, digests, notes)
    _note_blank_impacts(written, notes)
    _note_changed_photos(written, digests, notes)
    _note_no_pictures(written, files, notes)
    car_files.note_unnamed(files, notes)
    return Case(
        id=written.case.id or notes.folder.resolve().name or "case",
        title=written.case.title,
        region=written.case.region,
        currency=written.case.currency,
        car=car,
        profile=_profile(written, notes),
        evidence=order_entries(tuple(evidence)),
        prices=_prices(written, notes),
        findings=(*_in_order(notes.findings), *_of_reports(evidence)),
        files=digests,
    )


def _note_copies(written: Written, digests: Mapping[str, str], notes: Notes) -> None:
    """Say where two entries hold the same file, or the same bytes under two names.

    A report read at another time is none: that it says the same again is news.
    """
    first: dict[str, list[WrittenEntry]] = {}
    for one in written.entries:
        if not isinstance(one.entry, ReportEntry | CrashDataEntry):
            continue
        alike = first.setdefault(digests[one.entry.file], [])
        told = next((other.id for other in alike if not _read_anew(other.entry, one.entry)), "")
        alike.append(one)
        if told:
            message = f"'{one.id}' holds the same file as '{told}'; it tells nothing more."
            notes.add("same-file-twice", one.path, message, "Remove one of the two.", "warning")


def _read_anew(earlier: Entry, later: Entry) -> bool:
    """Return whether two entries are reports of two times, each in a file of its own."""
    if not (isinstance(earlier, ReportEntry) and isinstance(later, ReportEntry)):
        return False
    times = earlier.time, later.time
    return earlier.file != later.file and None not in times and times[0] != times[1]


def _note_blank_impacts(written: Written, notes: Notes) -> None:
    """Say where an impact tells neither zone nor direction nor extent."""
    for one in written.entries:
        entry = one.entry
        if isinstance(entry, ImpactEntry) and not (entry.zone or entry.clock or entry.extent):
            message = f"'{one.id}' says nothing of the impact; it weighs nothing."
            remedy = "Add zone, clock or extent, or remove the entry."
            notes.add("impact-blank", one.path, message, remedy, "warning")


def _note_changed_photos(written: Written, digests: Mapping[str, str], notes: Notes) -> None:
    """Say where a photograph is not the one that was added."""
    for one in written.entries:
        entry = one.entry
        if not isinstance(entry, PhotoEntry) or not entry.sha256:
            continue
        if entry.sha256 != digests[entry.file]:
            message = f"'{entry.file}' is not the photograph that was added: its content differs."
            remedy = "Put the first one back, or add this one under another name."
            notes.add("photo-changed", (*one.path, "sha256"), message, remedy, "warning")


def _note_no_pictures(written: Written, files: Mapping[str, bytes], notes: Notes) -> None:
    """Say where the file of a photograph is none by what is in it, whatever its name says."""
    for one in written.entries:
        entry = one.entry
        if isinstance(entry, PhotoEntry) and not car_files.is_picture(files[entry.file]):
            message = f"'{entry.file}' is no photograph: what is in it is neither picture nor film."
            remedy = "Add the photograph itself, or remove the entry."
            notes.add("photo-no-picture", (*one.path, "file"), message, remedy)


def implicit_case(name: str, folder: Path, data: bytes, catalog: Catalog) -> Case:
    """Return the case of a report that stands alone: nothing is known but what it says.

    Raises:
        InputError: The report cannot be read.
    """
    notes = Notes(name, folder, "", {}, catalog)
    found = extract(data, name)
    sheet = gather_extract(found, name, catalog)
    vin, year = car_files.vin_and_year(sheet.vin, catalog)
    car = make_car(CarTable(drive_hand=side_of_driver(sheet)), vin, year, catalog)
    reading = car_files.with_origin_in(settle_extract(found, sheet, catalog, car), name)
    report = Report(id="report-1", reading=reading, origin=Origin(file=name))
    message = f"Nobody stated the equipment; it is taken to be '{car.equipment}'."
    remedy = "`squibwise new FOLDER` makes a case in which it can be stated."
    notes.add("case-equipment-assumed", (), message, remedy, "note")
    car = with_codes(car, [report], notes)
    return Case(
        id=Path(name).stem,
        title=f"Report {name}",
        car=car,
        evidence=(report,),
        findings=(*notes.findings, *reading.findings),
        files={name: car_files.digest(data)},
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


_MOST_FILES = 300


def _files(written: Written, notes: Notes) -> dict[str, bytes]:
    """Return the content of every file that the case names, by its name.

    Raises:
        InputError: It names more than any car needs.
    """
    named = [
        (one.entry.file, (*one.path, "file"))
        for one in written.entries
        if isinstance(one.entry, ReportEntry | CrashDataEntry | PhotoEntry)
    ]
    named += [(table.file, ("codes", i, "file")) for i, table in written.codes.items()]
    if len(named) > _MOST_FILES:
        raise InputError(
            f"{notes.name} names files {len(named)} times; at most {_MOST_FILES} are read.",
            remedy="Name each report and each photograph once, and only those of this car.",
        )
    files = {name: car_files.file_bytes(name, path, notes) for name, path in named}
    return {name: data for name, data in files.items() if data is not None}


def _evidence(
    one: WrittenEntry, files: Mapping[str, bytes], car: Car, notes: Notes
) -> list[Evidence]:
    entry = one.entry
    origin = notes.origin(one.path, person(entry))
    if isinstance(entry, CrashDataEntry):
        return car_files.crash_data(one, entry, files[entry.file], car, origin, notes)
    if not isinstance(entry, ReportEntry):
        return [plain(entry, one.id, origin)]
    path = (*one.path, "file")
    reading = car_files.one_report(entry.file, files[entry.file], car, path, notes)
    if reading is None:
        return []
    car_files.compare_vin(car, reading, entry.file, path, notes)
    return [report(entry, one.id, car_files.with_origin_in(reading, entry.file), origin)]


def _told(notes: Notes) -> list[Evidence]:
    """Return the owner's story where it stands in comments of the file."""
    origins = [Origin(file=notes.name, line=line, raw=text) for line, text in notes.told()]
    return [Story(id=f"told-{o.line}", text=o.raw, origin=o) for o in origins]


def _check_years(evidence: Iterable[Evidence], car: Car, notes: Notes) -> None:
    """A car is seldom built more than a year before its model year, and does not live for ever."""
    known = sorted(one.time.year for one in evidence if one.time)
    built = car.model_year or next(iter(known), 0)
    for one in (e for e in evidence if e.time):
        year = one.time.year if one.time else built
        early = year < built - 1
        if early or year > built + _LONGEST_LIFE:
            finding = Finding(
                code="case-time-before-car" if early else "case-time-after-car",
                severity="warning",
                message=f"'{one.id}' is of {year}, the car of {built}.",
                remedy="Correct the time or the model year.",
                origin=one.origin,
            )
            notes.findings.append(finding)


_LONGEST_LIFE = 100  # years: a later date is a slip of the pen, whatever the car


def _profile(written: Written, notes: Notes) -> Profile:
    table = written.profile

    def given(figure: GivenTable | None) -> Given | None:
        return None if figure is None else Given(value=figure.value, source=figure.source)

    return Profile(
        name=table.name,
        wait_minutes=_wait(given(table.wait_minutes), notes),
        loop_low_ohm=given(table.loop_low_ohm),
        loop_high_ohm=given(table.loop_high_ohm),
        seat_off_kg=given(table.seat_off_kg),
        seat_gap_kg=given(table.seat_gap_kg),
        rules=tuple(
            OwnRule(component=r.component, action=r.action, when=r.when, source=r.source)
            for r in table.rules
        ),
        sold_apart=table.sold_apart,
        comes_with=table.comes_with,
    )


def _wait(stated: Given | None, notes: Notes) -> Given | None:
    """Return the wait of the maker as it is stated; a slip is none, and the longest stays."""
    told = "" if stated is None else doubt_wait(stated.value, notes.catalog)
    if not told:
        return stated
    stays = f"{told}: the longest published wait stays."
    notes.add("case-wait-too-short", ("profile", "wait_minutes"), stays, ASK_WAIT, "warning")
    return None


def _prices(written: Written, notes: Notes) -> tuple[Any, ...]:
    currency = written.case.currency
    return tuple(
        price(table, currency, notes.origin(("price", index)))
        for index, table in written.prices.items()
    )


CASE_FILE = "case.toml"
_LOOKED_AT, _NAMED = 200, 5
_PUT_THERE = f"Put the {CASE_FILE} itself there."


def load_case(path: Path, catalog: Catalog) -> Case:
    """Return the case of a folder, of its ``case.toml``, or of a bare report file.

    Args:
        path: Folder with a ``case.toml``, a file ending in ``.toml``, or a report.
        catalog: For kinds, look words and templates.

    Raises:
        InputError: It is not there or cannot be used; ``findings`` holds every mistake with its
            line.
    """
    folder = is_folder(path)
    file = path / CASE_FILE if folder else path
    if folder and (kind := name_kind(file)):
        raise InputError(f"{file} is {kind}, not a file.", remedy=_inside(path) or _PUT_THERE)
    if folder and not file.is_file():
        raise InputError(
            f"{path} has no {CASE_FILE}.",
            remedy=_inside(path) or f"`squibwise new {path}` writes one, or name a report file.",
        )
    if file.suffix.lower() == ".toml":
        return _load_file(file, catalog)
    return implicit_case(file.name, file.parent, read_bytes(file, MAX_BYTES), catalog)


def _load_file(file: Path, catalog: Catalog) -> Case:
    return load_case_text(decode(read_bytes(file, LARGEST_BYTES), file.name), file, catalog)


def load_case_text(text: str, file: Path, catalog: Catalog) -> Case:
    """Return the case that a case file would be with another text in it.

    Args:
        text: The text.
        file: Where it would stand; its folder holds the evidence.
        catalog: For kinds, look words and templates.

    Raises:
        InputError: It cannot be used; ``findings`` holds every mistake with its line.
    """
    raw, impossible = parse(text, file.name)
    notes = Notes(file.name, file.parent, text, locate(text), catalog)
    notes.findings += impossible
    return read_case(_with_current_names(raw, (), notes), notes)


def make_case(
    tables: Mapping[str, Any], catalog: Catalog, files: Mapping[str, str | bytes] | None = None
) -> Case:
    """Return the case that tables describe, built in memory as a case file would be.

    Args:
        tables: As ``tomllib`` gives those of a case file: ``case``, ``car``, ``evidence`` ...
        catalog: For kinds, look words and templates.
        files: Reports and other files that the evidence names, by the name it uses.

    Raises:
        InputError: It cannot be used; ``findings`` holds every mistake.
    """
    with TemporaryDirectory(prefix="squibwise-") as folder:
        for name, data in (files or {}).items():
            file = Path(folder) / name
            file.parent.mkdir(parents=True, exist_ok=True)
            file.write_bytes(data.encode("utf-8") if isinstance(data, str) else data)
        notes = Notes("case", Path(folder), "", {}, catalog)
        tables = {"case": {"id": "case"}, **tables}
        return read_case(_with_current_names(tables, (), notes), notes)


def _with_current_names(value: Any, path: KeyPath, notes: Notes) -> Any:  # noqa: ANN401
    """Return what a file says with every kind as it is called now; each former name is noted."""
    if isinstance(value, dict):
        return {k: _with_current_names(v, (*path, k), notes) for k, v in value.items()}
    if isinstance(value, list):
        return [_with_current_names(v, (*path, i), notes) for i, v in enumerate(value)]
    if not isinstance(value, str) or (now := current_name(value)) == value:
        return value
    message = f"'{value}' is called '{now}' now; it is read as that."
    notes.add("case-former-name", path, message, f"Write '{now}'.", "note")
    return now


def _inside(folder: Path) -> str:
    """Name cases that lie one level deeper, which is where a person often meant to go."""
    found = sorted(str(f.parent) for f in islice(folder.glob(f"*/{CASE_FILE}"), _LOOKED_AT))
    return f"Name one of the cases in it: {', '.join(found[:_NAMED])}." if found else ""
