"""What a record's own words mean: signatures, verdicts and figures, as people read them."""

import math
from collections.abc import Iterator
from typing import TypeGuard

from squibwise.model.car import Profile
from squibwise.model.evidence import Evidence, Passed, Reading
from squibwise.model.names import split_loop
from squibwise.model.words import CLOSED_AREAS, RECORD_GONE
from squibwise.present.figures import cut
from squibwise.present.phrases import in_words
from squibwise.present.record_content import Content
from squibwise.prove.handed_over import DISPOSAL

LONGEST_NOTE = 60
_SAID = {
    "second-scan": "last scan",
    "lamp-check": "airbag warning lamp",
    RECORD_GONE: "whether the crash record is gone",
    CLOSED_AREAS: "whether closed areas are opened for a look",
    "structure-sound": "structure",
    "unit-bolted": "control unit bolted down",
    "power-safe": "safe to switch on",
    "key-on-safe": "safe for the first key-on",
    "dispose": "hand-over of the old parts",
    "disposal": "hand-over of the old parts",
    "drive": "drive",
}
_ASKED = (CLOSED_AREAS, RECORD_GONE)
_ON_PAGE_ONE = ("drive", "structure-sound")


def tell_word(word: str, content: Content) -> str:
    """Return what a signature, a verdict or an operation is about."""
    bare = word.removeprefix("step:")
    if bare in _SAID:
        return _SAID[bare]
    titles = {o.id: o.title for o in content.work.operations}
    titles |= {i.id: i.title for i in content.work.items}
    found = titles.get(word) or titles.get(f"step:{bare}")
    if found:
        return found
    component, _, action = word.rpartition(":")
    kind, _, rest = word.partition(":")
    names = {c.id: c.title for c in content.components}
    if component in names:
        return f"{names[component]}, {in_words(action)}"
    if kind == "reading":
        return next(
            (_tell_reading(e, names) for e in content.evidence if _is_reading(e, rest)), rest
        )
    if kind == "load":
        return f"load in {_tell_circuit(rest.removeprefix('load '), names)}"
    return f"{in_words(kind)} of {names.get(rest, rest)}" if rest else in_words(word)


def _is_reading(entry: Evidence, name: str) -> TypeGuard[Reading]:
    return isinstance(entry, Reading) and entry.id == name


def _tell_reading(reading: Reading, names: dict[str, str]) -> str:
    part = split_loop(reading.component)[0]
    where = f" at {reading.where}" if reading.where else ""
    return f"{in_words(reading.quantity)} of {names.get(part, part)}{where}"


def _tell_circuit(loop: str, names: dict[str, str]) -> str:
    component, stage = split_loop(loop) if "/" in loop else (loop, 1)
    return f"{names[component]}, circuit {stage}" if component in names else loop


def list_figures(profile: Profile) -> Iterator[str]:
    """Yield the maker's figures that were typed in: what they are of, and the source as typed."""
    named = {
        "wait after power-down {0:g} min": profile.wait_minutes,
        "circuit at least {0:g} ohm": profile.loop_low_ohm,
        "circuit at most {0:g} ohm": profile.loop_high_ohm,
        "seat may read {0:g} kg off": profile.seat_off_kg,
        "seat may differ {0:g} kg between up and down": profile.seat_gap_kg,
    }
    for text, given in named.items():
        if given is not None:
            yield f"{text.format(given.value)} ({given.source})"


def list_limits(content: Content) -> list[str]:
    """Return the limits that stand as the maker's beside a reading, the widest first."""
    readings = [e for e in content.evidence if isinstance(e, Reading)]
    own = [r for r in readings if (r.low, r.high) != (None, None)]
    names = {c.id: c.title for c in content.components}
    return [
        f"{_tell_reading(r, names)} {_tell_span(r)} ({r.source or 'no source'})"
        for r in sorted(own, key=_width, reverse=True)
    ]


def _width(reading: Reading) -> float:
    """Return how many times the lower limit the upper one is."""
    if not reading.low or reading.high is None:
        return math.inf
    return reading.high / reading.low


def _tell_span(reading: Reading) -> str:
    if reading.high is None:
        return f"at least {reading.low:g} {reading.unit}"
    if reading.low is None:
        return f"at most {reading.high:g} {reading.unit}"
    return f"{reading.low:g} to {reading.high:g} {reading.unit}"


def tell_answered(content: Content) -> list[str]:
    """Return what stands answered with no and no rule hangs on, with its source as typed."""
    last = {e.what: e for e in content.evidence if isinstance(e, Passed) and e.what in _ASKED}
    told = [
        f'{_SAID[what]}: no ("{cut(e.note, LONGEST_NOTE)}", {e.by or "nobody named"})'
        for what, e in last.items()
        if e.result == "failed"
    ]
    return [f"Asked {'; '.join(told)}."] if told else []


def list_notes(content: Content, *, front: bool) -> list[tuple[str, str, str]]:
    """Return what people noted beside what they signed as passed: of what, the note, who.

    Args:
        content: Of the record.
        front: What stands on page one, or all the rest that no other table of the record shows.
    """
    last = {e.what: e for e in content.evidence if isinstance(e, Passed)}
    looks = {o.title for o in content.work.operations}
    return [
        (tell_word(what, content), e.note, e.by or "nobody named")
        for what, e in last.items()
        if e.note and e.result == "passed" and e.note not in looks and what not in _ASKED
        if (what.removeprefix("step:") in _ON_PAGE_ONE) == front
        if front or not what.endswith(_ELSEWHERE)
    ]


_ELSEWHERE = (":calibrate", "maker-procedure", "release", "contradictions", *DISPOSAL)


def tell_noted(content: Content) -> list[str]:
    """Return the notes that page one repeats, by who signed."""
    by_name: dict[str, list[str]] = {}
    for what, note, by in list_notes(content, front=True):
        by_name.setdefault(by, []).append(f'{what} "{cut(note, LONGEST_NOTE)}"')
    return [f"Noted by {by}, who signed: {'; '.join(told)}." for by, told in by_name.items()]
