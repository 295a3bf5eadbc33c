"""Commands of buying and bidding: parse, call one function, tell."""

import csv
import datetime as dt
import io
import math
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from squibwise.cli import output
from squibwise.cli.commands import answers, case_argument, examples, own_option
from squibwise.errors import InputError

if TYPE_CHECKING:
    from squibwise.cli.opening import Opened

_COLUMN = "Which heading is which column."
_LOTS_IN = "USD"
settled_option = click.option(
    "--settled", metavar="FOLDER", type=click.Path(path_type=Path),
    help="Folder with your settled cars; how they came out corrects this bid.",
)  # fmt: skip


@click.command(
    short_help="Plan what to buy from whom, and when.",
    epilog=examples(
        "buy harrow-07 --example > harrow-07/buying.toml", "buy harrow-07 --request > ask.csv"
    ),
)
@case_argument
@click.option("--offers", type=click.Path(path_type=Path), help="Sheet of offers, CSV or XLSX.")
@click.option("--terms", type=click.Path(path_type=Path), help="Terms of your shop, TOML.")
@click.option("--column", multiple=True, metavar="HEADING=COLUMN", help=_COLUMN)
@click.option("--supplier", default="", metavar="NAME", help="Who sent the sheet, if it is one.")
@click.option("--request", is_flag=True, help="Print a sheet to send to parts desks instead.")
@click.option("--example", is_flag=True, help="Print terms of a shop to fill in instead.")
@click.option(
    "--order",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Write every line as CSV, what the recommended plan orders now as ordered.",
)
@click.option("--force", is_flag=True, help="Write over the file of --order.")
@own_option
@answers
def buy(
    case_path: Path,
    offers: Path | None,
    terms: Path | None,
    column: tuple[str, ...],
    supplier: str,
    request: bool,
    example: bool,
    order: Path | None,
    force: bool,
    own: Path | None,
    as_json: bool,
) -> int:
    """Plan what to buy from whom, when each operation runs, and when the car is ready."""
    from squibwise import case
    from squibwise.cli import opening
    from squibwise.cli.examples import write_terms
    from squibwise.cli.files import kept_files
    from squibwise.intake import market_files
    from squibwise.intake.columns import read_confirmed
    from squibwise.present.tell_buying import tell_buying

    at = opening.open_case(case_path, own)
    if request:
        return _print_request(at)
    if example:
        click.echo(write_terms(case.work(at.case, at.catalog, at.own)), nl=False)
        return 0
    file = offers or market_files.find_offers(at.folder)
    shop = market_files.load_terms(terms or at.folder / "buying.toml", must_be_there=bool(terms))
    sheet = market_files.load_offers(
        file, at.catalog, at.case.currency, read_confirmed(column), shop, supplier.strip()
    )
    today = dt.date.today()
    answer = case.buy(at.case, sheet, shop, at.catalog, at.own, today, _say_searched)
    if order:
        kept = kept_files(case_path, at.case)
        _write_order(order, case.order_lines(sheet, answer, today), kept, force=force)
    best = output.as_builtins(answer.plans[-1])
    ready = today + dt.timedelta(days=answer.plans[-1].ready_day)
    return opening.answer(
        at,
        best | {"ready_on": ready.isoformat()} | output.as_builtins(answer),
        lambda: tell_buying(at.case, answer, shop, today, at.catalog),
        as_json=as_json,
        findings=answer.findings,
        needs_person=bool(answer.without_offer),
    )


def _say_searched(words: str) -> None:
    output.end_waiting()
    output.begin_waiting(f"Searching {words}")


def _print_request(at: "Opened") -> int:
    from squibwise import case

    rows = case.request(at.case, at.catalog, at.own)
    if not rows:
        raise InputError("Nothing is to be bought.", remedy="`squibwise work CASE` says why.")
    click.echo(_as_csv(rows), nl=False)
    return 0


def _as_csv(rows: list[dict[str, str]]) -> str:
    from squibwise.present.rows import plain_cell

    written = io.StringIO()
    sheet = csv.DictWriter(written, fieldnames=list(rows[0]), lineterminator="\n")
    sheet.writeheader()
    sheet.writerows({word: plain_cell(cell) for word, cell in row.items()} for row in rows)
    return written.getvalue()


def _write_order(
    file: Path, rows: list[dict[str, str]], kept: Iterable[Path], *, force: bool
) -> None:
    """Write the lines; a file that is there stays unless forced, evidence and case file always."""
    from squibwise.garage.writing import NewFile, write_files

    if not rows:
        raise InputError("The sheet holds no offer.", remedy="Nothing was written.")
    data = _as_csv(rows).encode("utf-8")
    write_files([NewFile(path=file, data=data)], kept, may_replace=lambda _: force)


@click.command(
    short_help="Say whether to bid and up to what.",
    epilog=examples("bid harrow-07", "bid harrow-07 --sheet bid.toml --settled finished"),
)
@case_argument
@click.option("--sheet", type=click.Path(path_type=Path), help="What you know of the sale, TOML.")
@settled_option
@click.option("--example", is_flag=True, help="Print a sheet of a sale to fill in instead.")
@click.option(
    "--drawing",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Draw what drives the restraint share, as SVG.",
)
@own_option
@answers
def bid(
    case_path: Path,
    sheet: Path | None,
    settled: Path | None,
    example: bool,
    drawing: Path | None,
    own: Path | None,
    as_json: bool,
) -> int:
    """Say whether to bid and up to what: questions first, then the whole car."""
    from msgspec.structs import replace

    from squibwise import case
    from squibwise.cli import opening
    from squibwise.cli.examples import write_sale
    from squibwise.cli.files import write_drawing
    from squibwise.documents import drivers_svg
    from squibwise.intake import market_files
    from squibwise.present.tell_bid import name_drivers, tell_bid

    at = opening.open_case(case_path, own)
    if example:
        click.echo(write_sale(at.catalog))
        return 0
    known = market_files.load_bid(sheet or at.folder / "bid.toml")
    cars = market_files.load_settled_cars(settled, at.folder) if settled else ()
    lessons = case.learn_settled(cars, at.case.currency, at.catalog)
    answer = case.bid(at.case, known, at.catalog, at.own, lessons)
    doubts = case.doubt_settled(cars, at.case.currency)
    answer = replace(answer, findings=(*answer.findings, *doubts))
    if drawing:
        write_drawing(drawing, drivers_svg(name_drivers(answer.drivers)))
    cost = {f"p{round(100 * q)}": answer.cost.quantile(q) for q in (0.1, 0.5, 0.8, 0.95)}
    value = output.as_builtins(answer) | {
        "cost": {k: output.as_builtins(m) for k, m in cost.items()} | {"mean": answer.cost.mean},
        "bid_limit": output.as_builtins(answer.limit) if answer.limit else None,
        "value_of_scan": [output.as_builtins(w) for w in answer.worths if "scan" in w.what],
    }
    return opening.answer(
        at,
        value,
        lambda: tell_bid(at.case, answer, at.catalog),
        as_json=as_json,
        findings=answer.findings,
        needs_person=answer.verdict in ("ask-first", "restraint-share-only"),
    )


@click.command(
    short_help="Compare a bid with how the car came out.",
    epilog=examples("settle harrow-07", "settle harrow-07 --example > harrow-07/settled.toml"),
)
@case_argument
@click.option("--example", is_flag=True, help="Print a sheet with what the bid expected instead.")
@answers
def settle(case_path: Path, example: bool, as_json: bool) -> int:
    """Compare what was expected at the bid with how the car came out, line by line."""
    from squibwise import case
    from squibwise.cli import opening
    from squibwise.intake import market_files
    from squibwise.present.tell_bid import tell_settled

    at = opening.open_case(case_path)
    if example:
        return _print_settled(at)
    settled = market_files.load_settled(at.folder / "settled.toml")
    lines, currency = case.settle(settled, at.catalog), at.case.currency
    lessons = case.learn_settled((settled,), currency, at.catalog)
    doubts = case.doubt_settled((settled,), currency)
    return opening.answer(
        at,
        {
            "settled": [output.as_builtins(x) for x in lines],
            "comebacks": [output.as_builtins(c) for c in settled.returns],
            "corrects": lessons.factors,
            "came_back": output.as_builtins(lessons.came_back),
        },
        lambda: tell_settled(at.case, settled, lines, lessons.factors, doubts),
        as_json=as_json,
        findings=doubts,
    )


def _print_settled(at: "Opened") -> int:
    from squibwise import case
    from squibwise.cli.examples import write_settled
    from squibwise.intake import market_files

    file = at.folder / "bid.toml"
    sheet = market_files.load_bid(file) if file.is_file() else None
    expected = case.expect(at.case, sheet, at.catalog, at.own)
    click.echo(write_settled(at.case.id, at.case.currency, expected, _say_paid(at)), nl=False)
    return 0


def _say_paid(at: "Opened") -> str:
    """Return what the sheet of offers beside the case says was paid for parts."""
    from squibwise import plan
    from squibwise.intake import market_files
    from squibwise.present.figures import bare_sum

    if not any((at.folder / name).is_file() for name in market_files.OFFERS):
        return ""
    file = market_files.find_offers(at.folder)
    try:
        shop = market_files.load_terms(at.folder / "buying.toml", must_be_there=False)
        sheet = market_files.load_offers(file, at.catalog, at.case.currency, {}, shop)
    except InputError:
        return f"  # {file.name} could not be read; `buy CASE` says why"
    lines, total = plan.sum_paid(sheet)
    words = f"lines of {file.name} were bought, a piece of each for {bare_sum(total)} together"
    return f"  # {lines} {words}" if total else ""


@click.command(
    short_help="Screen a list of lots.",
    epilog=examples("screen lots.csv --out screened.csv", "screen --example 1000 > lots.csv"),
)
@click.argument("lots", required=False, type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Where to write: CSV or Parquet.")
@click.option("--sheet", type=click.Path(path_type=Path), help="What you know of the sale, TOML.")
@click.option(
    "--hour",
    type=click.FloatRange(0, 10_000),
    default=100.0,
    show_default=True,
    help="Cost of one hour of work.",
)
@click.option(
    "--jobs",
    type=click.IntRange(1, 64),
    default=2,
    show_default=True,
    help="Processes.",
)
@settled_option
@click.option("--column", multiple=True, metavar="HEADING=COLUMN", help=_COLUMN)
@click.option("--example", type=click.IntRange(1), metavar="N", help="Print N invented lots.")
@click.option("--force", is_flag=True, help="Write over the file of --out, whatever it is.")
@answers
def screen(
    lots: Path | None,
    out: Path | None,
    sheet: Path | None,
    hour: float,
    jobs: int,
    settled: Path | None,
    column: tuple[str, ...],
    example: int | None,
    force: bool,
    as_json: bool,
) -> int:
    """Screen a list of lots: what fired, the restraint share, a bid limit, the look to make."""
    from squibwise import case, plan
    from squibwise.catalog.load import load_catalog
    from squibwise.cli import lot_files
    from squibwise.intake import market_files
    from squibwise.intake.columns import read_confirmed
    from squibwise.present.tell_bid import tell_screened

    if example is not None:
        return _print_lots(example)
    if lots is None:
        raise InputError("No list is named.", remedy="`screen lots.csv`, or `screen --example N`.")
    if not math.isfinite(hour):
        raise InputError(f"An hour cannot cost {hour}.", remedy="Name an amount such as --hour 95.")
    known = market_files.load_bid(sheet) if sheet else None
    target = out or lots.with_name(lots.stem + "-screened" + (lots.suffix or ".csv"))
    cars = market_files.load_settled_cars(settled, lots.parent) if settled else ()
    catalog = load_catalog()
    lessons = case.learn_settled(cars, _LOTS_IN, catalog)
    terms = plan.state_terms(known, hour, catalog, _LOTS_IN, lessons)
    output.begin_waiting(f"Screening {lots}")
    columns = read_confirmed(column)
    done = lot_files.screen_file(lots, target, terms, jobs, _say_progress, columns, force=force)
    output.end_waiting()
    value = output.as_builtins(done) | {
        "corrects": {w: getattr(terms, w) for w in ("parts", "labour", "resale", "comes_back")},
        "settled_cars": len(cars),
        "sale_costs": terms.costs + terms.comes_back,
        "trades_left_out": sorted(t for t, s in known.shares.items() if s.cost) if known else [],
    }
    doubts = case.doubt_settled(cars, _LOTS_IN)
    return output.answer(
        value, lambda: tell_screened(value, doubts), as_json=as_json, code=1 if done.bad else 0
    )


def _say_progress(rows: int) -> None:
    output.end_waiting()
    output.begin_waiting(f"{rows:,} lots screened")


def _print_lots(count: int) -> int:
    from squibwise.catalog.load import load_catalog
    from squibwise.cli.examples import invent_lots

    for cells in invent_lots(count, load_catalog()):
        click.echo(",".join(cells))
    return 0


MARKET_COMMANDS = (buy, bid, settle, screen)
