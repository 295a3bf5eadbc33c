"""Walk through the demo cases: real answers in the terminal, their records as PDF."""

import datetime as dt
from pathlib import Path
from time import perf_counter

import click
from rich.console import RenderableType
from rich.text import Text

from squibwise import case
from squibwise.catalog.load import Catalog, load_catalog
from squibwise.cli import files, output, page, show_assess
from squibwise.errors import InputError, UnavailableError
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.proof import ProofRecord
from squibwise.model.work import Work

CHECKOUT_CASES = Path(__file__).parents[3] / "tests" / "cases"


def run(folder: Path | None, out: Path, *, as_json: bool) -> int:
    """Show every case of a folder and write its record; return the exit code."""
    cases = _cases(folder)
    out.mkdir(parents=True, exist_ok=True)
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


def _cases(folder: Path | None) -> list[Path]:
    root = folder or CHECKOUT_CASES
    found = sorted(p.parent for p in root.glob("*/case.toml"))
    if found:
        return found
    if folder is not None:
        raise InputError(f"'{folder}' holds no case folders.", remedy="Name their parent folder.")
    raise UnavailableError(
        "the demo cases come with the source, not with the installed program.",
        remedy="Run it in a checkout, or name a folder with cases: `squibwise demo FOLDER`.",
    )


def _one(path: Path, out: Path, catalog: Catalog, *, as_json: bool) -> dict[str, object]:
    opened = case.open_case(path, catalog)
    states, todo = case.assess(opened, catalog), case.work(opened, catalog)
    record = case.release(opened, catalog, dt.date.today())
    pdf = out / f"{opened.id}.pdf"
    files.write_record(record, pdf)
    if not as_json:
        output.show(_blocks(opened, states, todo, record, pdf))
    fired = [c.id for c in states.components if c.after_crash.fired >= show_assess.SURE]
    return {"case": opened.id, "fired": fired, "items": len(todo.items), "file": str(pdf)}


def _blocks(
    opened: Case, states: Assessment, todo: Work, record: ProofRecord, pdf: Path
) -> list[RenderableType]:
    to_do = [i for i in todo.items if not i.done and i.action != "keep"]
    replaced = [i.component for i in to_do if i.action == "replace" and i.component]
    open_gates = [g for g in record.gates if g.open]
    shown: list[RenderableType] = [Text(""), *page.title(opened), *show_assess.short(states)]
    shown.append(page.heading("To do", f"{len(to_do)} items, rules: {todo.profile}"))
    shown.append(page.para(f"Replace: {', '.join(replaced) or 'nothing'}."))
    shown.append(page.para(f"Record: {pdf} ({len(open_gates)} gates open)."))
    return shown


def _next(path: Path) -> str:
    shown = path.relative_to(Path.cwd()) if path.is_relative_to(Path.cwd()) else path
    return (
        f"Look closer: squibwise assess {shown}; squibwise work {shown}; "
        f"squibwise assess {shown} --why driver.front-bag"
    )
