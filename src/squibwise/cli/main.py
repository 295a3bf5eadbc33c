"""The command line as a whole, and its outer edge. What is slow is imported where it is used."""

import os
import sys
import traceback
from collections.abc import Sequence

import click

from squibwise import __version__
from squibwise.cli import output
from squibwise.cli.commands import COMMANDS
from squibwise.errors import SquibwiseError

_INTERRUPTED = 130

EPILOG = (
    "CASE is a folder with a case.toml, such a file, or a bare scan report. Exit codes: 0 done; "
    "1 done, and something needs a person; 2 the input cannot be used; 3 a fault in the program. "
    "The maker's procedure for the car, local codes and licensed practice come first."
)


class JobOrder(click.Group):
    """A group that lists commands in the order of the job. A class because click asks for one."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names in the order they were added."""
        del ctx
        return list(self.commands)


@click.group(
    cls=JobOrder,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
    invoke_without_command=True,
    epilog=EPILOG,
)
@click.version_option(__version__, message="squibwise %(version)s")
@click.pass_context
def cli(context: click.Context) -> None:
    """What fired, what to replace, in what order, for how much, and the proof of it.

    For rebuilders of collision-damaged cars whose airbags or belt pretensioners fired. It reasons
    on what you read, saw and measured; it never talks to the car.
    """
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


for _command in COMMANDS:
    cli.add_command(_command)


def main(arguments: Sequence[str]) -> int:
    """Return the exit code of one command line; everything that can go wrong is told here."""
    as_json = "--json" in arguments
    try:
        code = cli.main(list(arguments), prog_name="squibwise", standalone_mode=False)
        sys.stdout.flush()
        return code if isinstance(code, int) else 0
    except click.ClickException as error:
        output.refuse(_sentence(error), _usage(error), (), as_json=as_json)
        return 2
    except SquibwiseError as error:
        findings = getattr(error, "findings", ())
        output.refuse(str(error), error.remedy, findings, as_json=as_json)
        return error.exit_code
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except (KeyboardInterrupt, click.Abort):
        click.echo("Stopped.", err=True)
        return _INTERRUPTED
    except Exception as error:  # noqa: BLE001 - the outermost edge: one message, whatever it was
        return _unforeseen(error, as_json=as_json)


def run() -> None:
    """Run the command line of this process.

    The arrays are small: more than one thread of the linear algebra library only costs time.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    sys.exit(main(sys.argv[1:]))


def _sentence(error: click.ClickException) -> str:
    return error.format_message()


def _usage(error: click.ClickException) -> str:
    context = getattr(error, "ctx", None)
    return f"See `{context.command_path} --help`." if context else "See `squibwise --help`."


def _unforeseen(error: Exception, *, as_json: bool) -> int:
    if os.environ.get("SQUIBWISE_DEBUG"):
        traceback.print_exc()
    message = f"Squibwise met something that it did not foresee: {type(error).__name__}: {error}"
    remedy = (
        "This is a fault in the program, not in your work. Please report it with the "
        "command and the file; SQUIBWISE_DEBUG=1 shows where it happened."
    )
    output.refuse(message, remedy, (), as_json=as_json)
    return 3


if __name__ == "__main__":
    run()
