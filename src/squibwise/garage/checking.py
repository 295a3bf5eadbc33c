"""Is a garage as it was written: the file, every entry, every original, and their order."""

import hashlib
import sqlite3
from collections.abc import Iterator
from contextlib import closing

import msgspec

from squibwise.errors import InputError
from squibwise.garage.database import schema_versions
from squibwise.garage.store import START, Entry, Head, head, is_case_id, stored_ids
from squibwise.model.origin import Finding

Order = dict[tuple[str, int], str]
"""What each entry names as the one before it in any case, by case and number."""

_ORDER = (
    "SELECT case_id, number, CASE WHEN json_valid(body) THEN json_extract(body, '$.after') END"
    " FROM entry ORDER BY case_id, number"
)
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
    for (case_id,) in garage.execute(orphans).fetchall():
        found.append(_damage(case_id, "the case is not in the list of cases"))
    for digest, data in garage.execute("SELECT hash, content FROM original"):
        if hashlib.sha256(data).hexdigest() != digest:
            found.append(_damage("originals", f"the content of {digest[:12]} was altered"))
    found += _broken_order(garage)
    return tuple(found)


def check_case(garage: sqlite3.Connection, case_id: str) -> tuple[Finding, ...]:
    """Return why a case cannot be taken for what was entered; empty when its history is whole.

    What is missing in the order of all entries counts: nobody can say that it was another case's.
    What was altered in other cases does not.
    """
    found = tuple(_broken_schema(garage))
    return found or (*_broken_chain(garage, case_id), *_broken_order(garage))


def refuse_altered(garage: sqlite3.Connection, case_id: str) -> None:
    """Refuse to sign, or to hand out as it was entered, a case whose history is not whole.

    Raises:
        InputError: It is not; the message says where.
    """
    found = check_case(garage, case_id)
    if found:
        told = f"the garage is not as it was written. {found[0].message}"
        remedy = f"{found[0].remedy} `squibwise garage check` tells all that is damaged."
        raise InputError(told, remedy=remedy)


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
    order: Order = {(case, n): after or "" for case, n, after in garage.execute(_ORDER)}
    written = {digest for (digest,) in garage.execute("SELECT hash FROM entry")}
    named: set[str] = set()
    for (case_id, number), after in order.items():
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


def _entries(
    garage: sqlite3.Connection, case_id: str
) -> Iterator[tuple[int, Entry | None, str, str]]:
    """Yield number, entry, what its text hashes to and what it should; None = cannot be read."""
    query = "SELECT number, body, hash FROM entry WHERE case_id = ? ORDER BY number"
    for number, body, digest in garage.execute(query, (case_id,)):
        try:
            entry = msgspec.json.decode(body, type=Entry)
        except msgspec.DecodeError:
            entry = None
        yield number, entry, hashlib.sha256(body.encode("utf-8")).hexdigest(), digest


def _broken_chain(garage: sqlite3.Connection, case_id: str) -> Iterator[Finding]:
    """Tell what is wrong with the entries of a case."""
    previous, expected = START, 1
    for number, entry, is_hashed, digest in _entries(garage, case_id):
        if number != expected:
            yield _damage(case_id, f"entry {expected} is missing")
        if is_hashed != digest:
            yield _damage(case_id, f"entry {number} was altered")
        elif entry is None:
            yield _damage(case_id, f"entry {number} cannot be read")
        elif (entry.case, entry.number, entry.previous) != (case_id, number, previous):
            yield _damage(case_id, f"entry {number} does not follow the one before it")
        if entry is not None:
            yield from _missing_originals(garage, case_id, number, entry)
        previous, expected = digest, number + 1
    if head(garage, case_id) != Head(number=expected - 1, hash=previous):
        yield _damage(case_id, f"the last entry is not the one that was written: {expected - 1}")


def _missing_originals(
    garage: sqlite3.Connection, case_id: str, number: int, entry: Entry
) -> Iterator[Finding]:
    for digest in sorted({d for d in entry.files.values() if d}):
        query = "SELECT 1 FROM original WHERE hash = ?"
        if garage.execute(query, (digest,)).fetchone() is None:
            told = f"entry {number}: its original {digest[:12]} is missing"
            yield _damage(case_id, told)


def _damage(where: str, text: str) -> Finding:
    return Finding(
        code="garage-damaged",
        severity="error",
        message=f"{where}: {text}.",
        remedy="Put the last whole backup in its place, and enter anew what is younger.",
    )
