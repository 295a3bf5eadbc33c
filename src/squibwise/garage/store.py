"""Cases in a garage: entries that are only added, chained by hash; a case is what they add up to.

An entry says which files of the case are what from then on. Files are kept once, by the SHA-256 of
their content. Undoing is an entry like any other, so nothing is lost by it and the history is
whole.
"""

import datetime as dt
import hashlib
import re
import sqlite3
from collections.abc import Container, Mapping
from typing import Literal

import msgspec
import rfc8785

from squibwise.errors import InputError
from squibwise.garage.database import writing
from squibwise.garage.folders import Content

START = "0" * 64
_DEVICE = re.compile(r"(?:con|prn|aux|nul|com\d|lpt\d)(?:\..*)?", re.IGNORECASE)
"""No folder may be called so on one of the systems; source: from memory."""
_CASE_ID = re.compile(r'(?![\s.-])[^/\\:*?"<>|]{1,100}(?<![\s.])')  # a name on any system
_LONGEST_ID = 200  # bytes: file systems take 255


class Entry(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One thing that happened to a case.

    Attributes:
        case: Case id.
        number: Place in its history, from 1.
        previous: Hash of the entry before; ``START`` for the first.
        after: Hash of the entry that was written last before it, of whatever case; ``START`` for
            the first of all. Empty in entries older than schema 3.
        at: When, ISO 8601.
        by: Who; empty when nobody is named.
        what: What was done, in words.
        kind: ``changed``; or ``undone``, which takes back ``undoes``, the last that held.
        files: SHA-256 by path of every file that is new or other from then on; None for one that is
            gone. A path that ends in ``/`` is a folder without files.
        undoes: Number of the entry that is taken back; 0 for none. Of one that others were written
            after, a ``changed`` entry takes out what it added.
    """

    case: str
    number: int
    previous: str
    at: str
    by: str = ""
    what: str
    kind: Literal["changed", "undone"] = "changed"
    files: dict[str, str | None] = {}
    undoes: int = 0
    after: str = ""


class Head(msgspec.Struct, frozen=True, kw_only=True):
    """Where a case stands: its last entry."""

    number: int
    hash: str


NOTHING = Head(number=0, hash=START)


def seal(entry: Entry) -> tuple[str, str]:
    """Return an entry as canonical JSON, and the SHA-256 of that.

    Source: RFC 8785 for the canonical form, FIPS 180-4 for SHA-256. We differ from neither.
    """
    body = rfc8785.dumps(msgspec.to_builtins(entry))
    return body.decode("utf-8"), hashlib.sha256(body).hexdigest()


def is_case_id(text: str) -> bool:
    """May a case be called so: the name of one plain folder, and nothing that leads elsewhere."""
    if _CASE_ID.fullmatch(text) is None or _DEVICE.fullmatch(text) or not text.isprintable():
        return False
    return len(text.encode("utf-8")) <= _LONGEST_ID


def refuse_case_id(text: str) -> None:
    """Refuse an id that no case may have.

    Raises:
        InputError: It is none.
    """
    if not is_case_id(text):
        shown = text.encode("utf-8", "backslashreplace").decode("utf-8")[:60]
        remedy = "Use letters, digits, blanks and dashes, such as harrow-08."
        raise InputError(f"'{shown}' cannot be the name of a case.", remedy=remedy)


def case_ids(garage: sqlite3.Connection) -> tuple[str, ...]:
    """Return the ids of all cases, sorted; `check` tells those that no case may have."""
    return tuple(name for name in stored_ids(garage) if is_case_id(name))


def stored_ids(garage: sqlite3.Connection) -> list[str]:
    """Return every id in the list of cases, also those that no case may have."""
    return [row[0] for row in garage.execute("SELECT case_id FROM head ORDER BY case_id")]


def head(garage: sqlite3.Connection, case_id: str) -> Head:
    """Return where a case stands; ``NOTHING`` for one that is not there."""
    query = "SELECT number, hash FROM head WHERE case_id = ?"
    row = garage.execute(query, (case_id,)).fetchone()
    return Head(number=row[0], hash=row[1]) if row else NOTHING


def history(garage: sqlite3.Connection, case_id: str) -> tuple[Entry, ...]:
    """Return what happened to a case, in order.

    Raises:
        InputError: There is no such case, none may be called so, or an entry was altered.
    """
    refuse_case_id(case_id)
    query = "SELECT body FROM entry WHERE case_id = ? ORDER BY number"
    bodies = [row[0] for row in garage.execute(query, (case_id,))]
    if not bodies:
        known = ", ".join(case_ids(garage)) or "none yet"
        raise InputError(f"the garage has no case '{case_id}'.", remedy=f"It has: {known}.")
    try:
        return tuple(msgspec.json.decode(body, type=Entry) for body in bodies)
    except msgspec.DecodeError as error:
        remedy = "`squibwise garage check` tells which entry."
        raise InputError(f"case '{case_id}': an entry was altered.", remedy=remedy) from error


def effective(entries: tuple[Entry, ...]) -> tuple[Entry, ...]:
    """Return the entries that hold: without those taken back and those that take back."""
    undone = {e.undoes for e in entries if e.kind == "undone"}
    return tuple(e for e in entries if e.kind == "changed" and e.number not in undone)


def list_undone(entries: tuple[Entry, ...]) -> set[int]:
    """Return the numbers of the entries that were taken back and are not in force again."""
    undone = {e.undoes for e in entries if e.kind == "undone"}
    return undone | {e.undoes for e in effective(entries) if e.undoes}


def files(entries: tuple[Entry, ...]) -> dict[str, str]:
    """Return what a case consists of after its entries: the hash of each file by its path."""
    found: dict[str, str | None] = {}
    for entry in effective(entries):
        found.update(entry.files)
    return {path: digest for path, digest in sorted(found.items()) if digest is not None}


def content(
    garage: sqlite3.Connection, case_id: str, only: Container[str] | None = None
) -> Content:
    """Return the files of a case as they are now, by path; with ``only``, no others are read.

    Raises:
        InputError: There is no such case, or an original is missing or altered.
    """
    named = files(history(garage, case_id))
    wanted = {p: digest for p, digest in named.items() if only is None or p in only}
    return {path: read_original(garage, digest, path) for path, digest in wanted.items()}


def read_original(garage: sqlite3.Connection, digest: str, path: str = "") -> bytes:
    """Return a file by the SHA-256 of its content.

    Raises:
        InputError: It is missing or was altered.
    """
    data = _kept(garage, digest)
    if data is None or hashlib.sha256(data).hexdigest() != digest:
        remedy = "Put a backup in its place; `squibwise garage check` tells all that is damaged."
        raise InputError(f"'{path}' is missing in the garage or was altered.", remedy=remedy)
    return data


def _kept(garage: sqlite3.Connection, digest: str) -> bytes | None:
    row = garage.execute("SELECT content FROM original WHERE hash = ?", (digest,)).fetchone()
    return bytes(row[0]) if row else None


def peek(garage: sqlite3.Connection, case_id: str, path: str) -> bytes | None:
    """Return one file of a case as it is kept, unchecked; None when it has none of that name.

    Raises:
        InputError: There is no such case, or an entry was altered.
    """
    return _kept(garage, files(history(garage, case_id)).get(path, ""))


def add(
    garage: sqlite3.Connection,
    case_id: str,
    wanted: Content,
    what: str,
    at: dt.datetime,
    by: str = "",
    seen: Head | None = None,
    undoes: int = 0,
) -> Head:
    """Add an entry that makes a case consist of these files, and return where it stands then.

    Args:
        garage: The garage.
        case_id: A case that is there, or a new one.
        wanted: Content of every file by path, all of the case.
        what: What was done, in words.
        at: When.
        by: Who.
        seen: Where the case stood when the person looked at it; None when that does not matter.
        undoes: Number of an earlier entry, what it added is not among these files; 0 for none.

    Returns:
        The new standing; the old one when nothing is different.

    Raises:
        InputError: No case may be called so, or somebody else has written since; then nothing is
            changed.
    """
    refuse_case_id(case_id)
    digests = {path: hashlib.sha256(data).hexdigest() for path, data in wanted.items()}
    with writing(garage):
        stands = head(garage, case_id)
        if seen is not None and seen != stands:
            raise conflict(case_id, stands)
        known = files(history(garage, case_id)) if stands.number else {}
        different: dict[str, str | None] = {p: d for p, d in digests.items() if known.get(p) != d}
        different |= {path: None for path in known if path not in digests}
        if not different:
            return stands
        for path in (p for p, d in different.items() if d):
            row = (digests[path], wanted[path])
            garage.execute("INSERT OR IGNORE INTO original (hash, content) VALUES (?, ?)", row)
        entry = _next(garage, case_id, what, at, by, files=different)
        return _append(garage, msgspec.structs.replace(entry, undoes=undoes))


def undo(
    garage: sqlite3.Connection,
    case_id: str,
    at: dt.datetime,
    by: str = "",
    seen: Head | None = None,
) -> Entry:
    """Take back the last entry that holds, and return it; the first one stays.

    Raises:
        InputError: There is nothing to take back, or somebody else has written since.
    """
    with writing(garage):
        stands = head(garage, case_id)
        if seen is not None and seen != stands:
            raise conflict(case_id, stands)
        holding = effective(history(garage, case_id))
        if len(holding) < 2:
            remedy = "The first entry is the case itself."
            raise InputError(f"case '{case_id}': nothing is left to take back.", remedy=remedy)
        last = holding[-1]
        what = f"took back: {last.what}"
        _append(garage, _next(garage, case_id, what, at, by, undoes=last.number))
        return last


def _next(
    garage: sqlite3.Connection,
    case_id: str,
    what: str,
    at: dt.datetime,
    by: str,
    files: Mapping[str, str | None] | None = None,
    undoes: int = 0,
) -> Entry:
    stands = head(garage, case_id)
    return Entry(
        case=case_id,
        number=stands.number + 1,
        previous=stands.hash,
        at=at.isoformat(timespec="seconds"),
        by=by,
        what=what,
        kind="undone" if undoes else "changed",
        files=dict(files or {}),
        undoes=undoes,
        after=_newest(garage) or START,
    )


def _newest(garage: sqlite3.Connection) -> str:
    """Return the hash of the entry that was written last; empty when none was since schema 3."""
    row = garage.execute("SELECT hash FROM newest").fetchone()
    return str(row[0]) if row else ""


def _append(garage: sqlite3.Connection, entry: Entry) -> Head:
    body, digest = seal(entry)
    row = (entry.case, entry.number, body, digest)
    garage.execute("INSERT INTO entry (case_id, number, body, hash) VALUES (?, ?, ?, ?)", row)
    used = sorted({d for d in entry.files.values() if d})
    garage.executemany(
        "INSERT INTO used (case_id, number, hash) VALUES (?, ?, ?)",
        [(entry.case, entry.number, d) for d in used],
    )
    garage.execute(
        "INSERT INTO head (case_id, number, hash) VALUES (?, ?, ?) ON CONFLICT (case_id)"
        " DO UPDATE SET number = excluded.number, hash = excluded.hash",
        (entry.case, entry.number, digest),
    )
    garage.execute("INSERT OR REPLACE INTO newest (one, hash) VALUES (1, ?)", (digest,))
    return Head(number=entry.number, hash=digest)


def conflict(case_id: str, stands: Head) -> InputError:
    """Return the refusal of a change to a case that somebody else changed since it was seen."""
    return InputError(
        f"case '{case_id}' was changed by somebody else in the meantime (entry {stands.number}).",
        remedy="Nothing was written. Look at the case again, then repeat the change.",
    )


def recall(garage: sqlite3.Connection, key: str) -> str | None:
    """Return what was remembered under a key; None when nothing was."""
    row = garage.execute("SELECT value FROM remembered WHERE key = ?", (key,)).fetchone()
    return str(row[0]) if row else None


def remember(garage: sqlite3.Connection, key: str, value: str) -> None:
    """Remember what took long to work out; the key must say all that it depends on."""
    with writing(garage):
        row = (key, value)
        garage.execute("INSERT OR REPLACE INTO remembered (key, value) VALUES (?, ?)", row)
