"""Where the inflators and pretensioners went that came out of the car."""

from collections.abc import Collection

from squibwise.catalog.load import Catalog, component_title, holds_charge
from squibwise.history.order import History, replacements
from squibwise.history.signed import is_signed, last_signed
from squibwise.model.belief import Because
from squibwise.model.origin import Origin
from squibwise.model.proof import Verdict
from squibwise.model.words import Outcome
from squibwise.model.work import Work

DISPOSAL = ("disposal", "dispose", "step:dispose")
"""Words under which a hand-over is signed."""
UNSAID = "Not said: who took them, where, which paper"
_SAY = 'Say who took it: did CASE disposal --note "WHO, RECEIPT".'


def disposal_verdicts(
    history: History, work: Work, catalog: Catalog, components: Collection[str]
) -> list[Verdict]:
    """Return the verdict on the hand-over; nothing where no part that holds a charge came out.

    Args:
        history: The course of the case.
        work: For when each old part came out.
        catalog: Which parts hold a charge, and the caution on handing them over.
        components: Those that the car has.
    """
    out = _list_out(history, catalog, components)
    if not out:
        return []
    last = last_signed(history, *DISPOSAL)
    outcome, text = _judge(history, work, catalog, components)
    caution = catalog.release_gates["disposal"]
    evidence = (last[1].id,) if last else ()
    return [
        Verdict(
            what="disposal",
            outcome=outcome,
            text=text,
            decide="" if outcome == "met" else _SAY,
            because=(Because(text=caution.text, evidence=evidence),),
            origin=last[1].origin if last else Origin(),
        )
    ]


def _judge(
    history: History, work: Work, catalog: Catalog, components: Collection[str]
) -> tuple[Outcome, str]:
    last = last_signed(history, *DISPOSAL)
    if last is not None and last[1].result == "failed":
        return "not met", f"The hand-over was signed as failed. {last[1].note}".strip()
    left = list_not_handed_over(history, work, catalog, components)
    if left:
        names = ", ".join(component_title(c, catalog) for c in left)
        return "undecided", f"No hand-over is signed since the old one came out: {names}."
    count = len(_list_out(history, catalog, components))
    by = last[1].by if last else None
    note = last[1].note if last else ""
    return "met", f"{count} handed over, signed by {by or 'nobody named'}. {note or UNSAID}."


def list_not_handed_over(
    history: History, work: Work, catalog: Catalog, components: Collection[str]
) -> list[str]:
    """Return every replaced part with a charge of which it is not on record where it went.

    The old one may be handed over once it is out, before the new one is in.
    """
    return [
        component
        for component, place in _list_out(history, catalog, components).items()
        if not is_signed(history, f"{component}:disposal", after=place)
        and not is_signed(history, *DISPOSAL, after=_taken_out(component, place, history, work))
    ]


def _list_out(history: History, catalog: Catalog, components: Collection[str]) -> dict[str, int]:
    """Return the parts with a charge that were replaced, with the place of the last time."""
    fitted = replacements(history)
    return {c: fitted[c][-1] for c in fitted if c in components and holds_charge(c, catalog)}


def _taken_out(component: str, fitted: int, history: History, work: Work) -> int:
    """Return the place in the course at which the old part came out.

    That at which the new one was ``fitted`` when nobody said.
    """
    taken = (o for o in work.operations if o.action == "out")
    own = [o.id for o in taken if component in o.components]
    out = last_signed(history, *own)
    once = len(replacements(history).get(component, ())) == 1
    return min(out[0], fitted) if out is not None and once else fitted
