"""What people at the car say for a part and for what they see, as words of the catalogue."""

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, get_args

import msgspec

from squibwise import case as line
from squibwise.catalog.load import Catalog
from squibwise.entering.tick_order import is_load, tell_no_load
from squibwise.errors import InputError, ModelError
from squibwise.history.order import read_history
from squibwise.history.power import KEY_ON_GATES
from squibwise.history.signed import find_loads, is_signed
from squibwise.intake.case_file.checks import did_you_mean
from squibwise.intake.case_file.schema import What
from squibwise.intake.said_parts import name_sides
from squibwise.model.car import Car
from squibwise.model.case import Case
from squibwise.model.evidence import TestOutcome
from squibwise.model.names import PLACES, SEATS, ZONES, current_name, split_component
from squibwise.model.trace import Trace
from squibwise.model.words import REACHING, Extent

_FRONT_SEATS = {"driver", "passenger"}
_APART = re.compile(r"[.\s_/]+")


def find_component(
    said: str, car: Car, catalog: Catalog, seen: str = "", *, labelled: bool = False
) -> str:
    """Return the component of a car that somebody means; what is not understood comes back as said.

    Args:
        said: ``driver.front-bag``, but also ``windshield``, ``left curtain``, ``curtain.left``.
        car: For the parts it has.
        catalog: For kinds, and for what people say.
        seen: What was seen on it; it tells parts apart where one alone can look so.
        labelled: A label is meant: that of a belt stands on its reel.

    Raises:
        InputError: It fits several parts of the car.
    """
    if said.partition("/")[0] in car.components:
        return said
    named = name_sides(said.lower())
    places, kinds = _read(named, car, catalog)
    if places and places <= _FRONT_SEATS:
        kinds = _usual(said.lower(), kinds, catalog)
    found = [
        c
        for c in car.components
        if split_component(c).kind in kinds and (not places or split_component(c).place in places)
    ]
    alone = [c for c in found if find_seen(seen, c, catalog) in _own_looks(c, catalog)]
    meant = _under_label(said, found, catalog) if labelled else _on_usual(alone, seen, catalog)
    found = alone if len(alone) == 1 else meant or found
    if len(found) == 1:
        return found[0]
    if found and said.partition(".")[2] not in catalog.kinds:
        remedy = f"Name one: {', '.join(found)}."
        raise InputError(f"'{said}' may be {len(found)} parts of this car.", remedy=remedy)
    return said


def _on_usual(found: Sequence[str], seen: str, catalog: Catalog) -> list[str]:
    """Return the part on which a look word is meant where several of one name can look so."""
    on = catalog.said.seen_on
    return [c for c in found if on.get(find_seen(seen, c, catalog)) == split_component(c).kind]


def _under_label(said: str, found: Sequence[str], catalog: Catalog) -> list[str]:
    """Return the part whose label is meant where several have one name."""
    tokens = _APART.split(said.lower())
    kinds = [k for t, ks in catalog.said.labelled.items() if t in tokens for k in ks]
    by_kind = {split_component(c).kind: c for c in found}
    places = {split_component(c).place for c in found}
    return [by_kind[k] for k in kinds if k in by_kind][:1] if len(places) == 1 else []


def _own_looks(component: str, catalog: Catalog) -> tuple[str, ...]:
    try:
        kind = split_component(component).kind
    except ModelError:
        return ()  # no component: refused where it is entered
    return tuple(catalog.looks(kind)) if kind in catalog.kinds else ()


def _usual(said: str, kinds: tuple[str, ...], catalog: Catalog) -> tuple[str, ...]:
    """Return the one kind that is meant where nothing but a seat stands beside the word."""
    rest = "-".join(t for t in _APART.split(said) if t and t not in _FRONT_SEATS)
    usual = catalog.said.usual.get(rest)
    return kinds if usual is None else (usual,)


_OTHER_SEAT = {"driver": "passenger", "passenger": "driver"}


def _read(said: str, car: Car, catalog: Catalog) -> tuple[set[str], tuple[str, ...]]:
    """Return the places and the kinds that a phrase names.

    The catalogue has the driver on the left; where he sits on the right, so does his seat.
    """
    words = catalog.said
    places: set[str] = set()
    rest: list[str] = []
    for token in _APART.split(said):
        named = words.places.get(token) or ((token,) if token in PLACES else ())
        if car.drive_hand == "right" and token not in _OTHER_SEAT:
            named = tuple(_OTHER_SEAT.get(place, place) for place in named)
        places |= set(named)
        rest += [] if named else [token]
    kinds = _kinds(rest, catalog)
    if kinds:
        return places, kinds
    return next(_at_spots(rest, places, catalog), (places, ()))


def _kinds(tokens: Sequence[str], catalog: Catalog) -> tuple[str, ...]:
    kind = "-".join(w for w in tokens if w)
    return (kind,) if kind in catalog.kinds else catalog.said.parts.get(kind, ())


def _at_spots(
    tokens: Sequence[str], places: set[str], catalog: Catalog
) -> Iterator[tuple[set[str], tuple[str, ...]]]:
    """Yield places and kinds where a word tells where on its side the part sits."""
    for token in tokens:
        spot = catalog.said.spots.get(token)
        kinds = _kinds([t for t in tokens if t != token], catalog)
        if spot and kinds:
            sides = places & {"left", "right"} or {"left", "centre", "right"}
            yield {f"{spot}-{side}" for side in sides}, kinds


_NEVER_GUESSED = ("not-seen", "confirmed-spent")


def find_seen(said: str, component: str, catalog: Catalog) -> str:
    """Return the word of the catalogue for what was seen; one that is not known comes back as said.

    Args:
        said: ``deployed``, but also ``fired``, ``blown``, ``gone``; ``cracked`` of a windshield,
            which can be seen in one such way only.
        component: The part that was looked at.
        catalog: For the words of its kind, and for what people say.
    """
    known = _own_looks(component, catalog)
    word = _APART.sub("-", said.lower().strip())
    meant = catalog.said.seen.get(word, word)
    if meant in known or not word:
        return meant
    said_words = set(word.split("-"))
    if not said_words.isdisjoint(catalog.said.stories["denied"]):
        return meant
    alike = [k for k in known if said_words <= set(k.split("-")) and k not in _NEVER_GUESSED]
    return alike[0] if len(alike) == 1 else word


WHATS: tuple[str, ...] = get_args(What)
EXTENTS: tuple[str, ...] = get_args(Extent)
HOURS = 12
SEATED: dict[str, dict[str, Any]] = {
    "empty": {"present": False},
    "taken": {"present": True},
    "adult": {"present": True, "size": "adult"},
    "child": {"present": True, "size": "child-or-small"},
    "small": {"present": True, "size": "child-or-small"},
    "belted": {"present": True, "belt": "latched"},
    "unbelted": {"present": True, "belt": "unlatched"},
    "child-seat": {"present": True, "child_seat": True},
}
_BETWEEN = {"to", "the", "up", "in", "and", "was", "a", "an", "at"}
_MEANT = {"child seat": "child-seat", "not belted": "unbelted", "rolled over": "rollover"}


def find_told(words: Sequence[str], car: Car | None, catalog: Catalog) -> dict[str, Any]:
    """Return the entry of what somebody knows of the crash or the car, its time apart.

    Args:
        words: A circumstance (``flood``, ``no crash``, ``flood to the seats``, ``fire curtain``),
            an impact (``nose-left severe 11``) or a seat (``passenger adult belted``).
        car: For the parts that water or fire reached; None = none are named.
        catalog: For what people say.

    Raises:
        InputError: It is none of these.
    """
    phrase = " ".join(words).lower().replace(",", " ")
    for said, meant in _MEANT.items():
        phrase = phrase.replace(said, meant)
    tokens = [t for t in phrase.split() if t not in _BETWEEN]
    found = (
        _told_event(tokens)
        or _told_seat(tokens)
        or _told_impact(tokens)
        or _told_reach(tokens, car, catalog)
    )
    if found:
        return found
    told = f"'{' '.join(words)}' is nothing that can be told so."
    if car is not None and _is_seen(tokens, car, catalog):
        said = f"saw CASE '{' '.join(tokens[:-1])}' {tokens[-1]} --by NAME"
        raise InputError(told, remedy=f"What an eye saw on a part is written by `{said}`.")
    raise InputError(
        told,
        remedy=(
            f"A circumstance, 'no' before it or not: {', '.join(WHATS)}; how far a flood came: "
            f"flood {' or '.join(catalog.said.levels)}, or the parts it reached; a place that was "
            f"hit, how hard, and from where as on a clock: {', '.join(ZONES)}, "
            f"{', '.join(EXTENTS)}; or a seat and who sat in it: {', '.join(SEATS)}, "
            f"{', '.join(SEATED)}."
        ),
    )


def _is_seen(tokens: Sequence[str], car: Car, catalog: Catalog) -> bool:
    """Do words name a part of the car and what an eye sees on it."""
    try:
        part = find_component(" ".join(tokens[:-1]), car, catalog, tokens[-1] if tokens else "")
    except InputError:
        return False
    return part in car.components and find_seen(tokens[-1], part, catalog) in _own_looks(
        part, catalog
    )


def _told_event(tokens: Sequence[str]) -> dict[str, Any]:
    """Return the entry of an event, told or denied: ``flood``, ``no fire``; else nothing."""
    if not tokens or tokens[-1] not in WHATS or tokens[:-1] not in ([], ["no"], ["not"]):
        return {}
    return {"kind": "circumstance", "what": tokens[-1], "present": len(tokens) == 1}


def _told_seat(tokens: Sequence[str]) -> dict[str, Any]:
    seats = [t for t in tokens if t in SEATS]
    told = [SEATED[t] for t in tokens if t in SEATED]
    keys = [k for one in told for k in one if k != "present"]
    agreed = len({one["present"] for one in told}) == 1 and len(keys) == len(set(keys))
    if len(seats) != 1 or not agreed or len(tokens) != 1 + len(told):
        return {}
    merged = {k: v for one in told for k, v in one.items()}
    return {"kind": "occupant", "seat": seats[0], **merged}


def _told_impact(tokens: Sequence[str]) -> dict[str, Any]:
    zones = [t for t in tokens if t in ZONES]
    extents = [t for t in tokens if t in EXTENTS]
    clocks = [int(t) for t in tokens if t.isdecimal() and len(t) <= 2 and 1 <= int(t) <= HOURS]
    named = len(zones) + len(extents) + len(clocks)
    if len(zones) != 1 or max(len(extents), len(clocks)) > 1 or named != len(tokens):
        return {}
    found: dict[str, Any] = {"kind": "impact", "zone": zones[0]}
    found |= {"clock": clocks[0]} if clocks else {}
    return found | ({"extent": extents[0]} if extents else {})


def _told_reach(tokens: Sequence[str], car: Car | None, catalog: Catalog) -> dict[str, Any]:
    """Return what a flood or fire reached: by the height of the water, or part by part."""
    if car is None or len(tokens) < 2 or tokens[0] not in REACHING:
        return {}
    parts: list[str] = []
    for token in tokens[1:]:
        reached = _reached(token, car, catalog)
        if not reached:
            return {}
        parts += reached
    parts = list(dict.fromkeys(parts))
    return {"kind": "circumstance", "what": tokens[0], "present": True, "parts": parts}


def _reached(token: str, car: Car, catalog: Catalog) -> list[str]:
    """Return the kinds and components of the car that a level or a word for a part stands for."""
    names = list(catalog.said.levels)
    level = catalog.said.level_words.get(token, token)
    own = {*car.components, *(split_component(c).kind for c in car.components)}
    if level in names:
        below = names[: names.index(level) + 1]
        return [w for name in below for w in catalog.said.levels[name] if w in own]
    if token in own:
        return [token]
    return [k for k in catalog.said.parts.get(token, ()) if k in own]


def find_circuit(said: str, car: Car, catalog: Catalog) -> str:
    """Return the circuit somebody means: ``driver.seat-bag/2``, or a part, then its first stage.

    Args:
        said: A circuit, or a part as for `find_component`.
        car: For the parts it has.
        catalog: For kinds, and for what people say.

    Raises:
        InputError: The car has no such part.
    """
    part, _, stage = said.partition("/")
    component = find_component(part, car, catalog)
    if component not in car.components:
        remedy = did_you_mean(component, car.components) or "`squibwise assess CASE` lists them."
        raise InputError(f"'{said}' is no circuit of this car.", remedy=remedy)
    return f"{component}/{stage or '1'}"


def find_traced(said: str, car: Car, catalog: Catalog) -> str:
    """Return the circuit to trace: as `find_circuit`, with the names of older files as they stand.

    Raises:
        InputError: The car has no such part.
    """
    named = current_name(said)
    is_there = named.partition("/")[0] in car.components
    return named if is_there else find_circuit(said, car, catalog)


def refuse_unnamed(
    at_fault: Sequence[tuple[str, str]], renewed: Sequence[str], car: Car, catalog: Catalog
) -> InputError:
    """Return the error of a circuit that is not named, with those at fault first.

    Args:
        at_fault: Circuits, each with how likely it is at fault, as it is told.
        renewed: Circuits with a fault that is not traced before what is ordered is fitted.
        car: For the circuits it has.
        catalog: For kinds.
    """
    kinds = {c: catalog.kinds.get(split_component(c).kind) for c in car.components}
    told = [f"{loop} ({p})" for loop, p in at_fault]
    told += [f"{loop} (new parts first, then read again)" for loop in renewed]
    named = {loop.partition("/")[0] for loop in (*(loop for loop, _ in at_fault), *renewed)}
    there = [c for c, kind in kinds.items() if kind is not None and kind.circuit]
    rest = ", ".join(c for c in there if c not in named)
    remedy = f"At fault: {', '.join(told)}. Name it; or another of this car's: {rest}."
    if not told:
        remedy = f"None is likely at fault. Name one of this car's: {rest}."
    return InputError("No circuit is named.", remedy=remedy)


def find_outcome(words: Sequence[str], loop: str, case: Case, catalog: Catalog) -> dict[str, str]:
    """Return test and outcome of what was tried on a circuit; without a test it is the next one.

    Args:
        words: ``OUTCOME``, or ``TEST OUTCOME``; an outcome may be several words.
        loop: The circuit.
        case: As it stands.
        catalog: Tests and their outcomes.

    Raises:
        InputError: There is no such test of the circuit, or no such outcome of the test.
    """
    trace = line.trace(case, loop, catalog)
    card = trace.next_test
    outcome = " ".join(words)
    test = card.id if outcome in card.outcomes else words[0]
    if test == words[0] != outcome:
        outcome = " ".join(words[1:])
    elif outcome not in card.outcomes:
        raise InputError(
            f"'{outcome}' is no outcome of {card.id} ({card.title}).",
            remedy=f"Its outcomes: {', '.join(map(repr, card.outcomes)) or 'none'}. "
            "For another card: `tried CASE CIRCUIT TEST OUTCOME`.",
        )
    tried = TestOutcome(id="now", loop=loop, test=test, outcome=outcome)
    refuse_strange(tried, case, catalog)
    refuse_unsigned(tried, trace, case, catalog)
    return {"test": test, "outcome": outcome}


def refuse_strange(tried: TestOutcome, case: Case, catalog: Catalog) -> None:
    """Refuse an outcome that the trace does not know; one that surprises it is kept."""
    case = msgspec.structs.replace(case, evidence=(*case.evidence, tried))
    for finding in line.trace(case, tried.loop, catalog, over=lambda: True).findings:
        if finding.code in ("unknown-test", "unknown-outcome") and finding.origin == tried.origin:
            raise InputError(finding.message, remedy=finding.remedy)


def refuse_strange_entries(
    entries: Sequence[Mapping[str, Any]], case: Case, catalog: Catalog
) -> None:
    """Refuse tests that came out in a word that none of their cards has, before it is written.

    Args:
        entries: As somebody hands them in, each seen with those before it.
        case: As it stands.
        catalog: Tests and their outcomes.

    Raises:
        InputError: There is no such test of its circuit, or no such outcome of the test.
    """
    for number, entry in enumerate(entries):
        told: dict[str, Any] = {key: entry.get(key) for key in ("loop", "test", "outcome")}
        part = str(told["loop"]).partition("/")[0]
        if entry.get("kind") != "test-outcome" or part not in case.car.components:
            continue
        if all(isinstance(value, str) for value in told.values()):
            tried = TestOutcome(id=f"entry-{number}", **told)
            refuse_strange(tried, case, catalog)
            case = msgspec.structs.replace(case, evidence=(*case.evidence, tried))


def refuse_unsigned(tried: TestOutcome, trace: Trace, case: Case, catalog: Catalog) -> None:
    """Refuse what came of a card with the power on before somebody signed the key-on gate.

    Args:
        tried: The test or repair, and what came of it.
        trace: Of its circuit as it stands, with the card that is asked for next.
        case: As it stands.
        catalog: Tests with the power they need; the gate.

    Raises:
        InputError: The card needs the power on, and nobody signed it as safe.
    """
    history = read_history(case.evidence)
    if not _needs_power(tried.test, trace, catalog):
        return
    if trace.no_power:
        remedy = "Settle that first, and sign the key-on gate."
        raise InputError(f"The card needs the power on. {' '.join(trace.no_power)}", remedy=remedy)
    if not any(is_signed(history, word) for word in KEY_ON_GATES):
        number = catalog.tasks.steps["key-on-gate"].number
        raise InputError(
            f"The card needs the power on, and nobody signed that the key may be turned: "
            f"no. {number} is open.",
            remedy=f"Tick no. {number} of the order of work as safe, then write down what you saw.",
        )


def _needs_power(test: str, trace: Trace, catalog: Catalog) -> bool:
    """Return whether a test or repair of a circuit is done or read with the power on."""
    if test == trace.next_test.id:
        return any(step.power == "on" for step in trace.next_test.steps)
    powers = [(one.id, one.power) for one in catalog.loops.tests]
    powers += [(one.id, one.power) for one in catalog.loops.repairs]
    return any(power in ("on", "through") for row, power in powers if _is_of(test, row))


def _is_of(test: str, pattern: str) -> bool:
    """Return whether a test is one of those that a row of the catalogue stands for."""
    return re.fullmatch(re.escape(pattern).replace(r"\{point\}", ".+"), test) is not None


def find_load(
    loop: str, move: str, serial: str, ohm: float | None, case: Case, catalog: Catalog
) -> dict[str, str | float]:
    """Return the entry of a substitute load that was moved.

    Args:
        loop: The circuit.
        move: ``in`` or ``out``.
        serial: Its mark; empty = the load that is in, or the circuit itself.
        ohm: What it measures. [ohm] None = not said.
        case: For the loads that are in.
        catalog: What a load measures.

    Raises:
        InputError: One goes in unmeasured or beside another, measures what no load does, or comes
            out where none is in.
    """
    inside = [load for load in find_loads(read_history(case.evidence)).out if load.loop == loop]
    mark = serial or (inside[0].serial if inside and move == "out" else f"load {loop}")
    if move == "in" and inside:
        remedy = f"Write down that it came out first: `loaded CASE {loop} out`."
        raise InputError(f"'{inside[0].serial}' is in {loop} already.", remedy=remedy)
    if move == "in":
        if ohm is None:
            remedy = "Measure it before it goes in: --ohm 2.1."
            raise InputError("nobody says what the load measures.", remedy=remedy)
        if not is_load(ohm, catalog):
            remedy = "Measure it again, or take one that is right."
            raise InputError(tell_no_load(ohm, catalog), remedy=remedy)
        return {
            "kind": "substitute-load", "serial": mark, "loop": loop, "move": "issued", "ohm": ohm
        }  # fmt: skip
    if mark not in {load.serial for load in inside}:
        remedy = f"In it: {', '.join(load.serial for load in inside) or 'none'}."
        raise InputError(f"no load '{mark}' is in {loop}.", remedy=remedy)
    return {"kind": "substitute-load", "serial": mark, "loop": loop, "move": "returned"}


def find_measured(said: str, quantity: str, car: Car, catalog: Catalog) -> str:
    """Return the part or circuit a value was taken on; a loop resistance is that of a circuit.

    Args:
        said: As it was typed.
        quantity: What was measured.
        car: For the parts it has.
        catalog: For kinds, and for what people say.

    Raises:
        InputError: The car has no such part.
    """
    circuit = find_circuit(said, car, catalog)
    is_of_circuit = "/" in said or quantity == "loop-resistance"
    return circuit if is_of_circuit else circuit.partition("/")[0]
