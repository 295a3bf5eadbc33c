"""What is said with a tick that stands for a measurement of a seat: its zero, its weight check."""

import re
from collections.abc import Collection, Iterator

from squibwise.catalog.load import Catalog
from squibwise.history.order import History
from squibwise.model.evidence import SeatTrial
from squibwise.model.work import Operation
from squibwise.prove.seats import last_seat_work

ZERO, WEIGH = "set:seat-zero", "step:weigh-seat"
SEAT_NOTES = {ZERO: "--note 'ANSWER AND READING'", WEIGH: "--note 'LOAD AND READING'"}
"""What is typed with each of them."""
_SAID = {ZERO: "what the unit answered", WEIGH: "what was laid on and read"}
_FIGURE = re.compile(r"\d")


def tell_unweighed(
    ticked: Collection[Operation], note: str, history: History, catalog: Catalog
) -> Iterator[str]:
    """Yield a zero or a weight check of a seat that is ticked though nobody says what was read.

    They are said by themselves, for a note on many things says nothing of one; a weight check has
    a figure. Where loads were entered since the last work on the seat, those speak.

    Args:
        ticked: What is ticked at once.
        note: What is said with it.
        history: The course of the case.
        catalog: What belongs to a seat.
    """
    due = [o for o in ticked if o.id in SEAT_NOTES and not o.done]
    if _is_weighed(history, catalog):
        return
    for operation in due:
        is_said = bool(note) and (operation.id == ZERO or bool(_FIGURE.search(note)))
        if not (is_said and len(due) == len(ticked)):
            yield (
                f"no. {operation.n} is a measurement: enter each load with `squibwise weighed`, or "
                f"say by itself {_SAID[operation.id]}: "
                f"did CASE {operation.n} {SEAT_NOTES[operation.id]}."
            )


def _is_weighed(history: History, catalog: Catalog) -> bool:
    """Return whether a load was laid on a seat and entered since that seat was last worked on."""
    trials = history.all_of(SeatTrial)
    return any(n > last_seat_work(history, t.component, catalog) for n, t in trials)
