"""Walk through the demo cases: real answers in the terminal, their records as PDF."""

import datetime as dt
from pathlib import Path
from time import perf_counter

from squibwise import __version__, case
from squibwise.catalog.load import Catalog, load_catalog
from squibwise.cli import files, output
from squibwise.cli.bench_process import PORT, run_bench
from squibwise.errors import InputError
from squibwise.garage import store, writing
from squibwise.garage.database import connected
from squibwise.garage.folders import folder_content
from squibwise.present.tell_brief import make_brief, tell_brief
from squibwise.present.tell_entries import tell_tour_end
from squibwise.present.telling import Telling, Text

DEMO_CASES = Path(__file__).parents[1] / "demo"


def run(folder: Path | None, out: Path, *, as_json: bool) -> int:
    """Show every case of a folder and write its record; return the exit code.

    The demo cars that come with the program are copied to ``out`` first, so that anybody can change
    them and look again.
    """
    writing.make_folder(out)
    cases = case_folders(folder) if folder else copied_cases(out)
    started, catalog, told = perf_counter(), load_catalog(), []
    for number, path in enumerate(cases, start=1):
        if not output.is_quiet():
            output.say(f"[{number}/{len(cases)}] {path.name} ...")
        told.append(_one(path, out, catalog, as_json=as_json))
    if as_json:
        output.write_json({"cases": told, "out": str(out)})
        return 0
    output.show(tell_tour_end(len(told), perf_counter() - started, out, _shown(cases[0])))
    return 0


def serve(folder: Path | None, out: Path) -> int:
    """Put the cases into a garage of their own in ``out`` and open it at the bench."""
    writing.make_folder(out)
    place = out / "demo-garage.db"
    with connected(place, create=True) as garage:
        known = store.case_ids(garage)
        for case_folder in case_folders(folder or DEMO_CASES):
            if case_folder.name not in known:
                content, at = folder_content(case_folder), dt.datetime.now(dt.UTC)
                store.add(garage, case_folder.name, content, "imported from the demo", at)
    return run_bench(place, PORT, lan=False, opens=output.can_ask())


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
        if not copy.exists():
            inside = [p for p in sorted(case_folder.rglob("*")) if p.is_file()]
            content = {str(p.relative_to(case_folder)): p.read_bytes() for p in inside}
            writing.write_folder(copy, content)
        copies.append(copy)
    return copies


def _first_line(file: Path) -> str:
    """The demo cases are lettered in their first line; others come by name."""
    with file.open(encoding="utf-8", errors="replace") as lines:
        return f"{lines.readline()[:40]}{file}"


def _one(path: Path, out: Path, catalog: Catalog, *, as_json: bool) -> dict[str, object]:
    opened = case.open_case(path, catalog)
    whole = case.overview(opened, catalog)
    brief = make_brief(opened, whole, catalog)
    record = case.record(opened, whole, catalog, dt.date.today(), __version__)
    pdf = out / f"{opened.id}.pdf"
    may_replace = files.may_replace_record(opened.id, force=False)
    files.write_record(record, pdf, files.kept_files(path, opened), may_replace)
    if not as_json:
        output.show(tell_brief(opened, brief, str(_shown(path)), catalog))
        output.show(Telling(closing=(Text(text=f"Its record: {pdf}"),)))
    items = len(whole.todo.items)
    return {"case": opened.id, "fired": list(brief.fired), "items": items, "file": str(pdf)}


def _shown(path: Path) -> Path:
    return path.relative_to(Path.cwd()) if path.is_relative_to(Path.cwd()) else path
