"""Is a garage as it was written: the file, every entry, every original, and their order."""

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing

import msgspec

from squibwise.garage.database import schema_versions
from squibwise.garage.store import START, Entry, Head, head, is_case_id, stored_ids
from squibwise.model.origin import Finding

_SCHEMA = "SELECT type, name, sql FROM sqlite_schema WHERE name NOT LIKE 'sqlite_%'"


def check_garage(garage: sqlite3.Connection) -> tuple[Finding, ...]:
    """Return everything that is altered, missing or out of order in a garage; empty when whole.

    A whole garage can still have been rewritten from some entry on, or its newest entries cut off:
    no storage that its owner holds can exclude that. A hash that was handed out earlier can.
    """
    found = [*_broken_schema(garage)]
    if found:
        return tuple(found)  # nothing that is asked of other tables can be relied on
    found += _broken_file(garage)
    for case_id in stored_ids(garage):
        if not is_case_id(case_id):
            found.append(_damage("names", f"no case may be called {ascii(case_id)[:60]}"))
        found += _broken_chain(garage, case_id)
    orphans = "SELECT DISTINCT case_id FROM entry WHERE case_id NOT IN (SELECT case_id FROM head)"
    for (case_id,) in garage.execute(orphans):
        found.append(_damage(case_id, "the case is not in the list of cases"))
    for digest, data in garage.execute("SELECT hash, content FROM original"):
        if hashlib.sha256(data).hexdigest() != digest:
            found.append(_damage("originals", f"the content of {digest[:12]} was altered"))
    found += _broken_order(garage)
    return tuple(found)


def _broken_file(garage: sqlite3.Connection) -> Iterator[Finding]:
    for (told,) in garage.execute("PRAGMA integrity_check"):
        if told != "ok":
            yield _damage("file", told)
    for row in garage.execute("PRAGMA foreign_key_check"):
        yield _damage("file", f"a row of '{row[0]}' refers to something that is not there")


def _broken_schema(garage: sqlite3.Connection) -> Iterator[Finding]:
    with closing(_as_made()) as made:
        there, wanted = set(garage.execute(_SCHEMA)), set(made.execute(_SCHEMA))
    for kind, name, _ in sorted(there ^ wanted):
        yield _damage("file", f"{kind} {ascii(name)[:60]} is not as this program made it")


def _as_made() -> sqlite3.Connection:
    """Return an empty garage of today's schema."""
    empty = sqlite3.connect(":memory:", isolation_level=None)
    for step in schema_versions():
        empty.executescript(step)
    return empty


def _broken_order(garage: sqlite3.Connection) -> Iterator[Finding]:
    """Tell what is missing in the order of all entries, and a last one that is not the last."""
    written = {digest for (digest,) in garage.execute("SELECT hash FROM entry")}
    named: set[str] = set()
    for case_id, number, body in garage.execute("SELECT case_id, number, body FROM entry"):
        after = _named_before(body)
        if after and after != START and after not in written:
            told = f"what was written just before entry {number}, in any case, is missing"
            yield _damage(case_id, told)
        if after and after in named:
            yield _damage(case_id, f"another entry stands where entry {number} does")
        named.add(after)
    named.discard("")
    row = garage.execute("SELECT hash FROM newest").fetchone()
    if (named or row) and (row is None or row[0] not in written or row[0] in named):
        yield _damage("newest", "the last entry of all is not the one that was written last")


def _named_before(body: str) -> str:
    """Return the hash that an entry names as the one before it in any case; empty when none."""
    try:
        return msgspec.json.decode(body, type=Entry).after
    except msgspec.DecodeError:
        return ""  # told as an entry that cannot be read


def _broken_chain(garage: sqlite3.Connection, case_id: str) -> Iterator[Finding]:
    query = "SELECT number, body, hash FROM entry WHERE case_id = ? ORDER BY number"
    previous, expected = START, 1
    for number, body, digest in garage.execute(query, (case_id,)):
        if number != expected:
            yield _damage(case_id, f"entry {expected} is missing")
        yield from _broken_entry(case_id, number, body, digest, previous)
        yield from _missing_originals(garage, case_id, number, body)
        previous, expected = digest, number + 1
    if head(garage, case_id) != Head(number=expected - 1, hash=previous):
        yield _damage(case_id, f"the last entry is not the one that was written: {expected - 1}")


def _broken_entry(
    case_id: str, number: int, body: str, digest: str, previous: str
) -> Iterator[Finding]:
    if hashlib.sha256(body.encode("utf-8")).hexdigest() != digest:
        yield _damage(case_id, f"entry {number} was altered")
        return
    try:
        entry = msgspec.json.decode(body, type=Entry)
    except msgspec.DecodeError:
        yield _damage(case_id, f"entry {number} cannot be read")
        return
    if (entry.case, entry.number, entry.previous) != (case_id, number, previous):
        yield _damage(case_id, f"entry {number} does not follow the one before it")


def _missing_originals(
    garage: sqlite3.Connection, case_id: str, number: int, body: str
) -> Iterator[Finding]:
    try:
        named = {d for d in msgspec.json.decode(body, type=Entry).files.values() if d}
    except msgspec.DecodeError:
        return  # told as an entry that cannot be read
    for digest in sorted(named):
        query = "SELECT 1 FROM original WHERE hash = ?"
        if garage.execute(query, (digest,)).fetchone() is None:
            yield _damage(case_id, f"entry {number}: its original {digest[:12]} is missing")


def _damage(where: str, text: str) -> Finding:
    return Finding(
        code="garage-damaged",
        severity="error",
        message=f"{where}: {text}.",
        remedy="Put the last whole backup in its place, and enter anew what is younger.",
    )
