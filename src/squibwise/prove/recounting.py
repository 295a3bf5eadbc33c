"""Whether a record says what its own entries give: what it holds is reopened and compared.

A signer can write into a record what he likes and sign that. What follows from the entries can be
worked out again by anybody who has them; that the entries are true, by nobody.
"""

import math
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import msgspec

from squibwise.errors import InputError, ModelError
from squibwise.model.belief import (
    Assessment,
    ComponentBelief,
    Contradiction,
    EventBelief,
    SettlingLook,
    StateBelief,
)
from squibwise.model.car import Car, Profile
from squibwise.model.case import Case, Picture
from squibwise.model.evidence import Evidence
from squibwise.model.origin import Finding
from squibwise.model.proof import ProofRecord
from squibwise.model.work import Work
from squibwise.prove.grades import SHOWN, STATED
from squibwise.prove.sealing import DECIMALS
from squibwise.prove.verifying import NOT_OURS

Json = dict[str, Any]
TOLERANCE = 0.02
"""Between two computers' probabilities; far above what rounding makes, far below what misleads."""
_CLEAR = Picture(width=10_000, height=10_000, contrast=255.0)


def reopen(record: ProofRecord) -> Case:
    """Return the case that a record was made of, as far as it stands in it.

    Of a picture it says only whether anything can be seen on it, of another document not even
    that: those are taken to show something.

    Raises:
        InputError: Its content is not laid out as that of a record.
    """
    content = record.content
    try:
        seen = {
            p["file"]: msgspec.structs.replace(_CLEAR, same_as=p["same_as"])
            if p["shows"]
            else Picture(same_as=p["same_as"])
            for p in content["photos"]
        }
        return Case(
            id=record.case_id,
            title=content["title"],
            region=content["region"],
            currency=content["currency"],
            car=msgspec.convert(content["car"], Car),
            profile=msgspec.convert(content["profile"], Profile, strict=False),
            evidence=msgspec.convert(
                [e for e in content["evidence"] if e is not None],
                tuple[Evidence, ...],
                strict=False,
            ),
            findings=msgspec.convert(content["findings"], tuple[Finding, ...]),
            files=dict(record.attachments),
            copies={p["file"]: p["copy_sha256"] for p in content["photos"] if p["copy_sha256"]},
            pictures=seen,
        )
    except _LAID_OUT_OTHERWISE as error:
        raise _otherwise(error) from error


_LAID_OUT_OTHERWISE = (
    msgspec.ValidationError,
    ModelError,
    LookupError,
    TypeError,
    AttributeError,
    ZeroDivisionError,
)


def _otherwise(error: Exception) -> InputError:
    text = f"its content is not laid out as that of a record: {error}"
    return InputError(text, remedy=NOT_OURS)


def stated_shifts(record: ProofRecord) -> dict[str, float]:
    """Return what own finished cases had taught when a record was made, by curve [log odds]."""
    told = record.content["assumptions"] or ()
    return {a["fact"]: a["value"] for a in told if a.get("value") is not None}


def stated_beliefs(record: ProofRecord) -> Assessment:
    """Return what a record states of its parts, where the crash data for it are left out.

    Only what its gates and verdicts lean on is there. What was rounded is rounded in favour of
    the part, so that no honest record is on the wrong side of a limit.

    Raises:
        InputError: Its content is not laid out as that of a record.
    """
    content = record.content
    try:
        return Assessment(
            event=_NO_EVENT,
            components=tuple(_stated_belief(c) for c in content["components"]),
            contradictions=msgspec.convert(content["contradictions"], tuple[Contradiction, ...]),
            findings=(),
        )
    except _LAID_OUT_OTHERWISE as error:
        raise _otherwise(error) from error


def stated_work(record: ProofRecord) -> Work:
    """Return the work as a record states it.

    Raises:
        InputError: Its content is not laid out as that of a record.
    """
    try:
        return msgspec.convert(record.content["work"], Work, strict=False)
    except _LAID_OUT_OTHERWISE as error:
        raise _otherwise(error) from error


_NO_EVENT = EventBelief(
    zones={},
    delta_v_kmh=None,
    driver_belted=0.5,
    passenger_belted=0.5,
    front_passenger={},
    rollover=0.0,
    second_impact=0.0,
    no_crash=0.0,
)


def _stated_belief(stated: Json) -> ComponentBelief:
    return ComponentBelief(
        id=stated["id"],
        after_crash=_states(stated["after_crash"]),
        now=_states(stated["now"]),
        prior_fired=stated["prior_fired"],
        settled_by=msgspec.convert(stated["settled_by"], SettlingLook | None),
    )


def _states(rounded: Mapping[str, float]) -> StateBelief:
    """Return rounded probabilities as ones that sum to one, the part a little sounder."""
    least = {**rounded, "sound": rounded["sound"] + 10.0**-DECIMALS}
    whole = math.fsum(least.values())
    return StateBelief(**{state: value / whole for state, value in least.items()})


def list_contradictions(record: ProofRecord, again: ProofRecord) -> list[str]:
    """Return what a record says otherwise than its own entries give, the worst first.

    Of a copy that leaves out crash data only gates, parts and verdicts are compared.

    Args:
        record: As it was handed over.
        again: Made anew from what it holds, see ``reopen``. Where it cannot tell it is the kinder
            one, so that only what the record says too well counts.
    """
    stated, found = record.content, again.content
    kept = [*_of_gates(record, again), *_of_parts(stated, found)]
    if record.withheld:
        return [*kept, *_of_verdicts(stated, found, kinder=True)]
    return [
        *kept,
        *_of_verdicts(stated, found),
        *_of_work(stated, found),
        *_of_components(stated, found),
        *_of_event(stated, found),
        *_left_unsaid(stated, found),
        *_of_papers(stated, found),
    ]


def _of_gates(record: ProofRecord, again: ProofRecord) -> Iterator[str]:
    asked = {g.id: g for g in record.gates}
    for gate in again.gates:
        stated = asked[gate.id]
        if gate.open and not stated.open:
            yield f"'{gate.id}' is called closed; its entries leave it open: {gate.missing[0]}"
        elif gate.grade == STATED and stated.grade == SHOWN:
            yield f"'{gate.id}' is called shown; by its entries it is only stated."
        elif not (gate.open or stated.open):
            hidden = [x for x in gate.stated if x not in stated.stated][:1]
            yield from (f"'{gate.id}' leaves out what it rests on: {x}" for x in hidden)


def _of_work(stated: Json, again: Json) -> Iterator[str]:
    """Yield work that is called done and is not, and work that is left out."""
    listed = {i["id"]: i for i in stated["work"]["items"]}
    for item in again["work"]["items"]:
        own = listed.get(item["id"])
        if own is None and not item["done"] and item["strict"] != "advice":
            yield f"its list of work leaves out: {item['title']} ({item['id']})"
        elif own is not None and own["done"] and not item["done"]:
            yield f"'{item['id']}' is called done; nothing in it says so."


def _of_parts(stated: Json, again: Json) -> Iterator[str]:
    """Yield fitted parts that stand otherwise than their entries have them."""
    listed = {p["component"]: p for p in stated["parts"]}
    for part in again["parts"]:
        own = listed.pop(part["component"], None)
        if own is None:
            yield f"its list of parts leaves out {part['title']}."
            continue
        odd = [k for k in part if k != "grade" and own.get(k) != part[k]]
        odd += ["grade"] if (own["grade"], part["grade"]) == (SHOWN, STATED) else []
        if odd:
            words = ", ".join(k.replace("_", " ") for k in odd)
            yield f"{part['title']}: its list of parts and its entries differ in {words}."
    yield from (
        f"no entry tells of {p['title']}, which its list of parts has." for p in listed.values()
    )


def _of_verdicts(stated: Json, again: Json, *, kinder: bool = False) -> Iterator[str]:
    """Yield verdicts that stand otherwise; ``kinder``: but for those that were made worse."""
    listed = {v["what"]: v for v in stated["verdicts"]}
    found = {v["what"]: v for v in again["verdicts"]}
    for what in dict.fromkeys((*found, *listed)):
        own, other = listed.get(what), found.get(what)
        if own is None and other is not None:
            yield f"its verdicts leave out '{what}' ({other['outcome']})."
        elif other is None:
            yield f"no entry gives its verdict '{what}'."
        elif own is not None and (own["outcome"], own["text"]) != (other["outcome"], other["text"]):
            if kinder and _RANK[own["outcome"]] < _RANK[other["outcome"]]:
                continue
            yield (
                f"'{what}' is called {own['outcome']}: {own['text']} Its entries give "
                f"{other['outcome']}: {other['text']}"
            )


_RANK = {"not met": 0, "undecided": 1, "met": 2}


def _of_components(stated: Json, again: Json) -> Iterator[str]:
    """Yield components whose state does not follow from the entries."""
    listed = {c["id"]: c for c in stated["components"]}
    for component in again["components"]:
        own = listed.get(component["id"])
        if own is None:
            yield f"it leaves out {component['title']}."
            continue
        for when, words in (("after_crash", "after the crash"), ("now", "now")):
            off = _first_off(own[when], component[when])
            if off:
                state, said, found = off
                yield (
                    f"{component['title']} is called {said:.0%} {state} {words}; its entries "
                    f"give {found:.0%}."
                )
                break


def _first_off(
    own: Mapping[str, float], other: Mapping[str, float]
) -> tuple[str, float, float] | None:
    """Return the number that differs most, with both values; None where all agree."""
    worst = max(other, key=lambda key: abs(own.get(key, 0.0) - other[key]), default=None)
    if worst is None or abs(own.get(worst, 0.0) - other[worst]) <= TOLERANCE:
        return None
    return worst, own.get(worst, 0.0), other[worst]


def _of_event(stated: Json, again: Json) -> Iterator[str]:
    own, other = (_numbers(c["event"]) for c in (stated, again))
    off = _first_off(own, other)
    if off:
        word, said, found = off
        yield f"of the crash it says {word} {said:.0%}; its entries give {found:.0%}."


def _numbers(event: Json) -> dict[str, float]:
    """Return the probabilities of the crash by what they are of."""
    plain = {k.replace("_", " "): v for k, v in event.items() if isinstance(v, float | int)}
    inner = (event["zones"], event["front_passenger"], event["causes"])
    return plain | {word: chance for table in inner for word, chance in table.items()}


def _left_unsaid(stated: Json, again: Json) -> Iterator[str]:
    """Yield contradictions, findings and live charges that the entries give and it leaves out."""
    yield from (
        f"it leaves out a contradiction: {text}"
        for text in _missing(stated, again, "contradictions", "text")
    )
    yield from (
        f"it leaves out a finding: {text}"
        for text in _missing(stated, again, "findings", "message")
    )
    yield from (
        f"it leaves out that a charge is not proven spent: {title}."
        for title in _missing(stated, again, "live_charges", "title")
    )


def _missing(stated: Json, again: Json, key: str, word: str) -> Iterable[str]:
    there = {one[word] for one in stated[key]}
    return dict.fromkeys(one[word] for one in again[key] if one[word] not in there)


def _of_papers(stated: Json, again: Json) -> Iterator[str]:
    """Yield papers and answers that are graded better than their entries are."""
    rank = {SHOWN: 2, STATED: 1}
    for key, name in (("papers", "text"), ("answers", "question")):
        found = {one["id"]: one for one in again[key]}
        for own in stated[key]:
            grade, other = own["grade"], found[own["id"]]["grade"]
            if rank.get(grade, 0) > rank.get(other, 0):
                yield f"'{own[name]}' is called {grade}; by its entries it is {other}."
            elif key == "answers" and own["text"] != found[own["id"]]["text"]:
                yield f"'{own[name]}' is answered otherwise than its entries say."
