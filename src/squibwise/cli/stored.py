"""What a command is given: a case of the garage as a folder, a file, or what is piped in."""

import atexit
import datetime as dt
import os
import re
import shutil
import sqlite3
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import click

from squibwise.errors import InputError
from squibwise.garage import store
from squibwise.garage.checking import refuse_altered
from squibwise.garage.database import connected, is_garage
from squibwise.garage.folders import folder_content, write_content
from squibwise.garage.writing import make_folder
from squibwise.intake.case_file.load import CASE_FILE

PLACE = "SQUIBWISE_GARAGE"
_LAID_OUT = "squibwise-"
_DASH, _PIPED_NAME = Path("-"), "standard-input"
_MOST_PIPED = 64_000_000  # bytes


def garage_file() -> Path:
    """Return where the garage is: as the environment says, or in this user's own folder."""
    named = os.environ.get(PLACE)
    return Path(named) if named else Path(click.get_app_dir("squibwise")) / "garage.db"


@contextmanager
def opened_garage(*, create: bool = False) -> Iterator[sqlite3.Connection]:
    """Open the user's garage; made at first use when a case is to be put in.

    Raises:
        InputError: There is none, or it cannot be used.
    """
    place = garage_file()
    if create:
        make_folder(place.parent)
    with connected(place, create=create) as garage:
        yield garage


def is_case(path: Path) -> bool:
    """Return whether something is there as a path, or the garage has a case of that id."""
    if not _is_id(path):
        return _is_there(path)
    with opened_garage() as garage:
        return path.name in store.case_ids(garage)


def _is_there(path: Path) -> bool:
    """Return whether something is there as a path; nothing can be under an impossible name."""
    try:
        return path.exists()
    except OSError:
        return False


def _is_id(path: Path) -> bool:
    """Return whether only the id of a case can be meant; what is there as a path goes before."""
    return not _is_there(path) and len(path.parts) == 1 and is_garage(garage_file())


def located(path: Path) -> Path:
    """Return a case that a command can open: the path itself, or a case of the garage by its id.

    A case of the garage is laid out in a folder that is gone when the program ends.
    """
    if not _is_id(path):
        return path
    with opened_garage() as garage:
        if path.name not in store.case_ids(garage):
            return path
        laid_out = Path(tempfile.mkdtemp(prefix=_LAID_OUT))
        atexit.register(shutil.rmtree, laid_out, ignore_errors=True)
        write_content(store.content(garage, path.name), laid_out / path.name)
    return laid_out / path.name


def folder_of(path: Path) -> Path:
    """Return the folder of a case: itself, or where its file lies."""
    return path if path.is_dir() else path.parent


def without_own_folder(text: str) -> str:
    """Return a text without the folder in which a case of the garage was laid out meanwhile."""
    place = re.escape(os.path.join(tempfile.gettempdir(), _LAID_OUT))
    return re.sub(rf"{place}\w{{8}}[\\/]", "", text)


def told_file(path: Path) -> str:
    """Return where the case file of a case is, for a person: a garage has it in no folder."""
    if _is_id(path):
        return f"case '{path.name}' of the garage"
    return str(path / CASE_FILE if path.is_dir() else path)


@contextmanager
def editable(path: Path, what: str, by: str = "") -> Iterator[Path]:
    """Give a case as a folder to be changed; a case of the garage gets an entry for the change.

    Args:
        path: A case, or the id of one in the garage.
        what: What is done to it, in words.
        by: Who does it.

    Raises:
        InputError: Somebody else changed the case of the garage meanwhile; nothing is entered.
    """
    if not _is_id(path):
        yield path
        return
    from squibwise.garage.cases import editing  # brings what writes case files

    with editing(garage_file(), path.name, what, _now(), by) as folder:
        yield folder


def import_case(folder: Path, name: str | None, by: str) -> store.Head:
    """Put a case folder into the garage, or what is new in one that is there already.

    Raises:
        InputError: It is no case folder, its case file has no readable head, no case may be called
            so, or the garage cannot be used.
    """
    from squibwise.garage.cases import title_in

    _refuse_other_folder(folder)
    case_id = folder.resolve().name if name is None else name
    store.refuse_case_id(case_id)
    content = folder_content(folder)
    title_in(content[CASE_FILE])  # refuses a case file without a readable head
    with opened_garage(create=True) as garage:
        known = case_id in store.case_ids(garage)
        what = f"{'brought up to date' if known else 'imported'} from {folder.resolve().name}"
        return store.add(garage, case_id, content, what, _now(), by)


def _refuse_other_folder(folder: Path) -> None:
    """Refuse what is no case folder, and say what it is instead."""
    remedy = "Name a case folder."
    if not folder.is_dir():
        told = "is a file, not a folder" if folder.exists() else "is not there"
        raise InputError(f"'{folder}' {told}.", remedy=remedy)
    if (folder / CASE_FILE).is_symlink():
        remedy = "Copy what it leads to into the case, then repeat it."
        raise InputError(f"'{folder / CASE_FILE}' is a link.", remedy=remedy)
    if not (folder / CASE_FILE).is_file():
        raise InputError(f"'{folder}' has no case.toml.", remedy=remedy)


def refuse_altered_case(path: Path) -> None:
    """Refuse to sign a case of the garage whose history is not as it was written.

    Raises:
        InputError: It is not.
    """
    if _is_id(path):
        with opened_garage() as garage:
            refuse_altered(garage, path.name)


def export_case(case_id: str, folder: Path, *, altered: bool = False) -> int:
    """Write a case of the garage out as a folder; return the number of its files.

    Args:
        case_id: The case.
        folder: Where it goes.
        altered: Also one whose history is not as it was written.

    Raises:
        InputError: There is no such case, it was altered, or something is at that place.
    """
    with opened_garage() as garage:
        content = store.content(garage, case_id)
        if not altered:
            refuse_altered(garage, case_id)
    write_content(content, folder)
    return len(content)


def undo_last(case_id: str, by: str) -> store.Entry:
    """Take back the last entry of a case of the garage, and return it.

    Raises:
        InputError: There is nothing to take back.
    """
    with opened_garage() as garage:
        return store.undo(garage, case_id, _now(), by)


def _now() -> dt.datetime:
    return dt.datetime.now(dt.UTC)


@contextmanager
def as_file(path: Path) -> Iterator[Path]:
    """Give a file as it is; for ``-``, a file that holds what was piped in, while it is used.

    Raises:
        InputError: Nothing was piped in, or too much.
    """
    if path != _DASH:
        yield path
        return
    if sys.stdin is None or sys.stdin.isatty():
        remedy = "Pipe a file in, or name it: `squibwise read - < scan.txt`."
        raise InputError("nothing was piped in.", remedy=remedy)
    data = sys.stdin.buffer.read(_MOST_PIPED + 1)
    if len(data) > _MOST_PIPED:
        raise InputError("more was piped in than is read.", remedy="Name the file instead.")
    with tempfile.TemporaryDirectory(prefix=_LAID_OUT) as folder:
        file = Path(folder) / _PIPED_NAME
        file.write_bytes(data)
        yield file
