"""Every command: parse, call one function, show."""

import datetime as dt
from pathlib import Path
from time import monotonic

import click

from squibwise.cli import output

json_option = click.option("--json", "as_json", is_flag=True, help="Write JSON and nothing else.")
case_argument = click.argument("case_path", metavar="CASE", type=click.Path(path_type=Path))


own_option = click.option(
    "--own", metavar="FOLDER", type=click.Path(path_type=Path),
    help="Folder with your own finished cases; what they say shifts the firing curves.",
)  # fmt: skip


@click.command(short_help="Read a scan report.")
@click.argument("file", type=click.Path(path_type=Path))
@json_option
def read(file: Path, as_json: bool) -> int:
    """Read a scan report: codes, components, faults, and what was not understood."""
    from squibwise import intake  # what `case.read` calls; the other stages load slowly
    from squibwise.catalog.load import load_catalog
    from squibwise.cli import show_read

    report = intake.read_report_file(file, load_catalog())
    code = output.exit_code(report.findings)
    return output.answer(report, lambda: show_read.blocks(report), as_json=as_json, code=code)


@click.command(short_help="Say what fired and what state every part is in.")
@case_argument
@click.option("--why", metavar="COMPONENT", help="Give the reasons of one conclusion.")
@click.option(
    "--drawings", metavar="DIR", type=click.Path(path_type=Path),
    help="Draw how the belief about each fired or doubtful part came about, as SVG.",
)  # fmt: skip
@own_option
@json_option
def assess(
    case_path: Path, why: str | None, drawings: Path | None, own: Path | None, as_json: bool
) -> int:
    """Say what fired, what state every component is in, and which look settles what is doubtful."""
    from squibwise import case
    from squibwise.cli import drawing, opening, show_assess

    at = opening.opened(case_path, own)
    states = case.assess(at.case, at.catalog, at.own)
    drawn = drawing.draw(states, why, drawings)
    return opening.answer(
        at,
        output.as_builtins(states) | drawing.as_json(drawn),
        lambda shown: [*show_assess.chosen(shown, states, at.catalog, why), *drawing.told(drawn)],
        as_json=as_json,
        findings=states.findings,
        needs_person=bool(states.contradictions),
    )


@click.command(short_help="Find the fault in one circuit.")
@case_argument
@click.argument("loop")
@click.option(
    "--seconds", default=5.0, show_default=True, type=click.FloatRange(0.0, 3600.0),
    help="Time for the planner; when it is over, the best of two steps ahead is given.",
)  # fmt: skip
@own_option
@json_option
def trace(case_path: Path, loop: str, seconds: float, own: Path | None, as_json: bool) -> int:
    """Find which part of a circuit is at fault: the next test, and the tree behind it."""
    from squibwise import case
    from squibwise.cli import opening, show_trace

    at = opening.opened(case_path, own)
    deadline = monotonic() + seconds
    found = case.trace(at.case, loop, at.catalog, at.own, lambda: monotonic() > deadline)
    return opening.answer(
        at,
        output.as_builtins(found),
        lambda shown: show_trace.blocks(shown, found),
        as_json=as_json,
        findings=found.findings,
    )


@click.command(short_help="List what must be done, in order.")
@case_argument
@click.option("--why", metavar="ITEM", help="Give the reasons and cautions of one item.")
@own_option
@json_option
def work(case_path: Path, why: str | None, own: Path | None, as_json: bool) -> int:
    """List what must be done, in order, with holds and cautions, and what it costs."""
    from squibwise import case
    from squibwise.cli import opening, show_work

    at = opening.opened(case_path, own)
    todo, costs = case.costed(at.case, at.catalog, at.own)
    return opening.answer(
        at,
        output.as_builtins(todo) | {"costs": [output.as_builtins(c) for c in costs]},
        lambda shown: show_work.chosen(shown, todo, costs, at.catalog, why),
        as_json=as_json,
        findings=todo.findings,
    )


@click.command(short_help="Add up what is still to be paid.")
@case_argument
@own_option
@json_option
def cost(case_path: Path, own: Path | None, as_json: bool) -> int:
    """Add up what is still to be paid, under every rule profile, from the prices you entered."""
    from squibwise import case
    from squibwise.cli import opening, show_cost

    at = opening.opened(case_path, own)
    costs = case.cost(at.case, at.catalog, at.own)
    return opening.answer(
        at,
        {"costs": [output.as_builtins(c) for c in costs]},
        lambda shown: show_cost.blocks(shown, costs),
        as_json=as_json,
        findings=[f for c in costs for f in c.findings],
    )


@click.command(short_help="Check what was measured and calibrated.")
@case_argument
@click.option("--why", metavar="VERDICT", help="Give what one verdict rests on.")
@own_option
@json_option
def check(case_path: Path, why: str | None, own: Path | None, as_json: bool) -> int:
    """Check what was measured, calibrated and tried: met, not met or undecided."""
    from squibwise import case
    from squibwise.cli import opening, show_check

    at = opening.opened(case_path, own)
    verdicts = case.verdicts(at.case, at.catalog, at.own)
    return opening.answer(
        at,
        {"verdicts": [output.as_builtins(v) for v in verdicts]},
        lambda shown: show_check.chosen(shown, verdicts, at.catalog, why),
        as_json=as_json,
        needs_person=any(v.outcome != "met" for v in verdicts),
    )


@click.command(short_help="Write the record as PDF and JSON.")
@case_argument
@click.option(
    "-o", "out", metavar="OUT.pdf", required=True, type=click.Path(path_type=Path),
    help="Where the record goes; its JSON is written beside it.",
)  # fmt: skip
@own_option
@json_option
def release(case_path: Path, out: Path, own: Path | None, as_json: bool) -> int:
    """Write the record for the inspector and the next owner: a draft while any gate is open."""
    from squibwise import case
    from squibwise.cli import files, opening, show_release

    files.refuse_as_record(out)
    at = opening.opened(case_path, own)
    record = case.release(at.case, at.catalog, dt.date.today(), at.own)
    files.write_record(record, out)
    return opening.answer(
        at,
        show_release.as_json(record, out),
        lambda shown: show_release.blocks(record, out, shown.findings),
        as_json=as_json,
        needs_person=record.draft,
    )


@click.command(short_help="Check a record somebody handed over.")
@click.argument("file", type=click.Path(path_type=Path))
@json_option
def verify(file: Path, as_json: bool) -> int:
    """Check a record that somebody handed over: is it whole and unchanged."""
    from squibwise.cli import files, show_release
    from squibwise.documents import verify_file

    result = verify_file(files.record_bytes(file))
    doubted = any(p.severity != "note" for p in result.problems)
    code = int(doubted or not result.valid)
    blocks = show_release.verification(result, file)
    return output.answer(result, lambda: blocks, as_json=as_json, code=code)


@click.command("catalog", short_help="Look into the reviewed facts, or check them.")
@click.argument("name", required=False)
@click.option("--check", "strict", is_flag=True, help="Load every section and cross-check it.")
@json_option
def catalog_(name: str | None, strict: bool, as_json: bool) -> int:
    """List the reviewed facts, check them, or show one fact, kind, template or source."""
    from squibwise.catalog.load import load_catalog
    from squibwise.cli import show_catalog

    page = show_catalog.page(load_catalog(), name, strict=strict)
    return output.answer(page.value, lambda: page.blocks, as_json=as_json, code=0)


@click.command(short_help="Make a case folder to fill in.")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--report", "reports", multiple=True, type=click.Path(path_type=Path),
    help="A scan report to copy into the case; may stand several times.",
)  # fmt: skip
@json_option
def new(folder: Path, reports: tuple[Path, ...], as_json: bool) -> int:
    """Make a case folder with a commented case.toml to fill in; overwrites nothing."""
    from squibwise.cli import new_case

    made = new_case.make(folder, reports)
    value = {"case": made.id, "files": [str(f) for f in made.files]}
    return output.answer(value, lambda: new_case.blocks(made), as_json=as_json, code=0)


@click.command(short_help="Walk through the demo cases.")
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option(
    "--out", default="out", show_default=True, type=click.Path(path_type=Path),
    help="Folder for the PDFs.",
)  # fmt: skip
@json_option
def demo(folder: Path | None, out: Path, as_json: bool) -> int:
    """Walk through the demo cases with real answers, and write their PDFs."""
    from squibwise.cli import demo as tour

    return tour.run(folder, out, as_json=as_json)


def _later(name: str, what: str) -> click.Command:
    """A command whose work has not landed: it says so and exits with 2."""

    @click.command(
        name,
        help=f"{what} Comes with a later version.",
        short_help=f"{what} (later)",
        context_settings={"ignore_unknown_options": True, "allow_extra_args": True},
    )
    @click.argument("rest", nargs=-1, type=click.UNPROCESSED)
    def command(rest: tuple[str, ...]) -> int:
        from squibwise.errors import UnavailableError

        del rest
        raise UnavailableError(
            f"`{name}` comes with a later version.",
            remedy="`squibwise --help` lists what is there.",
        )

    return command


COMMANDS = (
    demo,
    new,
    read,
    assess,
    trace,
    work,
    cost,
    check,
    release,
    verify,
    catalog_,
    _later("buy", "Choose offers and a schedule."),
    _later("bid", "Say up to which price the car is worth buying."),
    _later("screen", "Compare many lots of an auction."),
    _later("serve", "Open the bench in a browser."),
    _later("import", "Bring a case folder into the garage."),
    _later("export", "Write a case of the garage to a folder."),
)
