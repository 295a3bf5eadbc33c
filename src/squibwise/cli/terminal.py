"""Lay a telling out for a terminal: readable at 80 columns, and without colour."""

from collections.abc import Iterable, Iterator, Sequence

from rich.console import RenderableType
from rich.padding import Padding
from rich.table import Table as Grid
from rich.text import Text as Styled
from rich.tree import Tree as Drawn

from squibwise.cli.filtering import spell_out
from squibwise.present.telling import (
    Block,
    Branch,
    Bullets,
    Entry,
    Section,
    Steps,
    Table,
    Telling,
    Text,
    Tone,
    Tree,
)

INDENT = 2
_STYLES: dict[Tone, str] = {
    "plain": "",
    "quiet": "dim",
    "strong": "bold",
    "check": "yellow",
    "alarm": "bold red",
}


def lay_out(telling: Telling) -> Iterator[RenderableType]:
    """Yield what stands below one another."""
    if telling.title or telling.subtitle:
        yield _heading(telling.title, telling.subtitle, telling.tone, quiet=False)
    for line in telling.about:
        yield Padding(_styled(line, "quiet"), (0, 0, 0, INDENT))
    for section in telling.sections:
        yield from _section(section)
    for notice in telling.closing:
        yield _styled(f"\n{notice.text}", notice.tone)


def _section(section: Section) -> Iterator[RenderableType]:
    if section.heading:
        yield _heading(f"\n{section.heading}", section.note, section.tone, quiet=True)
    elif any(isinstance(b, Text) for b in section.blocks):
        yield Styled("")
    for block in section.blocks:
        yield from _block(block)


def _heading(text: str, note: str, tone: Tone, *, quiet: bool) -> RenderableType:
    line = _styled(text, tone)
    if note:
        line.append("  ")
        line.append(spell_out(note), style="dim not bold" if quiet else "not bold")
    return line


def _block(block: Block) -> Iterator[RenderableType]:
    match block:
        case Text():
            yield Padding(_styled(block.text, block.tone), (0, 0, 0, INDENT))
        case Bullets():
            yield _grid(((block.mark, item) for item in block.items), block.tone)
        case Table():
            head = (block.head,) if block.head else ()
            yield _grid((*head, *block.rows), block.tone, block.right)
        case Steps():
            yield _grid(_ticked(s.done, s.number, s.title, s.notes) for s in block.steps)
        case Entry():
            yield Padding(_styled("\n".join(block.lines), "plain"), (0, 0, 0, 2 * INDENT))
        case Tree():
            yield Padding(_tree(block.root), (0, 0, 0, INDENT))


def _ticked(done: bool, number: str, title: str, notes: Sequence[str]) -> tuple[str, str, str]:
    return "[x]" if done else "[ ]", f"{number:>3}", "; ".join((title, *notes))


def _grid(
    rows: Iterable[Sequence[str]], tone: Tone = "plain", right: Sequence[int] = ()
) -> RenderableType:
    """Return columns; the last one wraps, the others keep their width."""
    cells = [tuple(row) for row in rows]
    grid = Grid.grid(padding=(0, 2, 0, 0))
    count = len(cells[0]) if cells else 0
    for number in range(count):
        grid.add_column(
            style=_STYLES[tone] if number == 0 or (count == 2 and tone == "alarm") else "",
            no_wrap=number < count - 1,
            justify="right" if number in right else "left",
            overflow="fold",
        )
    for row in cells:
        grid.add_row(*(_styled(cell, "plain") for cell in row))
    return Padding(grid, (0, 0, 0, INDENT))


def _tree(branch: Branch) -> Drawn:
    label = Styled()
    if branch.word:
        label.append(f"{spell_out(branch.word)}: ", style="bold")
    label.append(spell_out(branch.text))
    label.append(f"{'  ' if branch.text else ''}{spell_out(branch.note)}", style="dim")
    drawn = Drawn(label)
    for one in branch.branches:
        drawn.children.append(_tree(one))
    return drawn


def _styled(text: str, tone: Tone) -> Styled:
    return Styled(spell_out(text), style=_STYLES[tone])
