"""Take one entry of a case in the garage back that others were written after."""

import datetime as dt
from pathlib import Path

from squibwise.catalog.load import Catalog
from squibwise.entering import case_text
from squibwise.errors import InputError
from squibwise.garage import store
from squibwise.garage.cases import editing
from squibwise.garage.database import connected
from squibwise.intake.case_file.load import CASE_FILE
from squibwise.intake.case_file.toml_text import decode


def take_out(
    place: Path,
    case_id: str,
    number: int,
    at: dt.datetime,
    catalog: Catalog,
    by: str = "",
    seen: str = "",
) -> None:
    """Take back one entry that others were written after: what it added goes, the others stay.

    Raises:
        InputError: There is no such entry, or it did more than add, so that others build on it.
    """
    with connected(place) as garage:
        entries = store.history(garage, case_id)
        holding = store.effective(entries)
        at_number = next((n for n, e in enumerate(holding) if e.number == number), 0)
        if not at_number or number in store.list_undone(entries):
            told = f"case '{case_id}': entry {number} is none that can be taken back."
            raise InputError(told, remedy="Choose one that holds.")
        before, after = (store.files(holding[: at_number + n]) for n in (0, 1))
        texts = [store.read_original(garage, known[CASE_FILE]) for known in (before, after)]
    entry, now = holding[at_number], store.files(entries)
    marks = [case_text.read_marks(_as_file(text)) for text in texts]
    added = {path: digest for path, digest in entry.files.items() if path != CASE_FILE}
    is_built_on = any(p in before or now.get(p) != digest for p, digest in added.items())
    if is_built_on or not marks[1] - marks[0]:
        told = f"entry {number} changed what stood there, and others build on it."
        raise InputError(told, remedy="Take back the ones after it first, from the last one on.")
    what = f"took back: {entry.what}"
    with editing(place, case_id, what, at, by, seen, number) as folder:
        file = case_text.open_file(folder)
        case_text.take_out(file, marks[1] - marks[0], catalog)
        left = file.path.read_text("utf-8")
        for path in (p for p in added if p not in left):
            (folder / path).unlink(missing_ok=True)


def _as_file(data: bytes) -> case_text.OpenFile:
    return case_text.OpenFile(path=Path(CASE_FILE), text=decode(data, CASE_FILE), seen="")
