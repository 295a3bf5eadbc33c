"""Load a case: a folder with ``case.toml``, such a file, or a bare report."""

from itertools import islice
from pathlib import Path

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.intake.case_file.locate import locate
from squibwise.intake.case_file.notes import Notes
from squibwise.intake.case_file.parse import LARGEST_BYTES, decode, is_folder, parse, read_bytes
from squibwise.intake.case_file.whole import implicit_case, read_case
from squibwise.intake.importers.limits import MAX_BYTES
from squibwise.model.case import Case

CASE_FILE = "case.toml"
_LOOKED_AT, _NAMED = 200, 5


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
    if folder and not file.is_file():
        raise InputError(
            f"{path} has no {CASE_FILE}.",
            remedy=_inside(path) or f"`squibwise new {path}` writes one, or name a report file.",
        )
    if file.suffix.lower() == ".toml":
        return _load_file(file, catalog)
    return implicit_case(file.name, file.parent, read_bytes(file, MAX_BYTES), catalog)


def _load_file(file: Path, catalog: Catalog) -> Case:
    text = decode(read_bytes(file, LARGEST_BYTES), file.name)
    raw, impossible = parse(text, file.name)
    notes = Notes(file.name, file.parent, text, locate(text), catalog)
    notes.findings += impossible
    return read_case(raw, notes)


def _inside(folder: Path) -> str:
    """Name cases that lie one level deeper, which is where a person often meant to go."""
    found = sorted(str(f.parent) for f in islice(folder.glob(f"*/{CASE_FILE}"), _LOOKED_AT))
    return f"Name one of the cases in it: {', '.join(found[:_NAMED])}." if found else ""
