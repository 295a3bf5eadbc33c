"""The command line as a whole, and its outer edge. What is slow is imported where it is used."""

import atexit
import contextlib
import errno
import gc
import importlib
import io
import os
import sys
import traceback
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn, TextIO

import click

from squibwise import __version__
from squibwise.cli import output
from squibwise.cli.bench_commands import BENCH_COMMANDS
from squibwise.cli.commands import COMMANDS, colour_option, quiet_option
from squibwise.cli.entry_commands import ENTRY_COMMANDS
from squibwise.cli.garage_commands import GARAGE_COMMANDS, serve
from squibwise.cli.market_commands import MARKET_COMMANDS
from squibwise.cli.paper_commands import PAPER_COMMANDS
from squibwise.errors import SquibwiseError

if TYPE_CHECKING:
    from squibwise.model.origin import Finding

_INTERRUPTED = 130
_GARBAGE_FROM = 200_000  # records made before the first look
_UNWRITTEN = (errno.EPIPE, errno.ENOSPC, errno.EDQUOT, errno.EIO)

EPILOG = (
    "CASE is a folder with a case.toml, such a file, a bare scan report, or the id of a case in "
    "the garage. Exit codes: 0 done; 1 done, and something needs a person; 2 the input cannot be "
    "used; 3 a fault in the program. "
    "The maker's procedure for the car, local codes and licensed practice come first."
)


def _is_case(word: str) -> bool:
    """Return whether a word is a case; the garage is opened only for one that is no command."""
    from squibwise.cli import stored

    return not word.startswith("-") and stored.is_case(Path(word))


class JobOrder(click.Group):
    """A group that lists commands in the order of the job. A class because click asks for one."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names in the order they were added."""
        del ctx
        return list(self.commands)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        """Take a case without a command, a folder or an id of the garage, for ``brief``."""
        if args and args[0] not in self.commands and _is_case(args[0]):
            return "brief", self.commands["brief"], args
        return super().resolve_command(ctx, args)


def _print_man_page(context: click.Context, parameter: click.Parameter, value: bool) -> None:
    """Print the manual page, made from the same text as the help."""
    del parameter
    if not value or context.resilient_parsing:
        return

    if isinstance(context.command, click.Group):
        click.echo(write_man_page(context.command, EPILOG))
    context.exit()


@click.group(
    cls=JobOrder,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    invoke_without_command=True,
    epilog=EPILOG,
)
@click.version_option(__version__, message="squibwise %(version)s")
@click.option(
    "--man",
    is_flag=True,
    is_eager=True,
    expose_value=False,
    callback=_print_man_page,
    help="Print the manual page and stop: `squibwise --man > squibwise.1`.",
)
@quiet_option
@colour_option
@click.pass_context
def cli(context: click.Context) -> None:
    """What fired, what to replace, in what order, for how much, and the proof of it.

    For rebuilders of collision-damaged cars whose airbags or belt pretensioners fired. It reasons
    on what you read, saw and measured; it never talks to the car.
    """
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


for _command in (
    *COMMANDS,
    *ENTRY_COMMANDS,
    *BENCH_COMMANDS,
    *GARAGE_COMMANDS,
    *MARKET_COMMANDS,
    *PAPER_COMMANDS,
    serve,
):
    cli.add_command(_command)


def main(arguments: Sequence[str]) -> int:
    """Return the exit code of one command line; everything that can go wrong is told here."""
    as_json = "--json" in arguments
    try:
        code = cli.main(list(arguments), prog_name="squibwise", standalone_mode=False)
        sys.stdout.flush()
        return code if isinstance(code, int) else 0
    except (KeyboardInterrupt, click.Abort):
        return _stopped()
    except Exception as error:  # noqa: BLE001 - the outermost edge: one message, whatever it was
        return _refused(error, arguments, as_json=as_json)


def _refused(error: Exception, arguments: Sequence[str], *, as_json: bool) -> int:
    """Tell why a command line failed and return its exit code."""
    if isinstance(error, click.ClickException):
        return _tell(error.format_message(), _usage(error), as_json=as_json)
    if isinstance(error, SquibwiseError):
        from squibwise.cli.stored import without_own_folder as named

        findings = getattr(error, "findings", ())
        _tell(named(str(error)), named(error.remedy), findings, as_json=as_json)
        return error.exit_code
    if isinstance(error, OSError) and error.filename is None and error.errno in _UNWRITTEN:
        return _unwritten(error)
    short = _lacking(error)
    if short:
        return _tell(f"{short}.", _MAKE_ROOM, as_json=as_json)
    odd = [a for a in arguments if not _is_text(a)]
    if odd and isinstance(error, ValueError):
        message = f"{ascii(odd[0])[:80]} is no UTF-8 text; nothing was written."
        return _tell(message, "Write it in letters that can be read.", as_json=as_json)
    return _unforeseen(error, as_json=as_json)


def _tell(
    message: str, remedy: str, findings: Sequence["Finding"] = (), *, as_json: bool = False
) -> int:
    """Tell why nothing was done and return the exit code for it.

    Where nobody can be told, on a full disk, the exit code alone does.
    """
    try:
        output.refuse(message, remedy, findings, as_json=as_json)
        sys.stdout.flush()
        sys.stderr.flush()
    except OSError:
        _silence(sys.stdout, sys.stderr)
    return 2


def _silence(*streams: TextIO) -> None:
    """Lead streams that cannot be written to nowhere, so that what is left in them is no fault."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for stream in streams:
        os.dup2(nowhere, stream.fileno())
    os.close(nowhere)


def _lacking(error: Exception) -> str:
    """Return what the machine had too little of; empty when that is not what went wrong."""
    if isinstance(error, MemoryError) or (
        isinstance(error, ImportError | SystemError) and _least_memory() is not None
    ):
        return "there is not enough memory for this"
    if isinstance(error, OSError) and error.errno in _LACKING:
        return f"{error.filename or 'the system'}: {error.strerror}"[:300]
    no_place = isinstance(error, FileNotFoundError) and error.filename is None
    return "no folder for temporary files can be written to" if no_place else ""


_LACKING = frozenset(
    getattr(errno, name)
    for name in (
        "ENOSPC",
        "EDQUOT",
        "EFBIG",
        "EMFILE",
        "ENFILE",
        "EROFS",
        "EAGAIN",
        "ENOMEM",
        "EIO",
    )
    if hasattr(errno, name)
)
_MAKE_ROOM = "Make room, close other programs, or choose another folder; then try again."


def _is_text(argument: str) -> bool:
    """Return whether an argument came as UTF-8; what did not holds stand-ins for its bytes."""
    return not any("\ud800" <= letter <= "\udfff" for letter in argument)


def _stopped() -> int:
    output.end_waiting()
    output.say("Stopped.")
    return _INTERRUPTED


def run() -> None:
    """Run the command line of this process.

    The arrays are small: more than one thread of the linear algebra library only costs time. So
    does looking for garbage among what is read once and kept.
    """
    _open_streams()
    gc.set_threshold(_GARBAGE_FROM)
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="backslashreplace")  # a terminal that cannot show a letter
    memory = _least_memory()
    if memory is not None and memory < _LEAST_MEMORY:
        sys.exit(_tell("there is not enough memory for this program.", _MAKE_ROOM))
    _end(main(sys.argv[1:]))


def _end(code: int) -> NoReturn:
    """End the process at once, after what was put off to its end.

    Everything is written by then; to take apart what the system takes back anyway is idle.
    """
    atexit._run_exitfuncs()
    with contextlib.suppress(OSError):
        sys.stdout.flush()
        sys.stderr.flush()
    os._exit(code)


_LEAST_MEMORY = 150 * 2**20
"""Address space below which a library of numbers ends the process by itself, with exit code 1."""


def _least_memory() -> int | None:
    """Return how much address space this process may have at most [bytes]; None = no limit."""
    with contextlib.suppress(ImportError):  # a system without such limits
        resource = importlib.import_module("resource")
        limit: int = resource.getrlimit(resource.RLIMIT_AS)[0]
        return None if limit == resource.RLIM_INFINITY else limit
    return None


def _open_streams() -> None:
    """Lead standard streams that were handed over closed nowhere.

    Else the next file that is opened has their number, and what is printed ends up in it.
    """
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        if getattr(sys, name) is not None:
            continue
        nowhere = os.open(os.devnull, os.O_RDWR)
        if nowhere != number:
            os.dup2(nowhere, number)
            os.close(nowhere)
        mode = "w" if number else "r"
        setattr(sys, name, os.fdopen(number, mode, encoding="utf-8", closefd=False))


def _usage(error: click.ClickException) -> str:
    context = getattr(error, "ctx", None)
    return f"See `{context.command_path} --help`." if context else "See `squibwise --help`."


def _unwritten(error: OSError) -> int:
    """Tell that the answer could not be written; a reader that has seen enough is no fault."""
    output.end_waiting()
    _silence(sys.stdout)
    if error.errno == errno.EPIPE:
        return 0
    try:
        output.say(f"squibwise: the answer could not be written: {error.strerror}.")
        sys.stderr.flush()
    except OSError:
        _silence(sys.stderr)
    return 2


def _unforeseen(error: Exception, *, as_json: bool) -> int:
    if os.environ.get("SQUIBWISE_DEBUG"):
        traceback.print_exc()
    message = f"Squibwise met something that it did not foresee: {type(error).__name__}: {error}"
    remedy = (
        "This is a fault in the program, not in your work. Please report it with the "
        "command and the file; SQUIBWISE_DEBUG=1 shows where it happened."
    )
    _tell(message, remedy, as_json=as_json)
    return 3


if __name__ == "__main__":
    run()


def write_man_page(group: click.Group, epilog: str) -> str:
    """Return the manual page of a group of commands, in the roff of ``man`` (section 1).

    Args:
        group: The command line.
        epilog: What stands below the commands.
    """
    lines = [
        f'.TH SQUIBWISE 1 "" "Squibwise {__version__}" "User Commands"',
        ".SH NAME",
        f"squibwise \\- {_plain((group.help or '').splitlines()[0])}",
        ".SH SYNOPSIS",
        ".B squibwise",
        "[\\fIOPTIONS\\fR] \\fICOMMAND\\fR [\\fIARGUMENTS\\fR]",
        ".SH COMMANDS",
    ]
    for name, command in group.commands.items():
        lines += _describe(name, command)
    return "\n".join([*lines, ".SH NOTES", _plain(epilog), ""])


def _describe(name: str, command: click.Command) -> list[str]:
    """Return the part of one command: usage, help, options, examples."""
    context = click.Context(command, info_name=f"squibwise {name}")
    usage = " ".join(command.collect_usage_pieces(context))
    lines = [f".SS {name} {_plain(usage)}", _plain(command.help or "")]
    for parameter in command.params:
        record = parameter.get_help_record(context)
        if record is not None:
            lines += [".TP", f"\\fB{_plain(record[0])}\\fR", _plain(record[1])]
    for line in (command.epilog or "").replace("\b", "").splitlines():
        if line.strip().startswith("squibwise"):
            lines += [".RS", f".B {_plain(line.strip())}", ".RE"]
    return lines


def _plain(text: str) -> str:
    """Return a text that roff takes as it is: no line begins with a dot or a quote."""
    words = " ".join(text.replace("\b", "").split()).replace("\\", "\\e").replace("-", "\\-")
    return f"\\&{words}" if words.startswith((".", "'")) else words
