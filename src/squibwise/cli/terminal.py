"""Lay a telling out for a terminal: readable at 80 columns, and without colour."""

from collections.abc import Iterable, Iterator, Sequence

from rich.cells import cell_len
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
    Step,
    Steps,
    Table,
    Telling,
    Text,
    Tone,
    Tree,
)

INDENT, _GAP = 2, 2
_LEAST_LAST, _LEAST_COLUMN = 24, 12  # columns narrower than this cannot be read
_STYLES: dict[Tone, str] = {
    "plain": "",
    "quiet": "dim",
    "strong": "bold",
    "check": "yellow",
    "alarm": "bold red",
}


def lay_out(telling: Telling, width: int) -> Iterator[RenderableType]:
    """Yield what stands below one another, at most so many columns wide."""
    if telling.title or telling.subtitle:
        yield _heading(telling.title, telling.subtitle, telling.tone, quiet=False)
    for line in telling.about:
        yield Padding(_styled(line, "quiet"), (0, 0, 0, INDENT))
    for section in telling.sections:
        yield from _section(section, width)
    for notice in telling.closing:
        yield _styled(f"\n{notice.text}", notice.tone)


def _section(section: Section, width: int) -> Iterator[RenderableType]:
    if section.heading:
        yield _heading(f"\n{section.heading}", section.note, section.tone, quiet=True)
    elif any(isinstance(b, Text) for b in section.blocks):
        yield Styled("")
    for block in section.blocks:
        yield from _block(block, width)


def _heading(text: str, note: str, tone: Tone, *, quiet: bool) -> RenderableType:
    line = _styled(text, tone)
    if note:
        line.append("  ")
        line.append(spell_out(note), style="dim not bold" if quiet else "not bold")
    return line


def _block(block: Block, width: int) -> Iterator[RenderableType]:
    match block:
        case Text():
            yield Padding(_styled(block.text, block.tone), (0, 0, 0, INDENT))
        case Bullets():
            yield _grid(((block.mark, item) for item in block.items), width, block.tone)
        case Table():
            head = (block.head,) if block.head else ()
            yield _grid((*head, *block.rows), width, block.tone, block.right)
        case Steps():
            numbered = any(s.number for s in block.steps)
            yield _grid((_ticked(s, numbered=numbered) for s in block.steps), width)
        case Entry():
            yield Padding(_styled("\n".join(block.lines), "plain"), (0, 0, 0, 2 * INDENT))
        case Tree():
            yield Padding(_tree(block.root), (0, 0, 0, INDENT))


def _ticked(step: Step, *, numbered: bool) -> tuple[str, ...]:
    number = (f"{step.number:>3}",) if numbered else ()
    return "[x]" if step.done else "[ ]", *number, "; ".join((step.title, *step.notes))


def _grid(
    rows: Iterable[Sequence[str]], width: int, tone: Tone = "plain", right: Sequence[int] = ()
) -> RenderableType:
    """Return columns; the last one wraps, and the widest other one where there is no room."""
    cells = [tuple(row) for row in rows]
    narrowed, most = _narrowed(cells, width)
    grid = Grid.grid(padding=(0, 2, 0, 0))
    count = len(cells[0]) if cells else 0
    for number in range(count):
        grid.add_column(
            style=_STYLES[tone] if number == 0 or (count == 2 and tone == "alarm") else "",
            no_wrap=number < count - 1 and number != narrowed,
            width=most if number == narrowed else None,
            justify="right" if number in right else "left",
            overflow="fold",
        )
    for row in cells:
        grid.add_row(*(_styled(cell, "plain") for cell in row))
    return Padding(grid, (0, 0, 0, INDENT))


def _narrowed(cells: Sequence[tuple[str, ...]], width: int) -> tuple[int, int]:
    """Return the column that must be narrowed, and to what; -1 when all have room."""
    widths = [max(map(cell_len, column)) for column in zip(*cells, strict=True)]
    if len(widths) < 2:
        return -1, 0
    *kept, last = widths
    room = width - INDENT - _GAP * len(kept) - min(last, _LEAST_LAST)
    over = sum(kept) - room
    widest = kept.index(max(kept))
    return (widest, max(kept[widest] - over, _LEAST_COLUMN)) if over > 0 else (-1, 0)


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
