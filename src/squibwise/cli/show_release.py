"""Show what became of a record: the open gates first."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from rich.console import RenderableType
from rich.text import Text

from squibwise.cli import page
from squibwise.cli.files import json_beside
from squibwise.cli.output import as_builtins
from squibwise.model.origin import Finding
from squibwise.model.proof import Gate, ProofRecord, Verification

_SHOWN = 3  # of what an open gate misses


def as_json(record: ProofRecord, out: Path) -> dict[str, Any]:
    """Return the answer of ``release`` in plain values."""
    return {
        "open_gates": [as_builtins(g) for g in record.gates if g.open],
        "draft": record.draft,
        "file": str(out),
        "json_file": str(json_beside(out)),
        "digest": record.digest,
    }


def blocks(record: ProofRecord, out: Path, found: Iterable[Finding] = ()) -> list[RenderableType]:
    """Return the open gates with the first of what each misses, and where the record went."""
    open_gates = [g for g in record.gates if g.open]
    shown: list[RenderableType] = []
    if record.draft:
        head = f"DRAFT: {len(open_gates)} of {len(record.gates)} gates are open, nothing is signed"
        shown.append(Text(f"{record.case_id}  {head}", style="bold red"))
        shown += [block for gate in open_gates for block in _told(gate)]
    else:
        text = f"{record.case_id}  no open gate ({len(record.gates)} closed)"
        shown.append(Text(text, style="bold"))
    files = [("record", str(out)), ("as data", str(json_beside(out))), ("SHA-256", record.digest)]
    shown += page.findings(found)
    return [*shown, page.heading("Written"), page.rows(files), *page.standing()]


def _told(gate: Gate) -> list[RenderableType]:
    shown: list[RenderableType] = [page.heading(gate.id), page.para(f"Asked for: {gate.text}")]
    rest = len(gate.missing) - _SHOWN
    more = [f"and {rest} more"] if rest > 0 else []
    if gate.missing:
        shown.append(page.bullets([*gate.missing[:_SHOWN], *more]))
    return [*shown, page.para(gate.remedy, style="dim")] if gate.remedy else shown


def verification(result: Verification, file: Path) -> list[RenderableType]:
    """Return whether a record is whole and unchanged, and what that does not say."""
    word = "Whole and unchanged:" if result.valid else "CANNOT BE RELIED ON:"
    style = "bold" if result.valid else "bold red"
    shown: list[RenderableType] = [Text(f"{word} {file}", style=style)]
    shown += page.findings(result.problems, "About the record")
    limits = "This says nothing of whether the work was good, only that the text is as issued."
    return [*shown, page.para(f"\n{limits}", indent=0)]
