"""Answers as plain rows, which data frames take: ``polars.DataFrame(list_order_rows(todo))``.

A row is a dictionary of words and numbers; the same keys in every row.
"""

from squibwise.model.belief import Assessment
from squibwise.model.words import STATES
from squibwise.model.work import Work

Row = dict[str, str | float | int | bool | None]


def list_component_rows(states: Assessment) -> list[Row]:
    """Return one row for each component: its states after the crash and now. [0..1]."""
    return [
        {
            "component": c.id,
            **{f"after_{s}": float(getattr(c.after_crash, s)) for s in STATES},
            **{f"now_{s}": float(getattr(c.now, s)) for s in STATES},
        }
        for c in states.components
    ]


def list_order_rows(todo: Work) -> list[Row]:
    """Return one row for each order; prices in minor units of the case's currency."""
    return [
        {
            "assembly": o.assembly,
            "title": o.title,
            "quantity": o.quantity,
            "kind": o.kind,
            "p": o.p,
            "low": o.price.low.minor if o.price else None,
            "likely": o.price.likely.minor if o.price else None,
            "high": o.price.high.minor if o.price else None,
            "currency": o.price.likely.currency if o.price else "",
            "done": o.done,
        }
        for o in todo.orders
    ]


def list_operation_rows(todo: Work) -> list[Row]:
    """Return one row for each operation, in order; times in minutes. [min]."""
    return [
        {
            "n": o.n,
            "id": o.id,
            "visit": v.id,
            "power": v.power,
            "area": a.area,
            "action": o.action,
            "title": o.title,
            "low": o.minutes.low,
            "likely": o.minutes.likely,
            "high": o.minutes.high,
            "counted": o.counted,
            "done": o.done,
        }
        for v in todo.visits
        for a in v.areas
        for o in a.operations
    ]


def plain_cell(text: str) -> str:
    """Return a cell of a table as written, guarded where a spreadsheet would take it for a formula.

    Source: OWASP, "CSV Injection" (from memory): such a cell gets an apostrophe before it.
    """
    is_number = text[1:].replace(".", "", 1).isdecimal()
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t") and not is_number else text
