"""The gates of release that are still open, each with where it is closed."""

from collections.abc import Iterator

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.garage.tick_order import LAMP
from squibwise.model.case import Case
from squibwise.model.names import split_component
from squibwise.model.proof import Gate, Overview
from squibwise.model.work import Work
from squibwise.present.phrases import name
from squibwise.prove.gates import SEEN_WHOLE

LAMP_GATE = "lamp-check"
REASONED = ("final-scan", "contradictions")
"""Gates that are closed elsewhere, or here by somebody who says why they hold."""
LABELLED = ("provenance", "recalls")
"""Gates that are closed by what the label of a part says."""
_PAGES = {
    "doubtful": "look",
    "contradictions": "look",
    "not-sound": "look",
    "faults": "trace",
    "replacements": "work",
    "inspections": "work",
    "calibrations": "work",
    "steps": "work",
    "loads-returned": "work",
    "failed-checks": "work",
    "final-scan": "add",
    "input-clean": "",
    "verdicts": "",
}
"""On which page of the car a gate is closed; the others are signed on their own."""


class GateTold(msgspec.Struct, frozen=True, kw_only=True):
    """A gate with where it is closed.

    Attributes:
        gate: The gate.
        page: Page of the car on which it is closed; None when it is signed with the gates.
        seats: Seat sensors to be weighed, for the gate that asks for it.
    """

    gate: Gate
    page: str | None
    seats: tuple[tuple[str, str], ...] = ()


def tell_open_gates(case: Case, whole: Overview, catalog: Catalog) -> list[GateTold]:
    """Return the gates that are open, in their order."""
    return [_told(gate, case, whole, catalog) for gate in whole.gates if gate.open]


def _told(gate: Gate, case: Case, whole: Overview, catalog: Catalog) -> GateTold:
    seats: tuple[tuple[str, str], ...] = ()
    if gate.id == "seat-after-work":
        kinds = ((c, split_component(c).kind) for c in case.car.components)
        seats = tuple((c, name(c, catalog)) for c, kind in kinds if kind == "occupant-sensor")
    page = _PAGES.get(gate.id)
    if gate.id == "replacements" and _hangs_on_answers(whole.todo):
        page = "ask"
    if gate.id == LAMP_GATE and _is_early(whole.todo):
        page = "work"
    if gate.id == "not-sound" and gate.missing:
        page = f"part/{gate.missing[0].partition(' ')[0]}"
    if gate.id == "doubtful" and all(SEEN_WHOLE in m for m in gate.missing):
        page = "trace"
    return GateTold(gate=gate, page=page, seats=seats)


def _is_early(todo: Work) -> bool:
    """Return whether the lamp is not to be looked at yet: the key stays off until its turn."""
    done = {o.id: o.done for o in todo.operations}
    lamp = next((o for o in todo.operations if o.id == LAMP), None)
    return lamp is not None and not all(done.get(before, True) for before in lamp.after)


def _hangs_on_answers(todo: Work) -> bool:
    """Return whether nothing is left to replace but what the maker's answers decide."""
    kinds = {i.kind for i in todo.items if i.action == "replace" and not i.done}
    return kinds == {"ask"}


def parts_to_label(whole: Overview) -> tuple[str, ...]:
    """Return the parts whose labels are asked for: those that the gates miss, then all fitted."""
    fitted = (c for o in whole.todo.operations if o.action == "fit" for c in o.components)
    return tuple(dict.fromkeys((*_without_label(whole), *fitted)))


def _without_label(whole: Overview) -> Iterator[str]:
    """Yield the parts that the gates of origins and recalls miss, as they name them."""
    known = {c.id for c in whole.states.components}
    missing = (m for g in whole.gates if g.id in LABELLED for m in g.missing)
    return (part for m in missing if (part := m.partition(":")[0]) in known)
