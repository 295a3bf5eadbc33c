"""Help loads nothing that it does not need; ``bench/commands.py`` measures how fast it is."""

import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest

from squibwise.cli.commands import COMMANDS
from squibwise.cli.main import cli

HEAVY = ("numpy", "rich", "typst", "msgspec", "rapidfuzz", "squibwise.catalog", "squibwise.model")


def test_help_loads_none_of_the_slow_libraries() -> None:
    code = (
        "import sys; from squibwise.cli.main import main; main(['--help']);"
        f"print([m for m in {HEAVY} if m in sys.modules], file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    assert done.stderr.strip() == "[]"


def test_help_lists_the_commands_in_the_order_of_the_job(run: Callable[..., Any]) -> None:
    text = run("--help").out
    assert run("--help").code == 0
    places = [text.index(f"\n  {command.name} ") for command in COMMANDS]
    assert places == sorted(places)
    assert max(len(line) for line in text.splitlines()) <= 80


def test_no_command_at_all_shows_the_help(run: Callable[..., Any]) -> None:
    assert run() == run("--help")


@pytest.mark.parametrize("command", COMMANDS, ids=lambda c: c.name)
def test_every_command_says_what_it_does(run: Callable[..., Any], command: Any) -> None:
    shown = run(command.name, "--help")
    assert shown.code == 0
    assert len(shown.out.split("\n\n")[1].strip()) > 20


def test_the_version_is_the_package_version(run: Callable[..., Any]) -> None:
    assert run("--version").out.startswith("squibwise 0.")


def test_every_command_that_answers_takes_json() -> None:
    for command in cli.commands.values():
        flags = {option for p in command.params for option in p.opts}
        assert "--json" in flags
