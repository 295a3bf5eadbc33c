"""The manual page, made from the same text as ``--help``."""

import click

from squibwise import __version__


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
        lines += _command(name, command)
    return "\n".join([*lines, ".SH NOTES", _plain(epilog), ""])


def _command(name: str, command: click.Command) -> list[str]:
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
