"""Walk through the demo cases: real answers in the terminal, their records as PDF."""

import datetime as dt
import shutil
from collections.abc import Sequence
from pathlib import Path
from time import perf_counter

import click
from rich.console import RenderableType
from rich.text import Text

from squibwise import case
from squibwise.catalog.load import Catalog, load_catalog
from squibwise.cli import files, output, page, show_assess, show_cost, show_work
from squibwise.errors import InputError
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.cost import Cost
from squibwise.model.work import Work

DEMO_CASES = Path(__file__).parents[1] / "demo"


def run(folder: Path | None, out: Path, *, as_json: bool) -> int:
    """Show every case of a folder and write its record; return the exit code.

    The demo cars that come with the program are copied to ``out`` first, so that anybody can change
    them and look again.
    """
    files.make_folder(out)
    cases = case_folders(folder) if folder else copied_cases(out)
    started, catalog, told = perf_counter(), load_catalog(), []
    for number, path in enumerate(cases, start=1):
        click.echo(f"[{number}/{len(cases)}] {path.name} ...", err=True)
        told.append(_one(path, out, catalog, as_json=as_json))
    if as_json:
        output.write_json({"cases": told, "out": str(out)})
        return 0
    seconds = perf_counter() - started
    text = f"\n{len(told)} cases in {seconds:.1f} s. Their records are in {out}/."
    output.show([Text(text, style="bold"), page.para(_next(cases[0]), indent=0)])
    return 0


def case_folders(folder: Path) -> list[Path]:
    """Return the cases to walk through, in order.

    Raises:
        InputError: The folder holds none.
    """
    found = [file.parent for file in sorted(folder.glob("*/case.toml"), key=_first_line)]
    if not found:
        raise InputError(f"'{folder}' holds no case folders.", remedy="Name their parent folder.")
    return found


def copied_cases(out: Path) -> list[Path]:
    """Copy the demo cases into a folder, in order; one that is there already is left as it is.

    Raises:
        InputError: The folder cannot be written to.
    """
    copies = []
    for case_folder in case_folders(DEMO_CASES):
        copy = out / case_folder.name
        try:
            if not copy.exists():
                shutil.copytree(case_folder, copy)
        except OSError as error:
            remedy = "Choose another folder with --out."
            raise InputError(f"{copy}: {error.strerror}.", remedy=remedy) from error
        copies.append(copy)
    return copies


def _first_line(file: Path) -> str:
    """The demo cases are lettered in their first line; others come by name."""
    with file.open(encoding="utf-8", errors="replace") as lines:
        return f"{lines.readline()[:40]}{file}"


def _one(path: Path, out: Path, catalog: Catalog, *, as_json: bool) -> dict[str, object]:
    opened = case.open_case(path, catalog)
    states = case.assess(opened, catalog)
    todo, costs = case.costed(opened, catalog)
    record = case.release(opened, catalog, dt.date.today())
    pdf = out / f"{opened.id}.pdf"
    files.write_record(record, pdf)
    if not as_json:
        output.show(_blocks(opened, states, todo, costs, pdf, catalog))
    fired = [c.id for c in states.components if c.after_crash.fired >= show_assess.SURE]
    return {"case": opened.id, "fired": fired, "items": len(todo.items), "file": str(pdf)}


def _blocks(
    opened: Case,
    states: Assessment,
    todo: Work,
    costs: Sequence[Cost],
    pdf: Path,
    catalog: Catalog,
) -> list[RenderableType]:
    shown: list[RenderableType] = [
        Text(""),
        *page.title(opened),
        *show_assess.short(states, catalog),
    ]
    shown += show_work.summary(todo)
    shown += [page.heading("Still to be paid"), page.para(show_cost.short(costs[0]))]
    return [*shown, page.heading("Record"), page.para(str(pdf))]


def _next(path: Path) -> str:
    shown = path.relative_to(Path.cwd()) if path.is_relative_to(Path.cwd()) else path
    return (
        f"Look closer: squibwise assess {shown}; squibwise work {shown}; "
        f"squibwise assess {shown} --why driver.front-bag"
    )
