"""``python -m squibwise``: the same as the command."""

from squibwise.cli.main import run

run()
