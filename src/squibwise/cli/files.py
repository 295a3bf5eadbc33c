"""Files that commands read and write, whole or not at all."""

import os
from collections.abc import Iterable
from pathlib import Path

from squibwise.errors import InputError
from squibwise.model.belief import ComponentBelief
from squibwise.model.proof import ProofRecord

LARGEST_RECORD = 50_000_000


def json_beside(out: Path) -> Path:
    """Return where the data of a record goes: beside its PDF."""
    return out.with_suffix(".json")


def refuse_as_record(out: Path) -> None:
    """Refuse a place that a record cannot be written to, before any work is done.

    Raises:
        InputError: It is no PDF name, or its folder is not there.
    """
    if out.suffix.lower() != ".pdf":
        raise InputError(f"'{out}' does not end in .pdf.", remedy="Write -o record.pdf.")
    if out.is_dir() or not out.parent.is_dir():
        raise InputError(
            f"'{out}' cannot be written.", remedy="Name a file in a folder that exists."
        )


def write_record(record: ProofRecord, out: Path) -> None:
    """Write a record as PDF and, beside it, as JSON.

    Raises:
        InputError: The folder refuses the files.
    """
    from squibwise.documents import record_pdf
    from squibwise.prove.recording import to_json

    write(out, record_pdf(record))
    write(json_beside(out), to_json(record))


def write_drawings(beliefs: Iterable[ComponentBelief], folder: Path) -> tuple[Path, ...]:
    """Write one drawing for each belief into a folder, made when it is not there.

    Raises:
        InputError: The folder cannot be written to.
    """
    from squibwise.documents import waterfall_svg

    make_folder(folder)
    drawn = {folder / f"{c.id}.svg": waterfall_svg(c).encode("utf-8") for c in beliefs}
    for path, svg in drawn.items():
        write(path, svg)
    return tuple(drawn)


def write(path: Path, data: bytes) -> None:
    """Write a file in one step, so that an interruption leaves the old one.

    Raises:
        InputError: It cannot be written.
    """
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_bytes(data)
        os.replace(part, path)
    except OSError as error:
        part.unlink(missing_ok=True)
        remedy = "Choose a folder that you may write to."
        raise InputError(f"{path}: {error.strerror}.", remedy=remedy) from error


def make_folder(folder: Path) -> None:
    """Make a folder for output; one that is there is used.

    Raises:
        InputError: It cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        remedy = "Choose another folder with --out."
        raise InputError(f"{folder}: {error.strerror}.", remedy=remedy) from error


def record_bytes(path: Path) -> bytes:
    """Return the content of a record file.

    Raises:
        InputError: It is missing, empty, unreadable or too large.
    """
    from squibwise.intake.case_file.toml_text import read_bytes

    data = read_bytes(path, LARGEST_RECORD)
    if not data:
        raise InputError(f"{path}: the file is empty.", remedy="Ask for the record again.")
    return data
