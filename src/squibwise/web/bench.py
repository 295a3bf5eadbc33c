"""What a running server holds: the garage it serves, the catalogue, cars it has open, answers."""

import datetime as dt
import hashlib
import sqlite3
import tempfile
import zlib
from collections import OrderedDict
from collections.abc import Callable, Hashable
from pathlib import Path
from threading import Lock
from typing import Any, TypeVar

import msgspec

from squibwise import __version__
from squibwise import case as line
from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.garage import store
from squibwise.garage.database import connected
from squibwise.garage.folders import write_content
from squibwise.garage.learning import learn_own
from squibwise.model.case import Case, Experience
from squibwise.model.proof import Overview
from squibwise.web.sessions import Sessions

T = TypeVar("T")
MOST_KEPT = 256
_TABLE = (
    "CREATE TABLE IF NOT EXISTS kept (car TEXT PRIMARY KEY, mark TEXT NOT NULL, answer BLOB NOT "
    "NULL) STRICT, WITHOUT ROWID"
)
LEVEL = 1  # quick: the answers are read far more often than written


class NotThereError(InputError):
    """There is no such car, part or page."""


class Opened(msgspec.Struct, frozen=True, kw_only=True):
    """A car as it stands.

    Attributes:
        id: Its id in the garage.
        seen: Hash of its last entry: what the person looks at.
        case: The case.
        own: What finished cars teach.
    """

    id: str
    seen: str
    case: Case
    own: Experience


class KeptAnswers:
    """What was worked out of each car, kept beside the garage: one answer a car, the last.

    The file can be deleted at any time; where it cannot be used nothing is kept, and everything is
    worked out. A class because requests share one file.
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


class Bench:
    """The state of a server. A class because all its requests share garage, catalogue and caches.

    Attributes:
        place: The garage.
        catalog: The catalogue.
        sessions: Who is here.
        hosts: Names under which it may be called.
    """

    def __init__(
        self, place: Path, catalog: Catalog, sessions: Sessions, hosts: frozenset[str]
    ) -> None:
        self.place, self.catalog, self.sessions, self.hosts = place, catalog, sessions, hosts
        self._kept: OrderedDict[Hashable, Any] = OrderedDict()
        self._answers = KeptAnswers(place.with_suffix(".answers"))
        self._lock = Lock()
        self.writing = Lock()

    def open(self, case_id: str) -> Opened:
        """Return a car as it stands now.

        Raises:
            NotThereError: The garage has no such car.
        """
        with connected(self.place) as garage:
            head = store.head(garage, case_id)
            if head == store.NOTHING:
                raise NotThereError(f"There is no car '{case_id}'.", remedy="Go to the garage.")
            return self.keep(("case", case_id, head.hash), lambda: self._opened(case_id, head))

    def _opened(self, case_id: str, head: store.Head) -> Opened:
        with connected(self.place) as garage:
            content = store.content(garage, case_id)
        with tempfile.TemporaryDirectory(prefix="squibwise-") as laid_out:
            folder = Path(laid_out) / case_id
            write_content(content, folder)
            case = line.open_case(folder, self.catalog)
        learned = learn_own(None, Path(case_id), self.place, self.catalog, __version__)
        return Opened(id=case_id, seen=head.hash, case=case, own=learned.own)

    def whole(self, opened: Opened) -> Overview:
        """Return everything that is answered about a car, worked out once for each standing."""
        return self.keep(_standing(opened), lambda: self._whole(opened))

    def knows(self, opened: Opened) -> bool:
        """Return whether everything about a car as it stands is worked out already."""
        return self.has(_standing(opened))

    def _whole(self, opened: Opened) -> Overview:
        """Return the answer that another server kept, or work it out and keep it."""
        taught = hashlib.sha256(msgspec.json.encode(opened.own)).hexdigest()
        mark = f"{__version__} {opened.seen} {taught}"
        kept = self._answers.find(opened.id, mark, Overview)
        if kept is not None:
            return kept
        made = line.overview(opened.case, self.catalog, opened.own)
        self._answers.put(opened.id, mark, made)
        return made

    def has(self, key: Hashable) -> bool:
        """Return whether something is kept under a key."""
        with self._lock:
            return key in self._kept

    def find(self, key: Hashable) -> Any:  # noqa: ANN401 - of whatever is kept
        """Return what is kept under a key; None when nothing is, or others crowded it out."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
            return self._kept.get(key)

    def keep(self, key: Hashable, make: Callable[[], T]) -> T:
        """Return what was made under a key, or make it; the key says all that it depends on."""
        with self._lock:
            if key in self._kept:
                self._kept.move_to_end(key)
                found: T = self._kept[key]
                return found
        made = make()
        with self._lock:
            self._kept[key] = made
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)
        return made


def _standing(opened: Opened) -> Hashable:
    return ("whole", opened.id, opened.seen)


def now() -> dt.datetime:
    """Return the local time to the second, as entries are written with."""
    return dt.datetime.now().replace(microsecond=0)
