"""Correct a line of a report that was misread: its code gets a row in a table of the car's own."""

import datetime as dt
from pathlib import Path

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.entering.case_text import Addition, add, load_written, open_file
from squibwise.garage.writing import NewFile, change_file, make_folder, write_files

TABLE = "evidence/corrected-lines.tsv"
NO_CODE = "-"
_HEAD = "code\tcomponent\tstage\tfault\ttext\n"


class Correction(msgspec.Struct, frozen=True, kw_only=True):
    """What a line means.

    Attributes:
        code: As the report should print it, with its failure type: ``B1234-1B``; ``-`` for a line
            of words only, which ``text`` then names.
        component: Component id; empty where the code or the words tell it.
        stage: Stage of its circuit; 0 when the line does not tell.
        fault: A fault word, or ``none``; empty where the code or the words tell it.
        text: The line's own words.
    """

    code: str
    component: str
    stage: int
    fault: str
    text: str

    def row(self) -> str:
        """Return the row of the table."""
        text = " ".join(self.text.split())
        told = (self.code, self.component, str(self.stage or ""), self.fault, text)
        cells = (cell or "-" for cell in told)
        return "\t".join(cells) + "\n"


def correct_line(
    folder: Path,
    correction: Correction,
    source: str,
    command: str,
    at: dt.datetime,
    catalog: Catalog,
) -> None:
    """Write down in a case folder what a line of a report means; the report stays as it was.

    Args:
        folder: The case.
        correction: What it means.
        source: Who says so, and from where.
        command: What was asked, for the mark beside the table.
        at: When.
        catalog: The catalogue.

    Raises:
        InputError: It cannot be so, or the disk refuses.
    """
    table, file = folder / TABLE, open_file(folder)
    row = correction.row()
    if table.is_file():
        change_file(table, lambda old: _replaced(old, row))
        if f'"{TABLE}"' in file.text:
            load_written(file.text, file.path, catalog)
            return
    else:
        make_folder(table.parent)
        write_files([NewFile(path=table, data=(_HEAD + row).encode("utf-8"))])
    codes = ({"file": TABLE, "source": source},)
    add(file, Addition(command=command, at=at, codes=codes), catalog)


def _replaced(table: bytes, row: str) -> bytes:
    """Return a table with a row in place of the earlier one of its line."""
    rows = table.decode("utf-8").splitlines(keepends=True)
    kept = [r for r in rows if _line_of(r) != _line_of(row)]
    return ("".join(kept) + row).encode("utf-8")


def _line_of(row: str) -> tuple[str, str]:
    """Return what a row speaks of: a line by its words, by its code where it has none."""
    code, *_, text = row.rstrip("\n").split("\t")
    return (code, "-") if text == "-" else ("", text)
