"""What was worked out about each car, kept beside the garage: one answer a car, the last.

The file can be deleted at any time; what is in it is worked out again.
"""

import sqlite3
import zlib
from pathlib import Path
from threading import Lock
from typing import TypeVar

import msgspec

T = TypeVar("T")
_TABLE = (
    "CREATE TABLE IF NOT EXISTS kept (car TEXT PRIMARY KEY, mark TEXT NOT NULL, answer BLOB NOT "
    "NULL) STRICT, WITHOUT ROWID"
)
LEVEL = 1  # quick: the answers are read far more often than written


class KeptAnswers:
    """Answers that outlive the server. A class because its requests share one file.

    Where the file cannot be used nothing is kept, and everything is worked out.
    """

    def __init__(self, place: Path) -> None:
        self._lock = Lock()
        self._file: sqlite3.Connection | None = None
        try:
            self._file = sqlite3.connect(place, check_same_thread=False, isolation_level=None)
            self._file.execute("PRAGMA journal_mode = WAL")
            self._file.execute("PRAGMA synchronous = OFF")
            self._file.execute(_TABLE)
        except sqlite3.Error:
            self._file = None

    def find(self, car: str, mark: str, kind: type[T]) -> T | None:
        """Return what is kept of a car under a mark; None when it is not, or cannot be read."""
        query = "SELECT answer FROM kept WHERE car = ? AND mark = ?"
        try:
            with self._lock:
                row = self._file and self._file.execute(query, (car, mark)).fetchone()
            return msgspec.json.decode(zlib.decompress(row[0]), type=kind) if row else None
        except (sqlite3.Error, zlib.error, msgspec.MsgspecError):
            return None

    def put(self, car: str, mark: str, answer: object) -> None:
        """Keep what was worked out of a car in place of what was kept before."""
        row = (car, mark, zlib.compress(msgspec.json.encode(answer), LEVEL))
        try:
            with self._lock:
                if self._file:
                    self._file.execute("INSERT OR REPLACE INTO kept VALUES (?, ?, ?)", row)
        except sqlite3.Error:
            return  # a full disk: the next server works it out again
