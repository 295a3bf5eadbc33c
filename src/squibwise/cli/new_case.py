"""Make a case folder with a commented case file; nothing that is there is touched."""

import json
import re
from pathlib import Path

import msgspec

from squibwise.errors import InputError
from squibwise.garage.writing import write_folder
from squibwise.intake.case_file.toml_text import read_bytes
from squibwise.intake.importers.base import MAX_BYTES

TEMPLATE = Path(__file__).parent / "case-template.toml"
_REPORT = '[[evidence]]\nkind = "report"\nid = "{id}"\nfile = {file}\n\n'


class Made(msgspec.Struct, frozen=True, kw_only=True):
    """A case folder that was just made."""

    id: str
    folder: Path
    files: tuple[Path, ...]


def make(folder: Path, reports: tuple[Path, ...] = ()) -> Made:
    """Write ``case.toml`` and ``evidence/`` into a folder, with copies of reports.

    Raises:
        InputError: The folder already holds something, or a report cannot be read.
    """
    copies = _copies(reports)
    case_id = re.sub(r"[^A-Za-z0-9._-]+", "-", folder.absolute().name).strip("-.") or "case"
    text = template(case_id, tuple(copies))
    files = {f"evidence/{name}": data for name, data in copies.items()}
    write_folder(folder, {"case.toml": text.encode("utf-8")} | files, empty=["evidence"])
    written = (folder / "case.toml", *(folder / "evidence" / name for name in copies))
    return Made(id=case_id, folder=folder, files=written)


def _copies(reports: tuple[Path, ...]) -> dict[str, bytes]:
    copies: dict[str, bytes] = {}
    for path in reports:
        if path.name in copies:
            message = f"two reports are called '{path.name}'."
            raise InputError(message, remedy="Rename one of them.")
        copies[path.name] = read_bytes(path, MAX_BYTES)
    return copies


def template(case_id: str, reports: tuple[str, ...] = ()) -> str:
    """Return the commented case file of a new case."""
    named = ((n, json.dumps(f"evidence/{r}", ensure_ascii=False)) for n, r in enumerate(reports, 1))
    entries = (_REPORT.format(id=f"scan-{n}", file=file) for n, file in named)
    text = TEMPLATE.read_text(encoding="utf-8").replace("CASE-ID", case_id[:64])
    return text.replace("# REPORTS\n", "".join(entries))
