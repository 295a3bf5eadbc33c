"""Write an answer or a refusal: JSON and nothing else on standard output, or text for a person."""

import io
import os
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from rich.console import RenderableType

    from squibwise.model.origin import Finding

PLAIN_WIDTH = 80
_EXIT = {"note": 0, "warning": 1, "error": 2}


def exit_code(findings: Iterable["Finding"], *, needs_person: bool = False) -> int:
    """Return 0, 1 when something needs a person, 2 when input is broken."""
    return max([int(needs_person), *(_EXIT[f.severity] for f in findings)])


def write_json(value: Mapping[str, Any]) -> None:
    """Write one JSON object on standard output."""
    import msgspec

    text = msgspec.json.format(msgspec.json.encode(value), indent=2)
    sys.stdout.write(text.decode("utf-8") + "\n")


def as_builtins(record: object) -> dict[str, Any]:
    """Return a record as plain JSON values."""
    import msgspec

    built: dict[str, Any] = msgspec.to_builtins(record)
    return built


def show(blocks: Iterable["RenderableType"]) -> None:
    """Print blocks of text one below the other.

    As wide as the terminal; piped, 80 columns (or ``COLUMNS``) without colour or trailing spaces.
    """
    from rich.console import Console

    terminal = Console(highlight=False, markup=False, emoji=False)
    if terminal.is_terminal:
        for block in blocks:
            terminal.print(block)
        return
    text = io.StringIO()
    plain = Console(file=text, width=piped_width(), highlight=False, markup=False, emoji=False)
    for block in blocks:
        plain.print(block)
    sys.stdout.write("".join(f"{line.rstrip()}\n" for line in text.getvalue().splitlines()))


def piped_width() -> int:
    """Return the width of piped text: ``COLUMNS`` when it is set, else 80."""
    stated = os.environ.get("COLUMNS", "")
    return max(40, int(stated)) if stated.isdecimal() else PLAIN_WIDTH


def answer(
    value: Mapping[str, Any] | object,
    blocks: Callable[[], Iterable["RenderableType"]],
    *,
    as_json: bool,
    code: int,
) -> int:
    """Write an answer in the form that was asked for, and return the exit code."""
    if as_json:
        write_json(value if isinstance(value, Mapping) else as_builtins(value))
    else:
        show(blocks())
    return code


def refuse(message: str, remedy: str, findings: Sequence["Finding"], *, as_json: bool) -> None:
    """Say once and clearly why nothing was done, and what to do about it."""
    if as_json:
        plain = [as_builtins(f) for f in findings]
        write_json({"error": message, "remedy": remedy, "findings": plain})
        return
    lines = [f"squibwise: {findings[0].text()}" if len(findings) == 1 else f"squibwise: {message}"]
    if len(findings) > 1:
        lines += [f"  {finding.text()}" for finding in findings]
    if remedy and len(findings) != 1:
        lines.append(f"  {remedy}")
    click.echo("\n".join(_fitted(line) for line in lines), err=True)


def _fitted(line: str) -> str:
    """Wrap a line at a terminal; whole lines are easier to search when it is piped."""
    if not sys.stderr.isatty():
        return line
    indent = " " * (len(line) - len(line.lstrip()) + 4)
    width = shutil.get_terminal_size().columns
    return textwrap.fill(line, width, subsequent_indent=indent, break_on_hyphens=False)
