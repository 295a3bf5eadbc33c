"""What became of something that was written: a new case, an entry, a walk through cases."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

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


def tell_written(case_path: Path, file: Path, entries: Sequence[Mapping[str, Any]]) -> Telling:
    """Return what was written into a case file, and how to look at it or take it back.

    Args:
        case_path: The case, as the person named it.
        file: Its case file.
        entries: What was written.
    """
    shown = tuple((str(e.get("kind", "")), _shown(e)) for e in entries[:SHOWN_ENTRIES])
    hidden = len(entries) - len(shown)
    more = (("", f"and {hidden} more"),) if hidden else ()
    after = f"squibwise brief {case_path} looks at it; squibwise undo {case_path} takes it back."
    return Telling(
        title=f"{counted(len(entries), 'entry', 'entries')} written into {file}.",
        sections=(Section(blocks=(Table(rows=(*shown, *more)),)),),
        closing=(Text(text=after, tone="quiet"),),
    )


def _shown(entry: Mapping[str, Any]) -> str:
    return ", ".join(f"{key} {value}" for key, value in entry.items() if key != "kind")


def tell_taken_back(file: Path, command: str, count: int) -> Telling:
    """Return what was taken back."""
    entries = counted(count, "entry", "entries")
    return Telling(title=f"`{command}` was taken back: {entries} out of {file}.")
