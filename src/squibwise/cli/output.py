"""Write an answer or a refusal: JSON and nothing else on standard output, or text for a person.

Everything that leaves the program passes ``spell_out`` or ``escape_hidden``: nothing that somebody
wrote into a file can move the cursor, erase a line or turn the direction of writing.
"""

import io
import json
import os
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import partial
from threading import Timer
from typing import TYPE_CHECKING, Any

import click

from squibwise.cli.filtering import escape_hidden, spell_out

if TYPE_CHECKING:
    from squibwise.model.origin import Finding
    from squibwise.present.telling import Telling

PLAIN_WIDTH, NARROWEST = 80, 40
PATIENCE_S = 1.0
_EXIT = {"note": 0, "warning": 1, "error": 2}


def exit_code(findings: Iterable["Finding"], *, needs_person: bool = False) -> int:
    """Return 0, 1 when something needs a person, 2 when input is broken."""
    return max([int(needs_person), *(_EXIT[f.severity] for f in findings)])


def one_name(context: click.Context, option: click.Parameter, name: str | None) -> str | None:
    """Return a name as it was given: none at all, or one that names somebody, on one line.

    Raises:
        BadParameter: It is neither.
    """
    from squibwise.catalog.load import load_catalog
    from squibwise.history.signed import is_name

    if name is not None and not (is_name(name, load_catalog()) and name.isprintable()):
        raise click.BadParameter(
            "that is no name: write whose it is, on one line.", context, option
        )
    return name


def write_json(value: Mapping[str, Any]) -> None:
    """Write one JSON object on standard output."""
    import msgspec

    end_waiting()
    try:
        text = msgspec.json.format(msgspec.json.encode(value), indent=2).decode("utf-8")
    except UnicodeEncodeError:  # half of a character that a stranger's file holds
        text = json.dumps(msgspec.to_builtins(value), indent=2)
    sys.stdout.write(escape_hidden(text) + "\n")


def as_builtins(record: object) -> dict[str, Any]:
    """Return a record as plain JSON values."""
    import msgspec

    built: dict[str, Any] = msgspec.to_builtins(record)
    return built


def show(telling: "Telling") -> None:
    """Print a telling, as wide as the terminal; piped, 80 columns (or ``COLUMNS``) and plain."""
    from rich.console import Console

    from squibwise.cli.terminal import lay_out

    end_waiting()
    if is_quiet():
        return
    make = partial(Console, highlight=False, markup=False, emoji=False)
    if sys.stdout.isatty():
        console = make() if wants_colour() else make(color_system=None)
        for block in lay_out(telling, console.width):
            console.print(block)
        return
    text = io.StringIO()
    console = make(file=text, width=piped_width(), color_system=None)
    for block in lay_out(telling, piped_width()):
        console.print(block)
    sys.stdout.write("".join(f"{line.rstrip()}\n" for line in text.getvalue().splitlines()))


def piped_width() -> int:
    """Return the width of piped text: ``COLUMNS`` when it is set, else 80."""
    stated = os.environ.get("COLUMNS", "")
    return max(NARROWEST, int(stated)) if stated.isdecimal() else PLAIN_WIDTH


def _asked(option: str) -> Any:  # noqa: ANN401 - whatever the option holds
    context = click.get_current_context(silent=True)
    return None if context is None else context.meta.get(option)


def can_ask() -> bool:
    """Return whether a person sits at a terminal and can be asked."""
    streams = (sys.stdin, sys.stdout, sys.stderr)
    return not is_quiet() and all(s is not None and s.isatty() for s in streams)


def is_quiet() -> bool:
    """Return whether the exit code alone is to answer."""
    return bool(_asked("quiet"))


def wants_colour() -> bool:
    """Return whether colour and weight may be used: neither ``NO_COLOR`` nor the option forbids.

    Source: no-color.org, the convention of 2017: NO_COLOR with any value but an empty one.
    """
    return _asked("colour") != "never" and not os.environ.get("NO_COLOR")


def answer(
    value: Mapping[str, Any] | object, telling: Callable[[], "Telling"], *, as_json: bool, code: int
) -> int:
    """Write an answer in the form that was asked for, and return the exit code."""
    if as_json:
        write_json(value if isinstance(value, Mapping) else as_builtins(value))
    else:
        show(telling())
    return code


MOST_TOLD = 100


def refuse(message: str, remedy: str, findings: Sequence["Finding"], *, as_json: bool) -> None:
    """Say once and clearly why nothing was done, and what to do about it."""
    end_waiting()
    if as_json:
        plain = [as_builtins(f) for f in findings]
        write_json({"error": message, "remedy": remedy, "findings": plain})
        return
    told = findings[0].text() if len(findings) == 1 else message
    lines = [f"squibwise: {told}".replace("\n", "\n  ")]
    if len(findings) > 1:
        lines += [f"  {finding.text()}" for finding in findings[:MOST_TOLD]]
        left = len(findings) - MOST_TOLD
        lines += [f"  And {left} more; --json has them all."] if left > 0 else []
    if remedy and len(findings) != 1:
        lines.append(f"  {remedy}".replace("\n", "\n    "))
    whole = "\n".join(lines).split("\n")
    say("\n".join(_fitted(spell_out(line)) for line in whole))


def say(text: str) -> None:
    """Write a line beside the answer, on standard error."""
    click.echo(spell_out(text), err=True)


def _fitted(line: str) -> str:
    """Wrap a line at a terminal; whole lines are easier to search when it is piped."""
    if not sys.stderr.isatty():
        return line
    indent = " " * (len(line) - len(line.lstrip()) + 4)
    width = shutil.get_terminal_size().columns
    return textwrap.fill(line, width, subsequent_indent=indent, break_on_hyphens=False)


_waiting: list[Timer] = []


def begin_waiting(words: str) -> None:
    """Say at a terminal what is being done, once it takes longer than a second."""
    if is_quiet() or not sys.stderr.isatty():
        return

    def tell() -> None:
        sys.stderr.write(f"{spell_out(words)} ...\r")
        sys.stderr.flush()

    timer = Timer(float(os.environ.get("SQUIBWISE_PATIENCE", PATIENCE_S)), tell)
    timer.daemon = True
    _waiting.append(timer)
    timer.start()


def end_waiting() -> None:
    """Take the word about what is being done away again."""
    while _waiting:
        timer = _waiting.pop()
        timer.cancel()
        timer.join()
        if sys.stderr.isatty():
            sys.stderr.write("\r" + " " * (shutil.get_terminal_size().columns - 1) + "\r")
            sys.stderr.flush()
