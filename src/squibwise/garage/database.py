"""The file that a garage is: opened, brought up to date, copied while in use."""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from importlib import resources
from pathlib import Path

from squibwise.errors import InputError, UnavailableError
from squibwise.garage.writing import preparing

APPLICATION = 0x53515742  # "SQWB": no other program's file is taken for a garage
WAIT_SECONDS = 20.0
SIGNING_KEY, KNOWN_KEYS = "signing.key", "known-keys.json"
"""What lies beside a garage, apart from it."""
_NOT_OURS = "Name a garage of this program, or a new file."


def schema_versions() -> tuple[str, ...]:
    """Return the steps from an empty file to the schema of today, each as SQL."""
    folder = resources.files("squibwise.garage") / "schema"
    names = sorted((f.name for f in folder.iterdir() if f.name.endswith(".sql")), key=_number)
    return tuple((folder / name).read_text(encoding="utf-8") for name in names)


def _number(name: str) -> int:
    return int(name.partition(".")[0])


@contextmanager
def connected(path: Path, *, create: bool = False) -> Iterator[sqlite3.Connection]:
    """Open a garage for the length of a ``with``.

    Args:
        path: Its file.
        create: Make it when it is not there.

    Raises:
        InputError: There is none, it is another program's or damaged, or the disk refuses.
        UnavailableError: A newer version of this program made it.
    """
    if path.is_symlink() or (path.exists() and not path.is_file()):
        raise InputError(f"'{path}' is no plain file.", remedy=_NOT_OURS)
    if not create and not is_garage(path):
        raise InputError(f"there is no garage at '{path}'.", remedy="`squibwise import CASE`.")
    _refuse_emptied(path)
    try:
        connection = sqlite3.connect(path, timeout=WAIT_SECONDS, isolation_level=None)
    except sqlite3.Error as error:
        raise _told(path, error) from error
    try:
        _prepare(connection, path)
        yield connection
    except sqlite3.Error as error:
        raise _told(path, error) from error
    finally:
        connection.close()


def is_garage(path: Path) -> bool:
    """Return whether a garage is there, or was; what a first use that failed left empty is none."""
    return path.is_file() and (path.stat().st_size > 0 or bool(keys_beside(path)))


def keys_beside(path: Path) -> list[str]:
    """Return the keys that lie where a garage is or was: its user has signed, or checked."""
    return [name for name in (SIGNING_KEY, KNOWN_KEYS) if os.path.lexists(path.parent / name)]


def _refuse_emptied(path: Path) -> None:
    """Refuse an empty file beside keys: it was a garage. One that was just made has no key yet.

    Raises:
        InputError: It is such a file.
    """
    kept = keys_beside(path)
    if kept and path.exists() and not path.stat().st_size:
        remedy = "Put the last whole backup in its place; delete it if it never held a case."
        told = (
            f"'{path}' holds nothing at all, beside {' and '.join(kept)}: what was in it is gone."
        )
        raise InputError(told, remedy=remedy)


def _told(path: Path, error: sqlite3.Error) -> InputError:
    """Return the refusal of the storage in words; what was entered before it is kept."""
    name = getattr(error, "sqlite_errorname", "")
    remedy = _NOT_OURS if name == "SQLITE_NOTADB" else _REMEDIES.get(name[:11], _ASK)
    return InputError(f"{path}: {error}. Nothing of this was written.", remedy=remedy)


_ASK = "`squibwise garage check` tells what is whole; a backup can be put in its place."
_REMEDIES = {
    "SQLITE_FULL": "Make room on the disk, then repeat it.",
    "SQLITE_BUSY": "Somebody else is writing; repeat it in a moment.",
    "SQLITE_READ": "Choose a place that you may write to.",
    "SQLITE_CANT": "Choose a place that you may write to.",
    "SQLITE_IOER": "Make room on the disk, then repeat it.",
}


def _prepare(connection: sqlite3.Connection, path: Path) -> None:
    connection.execute("PRAGMA foreign_keys = ON")
    connection.execute("PRAGMA trusted_schema = OFF")
    connection.execute("PRAGMA cell_size_check = ON")
    connection.execute("PRAGMA synchronous = FULL")
    steps = schema_versions()
    if _version(connection, path, len(steps)) < len(steps):
        connection.execute("PRAGMA journal_mode = WAL")
        with writing(connection):
            for number in range(_version(connection, path, len(steps)), len(steps)):
                _run(connection, steps[number])
                connection.execute(f"PRAGMA user_version = {number + 1}")
            connection.execute(f"PRAGMA application_id = {APPLICATION}")


def _version(connection: sqlite3.Connection, path: Path, known: int) -> int:
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    owner = int(connection.execute("PRAGMA application_id").fetchone()[0])
    tables = int(connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()[0])
    if owner != APPLICATION and (owner or version or tables):
        raise InputError(f"'{path}' belongs to another program.", remedy=_NOT_OURS)
    if version > known:
        raise UnavailableError(
            f"'{path}' was made by a newer version of this program.",
            remedy="Install that version; nothing was changed.",
        )
    return version


def _run(connection: sqlite3.Connection, script: str) -> None:
    """Run a script statement by statement, inside the transaction at hand."""
    statement = ""
    for line in script.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            connection.execute(statement)
            statement = ""


@contextmanager
def writing(connection: sqlite3.Connection) -> Iterator[None]:
    """Hold the garage against other writers; all that is done in it happens, or nothing."""
    connection.execute("BEGIN IMMEDIATE")
    try:
        yield
        connection.execute("COMMIT")
    finally:
        if connection.in_transaction:  # a full disk may have ended it already
            connection.execute("ROLLBACK")


def backup(connection: sqlite3.Connection, place: Path) -> None:
    """Copy a garage to a new file while others read and write it.

    It is prepared in a folder of its own: a copy that fails leaves no file, one that is killed none
    that could be taken for a backup, nor one that stands in the way of the next.

    Raises:
        InputError: Something is at that place, or the disk refuses.
    """
    if os.path.lexists(place):
        raise InputError(f"'{place}' is there already.", remedy="Name a new file.")
    try:
        with preparing(place.parent) as prepared:
            part = prepared / place.name
            with closing(sqlite3.connect(part)) as target:
                connection.backup(target)
            part.rename(place)
    except (OSError, sqlite3.Error, InputError) as error:
        raise _no_backup(place, error) from error


def _no_backup(place: Path, error: Exception) -> InputError:
    remedy = "Choose a place that you may write to, with room for it."
    return InputError(f"{place}: {error}. There is no backup.", remedy=remedy)
