"""What the user's own finished cases teach: those of a folder that is named, or of the garage."""

import hashlib
import hmac
import sqlite3
import tempfile
from contextlib import suppress
from pathlib import Path

import msgspec

from squibwise import case as line
from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.garage import store
from squibwise.garage.database import connected, is_garage, writing
from squibwise.garage.folders import write_content
from squibwise.intake.case_file.load import CASE_FILE
from squibwise.model.case import Case, Experience
from squibwise.model.evidence import Passed
from squibwise.model.origin import Finding, Origin

NOTHING = "none"
_ANSWERED_FOR = "release"
_MARK = 64  # letters of the mark before what is remembered


class Learned(msgspec.Struct, frozen=True, kw_only=True):
    """What was learned.

    Attributes:
        own: What the cases teach; empty when there are none.
        told: Is it to be told: cases were named, or the garage has finished ones.
        findings: Cases that were skipped.
    """

    own: Experience = Experience()
    told: bool = False
    findings: tuple[Finding, ...] = ()


def learn_own(own: Path | None, here: Path, place: Path, catalog: Catalog, version: str) -> Learned:
    """Return what finished cases teach about the case at hand.

    Args:
        own: A folder of cases; ``none`` to learn nothing; None for those of the garage that
            somebody answers for.
        here: The case at hand, from which nothing is learned.
        place: The garage; it need not be there.
        catalog: The catalogue.
        version: Of the program: what an older one remembered is worked out anew.

    Raises:
        InputError: There is no such folder.
    """
    if own is not None and str(own) == NOTHING:
        return Learned()
    if own is None:
        return _from_garage(here, place, catalog, version)
    cases, skipped = _in_folder(own, here, catalog)
    return Learned(own=_taught(cases, catalog), told=True, findings=tuple(skipped))


def _taught(cases: list[Case], catalog: Catalog) -> Experience:
    return line.learn(cases, catalog) if cases else Experience()


def _in_folder(own: Path, here: Path, catalog: Catalog) -> tuple[list[Case], list[Finding]]:
    """Open every case of a folder but the one at hand; one that is broken is told and skipped."""
    if not own.is_dir():
        remedy = "Name the folder in which your finished cases lie."
        raise InputError(f"'{own}' is no folder.", remedy=remedy)
    place = here.resolve()
    cases, skipped = [], []
    for file in sorted(own.glob(f"*/{CASE_FILE}")):
        if place in (file.resolve(), file.parent.resolve()):
            continue
        try:
            cases.append(line.open_case(file, catalog))
        except InputError as error:
            skipped.append(_skipped(file, error))
    return cases, skipped


def _skipped(file: Path, error: InputError) -> Finding:
    told = str(error)
    if len(error.findings) > 1:
        told = f"{told} {error.findings[0].text()}"
    return Finding(
        code="own-case-skipped",
        severity="warning",
        message=f"this finished case was skipped, nothing was learned from it: {told}",
        remedy=f"`squibwise assess {file.parent}` tells every mistake in it.",
        origin=Origin(file=str(file)),
    )


def _from_garage(here: Path, place: Path, catalog: Catalog, version: str) -> Learned:
    if not is_garage(place):
        return Learned()
    with connected(place) as garage:
        finished = _finished(garage, catalog)
        finished.pop(here.resolve().name, None)
        marks = (f"{case_id} {digest}" for case_id, digest in finished.items())
        if not finished:
            return Learned()
        key = hashlib.sha256("\n".join((version, *marks)).encode()).hexdigest()
        own = _recalled(garage, key, place.parent)
        if own is None:
            cases = [case for name in finished if (case := _opened(garage, name, catalog))]
            own = _taught(cases, catalog)
            _remember(garage, key, own, place.parent)
    return Learned(own=own, told=own.cases > 0)


def _recalled(garage: sqlite3.Connection, key: str, folder: Path) -> Experience | None:
    """Return what was learned before; None when it is not there, or this user did not learn it."""
    known = store.recall(garage, key)
    if known is None:
        return None
    mark, value = known[:_MARK], known[_MARK:]
    try:
        mine = hmac.compare_digest(mark.encode(), _mark(folder, key, value).encode())
        return msgspec.json.decode(value, type=Experience) if mine else None
    except (InputError, msgspec.DecodeError):
        return None


def _remember(garage: sqlite3.Connection, key: str, own: Experience, folder: Path) -> None:
    value = msgspec.json.encode(own).decode()
    with suppress(InputError):  # no key can be had: it is learned anew each time
        store.remember(garage, key, _mark(folder, key, value) + value)


def _mark(folder: Path, key: str, value: str) -> str:
    """Return what only this user can write beside a value: nobody puts what was learned into it."""
    from squibwise.garage.keys import own_key  # signing is of no use to most commands

    said = f"squibwise-learned\n{key}\n{value}".encode()
    return hmac.new(own_key(folder), said, hashlib.sha256).hexdigest()


_HEADS = """
SELECT head.case_id, head.hash, remembered.value FROM head
LEFT JOIN remembered ON remembered.key = 'finished:' || head.hash
ORDER BY head.case_id
"""


def _finished(garage: sqlite3.Connection, catalog: Catalog) -> dict[str, str]:
    """Return the cases that somebody answers for, with where each stands; found out once each."""
    rows = garage.execute(_HEADS).fetchall()
    new = [(name, digest) for name, digest, told in rows if told is None]
    found = {name: _is_finished(garage, name, catalog) for name, _ in new}
    if new:
        with writing(garage):
            garage.executemany(
                "INSERT OR REPLACE INTO remembered (key, value) VALUES (?, ?)",
                [(f"finished:{digest}", "yes" if found[name] else "no") for name, digest in new],
            )
    return {name: digest for name, digest, told in rows if told == "yes" or found.get(name)}


def _is_finished(garage: sqlite3.Connection, name: str, catalog: Catalog) -> bool:
    """Return whether somebody answers for a case; most need not be opened for it."""
    try:
        data = store.peek(garage, name, CASE_FILE)
    except InputError:
        return False
    if data is None or _ANSWERED_FOR.encode() not in data:
        return False
    case = _opened(garage, name, catalog)
    return case is not None and any(_is_answer(e) for e in case.evidence)


def _opened(garage: sqlite3.Connection, name: str, catalog: Catalog) -> Case | None:
    """Return a case; one that cannot be read teaches nothing."""
    with tempfile.TemporaryDirectory(prefix="squibwise-") as place:
        try:
            write_content(store.content(garage, name), Path(place) / name)
            return line.open_case(Path(place) / name, catalog)
        except InputError:
            return None  # told by `garage check`, and by every command on that case itself


def _is_answer(entry: object) -> bool:
    return isinstance(entry, Passed) and entry.what == _ANSWERED_FOR and entry.result == "passed"
