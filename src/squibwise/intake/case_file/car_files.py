"""The car of a case, and the files that its evidence names."""

import hashlib
import re
from collections.abc import Collection, Iterable, Mapping
from pathlib import Path

import msgspec

from squibwise.catalog.codes import read_own_codes
from squibwise.catalog.components import Template, find_market, weigh_template, whole_template
from squibwise.catalog.load import Catalog
from squibwise.errors import InputError, ModelError, SquibwiseError, UnavailableError
from squibwise.intake.case_file.checks import Mention, Notes
from squibwise.intake.case_file.schema import CarTable, CrashDataEntry, ReportEntry
from squibwise.intake.case_file.toml_text import KeyPath, read_bytes
from squibwise.intake.case_file.written import Written, WrittenEntry
from squibwise.intake.importers import extract
from squibwise.intake.importers.base import MAX_BYTES
from squibwise.intake.report import reader
from squibwise.intake.report.reader import read_report
from squibwise.intake.vin import read_vin
from squibwise.model.car import Car, OwnCode
from squibwise.model.evidence import Evidence
from squibwise.model.names import side_of, split_component
from squibwise.model.origin import Finding, Origin, Severity
from squibwise.model.report import CodeLine, ReadReport, Report

_MOST_LYING = 200
_PHOTOS = (".jpg", ".jpeg", ".png", ".webp", ".heic", ".gif", ".mp4", ".mov")


def likeliest_template(
    year: int | None,
    templates: Mapping[str, Template],
    region: str | None = None,
    has: Collection[str] = (),
) -> str:
    """Return the template that a car of a model year and region most often has, or the widest one.

    The widest when the year is unknown: a component too many is asked about, one too few is missed.
    One that has all these components, where there is any.
    """
    market = find_market(region)

    def weight(name: str) -> float:
        return weigh_template(templates[name], year, market) if year else 0.0

    def width(name: str) -> int:
        return len(whole_template(name, templates).components)

    wide = [n for n in templates if set(has).issubset(whole_template(n, templates).components)]
    return max(sorted(wide or templates), key=lambda name: (weight(name), width(name)))


def make_car(
    table: CarTable,
    vin: str | None,
    year: int | None,
    catalog: Catalog,
    region: str | None = None,
) -> Car:
    """Return the car that a ``[car]`` table describes.

    Args:
        table: As written.
        vin: VIN that applies, from the table or from a report; upper case.
        year: Model year that applies; None when unknown.
        catalog: For the templates.
        region: Where the car is registered, whose rules shaped its equipment; None = not stated.
    """
    name = table.equipment or likeliest_template(year, catalog.templates, region)
    template = whole_template(name, catalog.templates)
    components = (set(template.components) | set(table.add)) - set(table.remove)
    stages = {c: template.stages.get(split_component(c).kind, 1) for c in components}
    stages |= table.stages
    return Car(
        vin=vin,
        model_year=year,
        drive_hand=table.drive_hand,
        equipment=name,
        components=tuple(sorted(components)),
        stages={c: n for c, n in sorted(stages.items()) if n > 1},
        assumed=table.equipment is None,
        removed=tuple(sorted(set(table.remove) & set(template.components))),
    )


def with_mentioned(car: Car, notes: Notes) -> Car:
    """Return the car with every component and stage that the evidence names, each new one noted."""
    for mention in notes.mentions:
        car = _with(car, mention, notes)
    return car


def _with(car: Car, mention: Mention, notes: Notes) -> Car:
    component = mention.component
    if component not in car.components:
        message = f"{component} is not part of '{car.equipment}'; it is taken to be in the car."
        remedy = f'Write add = ["{component}"] under [car] if it is, or correct the entry.'
        severity: Severity = "note" if car.assumed else "warning"
        notes.add("case-component-added", mention.path, message, remedy, severity)
        components = tuple(sorted({*car.components, component}))
        car = msgspec.structs.replace(car, components=components)
    if mention.stage > car.stages.get(component, 1):
        message = f"{component} is taken to have {mention.stage} circuits, because one is named."
        remedy = f'Write stages = {{ "{component}" = {mention.stage} }} under [car] if it has.'
        notes.add("case-stage-added", mention.path, message, remedy, "note")
        stages = dict(sorted({**car.stages, component: mention.stage}.items()))
        car = msgspec.structs.replace(car, stages=stages)
    return car


def with_codes(car: Car, evidence: Iterable[Evidence], notes: Notes) -> Car:
    """Return the car with every component and stage that a report surely speaks of."""
    for report in evidence:
        for line in report.reading.lines if isinstance(report, Report) else ():
            if line.component is not None:
                car = _with_coded(car, line, line.component, notes)
            elif line.present and line.unit != "other":
                car = _with_unplaced(car, line, notes)
    return car


def _with_unplaced(car: Car, line: CodeLine, notes: Notes) -> Car:
    """Return the car with the charges that a line names without their place, none being there.

    At every usual place that it leaves open: what may be live is not left out.
    """
    kind = notes.catalog.kinds.get(line.kind or "")
    if kind is None or not kind.fires:
        return car
    meant = {c.component for c in line.candidates if c.component and c.kind == kind.kind}
    there = {split_component(c).kind for c in car.components}
    if meant & set(car.components) or (not meant and kind.kind in there):
        return car
    fit = [p for p in kind.places if line.side in (None, side_of(p, car.drive_hand))]
    listed = (split_component(c) for t in notes.catalog.templates.values() for c in t.components)
    usual = {c.place for c in listed if c.kind == kind.kind}
    told = [p for p in fit if p == line.place] or [p for p in fit if p in usual] or fit
    added = (meant or {f"{place}.{kind.kind}" for place in told}) - set(car.removed)
    if not added:
        return car
    names = ", ".join(sorted(added))
    finding = Finding(
        code="report-component-unplaced",
        severity="warning",
        message=f"A report names a charge, {kind.title}, that is not part of '{car.equipment}'; "
        f"taken to be in the car: {names}.",
        remedy="Look where it sits: add = [...] and remove = [...] under [car] say which there is.",
        origin=line.origin if line.origin.file else Origin(line=line.line, raw=line.raw),
    )
    notes.findings.append(finding)
    return msgspec.structs.replace(car, components=tuple(sorted({*car.components, *added})))


def _twin(component: str) -> tuple[str, ...]:
    """Return the curtain on the other side: no car has one alone."""
    sides = {"left.curtain": "right.curtain", "right.curtain": "left.curtain"}
    return (sides[component],) if component in sides else ()


def _with_coded(car: Car, line: CodeLine, component: str, notes: Notes) -> Car:
    origin = line.origin if line.origin.file else Origin(line=line.line, raw=line.raw)
    if component not in car.components:
        message = f"{component} is not part of '{car.equipment}', but this report names it."
        remedy = f'Write add = ["{component}"] under [car] if it is there.'
        finding = Finding(
            code="report-component-added",
            severity="note" if car.assumed else "warning",
            message=message,
            remedy=remedy,
            origin=origin,
        )
        notes.findings.append(finding)
        both = {component, *_twin(component)} - set(car.removed)
        components = tuple(sorted({*car.components, *both}))
        car = msgspec.structs.replace(car, components=components)
    most = notes.catalog.kinds[split_component(component).kind].stages
    if car.stages.get(component, 1) < (line.stage or 1) <= most:
        stages = dict(sorted({**car.stages, component: line.stage or 1}.items()))
        car = msgspec.structs.replace(car, stages=stages)
    return car


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
    car = make_car(written.car, vin, stated or year, notes.catalog, written.case.region)
    if car.assumed:
        message = f"no equipment is stated; it is taken to be '{car.equipment}'."
        remedy = 'Write equipment = "..." under [car] once you know.'
        notes.add("case-equipment-assumed", ("car",), message, remedy, "note")
    _note_fewer_stages(written, car, notes)
    return msgspec.structs.replace(car, codes=_codes(written, notes))


def _note_fewer_stages(written: Written, car: Car, notes: Notes) -> None:
    """Say where the owner gives a part fewer circuits than its template does."""
    template = whole_template(car.equipment, notes.catalog.templates)
    for component, count in written.car.stages.items():
        usual = template.stages.get(split_component(component).kind, 1)
        if count < usual:
            message = f"The owner says that {component} has {count} of {usual} circuits."
            remedy = "A second stage may be live: strike it unless the maker says so."
            notes.add("stages-fewer", ("car", "stages"), message, remedy, "warning")


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
    vins = (vin_in(name, files[name], notes) for name in named)
    return None if written.car.vin else next((vin for vin in vins if vin), None)


def read_report_file(path: Path, catalog: Catalog) -> ReadReport:
    """Return what a report file says, with everything that was not understood.

    Raises:
        InputError: The file is missing, a folder, too large, a case file, or nothing that can be
            read.
    """
    if path.suffix.lower() == ".toml" and path.is_file():
        remedy = f"`squibwise assess {path}` reads the whole case."
        raise InputError(f"{path} is a case file, not a scan report.", remedy=remedy)
    return read_report(read_bytes(path, MAX_BYTES), path.name, catalog)


def file_bytes(name: str, path: KeyPath, notes: Notes) -> bytes | None:
    """Return the content of a file of the case folder; None when it cannot be read."""
    try:
        return read_bytes(notes.folder / name, MAX_BYTES)
    except InputError as error:
        _pass_on(error, name, path, notes)
        return None


def one_report(
    name: str, data: bytes, car: Car | None, path: KeyPath, notes: Notes
) -> ReadReport | None:
    """Return what one report of the case says; None when it cannot be read at all."""
    try:
        gathered = notes.gathered.pop(name, None)  # a sheet settles once
        if gathered is None:
            return read_report(data, name, notes.catalog, car)
        return reader.settle_extract(*gathered, notes.catalog, car)
    except (InputError, UnavailableError) as error:
        _pass_on(error, name, path, notes)
        return None


def vin_in(name: str, data: bytes, notes: Notes) -> str | None:
    """Return the VIN that a report names; None also when it cannot be read, which is told later.

    What was gathered for it is kept, so that no report is gathered twice.
    """
    try:
        found = extract(data, name)
        sheet = reader.gather_extract(found, name, notes.catalog)
    except (InputError, UnavailableError):
        return None
    notes.gathered[name] = (found, sheet)
    return sheet.vin


def _pass_on(error: SquibwiseError, name: str, path: KeyPath, notes: Notes) -> None:
    message = f"'{name}' cannot be read: {error}"
    notes.add("case-unreadable-file", path, message, error.remedy)


def crash_data(
    one: WrittenEntry, entry: CrashDataEntry, data: bytes, car: Car, origin: Origin, notes: Notes
) -> list[Evidence]:
    """Return what a file of crash data says, one entry for each recorded event."""
    from squibwise.intake.crash_data import read_crash_events

    try:
        read = read_crash_events(data, entry.file, car, notes.catalog)
    except InputError as error:
        _pass_on(error, entry.file, (*one.path, "file"), notes)
        return []
    notes.findings += (in_file(finding, entry.file) for finding in read.findings)
    return [
        msgspec.structs.replace(
            event,
            id=one.id if number == 1 else f"{one.id}-{number}",
            time=entry.time,
            file=entry.file,
            origin=origin,
        )
        for number, event in enumerate(read.entries, start=1)
    ]


_LEFT = re.compile(r"\.squibwise-[0-9a-f]{32}-[0-9a-f]{32}")
"""What a writer calls a file that it prepares."""
_SWEPT = "The next command that writes into the case takes it away; delete it if it stays."


def note_unnamed(named: Collection[str], notes: Notes) -> None:
    """Note the files of the evidence folder that no entry names; photos may lie there unnamed."""
    folder = notes.folder / "evidence"
    lying = sorted(folder.iterdir())[:_MOST_LYING] if folder.is_dir() else []
    for file in lying:
        name = f"evidence/{file.name}"
        if name in named or not file.is_file() or file.suffix.lower() in _PHOTOS:
            continue
        if _LEFT.fullmatch(file.name):
            message = f"'{name}' is what a command that was ended left of a copy: it is not used."
            notes.add("case-unnamed-file", (), message, _SWEPT, "note")
            continue
        message = f"'{name}' lies in the folder, but no entry names it: it is not used."
        notes.add("case-unnamed-file", (), message, "Name it in an [[evidence]] entry.", "note")


_PICTURE_MARKS = (
    b"\xff\xd8\xff",  # JPEG
    b"\x89PNG\r\n\x1a\n",
    b"GIF8",
    b"II*\0",  # TIFF
    b"MM\0*",
    b"%PDF-",
)


def is_picture(data: bytes) -> bool:
    """Is a file a picture, a film or a scanned paper by its first bytes.

    Source: ISO/IEC 10918-1 (JPEG), ISO/IEC 15948 (PNG), ISO/IEC 14496-12 section 4.3 (``ftyp``,
    for HEIC, MP4 and MOV), the rest as their makers publish it; all from memory.
    """
    return (
        data.startswith(_PICTURE_MARKS)
        or data[4:8] == b"ftyp"
        or (data[:4], data[8:12]) == (b"RIFF", b"WEBP")
    )


def digest(data: bytes) -> str:
    """Return the SHA-256 of a file in hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def compare_vin(car: Car, reading: ReadReport, name: str, path: KeyPath, notes: Notes) -> None:
    """Add a finding when a report names another car."""
    if car.vin and reading.vin and reading.vin != car.vin:
        message = f"'{name}' is a report of {reading.vin}, not of {car.vin}."
        remedy = "Make sure that it belongs to this car."
        notes.add("case-other-vin", path, message, remedy, "warning")


def with_origin_in(reading: ReadReport, name: str) -> ReadReport:
    """Return a reading whose findings name their file."""
    named = tuple(in_file(finding, name) for finding in reading.findings)
    return msgspec.structs.replace(reading, findings=named)


def in_file(finding: Finding, name: str) -> Finding:
    """Return a finding that names its file, also when its reader did not."""
    if finding.origin.file:
        return finding
    origin = msgspec.structs.replace(finding.origin, file=name)
    return msgspec.structs.replace(finding, origin=origin)
