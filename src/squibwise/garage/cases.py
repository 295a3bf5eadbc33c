"""Cases of a garage: all of them in a list, and one as a folder to be changed by an entry."""

import datetime as dt
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import msgspec

from squibwise.errors import InputError
from squibwise.garage import store
from squibwise.garage.database import connected, writing
from squibwise.garage.folders import folder_content, write_content
from squibwise.intake.case_file.load import CASE_FILE
from squibwise.intake.case_file.toml_text import parse

UNREADABLE = "(its case.toml cannot be read)"
_LONGEST_TITLE = 500


@contextmanager
def editing(
    place: Path,
    case_id: str,
    what: str,
    at: dt.datetime,
    by: str = "",
    seen: str = "",
    undoes: int = 0,
) -> Iterator[Path]:
    """Give a case of a garage as a folder to be changed; the change becomes an entry.

    Args:
        place: The garage.
        case_id: A case of it.
        what: What is done to it, in words.
        at: When.
        by: Who does it.
        seen: Hash of the entry the person looked at; empty = where the case stands now.
        undoes: Number of an earlier entry that the change takes out; 0 for none.

    Raises:
        InputError: Somebody else changed the case meanwhile; nothing is entered.
    """
    with connected(place) as garage:
        stands = store.head(garage, case_id)
        if seen and seen != stands.hash:
            raise store.conflict(case_id, stands)
        content = store.content(garage, case_id)
    with tempfile.TemporaryDirectory(prefix="squibwise-") as laid_out:
        folder = Path(laid_out) / case_id
        write_content(content, folder)
        yield folder
        with connected(place) as garage:
            store.add(garage, case_id, folder_content(folder), what, at, by, stands, undoes)


class Car(msgspec.Struct, frozen=True, kw_only=True):
    """A case in a list.

    Attributes:
        id: Its id.
        at: When it was last changed, ISO 8601.
        what: What was done then.
        title: One line about it; empty when it has none.
    """

    id: str
    at: str
    what: str
    title: str = ""


# CROSS JOIN holds SQLite to this order: a few thousand cases, not all their entries.
_CARS = """
SELECT head.case_id, json_extract(entry.body, '$.at'), json_extract(entry.body, '$.what'),
  remembered.value
FROM head
CROSS JOIN entry ON entry.case_id = head.case_id AND entry.number = head.number
LEFT JOIN remembered ON remembered.key = 'title:' || head.hash
ORDER BY 2 DESC, 1
"""
_OUTDATED = """
DELETE FROM remembered WHERE key >= 'title:' AND key < 'title;'
AND substr(key, 7) NOT IN (SELECT hash FROM head)
"""


def list_cars(garage: sqlite3.Connection) -> tuple[Car, ...]:
    """Return every case, the one that was changed last first; titles are worked out once."""
    rows = garage.execute(_CARS).fetchall()
    untitled = [row[0] for row in rows if row[3] is None and store.is_case_id(row[0])]
    if untitled:
        _remember_titles(garage, untitled)
        rows = garage.execute(_CARS).fetchall()
    named = (row for row in rows if store.is_case_id(row[0]))
    return tuple(Car(id=i, at=at, what=what, title=title or "") for i, at, what, title in named)


def _remember_titles(garage: sqlite3.Connection, case_ids: list[str]) -> None:
    with writing(garage):
        garage.execute(_OUTDATED)
        for case_id in case_ids:
            row = (f"title:{store.head(garage, case_id).hash}", read_title(garage, case_id))
            garage.execute("INSERT OR REPLACE INTO remembered (key, value) VALUES (?, ?)", row)


def read_title(garage: sqlite3.Connection, case_id: str) -> str:
    """Return the title that stands in a case file, or that it cannot be read."""
    try:
        data = store.peek(garage, case_id, CASE_FILE)
        return UNREADABLE if data is None else title_in(data)
    except InputError:
        return UNREADABLE


def title_in(data: bytes) -> str:
    """Return the title that stands in a case file; empty when it has none.

    Raises:
        InputError: Its head is no TOML, or what it calls ``case`` is no table.
    """
    head = data.decode("utf-8", "replace").partition("\n[[")[0]
    case = parse(head, CASE_FILE)[0].get("case", {})
    if not isinstance(case, dict):
        remedy = "Write a table [case] with id and title; `squibwise new FOLDER` writes one."
        raise InputError(f"{CASE_FILE}: 'case' is no table.", remedy=remedy)
    return str(case.get("title", ""))[:_LONGEST_TITLE]
