"""Ask a person at a terminal what is known of a new case."""

import click

from squibwise.catalog.load import Catalog
from squibwise.entering.new_case import Stated

_QUESTIONS = {
    "title": "One line about the case",
    "vin": "VIN",
    "year": "Model year",
    "region": "Where it will be registered, such as US-OH or GB",
    "drive": "Driver sits on the (left, right)",
    "equipment": "Equipment ({templates})",
    "currency": "Currency of your prices, such as USD",
}


def ask(catalog: Catalog) -> Stated:
    """Ask a person at a terminal; an empty answer means not known."""
    click.echo("An empty answer means not known; everything can be changed in case.toml.")
    given = {}
    for field, question in _QUESTIONS.items():
        told = question.format(templates=", ".join(catalog.templates))
        given[field] = str(click.prompt(told, default="", show_default=False)).strip()
    return Stated(**given)
