"""What became of something that was written, and what a garage holds and went through."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from squibwise.garage.cases import Car
from squibwise.garage.store import Entry, list_undone
from squibwise.model.origin import Finding
from squibwise.present.figures import counted
from squibwise.present.telling import Section, Table, Telling, Text

SHOWN_ENTRIES = 10


def tell_new_case(case_id: str, folder: Path) -> Telling:
    """Return what was made and what to do next."""
    rows = (
        ("1.", f"Put scan reports and photos into {folder / 'evidence'}."),
        ("2.", f"Fill in {folder / 'case.toml'}; the comments show how."),
        ("3.", f"squibwise assess {folder}"),
    )
    return Telling(title=f"{case_id} is ready.", sections=(Section(blocks=(Table(rows=rows),)),))


def tell_tour_end(count: int, seconds: float, out: Path, first: Path) -> Telling:
    """Return what a walk through cases came to, and where to look closer."""
    closer = (
        f"Look closer: squibwise assess {first}; squibwise work {first}; "
        f"squibwise assess {first} --why driver.front-bag"
    )
    return Telling(
        title=f"\n{counted(count, 'case')} in {seconds:.1f} s. Their records are in {out}/.",
        closing=(Text(text=closer),),
    )


def tell_written(
    case_path: Path, file: str, entries: Sequence[Mapping[str, Any]], told: Sequence[str] = ()
) -> Telling:
    """Return what was written into a case file, and how to look at it or take it back.

    Args:
        case_path: The case, as the person named it.
        file: Its case file as the person knows it.
        entries: What was written.
        told: What is done with it, and what comes next.
    """
    shown = tuple((str(e.get("kind", "")), _shown(e)) for e in entries[:SHOWN_ENTRIES])
    hidden = len(entries) - len(shown)
    more = (("", f"and {hidden} more"),) if hidden else ()
    after = f"squibwise brief {case_path} looks at it; squibwise undo {case_path} takes it back."
    count = counted(len(entries), "entry", "entries") if entries else "Nothing was"
    return Telling(
        title=f"{count} written into {file}.",
        sections=(Section(blocks=(Table(rows=(*shown, *more)),)),),
        closing=(*(Text(text=t) for t in told), Text(text=after, tone="quiet")),
    )


def _shown(entry: Mapping[str, Any]) -> str:
    return ", ".join(f"{key} {value}" for key, value in entry.items() if key != "kind")


def tell_taken_back(file: str, command: str, count: int, left: Sequence[str] = ()) -> Telling:
    """Return what was taken back, and which files stay in the case though nothing names them."""
    entries = counted(count, "entry", "entries")
    stays = (
        f"{', '.join(left)} stays in the folder, and nothing names it now: `add` takes it again."
    )
    return Telling(
        title=f"`{command}` was taken back: {entries} out of {file}.",
        about=(stays,) if left else (),
    )


def tell_garage(cases: Sequence[tuple[str, str, Entry]], place: Path) -> Telling:
    """Return the cases of a garage: id, title and what was done last."""
    rows = tuple((c, title, str(last.number), last.at, last.what) for c, title, last in cases)
    body = Table(rows=rows) if rows else Text(text="No case yet: `squibwise import FOLDER`.")
    title = f"{counted(len(cases), 'case')} in {place}"
    return Telling(title=title, sections=(Section(blocks=(body,)),))


def tell_history(case_id: str, entries: Sequence[Entry]) -> Telling:
    """Return everything that happened to a case, with what was taken back again."""
    undone = list_undone(tuple(entries))
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


def tell_backup(file: Path, found: Sequence[Finding]) -> Telling:
    """Return that a garage was copied, and that the copy is damaged as the garage is."""
    then = (
        f"It is not as it was written, {counted(len(found), 'thing')}: keep the earlier backups; "
        "`squibwise garage check` tells what."
    )
    return tell_done(f"The garage is copied to {file}.", then if found else "")


def tell_done(text: str, then: str = "") -> Telling:
    """Return that something was done, and what may come next."""
    return Telling(title=text, closing=(Text(text=then),) if then else ())


def search_cars(cars: Sequence[Car], wanted: str) -> tuple[Car, ...]:
    """Return the cars whose id, title or last entry holds every word that is looked for."""
    words = wanted.casefold().split()
    return tuple(
        c for c in cars if all(w in f"{c.id} {c.title} {c.what}".casefold() for w in words)
    )
