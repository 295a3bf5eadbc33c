"""A crash data file to recorder evidence: which of the two forms it has."""

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.intake.crash_data.events import Entry, entries_of, event_of
from squibwise.intake.crash_data.pulses import record_of
from squibwise.intake.crash_data.settings import CrashData, Settings, settings_of
from squibwise.intake.crash_data.table import tables_of
from squibwise.intake.importers import extract
from squibwise.intake.importers.base import MAX_BYTES, refuse_large
from squibwise.intake.importers.text import decode, is_binary
from squibwise.model.evidence import Recorder
from squibwise.model.origin import Finding
from squibwise.numerics.pulse import Direction

_MOST_FINDINGS = 200
_HELP = (
    "Use a table with a time column (time_s or time_ms) and columns such as delta_v_long_kmh or "
    "floor_x_g, or lines such as 'Delta-V, longitudinal: -27 km/h'."
)


def read_crash_data(data: bytes, name: str, catalog: Catalog) -> CrashData:
    """Return the recorder evidence of a file: elements of 49 CFR 563 as text, or a table.

    Args:
        data: Bytes of the file.
        name: Its name, for messages.
        catalog: Words and figures.

    Raises:
        InputError: Nothing of it can be used.
    """
    refuse_large(name, len(data), MAX_BYTES)
    if not data.strip():
        raise InputError(f"{name}: the file is empty.", remedy=_HELP)
    settings = settings_of(catalog, name)
    text, doubts = _text(data, name)
    tables = tables_of(text, settings)
    if tables is not None:
        made, findings = tables
        return _together([*doubts, *findings], [record_of(t, settings) for t in made])
    entries, findings = entries_of(enumerate(text.splitlines(), start=1), settings)
    if not entries:
        raise InputError(f"{name}: no crash data is recognised in it.", remedy=_HELP)
    return _together([*doubts, *findings], _events(entries, settings))


def _text(data: bytes, name: str) -> tuple[str, tuple[Finding, ...]]:
    if not is_binary(data) and data[:5] != b"%PDF-":
        return decode(data, name)
    extracted = extract(data, name)
    lines = ("\t".join(line.cells) if line.cells else line.text for line in extracted.lines)
    return "\n".join(lines), extracted.findings


def _events(
    entries: list[Entry], settings: Settings
) -> list[tuple[Recorder | None, Direction | None, list[Finding]]]:
    whole = [e for e in entries if e.element.kind in ("count", "gap")]
    numbers = sorted({e.event for e in entries if e not in whole}) or [1]
    counted = [e for e in whole if e.element.kind == "count"]
    made: list[tuple[Recorder | None, Direction | None, list[Finding]]] = []
    for number in numbers:
        own = [e for e in entries if e.event == number and e not in counted]
        made.append(event_of(number, [*own, *counted], settings))
    return made


def _together(
    findings: list[Finding],
    made: list[tuple[Recorder | None, Direction | None, list[Finding]]],
) -> CrashData:
    count = len(made)
    entries, directions = list[Recorder](), list[Direction | None]()
    for entry, direction, notes in made:
        findings += notes
        if entry is not None:
            several = count > 1 and entry.event_count is None
            entries.append(msgspec.structs.replace(entry, event_count=count) if several else entry)
            directions.append(direction)
    return CrashData(entries=tuple(entries), directions=tuple(directions), findings=tuple(findings))
