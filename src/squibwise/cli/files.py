"""Files that commands read and write; the writing itself is done in ``garage``."""

import datetime as dt
import sys
from collections.abc import Callable, Iterable, Mapping
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

import click
import msgspec

from squibwise import __version__
from squibwise import case as line
from squibwise.catalog.load import Catalog
from squibwise.cli.stored import folder_of, garage_file
from squibwise.errors import InputError
from squibwise.garage.folders import walk_folder
from squibwise.garage.keys import known_keys, make_known, own_key, sign_finished
from squibwise.garage.writing import NewFile, make_folder, refuse_places, write_files
from squibwise.model.belief import ComponentBelief
from squibwise.model.case import Case, Experience
from squibwise.model.proof import ProofRecord, Verification

if TYPE_CHECKING:
    from squibwise.present.tell_papers import Paper
    from squibwise.present.tell_record import Form


def own_fonts() -> Path:
    """Return where fonts of the user's own lie, for letters that the built-in ones lack."""
    return garage_file().parent / "fonts"


def json_beside(out: Path) -> Path:
    """Return where the data of a record goes: beside its PDF."""
    return out.with_suffix(".json")


def kept_files(path: Path, case: Case) -> tuple[Path, ...]:
    """Return the files of a case that no command may write over: case file, reports, evidence.

    Args:
        path: The case as it was named: a folder, its ``case.toml``, or a bare report.
        case: The case.
    """
    folder = folder_of(path)
    named = (folder / name for name in case.files)
    evidence = folder / "evidence"
    walked = walk_folder(evidence) if evidence.is_dir() else ()
    held = (here / name for here, inner, names in walked for name in (*inner, *names))
    return (path, folder / "case.toml", *named, *held)


def may_replace_record(case_id: str, *, force: bool) -> Callable[[Path], bool]:
    """Return who decides whether a file that is there gives way to a record of a case.

    An earlier record of the same case does; anything else only by ``force``, or when the person at
    the terminal says so.
    """

    @cache
    def decide(path: Path) -> bool:
        return force or _is_record_of(path, case_id) or _says_yes(path)

    return decide


def _is_record_of(path: Path, case_id: str) -> bool:
    found = None if path.is_symlink() else _held_record(path)
    return found is not None and found.case_id == case_id


def _held_record(path: Path) -> ProofRecord | None:
    """Return the record that a file holds, unchecked; None when it holds none."""
    from squibwise.documents import attached_record
    from squibwise.prove.verifying import read_record

    try:
        return read_record(attached_record(record_bytes(path)))
    except InputError:
        return None


def _says_yes(path: Path) -> bool:
    asked = sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty()
    question = f"'{path}' is there already and is not an earlier record of this case. Replace it?"
    return asked and click.confirm(question, err=True)


def refuse_as_record(out: Path, kept: Iterable[Path], may_replace: Callable[[Path], bool]) -> None:
    """Refuse a place that a record cannot be written to, before any work is done.

    Args:
        out: Where the PDF goes.
        kept: Files that are never written over.
        may_replace: See ``may_replace_record``.

    Raises:
        InputError: It is no PDF name, its folder is not there, or what is there must stay.
    """
    if out.suffix.lower() != ".pdf":
        raise InputError(f"'{out}' does not end in .pdf.", remedy="Write -o record.pdf.")
    refuse_places((out, json_beside(out)), kept, may_replace)


def write_record(
    record: ProofRecord,
    out: Path,
    kept: Iterable[Path],
    may_replace: Callable[[Path], bool],
    form: "Form" = "record",
    pictures: Mapping[str, bytes] | None = None,
) -> None:
    """Write a record as PDF and, beside it, as JSON: both, or none.

    The PDF comes first: it carries the JSON, which can be taken out of it again.

    Args:
        record: The record; a signed one has its pages signed too.
        out: Where the PDF goes.
        kept: See ``refuse_as_record``.
        may_replace: See ``refuse_as_record``.
        form: Which pages.
        pictures: Copies of its photographs, by path.

    Raises:
        InputError: The place or the disk refuses.
    """
    from squibwise.documents import record_pdf
    from squibwise.prove.recording import to_json

    key = own_key(garage_file().parent) if record.signature else None
    both = (
        NewFile(path=out, data=record_pdf(record, form, pictures, key, own_fonts())),
        NewFile(path=json_beside(out), data=to_json(record)),
    )
    write_files(both, kept, may_replace)


def take_pictures(case: Case, folder: Path, catalog: Catalog) -> tuple[Case, dict[str, bytes]]:
    """Return the case with what its record says of its pictures, and the copies that it holds."""
    from squibwise.documents import looking

    def read(name: str) -> bytes:
        path = folder / name
        is_file = path.is_file() and not path.is_symlink()
        small = is_file and path.stat().st_size <= looking.LARGEST_FILE
        return path.read_bytes() if small else b""

    return looking.take_pictures(case, read, catalog)


def issue(
    case: Case,
    catalog: Catalog,
    own: Experience,
    *,
    withhold: bool = False,
) -> ProofRecord:
    """Return the record of a case, signed when it is finished.

    Args:
        case: The case, with what was measured of its pictures.
        catalog: The catalogue.
        own: What the user's own finished cases teach.
        withhold: Leave out crash data and prices.

    Raises:
        InputError: The key cannot be read or made.
    """
    from squibwise.prove import sealing

    record = signed(line.release(case, catalog, dt.date.today(), own, __version__), case)
    return sealing.withhold(record) if withhold else record


def chosen_form(reader: str | None, *, annex: bool) -> "Form":
    """Return which pages are asked for.

    Raises:
        InputError: Both the annex and the page of one reader.
    """
    from squibwise.present.tell_record import READERS

    if reader is not None and annex:
        remedy = "Write two files: one --for the reader, one with --annex."
        raise InputError("the page of one reader has no annex.", remedy=remedy)
    whole: Form = "annex" if annex else "record"
    return next((f for f in READERS if f == reader), whole)


def signed(record: ProofRecord, case: Case) -> ProofRecord:
    """Return a finished record signed with the user's key; a draft is not signed.

    Raises:
        InputError: The key cannot be read or made.
    """
    return sign_finished(record, case, garage_file().parent, dt.date.today())


def verified(
    file: Path,
    catalog: Catalog,
    know: str | None,
    stamp: Path | None = None,
    authority: Path | None = None,
) -> Verification:
    """Return whether a record can be relied on; a valid one may make its key known.

    Args:
        file: The record.
        catalog: The words that a record must carry.
        know: Whose key it is that signed; None to keep nothing.
        stamp: File of a time stamp over it; None for none.
        authority: File of the certificate under which the stamp's must be issued; None = any.

    Raises:
        InputError: It cannot be read, or the known keys cannot.
    """
    from squibwise.documents import check_file
    from squibwise.prove.stamping import tell_stamp
    from squibwise.prove.verifying import tell_day_to_come, tell_other_issue

    folder, data = garage_file().parent, record_bytes(file)
    result, record = check_file(data, catalog, known_keys(folder), own_fonts())
    if record is None:
        return result
    if know is not None and result.signature == "unknown" and record.signature is not None:
        make_known(folder, record.signature.public_key, know, dt.date.today())
        result, _ = check_file(data, catalog, known_keys(folder), own_fonts())
    if stamp is not None:
        token = record_bytes(stamp)
        trusted = (record_bytes(authority), authority.name) if authority else (None, "")
        told = tell_stamp(token, record, *trusted)
        result = msgspec.structs.replace(result, stamped=told)
    result = tell_day_to_come(result, record, dt.date.today())
    twin = file.with_suffix(".json" if file.suffix.lower() == ".pdf" else ".pdf")
    is_there = twin != file and twin.is_file() and not twin.is_symlink()
    other = _held_record(twin) if is_there else None  # None too when it is of another program
    return result if other is None else tell_other_issue(result, record, other, twin.name)


def write_data(file: Path, out: Path) -> None:
    """Write the data of a record, as the PDF carries it, to a file of its own.

    Args:
        file: The record; check it first.
        out: Where the data goes; an earlier record of the same case gives way.

    Raises:
        InputError: It holds no record, or the place or the disk refuses.
    """
    from squibwise.documents import attached_record
    from squibwise.prove.verifying import read_record

    if out.suffix.lower() != ".json":
        raise InputError(f"'{out}' does not end in .json.", remedy="Write --data record.json.")
    data = attached_record(record_bytes(file))
    may_replace = may_replace_record(read_record(data).case_id, force=False)
    write_files([NewFile(path=out, data=data)], guarded=[file], may_replace=may_replace)


def make_paper(what: str, case: Case, catalog: Catalog, own: Experience) -> "Paper":
    """Return a paper for the bench: ``tags``, ``cards`` or ``pack``.

    Raises:
        InputError: Something in the case cannot be recorded.
    """
    from squibwise.present import tell_papers as told

    if what == "pack":
        return told.tell_pack(line.release(case, catalog, dt.date.today(), own), catalog)
    todo = line.work(case, catalog, own)
    if what == "tags":
        return told.tell_tags(case, todo, catalog)
    loops = [i.component for i in todo.items if i.action == "trace" and i.component and not i.done]
    traces = [line.trace(case, loop, catalog, own) for loop in dict.fromkeys(loops)]
    return told.tell_cards(case, traces, catalog)


def write_paper(
    paper: "Paper", out: Path, day: dt.date, kept: Iterable[Path], *, force: bool
) -> None:
    """Write a paper for the bench.

    Args:
        paper: What it tells.
        out: Where it goes.
        day: The date in it.
        kept: Files that are never written over.
        force: Replace what is there.

    Raises:
        InputError: It is no PDF name, something is there, or the disk refuses.
    """
    from squibwise.documents.papers import papers_pdf

    if out.suffix.lower() != ".pdf":
        raise InputError(f"'{out}' does not end in .pdf.", remedy="Write -o tags.pdf.")
    refuse_places((out,), kept, lambda _: force)
    write_files(
        [NewFile(path=out, data=papers_pdf(paper, day, own_fonts()))], kept, lambda _: force
    )


def write_check_page(page: Path, catalog: Catalog) -> None:
    """Write the page that checks records in a browser.

    Raises:
        InputError: It is no HTML name, something else is there, or the disk refuses.
    """
    from squibwise.documents.check_page import check_page

    if page.suffix.lower() not in (".html", ".htm"):
        raise InputError(f"'{page}' does not end in .html.", remedy="Write --page check.html.")
    data = check_page(catalog).encode("utf-8")
    write_files([NewFile(path=page, data=data)], may_replace=_is_check_page)


def _is_check_page(path: Path) -> bool:
    """An earlier such page gives way to a new one; anything else stays."""
    with path.open("rb") as file:
        return b"<title>Check a restraint record</title>" in file.read(1000)


def write_drawings(beliefs: Iterable[ComponentBelief], folder: Path) -> tuple[Path, ...]:
    """Write one drawing for each belief into a folder, made when it is not there.

    Raises:
        InputError: The folder cannot be written to, or holds another file of that name.
    """
    from squibwise.documents import waterfall_svg

    make_folder(folder)
    drawn = {folder / f"{c.id}.svg": waterfall_svg(c) for c in beliefs}
    for path, svg in drawn.items():
        write_drawing(path, svg)
    return tuple(drawn)


def write_drawing(path: Path, svg: str) -> None:
    """Write a drawing; an earlier one of that name gives way.

    Raises:
        InputError: It cannot be written, or another file of that name is there.
    """
    write_files([NewFile(path=path, data=svg.encode("utf-8"))], may_replace=_is_drawing)


def _is_drawing(path: Path) -> bool:
    """Earlier drawings give way to new ones; a file that is none stays."""
    with path.open("rb") as file:
        return file.read(4) == b"<svg"


def record_bytes(path: Path) -> bytes:
    """Return the content of a record file.

    Raises:
        InputError: It is missing, empty, unreadable or too large.
    """
    from squibwise.intake.case_file.toml_text import read_bytes
    from squibwise.prove.verifying import LARGEST_BYTES

    data = read_bytes(path, LARGEST_BYTES)
    if not data:
        raise InputError(f"{path}: the file is empty.", remedy="Ask for the record again.")
    return data
