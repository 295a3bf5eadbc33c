"""Papers for the bench and for an inspection."""

import datetime as dt
from pathlib import Path

import click

from squibwise.cli import output
from squibwise.cli.commands import answers, case_argument, examples, own_option


@click.command(
    short_help="Print tags, bench cards or the pack for an inspection.",
    epilog=examples(
        "paper harrow-07 tags -o tags.pdf",
        "paper burdock-09 cards -o cards.pdf",
        "paper harrow-07 pack -o pack.pdf",
    ),
)
@case_argument
@click.argument("what", type=click.Choice(["tags", "cards", "pack"]))
@click.option(
    "-o", "out", metavar="OUT.pdf", required=True, type=click.Path(path_type=Path),
    help="Where it goes.",
)  # fmt: skip
@click.option("--force", is_flag=True, help="Replace what is there; never evidence.")
@own_option
@answers
def paper(
    case_path: Path, what: str, out: Path, force: bool, own: Path | None, as_json: bool
) -> int:
    """Print tags, bench cards, or the pack for an inspection.

    Tags with square codes for what is taken out; the card of the next test of each circuit that is
    to be traced; or papers by region, which receipt belongs to which part, the owner's declaration.
    """
    from squibwise.cli import files, opening
    from squibwise.present.tell_checks import tell_paper

    at = opening.open_case(case_path, own)
    kept = files.kept_files(case_path, at.case)
    made = files.make_paper(what, at.case, at.catalog, at.own)
    files.write_paper(made, out, dt.date.today(), kept, force=force)
    value = {"file": str(out), "what": what}
    return output.answer(value, lambda: tell_paper(what, out), as_json=as_json, code=0)


PAPER_COMMANDS = (paper,)
