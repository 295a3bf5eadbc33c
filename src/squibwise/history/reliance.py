"""What the entries of a case show of themselves to whoever has to rely on them: order, proof."""

import datetime as dt

import msgspec

from squibwise.history.order import History, replacements
from squibwise.history.signed import label_of
from squibwise.model.evidence import DoneWork, Evidence, LampCheck, Passed, Reading, SeatTrial
from squibwise.model.names import split_loop
from squibwise.model.report import Report
from squibwise.model.words import ASKED_WORDS, DECISIONS

LAMP = "lamp check"
"""Word for a check of the lamp among the words that are signed."""
WEIGHING = ("step:weigh-seat", "weigh-seat")


class Untimed(msgspec.Struct, frozen=True, kw_only=True):
    """How far the order of work and proof is that of times.

    Attributes:
        count: Entries of work, signatures and the last proof that have no time.
        total: All of them.
        is_one_time: Each of them has a time, and work and proof have the same one.
    """

    count: int
    total: int
    is_one_time: bool


def weigh_times(history: History) -> Untimed:
    """Return whether what came last rests on times, or on the order somebody wrote things in."""
    works = [w for _, w in history.works]
    signed = [p for _, p in history.all_of(Passed)]
    proof = [e for e in history.entries if isinstance(e, LampCheck | Report)][-2:]
    timeless = sum(e.time is None for e in (*works, *signed, *proof))
    is_one = bool(works and proof) and len({e.time for e in (*works, *proof)}) == 1
    return Untimed(
        count=timeless,
        total=len(works) + len(signed) + len(proof),
        is_one_time=is_one and not timeless,
    )


def span_work(history: History) -> tuple[dt.datetime, dt.datetime] | None:
    """Return when the first and the last work or signature is dated; None for fewer than two."""
    dated = (e.time for e in history.entries if isinstance(e, DoneWork | Passed | LampCheck))
    times = sorted(time.replace(tzinfo=None) for time in dated if time is not None)
    return (times[0], times[-1]) if len(times) > 1 else None


def list_bare_settings(history: History) -> list[Passed]:
    """Return the settings that stand signed with nothing measured or read beside them.

    A note without a single figure, such as "done", names none.
    """
    measured = {
        split_loop(e.component)[0] for e in history.entries if isinstance(e, Reading | SeatTrial)
    }
    return [
        p
        for p in _list_passed(history, ":calibrate")
        if not any(letter.isdigit() for letter in p.note)
        if p.what.removesuffix(":calibrate") not in measured
    ]


def list_bare_searches(history: History) -> list[Passed]:
    """Return the faults that stand signed as traced, with no repair on record."""
    mended = {w.component for _, w in history.works if w.what != "disconnected"}
    found = _list_passed(history, ":trace")
    return [p for p in found if p.what.removesuffix(":trace") not in mended]


def _list_passed(history: History, action: str) -> list[Passed]:
    """Return the last signature for each component and action, where it passed."""
    signed = {p.what: p for _, p in history.all_of(Passed)}
    return [p for what, p in signed.items() if what.endswith(action) and p.result == "passed"]


def find_unweighed(history: History) -> Passed | None:
    """Return the signature under the weight check of a seat of which no load was entered."""
    signed = {p.what: p for _, p in history.all_of(Passed)}
    check = next((signed[word] for word in WEIGHING if word in signed), None)
    if check is None or check.result != "passed" or history.all_of(SeatTrial):
        return None
    return check


def list_labelled_early(history: History) -> frozenset[str]:
    """Return fitted parts whose label was written down before any work on the car: the old one?"""
    first = min((n for n, w in history.works if w.what != "cleared"), default=-1)
    fitted = (label_of(history, c) for c in replacements(history))
    return frozenset(
        x.component for x in fitted if x is not None and history.place_of(x.id) < first
    )


def list_signed_both_ways(history: History) -> dict[str, Passed | LampCheck]:
    """Return what failed and passed later with no work on it in between, by its word.

    Work on the very part answers for its inspection; anything but clearing does for the lamp.
    """
    refused: set[str] = set()
    found: dict[str, Passed | LampCheck] = {}
    for entry in history.entries:
        if isinstance(entry, DoneWork):
            own = {w for w in refused if w.startswith(f"{entry.component}:")}
            refused -= own | ({LAMP} if entry.what != "cleared" else set())
        elif isinstance(entry, Passed | LampCheck):
            word = entry.what if isinstance(entry, Passed) else LAMP
            if not _has_passed(entry):
                refused.add(word)
            elif word in refused and word not in (*DECISIONS, *ASKED_WORDS):
                found[word] = entry
    return found


def _has_passed(entry: Evidence) -> bool:
    if isinstance(entry, LampCheck):
        return entry.lit and entry.out_after_s is not None and entry.stayed_out is True
    return isinstance(entry, Passed) and entry.result == "passed"
