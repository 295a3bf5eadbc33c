"""Every command and every option stands in docs/commands.md."""

from pathlib import Path

import click
import pytest

from squibwise.cli.garage_commands import garage
from squibwise.cli.main import cli

PAGE = (Path(__file__).parents[2] / "docs" / "commands.md").read_text(encoding="utf-8")


ALL = (*cli.commands.values(), *garage.commands.values())


@pytest.mark.parametrize("command", ALL, ids=lambda c: c.name)
def test_every_command_is_documented_with_its_options(command: click.Command) -> None:
    assert f"{command.name}" in PAGE
    options = {o for p in command.params if isinstance(p, click.Option) for o in p.opts}
    assert [o for o in options if o not in PAGE] == []
