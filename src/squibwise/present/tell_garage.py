"""What a garage holds, what happened to a case in it, and whether all of it is whole."""

from collections.abc import Sequence
from pathlib import Path

from squibwise.garage.cases import Car
from squibwise.garage.store import Entry
from squibwise.model.origin import Finding
from squibwise.present.figures import counted
from squibwise.present.telling import Section, Table, Telling, Text


def tell_garage(cases: Sequence[tuple[str, str, Entry]], place: Path) -> Telling:
    """Return the cases of a garage: id, title and what was done last."""
    rows = tuple((c, title, str(last.number), last.at, last.what) for c, title, last in cases)
    body = Table(rows=rows) if rows else Text(text="No case yet: `squibwise import FOLDER`.")
    title = f"{counted(len(cases), 'case')} in {place}"
    return Telling(title=title, sections=(Section(blocks=(body,)),))


def tell_history(case_id: str, entries: Sequence[Entry]) -> Telling:
    """Return everything that happened to a case, with what was taken back again."""
    undone = {e.undoes for e in entries if e.kind == "undone"}
    rows = tuple(
        (str(e.number), e.at, e.by, f"{e.what} (taken back)" if e.number in undone else e.what)
        for e in entries
    )
    return Telling(title=case_id, sections=(Section(blocks=(Table(rows=rows),)),))


def tell_garage_check(found: Sequence[Finding], cases: int, place: Path) -> Telling:
    """Return whether a garage is whole, or all that is not."""
    if not found:
        text = f"{place}: {counted(cases, 'case')}, every entry and every original as written."
        return Telling(title="The garage is whole.", sections=(Section(blocks=(Text(text=text),)),))
    blocks = tuple(Text(text=finding.text()) for finding in found)
    title = f"{counted(len(found), 'thing')} in the garage not as written."
    return Telling(title=title, sections=(Section(blocks=blocks),))


def tell_done(text: str, then: str = "") -> Telling:
    """Return that something was done, and what may come next."""
    return Telling(title=text, closing=(Text(text=then),) if then else ())


def search_cars(cars: Sequence[Car], wanted: str) -> tuple[Car, ...]:
    """Return the cars whose id, title or last entry holds every word that is looked for."""
    words = wanted.casefold().split()
    return tuple(
        c for c in cars if all(w in f"{c.id} {c.title} {c.what}".casefold() for w in words)
    )
