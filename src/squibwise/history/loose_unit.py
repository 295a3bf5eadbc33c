"""What is told of a control unit that hangs loose: a danger until somebody looked at its mount."""

import re
from collections.abc import Iterator

from squibwise.catalog.load import Catalog
from squibwise.history.order import History, replacements
from squibwise.model.evidence import Look, Passed, Story
from squibwise.model.names import split_loop
from squibwise.model.report import Report

_UNIT = "centre.control-unit"
_SIGNED = ("unit-bolted", "step:unit-bolted", "key-on-safe", "step:key-on-gate")
_SETTLES = ("intact", "damaged", "missing", "mount-bent", "mount-straight")
_CLAUSE = re.compile(r"[.!;,\n]\s|\n")
_WORD = re.compile(r"[^\W\d_]+")
_REACH = 6  # words between the unit and what is said of it
_BEFORE = 2  # words before a word that deny it or say whose unit it is


def told_loose(history: History, catalog: Catalog) -> tuple[Story | Report, str] | None:
    """Return the last entry that tells that the unit is loose, and the clause; else None.

    Somebody who looked at the unit or its mount since, signed for its bolts or renewed it settles
    it. An entry without a time may be older than any look.
    """
    settled = max(_settling(history), default=-1)
    told = [
        (entry, clause)
        for at, entry in enumerate(history.entries)
        if isinstance(entry, Story | Report) and (-1 if entry.time is None else at) >= settled
        for clause in _told_by(entry, catalog)
    ]
    return told[-1] if told else None


def _settling(history: History) -> Iterator[int]:
    """Yield the places of what settles whether the unit is bolted down."""
    for at, look in history.all_of(Look):
        if look.component == _UNIT and look.seen in _SETTLES:
            yield at
    yield from (at for at, passed in history.all_of(Passed) if passed.what in _SIGNED)
    yield from replacements(history).get(_UNIT, ())


def _told_by(entry: Story | Report, catalog: Catalog) -> list[str]:
    """Return the clauses of an entry that tell that the unit is loose."""
    if isinstance(entry, Story):
        is_of_it = entry.loop is None or split_loop(entry.loop)[0] == _UNIT
        texts = [entry.text] if is_of_it else []
    else:
        read = entry.reading
        texts = [*(c.raw for c in read.lines), *(u.raw for u in read.unread)]
    clauses = (s.strip() for text in texts for s in _CLAUSE.split(text))
    return [s for s in clauses if tells_of_loose_unit(s, catalog)]


def tells_of_loose_unit(clause: str, catalog: Catalog) -> bool:
    """Does a clause say that the restraint unit hangs loose; the cautious reading of plain words.

    Not where it denies, asks or supposes it, or speaks of a connector or of another unit.
    """
    said = catalog.said.stories
    words = _WORD.findall(clause.lower())
    if "?" in clause or not {*said["plug"]}.isdisjoint(words):
        return False
    if not {*said["supposed"]}.isdisjoint(words[:_BEFORE]):
        return False
    units = [n for n, w in enumerate(words) if w in said["unit"] and not _is_other(n, words, said)]
    loose = [
        n for n, w in enumerate(words) if w in said["loose"] and not _is_denied(n, words, said)
    ]
    return any(abs(one - two) <= _REACH for one in units for two in loose)


def _is_denied(n: int, words: list[str], said: dict[str, tuple[str, ...]]) -> bool:
    return not {*said["denied"]}.isdisjoint(words[max(0, n - _BEFORE) : n])


def _is_other(n: int, words: list[str], said: dict[str, tuple[str, ...]]) -> bool:
    """``door module``, ``passenger airbag module``: another unit, or a bag."""
    return not {*said["unit_other"]}.isdisjoint(words[max(0, n - _BEFORE) : n])
