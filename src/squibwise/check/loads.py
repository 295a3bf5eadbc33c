"""Verdicts on substitute loads: their resistance, where they were fitted, and their return."""

from squibwise.catalog.load import Catalog
from squibwise.check.limits import because_of, published
from squibwise.errors import ModelError
from squibwise.model.case import Case
from squibwise.model.evidence import SubstituteLoad
from squibwise.model.names import split_component, split_loop
from squibwise.model.proof import Verdict
from squibwise.model.words import Outcome

Judged = tuple[Outcome, str, str]


def load_verdicts(case: Case, catalog: Catalog) -> list[Verdict]:
    """Return a verdict on every substitute load by its mark."""
    by_serial: dict[str, list[SubstituteLoad]] = {}
    for item in case.evidence:
        if isinstance(item, SubstituteLoad):
            by_serial.setdefault(item.serial, []).append(item)
    return [_verdict(serial, moves, case, catalog) for serial, moves in by_serial.items()]


def _verdict(serial: str, moves: list[SubstituteLoad], case: Case, catalog: Catalog) -> Verdict:
    outcome, text, remedy = _judge(moves, case, catalog)
    window = published(catalog, "load.low", "load.high", "published")
    return Verdict(
        what=f"load:{serial}",
        outcome=outcome,
        text=f"Load {serial}: {text}",
        decide=remedy,
        because=because_of(window.facts, tuple(m.id for m in moves)),
        origin=moves[-1].origin,
    )


def _judge(moves: list[SubstituteLoad], case: Case, catalog: Catalog) -> Judged:
    issued = [m for m in moves if m.move == "issued"]
    last = moves[-1]
    if last.move == "issued":
        return "not met", f"issued to {last.loop} and not returned.", _RETURN
    if not issued:
        return "undecided", "returned, but never issued in this record.", _ISSUE
    if not all(_is_igniter(m.loop, catalog) for m in issued):
        return "not met", f"fitted to {issued[-1].loop}, which is no igniter loop.", _WHERE
    return _judge_ohm(moves, issued[-1], case, catalog)


def _judge_ohm(
    moves: list[SubstituteLoad], issued: SubstituteLoad, case: Case, catalog: Catalog
) -> Judged:
    ohm = next((m.ohm for m in reversed(moves) if m.ohm is not None), None)
    if ohm is None:
        return "undecided", "returned; its resistance is not written down.", _MEASURE
    if _in_window(ohm, catalog):
        return "met", f"{ohm:g} ohm, issued to {issued.loop} and returned.", ""
    if _redone(issued, case, catalog):
        return "met", f"{ohm:g} ohm was out of range; the test was done again with another.", ""
    return "undecided", f"returned; {ohm:g} ohm is outside the range for tests.", _AGAIN


_RETURN = "Take it out with the power off and record it as returned."
_ISSUE = "Record when and where it was issued, or strike the entry."
_WHERE = "Check the circuit it was fitted to and read a complete scan."
_MEASURE = "Measure the load by itself and write its resistance down."
_AGAIN = "Repeat the tests made with it with a load inside the range."


def _in_window(ohm: float, catalog: Catalog) -> bool:
    low, high = catalog.fact("load.low").number(), catalog.fact("load.high").number()
    return low <= ohm <= high


def _redone(bad: SubstituteLoad, case: Case, catalog: Catalog) -> bool:
    """Return whether a load inside the range was on the same loop later."""
    later = case.evidence[[e.id for e in case.evidence].index(bad.id) + 1 :]
    return any(
        isinstance(e, SubstituteLoad)
        and e.serial != bad.serial
        and split_loop(e.loop) == split_loop(bad.loop)
        and e.ohm is not None
        and _in_window(e.ohm, catalog)
        for e in later
    )


def _is_igniter(loop: str, catalog: Catalog) -> bool:
    try:
        kind = catalog.kinds.get(split_component(split_loop(loop)[0]).kind)
    except ModelError:
        return False
    return kind is not None and kind.fires
