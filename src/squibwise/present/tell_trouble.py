"""What is not right now though it did not fire: parts by state, circuits by cause."""

import math

from squibwise.catalog.load import Catalog
from squibwise.model.belief import (
    Assessment,
    CircuitCause,
    ComponentBelief,
    FaultyCircuit,
    StateBelief,
)
from squibwise.model.names import split_loop
from squibwise.model.words import STATES
from squibwise.present.figures import percent
from squibwise.present.phrases import LIKELY, name, say_state, tell_grouped
from squibwise.present.tell_event import believed_causes, tell_cause
from squibwise.present.telling import Section, Table, section

_NOT_FIRED = tuple(s for s in STATES if s not in ("sound", "fired"))
_FAULTY, _CIRCUIT = "faulty", "its circuit is at fault"
_MOST = 3


def by_state(states: StateBelief) -> dict[str, float]:
    """Return the probabilities by state."""
    return {s: float(getattr(states, s)) for s in STATES}


def troubled(states: Assessment) -> list[tuple[ComponentBelief, str, float]]:
    """Return what is more likely than not wrong now though it did not fire, with its state."""
    return [
        (c, word, by_state(c.now)[word])
        for c in states.components
        for word in _NOT_FIRED
        if by_state(c.now)[word] >= LIKELY
    ]


def _word(belief: ComponentBelief, word: str, states: Assessment) -> str:
    """Return how a state is said: a part is not faulty where its circuit's fault lies elsewhere."""
    if word != _FAULTY:
        return say_state(word)
    of_part = [c for c in states.circuits if split_loop(c.loop)[0] == belief.id]
    own = [math.fsum(h.p for h in c.causes if h.id.startswith("device:")) for c in of_part]
    elsewhere = bool(own) and "unit" not in belief.id and max(own) < LIKELY
    return _CIRCUIT if elsewhere else say_state(word)


def tell_wrong(states: Assessment, catalog: Catalog) -> list[str]:
    """Return what is likely not right now though it did not fire, each state once."""
    found: dict[str, list[str]] = {}
    for part, word, _ in troubled(states):
        found.setdefault(_word(part, word, states), []).append(part.id)
    causes = [
        f"{tell_cause(key, catalog)} ({percent(p)})"
        for key, p in believed_causes(states, LIKELY, catalog)
    ]
    return [*causes, *(f"{word}: {tell_grouped(parts, catalog)}" for word, parts in found.items())]


def tell_trouble(states: Assessment) -> Section | None:
    """Return what is not right now, each part with its state; None when nothing is."""
    rows = tuple((c.id, percent(p), _word(c, word, states)) for c, word, p in troubled(states))
    if not rows:
        return None
    return section("Not right now", Table(rows=rows, right=(1,)), note="though not fired")


def tell_circuits(states: Assessment, catalog: Catalog) -> Section | None:
    """Return where the fault of each circuit that is reported or tested lies; None without any."""
    least = catalog.fact("present.named-from").number()
    rows = tuple(row for circuit in states.circuits for row in _rows_of(circuit, least, catalog))
    if not rows:
        return None
    note = "as `squibwise trace CASE CIRCUIT` has it; no part before the tests located the fault"
    return section("Circuits at fault", Table(rows=rows, right=(1,)), note=note)


def _rows_of(circuit: FaultyCircuit, least: float, catalog: Catalog) -> list[tuple[str, str, str]]:
    """Return the causes of a circuit, below the chance that its code means it at all."""
    others = " or ".join(name(c, catalog) for c in circuit.rivals)
    rows = [(percent(circuit.share), f"The code means it, and not {others}; then:")]
    rows = rows if circuit.rivals else []
    causes = (c for n, c in enumerate(circuit.causes[:_MOST]) if n == 0 or c.p >= least)
    rows += [(percent(c.p), _capital(c)) for c in causes]
    return [(circuit.loop if n == 0 else "", *row) for n, row in enumerate(rows)]


def _capital(cause: CircuitCause) -> str:
    return f"{cause.title[:1].upper()}{cause.title[1:]}"
