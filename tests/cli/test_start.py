"""Help loads nothing that it does not need; ``bench/commands.py`` measures how fast it is."""

import os
import shlex
import subprocess
import sys
from collections.abc import Callable
from itertools import takewhile
from typing import Any

import click
import pytest

from squibwise import __version__
from squibwise.cli.garage_commands import garage
from squibwise.cli.main import cli

HEAVY = ("numpy", "rich", "typst", "msgspec", "rapidfuzz", "squibwise.catalog", "squibwise.model")


def test_help_loads_none_of_the_slow_libraries() -> None:
    code = (
        "import sys; from squibwise.cli.main import main; main(['--help']);"
        f"print([m for m in {HEAVY} if m in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert done.stderr.strip() == "[]"


def test_the_module_runs_as_the_command_does() -> None:
    """Where the folder of commands is on no path, as after an installation on Windows."""
    started = [sys.executable, "-m", "squibwise", "--version"]
    done = subprocess.run(started, check=True, capture_output=True, text=True)
    assert done.stdout == f"squibwise {__version__}\n"


def test_help_lists_the_commands_in_the_order_of_the_job(run: Callable[..., Any]) -> None:
    text = run("--help").out
    assert run("--help").code == 0
    places = [text.index(f"\n  {name} ") for name in cli.commands]
    assert places == sorted(places)
    assert max(len(line) for line in text.splitlines()) <= 80


def test_no_command_at_all_shows_the_help(run: Callable[..., Any]) -> None:
    assert run() == run("--help")


@pytest.mark.parametrize("command", list(cli.commands.values()), ids=lambda c: c.name)
def test_every_command_says_what_it_does(run: Callable[..., Any], command: Any) -> None:
    shown = run(command.name, "--help")
    assert shown.code == 0
    assert len(shown.out.split("\n\n")[1].strip()) > 20


@pytest.mark.parametrize("command", list(cli.commands.values()), ids=lambda c: c.name)
def test_every_help_has_two_examples_that_parse(run: Callable[..., Any], command: Any) -> None:
    shown = run(command.name, "--help").out.partition("Examples:\n")[2]
    lines = [
        shlex.split(line)[1:]
        for line in shown.splitlines()
        if line.strip().startswith("squibwise ")
    ]
    assert len(lines) >= 2
    for name, *words in lines:
        assert name == command.name
        arguments = list(takewhile(lambda word: word not in "<>", words))
        command.make_context(name, arguments, resilient_parsing=False)


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_a_shell_can_complete_commands_and_options(shell: str) -> None:
    code = "from squibwise.cli.main import run; run()"

    def asked(**environment: str) -> str:
        return subprocess.run(
            [sys.executable, "-c", code], check=False, capture_output=True, text=True,
            env={**os.environ, **environment},
        ).stdout  # fmt: skip

    assert "_SQUIBWISE_COMPLETE" in asked(_SQUIBWISE_COMPLETE=f"{shell}_source")
    words = {"COMP_WORDS": "squibwise as", "COMP_CWORD": "1" if shell != "fish" else "as"}
    assert "assess" in asked(_SQUIBWISE_COMPLETE=f"{shell}_complete", **words)
    words = {"COMP_WORDS": "squibwise assess --w", "COMP_CWORD": "2" if shell != "fish" else "--w"}
    assert "--why" in asked(_SQUIBWISE_COMPLETE=f"{shell}_complete", **words)


def test_the_version_is_the_package_version(run: Callable[..., Any]) -> None:
    assert run("--version").out.startswith("squibwise 0.")


def test_every_command_that_answers_takes_json() -> None:
    """A server answers in the browser, not here."""
    commands = [c for name, c in cli.commands.items() if name != "serve"]
    single = [c for c in commands if not isinstance(c, click.Group)]
    for command in (*single, *garage.commands.values()):
        flags = {option for p in command.params for option in p.opts}
        assert "--json" in flags


def test_the_manual_page_holds_every_command_and_option_of_the_help(
    run: Callable[..., Any],
) -> None:
    page = run("--man").out.replace("\\-", "-")
    assert page.startswith(".TH SQUIBWISE 1")
    for name, command in cli.commands.items():
        assert f".SS {name} " in page
        for parameter in command.params:
            assert all(option in page for option in parameter.opts if option.startswith("-"))
    assert not [line for line in page.splitlines() if line.startswith("'")]
