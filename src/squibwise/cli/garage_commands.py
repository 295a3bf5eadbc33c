"""Commands of the garage: put cases in, take them out, look back, check and copy it."""

from pathlib import Path

import click

from squibwise.cli import output
from squibwise.cli.bench_process import PORT, run_bench
from squibwise.cli.commands import answers, examples

by_option = click.option(
    "--by", metavar="NAME", callback=lambda *a: output.one_name(*a) or "", help="Who does it."
)


@click.command(
    "import",
    short_help="Put a case folder into the garage.",
    epilog=examples("import harrow-07", "import harrow-07 --as harrow-07b --by R"),
)
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--as", "name", metavar="ID", help="Its id there; the folder's name by default.")
@by_option
@answers
def import_(folder: Path, name: str | None, by: str, as_json: bool) -> int:
    """Put a case folder into the garage, byte for byte; once more: what is new in it."""
    from squibwise.cli import stored
    from squibwise.garage.database import is_garage, keys_beside
    from squibwise.present.tell_entries import tell_done

    place = stored.garage_file()
    is_lost = not is_garage(place) and bool(keys_beside(place))
    head = stored.import_case(folder, name, by)
    case_id = folder.resolve().name if name is None else name
    value = {"case": case_id, "number": head.number, "hash": head.hash}
    told = f"{case_id} is in the garage, entry {head.number}."
    if is_lost:
        told += f" None was at {place}: it is new. If there was one, put its backup there."
    then = f"squibwise assess {case_id}"
    return output.answer(value, lambda: tell_done(told, then), as_json=as_json, code=0)


@click.command(
    short_help="Write a case of the garage out as a folder.",
    epilog=examples("export harrow-07 my-cars/harrow-07", "export harrow-07 elsewhere --json"),
)
@click.argument("case_id", metavar="CASE")
@click.argument("folder", type=click.Path(path_type=Path))
@click.option(
    "--altered", is_flag=True, help="Also a case whose history is not as it was written: to rescue."
)
@answers
def export(case_id: str, folder: Path, altered: bool, as_json: bool) -> int:
    """Write a case of the garage out as a new folder, byte for byte as it was put in."""
    from squibwise.cli import stored
    from squibwise.present.tell_entries import tell_done

    count = stored.export_case(case_id, folder, altered=altered)
    value = {"case": case_id, "folder": str(folder), "files": count}
    told = f"{case_id} is in {folder}."
    return output.answer(value, lambda: tell_done(told), as_json=as_json, code=0)


@click.group(
    short_help="List, check and copy the garage.",
    epilog=examples("garage list", "garage history harrow-07", "garage backup copy.db"),
)
def garage() -> None:
    """Look into the garage: its cases, their history, whether all is whole; copy it."""


@garage.command("list")
@answers
def list_(as_json: bool) -> int:
    """List the cases of the garage."""
    from squibwise.cli import stored
    from squibwise.garage import store
    from squibwise.garage.cases import read_title
    from squibwise.present.tell_entries import tell_garage

    with stored.opened_garage() as opened:
        cases = [
            (c, read_title(opened, c), store.history(opened, c)[-1]) for c in store.case_ids(opened)
        ]
    value = {"cases": [{"case": c, "title": t} | output.as_builtins(last) for c, t, last in cases]}
    place = stored.garage_file()
    return output.answer(value, lambda: tell_garage(cases, place), as_json=as_json, code=0)


@garage.command("history")
@click.argument("case_id", metavar="CASE")
@answers
def history(case_id: str, as_json: bool) -> int:
    """Tell everything that happened to a case, taken back or not."""
    from squibwise.cli import stored
    from squibwise.garage import store
    from squibwise.present.tell_entries import tell_history

    with stored.opened_garage() as opened:
        entries = store.history(opened, case_id)
    value = {"case": case_id, "entries": [output.as_builtins(e) for e in entries]}
    return output.answer(value, lambda: tell_history(case_id, entries), as_json=as_json, code=0)


@garage.command("back")
@click.argument("case_id", metavar="CASE")
@by_option
@answers
def back(case_id: str, by: str, as_json: bool) -> int:
    """Take back the last entry of a case; the history keeps both."""
    from squibwise.cli import stored
    from squibwise.present.tell_entries import tell_done

    entry = stored.undo_last(case_id, by)
    value = {"case": case_id, "undone": output.as_builtins(entry)}
    told = f"{case_id}: took back entry {entry.number}, {entry.what}."
    return output.answer(value, lambda: tell_done(told), as_json=as_json, code=0)


@garage.command("check")
@answers
def check(as_json: bool) -> int:
    """Check that every entry and every original is as it was written."""
    from squibwise.cli import stored
    from squibwise.garage import store
    from squibwise.garage.checking import check_garage
    from squibwise.present.tell_entries import tell_garage_check

    with stored.opened_garage() as opened:
        found = check_garage(opened)
        cases = store.case_ids(opened)
    value = {"cases": list(cases), "findings": [output.as_builtins(f) for f in found]}
    place = stored.garage_file()
    told = tell_garage_check(found, len(cases), place)
    return output.answer(value, lambda: told, as_json=as_json, code=int(bool(found)))


@garage.command("backup")
@click.argument("file", type=click.Path(path_type=Path))
@answers
def backup(file: Path, as_json: bool) -> int:
    """Copy the garage to a new file, also while it is in use; a damaged one too, which is told."""
    from squibwise.cli import stored
    from squibwise.garage import database
    from squibwise.garage.checking import check_garage
    from squibwise.present.tell_entries import tell_backup

    with stored.opened_garage() as opened:
        found = check_garage(opened)
        database.backup(opened, file)
    value = {"file": str(file), "findings": [output.as_builtins(f) for f in found]}
    told = tell_backup(file, found)
    return output.answer(value, lambda: told, as_json=as_json, code=int(bool(found)))


GARAGE_COMMANDS = (import_, export, garage)


@click.command(
    short_help="Open the bench in a browser.",
    epilog=examples("serve", "serve --lan"),
)
@click.option("--port", default=PORT, show_default=True, help="Port; 0 takes a free one.")
@click.option("--lan", is_flag=True, help="Also for a phone in the same network, paired by a code.")
@click.option("--no-browser", is_flag=True, help="Do not open the browser of this machine.")
def serve(port: int, lan: bool, no_browser: bool) -> int:
    """Open the garage in a browser: pictures, looks with photographs, ticks, bench cards.

    It listens on this machine only. With --lan a phone of the same network joins by a code that
    works once.
    """
    from squibwise.cli import stored

    with stored.opened_garage(create=True):
        place = stored.garage_file()
    return run_bench(place, port, lan=lan, opens=not no_browser)
