"""Every command: parse, call one function, tell."""

from collections.abc import Callable
from pathlib import Path
from time import monotonic
from typing import Any, TypeVar

import click

from squibwise.cli import output

F = TypeVar("F", bound=Callable[..., Any])


def _keep(context: click.Context, option: click.Parameter, value: object) -> None:
    if value and option.name:
        context.meta[option.name] = value


quiet_option = click.option(
    "--quiet", is_flag=True, expose_value=False, callback=_keep,
    help="Print no text; the exit code answers.",
)  # fmt: skip
colour_option = click.option(
    "--colour", type=click.Choice(["auto", "never"]), expose_value=False, callback=_keep,
    help="Colour and bold type at a terminal, or never; NO_COLOR does the same.",
)  # fmt: skip


def answers(function: F) -> F:
    """Give a command the options that every answer takes."""
    as_json = click.option("--json", "as_json", is_flag=True, help="Write JSON and nothing else.")
    return colour_option(quiet_option(as_json(function)))


case_argument = click.argument("case_path", metavar="CASE", type=click.Path(path_type=Path))
own_option = click.option(
    "--own", metavar="FOLDER", type=click.Path(path_type=Path),
    help="Folder with your own finished cases, or `none`; those of the garage by default.",
)  # fmt: skip


def examples(*lines: str) -> str:
    """Return examples for the end of a command's help, one a line."""
    return "\b\nExamples:\n" + "\n".join(f"  squibwise {line}" for line in lines)


@click.command(
    short_help="Read a scan report.",
    epilog=examples("read scan.pdf", "read - < scan.txt"),
)
@click.argument("file", type=click.Path(path_type=Path))
@answers
def read(file: Path, as_json: bool) -> int:
    """Read a scan report: codes, components, faults, and what was not understood."""
    from squibwise import intake  # what `case.read` calls; the other stages load slowly
    from squibwise.catalog.load import load_catalog
    from squibwise.cli import stored
    from squibwise.present.tell_report import tell_report

    output.begin_waiting(f"Reading {file}")
    with stored.as_file(file) as given:
        report = intake.read_report_file(given, load_catalog())
    code = output.exit_code(report.findings)
    return output.answer(report, lambda: tell_report(report), as_json=as_json, code=code)


@click.command(
    short_help="Say what fired and what state every part is in.",
    epilog=examples("assess harrow-07", "assess harrow-07 --why driver.front-bag"),
)
@case_argument
@click.option("--why", metavar="COMPONENT", help="Give the reasons of one conclusion.")
@click.option("--figures", is_flag=True, help="With --why: weights in decibans too.")
@click.option(
    "--drawings", metavar="DIR", type=click.Path(path_type=Path),
    help="Draw how the belief about each fired or doubtful part came about, as SVG.",
)  # fmt: skip
@own_option
@answers
def assess(
    case_path: Path,
    why: str | None,
    figures: bool,
    drawings: Path | None,
    own: Path | None,
    as_json: bool,
) -> int:
    """Say what fired, what state every component is in, and which look settles what is doubtful."""
    from squibwise import case
    from squibwise.cli import opening
    from squibwise.present import tell_assessment as told

    at = opening.open_case(case_path, own)
    states = case.assess(at.case, at.catalog, at.own)
    one = opening.find(why, states.components, "component of this car") if why else None
    chosen = (one,) if one else told.drawn_parts(states, at.catalog)
    drawn = opening.draw(chosen, drawings)
    telling = (
        told.tell_belief(at.case, one, states, at.catalog, figures=figures)
        if one
        else told.tell_assessment(at.case, states, at.catalog)
    )
    return opening.answer(
        at,
        output.as_builtins(states) | ({"drawings": [str(p) for p in drawn]} if drawn else {}),
        lambda: told.with_drawings(telling, drawn),
        as_json=as_json,
        findings=states.findings,
        needs_person=bool(states.contradictions),
    )


@click.command(
    short_help="Say it all on one screen.",
    epilog=examples("brief harrow-07", "brief harrow-07 --json"),
)
@case_argument
@own_option
@answers
def brief(case_path: Path, own: Path | None, as_json: bool) -> int:
    """Say on one screen what happened, what to order, what it costs and what comes next.

    A bare `squibwise CASE` is the same.
    """
    from squibwise import case
    from squibwise.cli import opening
    from squibwise.present.tell_brief import make_brief, tell_brief

    at = opening.open_case(case_path, own)
    whole = case.overview(at.case, at.catalog, at.own)
    made = make_brief(at.case, whole, at.catalog)
    return opening.answer(
        at,
        output.as_builtins(made),
        lambda: tell_brief(at.case, made, str(case_path), at.catalog),
        as_json=as_json,
        findings=(*whole.states.findings, *whole.todo.findings),
        needs_person=bool(made.open or whole.states.contradictions),
    )


@click.command(
    short_help="Find the fault in one circuit.",
    epilog=examples(
        "trace burdock-09 passenger.front-bag/1", "trace burdock-09 left.curtain --seconds 30"
    ),
)
@case_argument
@click.argument("loop", default="")
@click.option(
    "--seconds", default=None, type=click.FloatRange(0.0, 3600.0),
    help="Time for the planner, if any; when it is over, a look two steps ahead answers.",
)  # fmt: skip
@own_option
@answers
def trace(
    case_path: Path, loop: str, seconds: float | None, own: Path | None, as_json: bool
) -> int:
    """Find which part of a circuit is at fault: the next test, and the tree behind it."""
    from squibwise import case
    from squibwise.cli import opening
    from squibwise.entering import saying
    from squibwise.present.tell_trace import tell_trace

    at = opening.open_case(case_path, own)
    if not loop:
        raise opening.refuse_unnamed(at)
    loop = saying.find_traced(loop, at.case.car, at.catalog)
    deadline = None if seconds is None else monotonic() + seconds
    over = None if deadline is None else lambda: monotonic() > deadline
    found = case.trace(at.case, loop, at.catalog, at.own, over)
    return opening.answer(
        at,
        output.as_builtins(found),
        lambda: tell_trace(at.case, found, at.catalog),
        as_json=as_json,
        findings=found.findings,
    )


@click.command(
    short_help="List what must be done, in order.",
    epilog=examples("work harrow-07", "work harrow-07 --visit 3", "work harrow-07 --why 22"),
)
@case_argument
@click.option(
    "--why", metavar="WHAT",
    help="Give the reasons of one line: a number, an order, or driver.front-bag:replace.",
)  # fmt: skip
@click.option("--full", is_flag=True, help="Every operation on its own line.")
@click.option("--visit", type=int, help="This visit alone, every operation on its own line.")
@click.option("--orders", is_flag=True, help="The order list alone, as a parts desk reads it.")
@own_option
@answers
def work(
    case_path: Path,
    why: str | None,
    full: bool,
    visit: int | None,
    orders: bool,
    own: Path | None,
    as_json: bool,
) -> int:
    """List what to order and what to do, visit by visit, with holds and cautions, and the cost."""
    from squibwise import case
    from squibwise.cli import opening
    from squibwise.present.tell_orders import tell_order_list
    from squibwise.present.tell_work import tell_work

    at = opening.open_case(case_path, own)
    todo, costs = case.costed(at.case, at.catalog, at.own)
    alone = opening.tell_line(why, at.case, todo, at.catalog) if why else None
    alone = opening.tell_visit(visit, at.case, todo, at.catalog) if visit is not None else alone
    alone = tell_order_list(at.case, todo, at.catalog) if orders else alone
    return opening.answer(
        at,
        output.as_builtins(todo) | {"costs": [output.as_builtins(c) for c in costs]},
        lambda: alone if alone else tell_work(at.case, todo, costs, at.catalog, full=full),
        as_json=as_json,
        findings=todo.findings,
    )


@click.command(
    short_help="Add up what is still to be paid.",
    epilog=examples("cost harrow-07", "cost harrow-07 --json"),
)
@case_argument
@own_option
@answers
def cost(case_path: Path, own: Path | None, as_json: bool) -> int:
    """Add up what is still to be paid, under every rule profile, from the prices you entered."""
    from squibwise import case
    from squibwise.cli import opening
    from squibwise.present.tell_cost import tell_cost

    at = opening.open_case(case_path, own)
    costs = case.cost(at.case, at.catalog, at.own)
    return opening.answer(
        at,
        {"costs": [output.as_builtins(c) for c in costs]},
        lambda: tell_cost(at.case, costs, at.catalog),
        as_json=as_json,
        findings=[f for c in costs for f in c.findings],
    )


@click.command(
    short_help="Check what was measured and calibrated.",
    epilog=examples("check clover-05", "check clover-05 --why lamp-check"),
)
@case_argument
@click.option("--why", metavar="VERDICT", help="Give what one verdict rests on.")
@own_option
@answers
def check(case_path: Path, why: str | None, own: Path | None, as_json: bool) -> int:
    """Check what was measured, calibrated and tried: met, not met or undecided."""
    from squibwise import case
    from squibwise.cli import opening
    from squibwise.present.tell_checks import tell_verdict, tell_verdicts

    at = opening.open_case(case_path, own)
    verdicts = case.verdicts(at.case, at.catalog, at.own)
    one = opening.find_verdict(why, verdicts) if why else None
    return opening.answer(
        at,
        {"verdicts": [output.as_builtins(v) for v in verdicts]},
        lambda: (
            tell_verdict(at.case, one, at.catalog)
            if one
            else tell_verdicts(at.case, verdicts, at.catalog)
        ),
        as_json=as_json,
        needs_person=any(v.outcome != "met" for v in verdicts),
    )


@click.command(
    short_help="Write the record as PDF and JSON.",
    epilog=examples(
        "release harrow-07 -o record.pdf",
        "release harrow-07 -o record.pdf --annex",
        "release harrow-07 -o buyer.pdf --for buyer",
    ),
)
@case_argument
@click.option(
    "-o", "out", metavar="OUT.pdf", required=True, type=click.Path(path_type=Path),
    help="Where the record goes; its JSON is written beside it.",
)  # fmt: skip
@click.option("--annex", is_flag=True, help="Everything behind the two pages: 20 more or so.")
@click.option(
    "--for", "reader", type=click.Choice(["inspector", "insurer", "buyer"]),
    help="One page that answers what this reader asks.",
)  # fmt: skip
@click.option(
    "--withhold", is_flag=True,
    help="Leave out crash data and prices; the copy verifies. A buyer's page always does.",
)  # fmt: skip
@click.option("--force", is_flag=True, help="Replace what is there; never evidence.")
@own_option
@answers
def release(
    case_path: Path,
    out: Path,
    annex: bool,
    reader: str | None,
    withhold: bool,
    force: bool,
    own: Path | None,
    as_json: bool,
) -> int:
    """Write the record for the inspector and the next owner: a draft while any gate is open.

    Two pages: what must be known, and the parts with what was measured. The whole data is always
    attached.
    """
    from squibwise.cli import files, opening, stored
    from squibwise.present.tell_checks import tell_release

    stored.refuse_altered_case(case_path)
    at = opening.open_case(case_path, own)
    kept = files.kept_files(case_path, at.case)
    may_replace = files.may_replace_record(at.case.id, force=force)
    files.refuse_as_record(out, kept, may_replace)
    case, pictures = files.take_pictures(at.case, at.folder, at.catalog)
    withhold = withhold or reader == "buyer"
    record = files.issue(case, at.catalog, at.own, withhold=withhold)
    form = files.chosen_form(reader, annex=annex)
    files.write_record(record, out, kept, may_replace, form, pictures)
    written = (out, files.json_beside(out))
    return opening.answer(
        at,
        {
            "open_gates": [output.as_builtins(g) for g in record.gates if g.open],
            "draft": record.draft,
            "file": str(out),
            "json_file": str(files.json_beside(out)),
            "digest": record.digest,
        },
        lambda: tell_release(record, written, at.case.findings, at.catalog),
        as_json=as_json,
        needs_person=record.draft,
    )


@click.command(
    short_help="Check a record somebody handed over.",
    epilog=examples(
        "verify record.pdf", "verify record.pdf --know 'North yard'", "verify --page check.html"
    ),
)
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option(
    "--know", metavar="NAME", help="Keep the key it is signed with as known: that of NAME."
)
@click.option(
    "--stamp", metavar="TOKEN", type=click.Path(path_type=Path),
    help="A time stamp (RFC 3161) over the digest, as an authority sent it.",
)  # fmt: skip
@click.option(
    "--authority", metavar="CERTIFICATE", type=click.Path(path_type=Path),
    help="The certificate, PEM or DER, under which that of the time stamp must be issued.",
)  # fmt: skip
@click.option(
    "--data", metavar="OUT.json", type=click.Path(path_type=Path),
    help="Write the data that a valid PDF carries to a file of its own.",
)  # fmt: skip
@click.option(
    "--page", metavar="OUT.html", type=click.Path(path_type=Path),
    help="Write a page that checks records in any browser, for those without this program.",
)  # fmt: skip
@answers
def verify(
    file: Path | None,
    know: str | None,
    stamp: Path | None,
    authority: Path | None,
    data: Path | None,
    page: Path | None,
    as_json: bool,
) -> int:
    """Check a record that somebody handed over: is it whole, unchanged, and by whom.

    Exit code 0: valid, by a known key and in its owner's name. 1: valid, but unsigned, by another
    key or in another name. 2: not valid.
    """
    from squibwise.catalog.load import load_catalog
    from squibwise.cli import files
    from squibwise.present.tell_checks import tell_check_page, tell_verification

    if page is not None:
        files.write_check_page(page, load_catalog())
        told = tell_check_page(page)
        return output.answer({"page": str(page)}, lambda: told, as_json=as_json, code=0)
    if file is None:
        raise click.UsageError("Name the record, or --page OUT.html.")
    output.begin_waiting(f"Checking {file}")
    result = files.verified(file, load_catalog(), know, stamp, authority)
    if data is not None and result.valid:
        files.write_data(file, data)
    by_anybody = stamp is not None and authority is None
    code = 2 if not result.valid else int(not result.is_sure or by_anybody)
    return output.answer(
        result, lambda: tell_verification(result, file), as_json=as_json, code=code
    )


@click.command(
    "catalog",
    short_help="Look into the reviewed facts, or check them.",
    epilog=examples("catalog", "catalog front-bag"),
)
@click.argument("name", required=False)
@click.option("--check", "strict", is_flag=True, help="Load every section and cross-check it.")
@answers
def catalog_(name: str | None, strict: bool, as_json: bool) -> int:
    """List the reviewed facts, check them, or show one fact, kind, template or source."""
    from squibwise.cli import looking_up

    entry = looking_up.find_entry(name, strict=strict)
    return output.answer(entry.value, lambda: entry.telling, as_json=as_json, code=0)


@click.command(
    short_help="Make a case folder to fill in.",
    epilog=examples(
        "new my-car --report scan.pdf", "new my-car --vin 0Z9HB5A26KR000417 --region US-OH"
    ),
)
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--report", "reports", multiple=True, type=click.Path(path_type=Path),
    help="A scan report to copy into the case; may stand several times.",
)  # fmt: skip
@click.option("--title", default="", help="One line about the case.")
@click.option("--vin", default="", help="Vehicle identification number, 17 characters.")
@click.option("--year", default="", help="Model year.")
@click.option("--region", default="", help="Where it will be registered, ISO 3166, such as US-OH.")
@click.option("--drive", default="", help="Side the driver sits on: left or right.")
@click.option("--equipment", default="", help="A template; `squibwise catalog` lists them.")
@click.option("--currency", default="", help="ISO 4217 code of your prices, such as USD.")
@answers
def new(folder: Path, reports: tuple[Path, ...], as_json: bool, **stated: str) -> int:
    """Make a case folder with a commented case.toml to fill in; overwrites nothing.

    At a terminal it asks what is not stated; an empty answer means not known.
    """
    from squibwise.catalog.load import load_catalog
    from squibwise.cli.new_case import ask
    from squibwise.entering import new_case
    from squibwise.present.tell_entries import tell_new_case

    catalog = load_catalog()
    known = new_case.Stated(**stated)
    if known == new_case.Stated() and not as_json and output.can_ask():
        known = ask(catalog)
    made = new_case.make(folder, catalog, reports, known)
    value = {"case": made.id, "files": [str(f) for f in made.files]}
    return output.answer(
        value, lambda: tell_new_case(made.id, made.folder), as_json=as_json, code=0
    )


@click.command(
    short_help="Walk through the demo cases.",
    epilog=examples("demo", "demo my-cases --out records", "demo --serve"),
)
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option(
    "--out", default="out", show_default=True, type=click.Path(path_type=Path),
    help="Folder for the PDFs.",
)  # fmt: skip
@click.option("--serve", "serves", is_flag=True, help="Open them at the bench, in a browser.")
@answers
def demo(folder: Path | None, out: Path, serves: bool, as_json: bool) -> int:
    """Walk through the demo cases with real answers, and write their PDFs."""
    from squibwise.cli import demo as tour

    if serves:
        return tour.serve(folder, out)
    return tour.run(folder, out, as_json=as_json)


COMMANDS = (demo, new, read, brief, assess, trace, work, cost, check, release, verify, catalog_)
