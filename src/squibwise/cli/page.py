"""Small pieces of text that every answer is set from; readable at 80 columns, without colour."""

from collections.abc import Iterable, Sequence

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from squibwise.catalog.load import Catalog
from squibwise.model.belief import Because
from squibwise.model.case import Case
from squibwise.model.origin import Finding
from squibwise.model.report import Report

INDENT = 2
STANDING = (
    "The maker's procedure for this car, local codes and licensed practice come first. Every "
    "charge counts as live until it is confirmed spent; never put a meter or a lamp on an igniter."
)
_PLAIN = ("judgement", "common-practice")  # sources that are no more than their basis
_MARK = {"error": "ERROR", "warning": "CHECK", "note": "note"}
_STYLE = {"error": "bold red", "warning": "yellow", "note": ""}


def heading(text: str, note: str = "") -> RenderableType:
    """Return a heading with an empty line above it."""
    line = Text(f"\n{text}", style="bold")
    return line.append(f"  {note}", style="dim not bold") if note else line


def para(text: str, *, indent: int = INDENT, style: str = "") -> RenderableType:
    """Return a wrapped paragraph."""
    return Padding(Text(text, style=style), (0, 0, 0, indent))


def bullets(texts: Iterable[str], *, mark: str = "-", style: str = "") -> RenderableType:
    """Return a list with hanging indents."""
    return rows(((mark, text) for text in texts), style=style)


def rows(
    table: Iterable[Sequence[str]], *, style: str = "", right: Sequence[int] = (), last: str = ""
) -> RenderableType:
    """Return columns; the last one wraps, the others keep their width.

    Args:
        table: Rows of equal length.
        style: Of the first column.
        right: Numbers of the columns that are set to the right.
        last: Style of the last column.
    """
    cells = [tuple(row) for row in table]
    grid = Table.grid(padding=(0, 2, 0, 0))
    count = len(cells[0]) if cells else 0
    for number in range(count):
        grid.add_column(
            style=style if number == 0 else last if number == count - 1 else "",
            no_wrap=number < count - 1,
            justify="right" if number in right else "left",
            overflow="fold",
        )
    for row in cells:
        grid.add_row(*(Text(cell) for cell in row))
    return Padding(grid, (0, 0, 0, INDENT))


def percent(p: float) -> str:
    """Return a probability as people read it; never a bare 0 or 100."""
    if p > 0.995:
        return "over 99%"
    return "under 1%" if p < 0.005 else f"{100 * p:.0f}%"


def minutes(amount: float) -> str:
    """Return a time as ``50 min`` or ``3 h 20 min``."""
    whole = round(amount)
    if whole < 90:
        return f"{whole} min"
    hours, rest = divmod(whole, 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def title(case: Case) -> list[RenderableType]:
    """Return the head of every answer about a case."""
    car = case.car
    known = [str(car.model_year)] if car.model_year else []
    known += [car.vin] if car.vin else []
    known += [f"driver on the {car.drive_hand}", f"equipment '{car.equipment}'"]
    if car.assumed:
        known[-1] += " (assumed, nobody stated it)"
    head = Text(case.id, style="bold").append(f"  {case.title}", style="not bold")
    return [head, para(", ".join(known), style="dim")]


def findings(found: Iterable[Finding], head: str = "About the input") -> list[RenderableType]:
    """Return what is wrong or remarkable with the input; nothing when there is nothing."""
    listed = list(dict.fromkeys((f.severity, _told(f)) for f in found))
    if not listed:
        return []
    order = {"error": 0, "warning": 1, "note": 2}
    listed.sort(key=lambda item: order[item[0]])
    blocks: list[RenderableType] = [heading(head)]
    blocks += [rows([(_MARK[s], text)], style=_STYLE[s]) for s, text in listed]
    return blocks


def _told(finding: Finding) -> str:
    if finding.origin.file or finding.origin.line:
        return finding.text()
    return f"{finding.message} {finding.remedy}".strip()


def reason(because: Because, case: Case, catalog: Catalog) -> str:
    """Return one reason with its weight, the evidence and the sources it rests on."""
    tail = [weight_of(because)] if because.alone_db is not None else []
    tail += [f"from {where(e, case)}" for e in because.evidence]
    tail += [f"source: {source_title(s, catalog)}" for s in because.sources if s not in _PLAIN]
    tail += [because.weak.replace("-", " ")] if because.weak else []
    return f"{because.text} ({'; '.join(tail)})" if tail else because.text


def grounds(source: str, basis: str, catalog: Catalog) -> str:
    """Return basis and source in a few words; a source that only repeats the basis is left out."""
    title = source_title(source, catalog) if source and source not in _PLAIN else ""
    return "; ".join(part for part in (basis.replace("-", " "), title) if part)


def weight_of(because: Because) -> str:
    """Return the weight of a piece of evidence in decibans."""
    last = "" if because.last_db is None else f", {because.last_db:+.1f} with all else known"
    return f"{because.alone_db:+.1f} decibans alone{last}"


def source_title(source: str, catalog: Catalog) -> str:
    """Return a source's title, or its id when the catalogue does not have it."""
    known = catalog.sources.get(source)
    return known.title if known else source


def where(evidence_id: str, case: Case) -> str:
    """Return an evidence id with the file and line it stands in."""
    for one in case.evidence:
        if one.id == evidence_id:
            return f"{evidence_id} ({one.origin.where()})"
        if isinstance(one, Report) and evidence_id.startswith(f"{one.id}:"):
            return f"{evidence_id} ({one.origin.where()})"
    return evidence_id


def standing() -> list[RenderableType]:
    """Return the notice that stands below everything that leads to work."""
    return [Text(""), Text(STANDING, style="italic")]
