"""Write entries into a case file for a person; what the person wrote there stays as it was."""

import datetime as dt
import hashlib
import re
import textwrap
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import msgspec
import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT
from tomlkit.items import Table as TomlTable

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.garage.writing import NewFile, change_file, make_folder, sweep, write_files
from squibwise.intake.case_file.load import CASE_FILE, load_case_text
from squibwise.intake.case_file.toml_text import (
    LARGEST_BYTES,
    decode,
    is_folder,
    parse,
    read_bytes,
)
from squibwise.intake.importers.base import MAX_BYTES
from squibwise.model.case import Case
from squibwise.model.work import Work

MARK = "squibwise:"
_MOST_VALUES = 500  # of one entry; the library that writes them slows down with their square
_MOST_TOLD = 3
_MOST_LINES, _MOST_DOTTED = 8_000, 200
_DOTTED = re.compile(r"^[ \t]*[\w\"'-]+[ \t]*\.[^=\n]{1,200}=", re.MULTILINE)

Pairs = Mapping[str, Any]


class OpenFile(msgspec.Struct, frozen=True, kw_only=True):
    """A case file as it was read.

    Attributes:
        path: Where it stands.
        text: Its content.
        seen: SHA-256 of its bytes.
    """

    path: Path
    text: str
    seen: str


class Addition(msgspec.Struct, frozen=True, kw_only=True):
    """Tables that one command adds.

    Attributes:
        command: What was asked, for the mark beside each table.
        at: When.
        evidence: Entries, each in the order of its keys.
        rules: Rules of the maker.
        codes: Code tables.
    """

    command: str
    at: dt.datetime
    evidence: tuple[Pairs, ...] = ()
    rules: tuple[Pairs, ...] = ()
    codes: tuple[Pairs, ...] = ()

    @property
    def mark(self) -> str:
        """The comment beside each table, by which it can be taken back."""
        asked = "".join(c if c.isprintable() else " " for c in self.command)
        return f"{MARK} {' '.join(asked.split())}, {self.at.isoformat(sep=' ')}"


def open_file(path: Path) -> OpenFile:
    """Return the case file under a path.

    Raises:
        InputError: There is none, or it cannot be read.
    """
    file = path / CASE_FILE if is_folder(path) else path
    if file.suffix.lower() != ".toml":
        remedy = "`squibwise new FOLDER --report FILE` makes a case of a report."
        raise InputError(f"'{path}' is no case that can be written into.", remedy=remedy)
    data = read_bytes(file, LARGEST_BYTES)
    return OpenFile(path=file, text=decode(data, file.name), seen=hashlib.sha256(data).hexdigest())


def add(file: OpenFile, addition: Addition, catalog: Catalog) -> Case:
    """Add tables to a case file and return the case as it is then.

    Raises:
        InputError: The case would have a mistake, or somebody changed it meanwhile.
    """
    while addition.mark in file.text:  # the same words once more in one second: a stroke of its own
        addition = msgspec.structs.replace(addition, at=addition.at + dt.timedelta(seconds=1))
    return _change(file, lambda document: _insert(document, addition), catalog)


def take_back(file: OpenFile, catalog: Catalog) -> tuple[str, int]:
    """Take back what the last command wrote; return the command and how many tables went.

    Raises:
        InputError: No command has written anything, or somebody changed the file meanwhile.
    """
    marks = [_mark_of(t) for t in _tables(_parsed(file))]
    written = [(_when(mark), n) for n, mark in enumerate(marks) if mark]
    last = marks[max(written)[1]] if written else ""
    if not last:
        remedy = "What you typed yourself is yours to edit."
        raise InputError(
            f"{file.path}: no command has written into it; nothing to take back.", remedy=remedy
        )
    _change(file, lambda document: _remove(document, last), catalog)
    return last.removeprefix(MARK).rpartition(",")[0].strip(), marks.count(last)


def list_left(file: OpenFile) -> tuple[str, ...]:
    """Return the files that a case named when it was read and names no more; they stay there."""
    before, now = (
        {str(t.get("file", "")) for t in _tables(_parsed(f))} for f in (file, open_file(file.path))
    )
    return tuple(name for name in sorted(before - now) if (file.path.parent / name).is_file())


def read_marks(file: OpenFile) -> set[str]:
    """Return the mark of every command that wrote into a case file."""
    return set(map(_mark_of, _tables(_parsed(file)))) - {""}


def take_out(file: OpenFile, marks: Iterable[str], catalog: Catalog) -> Case:
    """Take out what the commands with these marks wrote; all that was written later stays.

    Raises:
        InputError: The case would have a mistake, or somebody changed it meanwhile.
    """

    def change(document: tomlkit.TOMLDocument) -> None:
        for mark in marks:
            _remove(document, mark)

    return _change(file, change, catalog)


def _when(mark: str) -> str:
    return mark.rpartition(", ")[2]


def _parsed(file: OpenFile) -> tomlkit.TOMLDocument:
    """Return the file with every blank and comment in its place.

    What keeps them slows down with the square of what it reads: the strict reader goes first.
    """
    if file.text.count("\n") > _MOST_LINES:
        told = f"{file.path.name} has more than {_MOST_LINES:,} lines: it is not written into."
        raise InputError(told, remedy="Leave out what says the same again.")
    if sum(1 for _ in _DOTTED.finditer(file.text)) > _MOST_DOTTED:
        told = f"{file.path.name} has more than {_MOST_DOTTED} keys with dots in them."
        raise InputError(told, remedy="Write them under a [table] of their own.")
    parse(file.text, file.path.name)
    try:
        return tomlkit.parse(file.text)
    except TOMLKitError as error:
        remedy = f"`squibwise assess {file.path.parent}` tells what is wrong in it."
        raise InputError(
            f"{file.path}: it cannot be written into: {error}", remedy=remedy
        ) from error


def _change(
    file: OpenFile, change: Callable[[tomlkit.TOMLDocument], None], catalog: Catalog
) -> Case:
    """Change a case file in one step, once it is proved that the result is a case."""
    document = _parsed(file)
    change(document)
    text = tomlkit.dumps(document)
    if "\r\n" in file.text:
        text = text.replace("\r\n", "\n").replace("\n", "\r\n")
    if len(text.encode("utf-8")) > LARGEST_BYTES:
        told = f"{file.path.name} would have more than {LARGEST_BYTES / 2**20:,.0f} MB."
        raise InputError(told, remedy="Nothing was written. Add less at once, or a file beside it.")
    case = _loaded(text, file, catalog)
    _refuse_loss(file, text)
    sweep(file.path.parent / "evidence")
    change_file(file.path, lambda _: text.encode("utf-8"), seen=file.seen)
    return case


def _loaded(text: str, file: OpenFile, catalog: Catalog) -> Case:
    """Return the case of a changed text.

    Raises:
        InputError: The case had a mistake before, or would have one now.
    """
    try:
        return load_written(text, file.path, catalog, _MOST_TOLD)
    except InputError:
        load_case_text(file.text, file.path, catalog)
        raise


def load_written(text: str, path: Path, catalog: Catalog, most: int | None = None) -> Case:
    """Return the case of a text that this program wrote; a mistake in it is told without a line.

    Args:
        text: What would stand in the case file.
        path: Where it would stand.
        catalog: The catalogue.
        most: Mistakes told at most; None for all.

    Raises:
        InputError: It has a mistake: nothing of it may be written.
    """
    try:
        return load_case_text(text, path, catalog)
    except InputError as error:
        told = " ".join(f"{f.message} {f.remedy}".strip() for f in error.findings[:most])
        raise InputError(told or str(error), remedy="Nothing was written.") from error


def _refuse_loss(file: OpenFile, text: str) -> None:
    """Stop when a line that a person wrote would be lost: a fault of ours, never the person's."""
    kept = Counter(line.rstrip() for line in text.splitlines())
    lost = Counter(line.rstrip() for line in _unmarked(file.text)) - kept
    lost.pop("", None)
    if lost:
        remedy = "Write the entry by hand; `--help` of the command shows what it is for."
        line = next(iter(lost))
        raise InputError(f"{file.path}: the line '{line}' would be lost.", remedy=remedy)


def _unmarked(text: str) -> list[str]:
    """Return the lines outside the tables that commands wrote."""
    kept, inside = [], False
    for line in text.splitlines():
        if line.startswith("["):
            inside = MARK in line
        if not inside or line.startswith("#"):
            kept.append(line)
    return kept


def _insert(document: tomlkit.TOMLDocument, addition: Addition) -> None:
    for pairs in addition.evidence:
        _array(document, "evidence").append(_table(pairs, addition.mark))
    for pairs in addition.codes:
        _array(document, "codes").append(_table(pairs, addition.mark))
    if addition.rules:
        if "profile" not in document:
            document["profile"] = tomlkit.table()
        profile = document["profile"]
        for pairs in addition.rules:
            _array(profile, "rules").append(_table(pairs, addition.mark))


def _array(holder: Any, key: str) -> AoT:  # noqa: ANN401 - a document or one of its tables
    if key not in holder:
        holder[key] = tomlkit.aot()
    array = holder[key]
    if not isinstance(array, AoT):
        remedy = f"Write each of its tables as [[{key}]] first."
        raise InputError(f"'{key}' is a list in brackets in this case file.", remedy=remedy)
    return array


def _table(pairs: Pairs, mark: str) -> TomlTable:
    count = _count_values(dict(pairs))
    if count > _MOST_VALUES:
        told = f"one entry holds {count:,} values; the most is {_MOST_VALUES:,}."
        raise InputError(told, remedy="Nothing was written. Write several entries.")
    table = tomlkit.table()
    for key, value in pairs.items():
        table.add(key, value)
    table.comment(mark)
    table.add(tomlkit.nl())
    return table


def _count_values(value: object) -> int:
    if isinstance(value, dict):
        return sum(map(_count_values, value.values()))
    return sum(map(_count_values, value)) if isinstance(value, list | tuple) else 1


def _tables(document: tomlkit.TOMLDocument) -> list[Any]:
    profile = document.get("profile", {})
    return [*document.get("evidence", ()), *document.get("codes", ()), *profile.get("rules", ())]


def _mark_of(table: Any) -> str:  # noqa: ANN401 - whatever the document holds
    comment = table.trivia.comment.lstrip("# ") if isinstance(table, TomlTable) else ""
    return comment if comment.startswith(MARK) else ""


def _remove(document: tomlkit.TOMLDocument, mark: str) -> None:
    profile = document.get("profile", {})
    for holder, key in ((document, "evidence"), (document, "codes"), (profile, "rules")):
        array = holder.get(key, ())
        for index in reversed(range(len(array))):
            if _mark_of(array[index]) == mark:
                array.pop(index)
        if isinstance(array, AoT) and not len(array):
            del holder[key]


def entries_of(file: Path, name: str) -> tuple[Pairs, ...] | None:
    """Return the ``[[evidence]]`` tables of a block that was printed; None when it is a report.

    Args:
        file: The file.
        name: What the person calls it.

    Raises:
        InputError: It holds TOML that is no such block, or cannot be read.
    """
    data = read_bytes(file, MAX_BYTES)
    if not re.search(rb"^[ \t]*\[\[?[ \t]*\w", data, re.MULTILINE):
        _refuse_headless(data)
        return None
    text = textwrap.dedent(decode(data, name)).replace("\r\n", "\n")
    try:
        tables, impossible = parse(text, name)
    except InputError as error:
        if not _HEADING.search(text):
            return None  # a report with brackets in it
        remedy = "Hand in the block as it was printed, from [[evidence]] on."
        raise InputError(f"this is no entry: {error}", remedy=remedy) from error
    if impossible:
        raise InputError(f"{name}: this is no entry.", findings=impossible)
    entries = tables.pop("evidence", None)
    if tables or not isinstance(entries, list) or not entries:
        remedy = "Only [[evidence]] tables can be added; edit the rest in case.toml."
        raise InputError(f"{name}: it holds more than [[evidence]] tables.", remedy=remedy)
    return tuple(entries)


_HEADING = re.compile(r"^[ \t]*\[\[?[ \t]*evidence[ \t]*(\]|$)", re.MULTILINE | re.IGNORECASE)
_OWN_KEY = re.compile(
    rb"^[ \t]*(kind|component|loop|seen|what|serial)[ \t]*=[ \t]*[\"']", re.MULTILINE
)


def _refuse_headless(data: bytes) -> None:
    """Refuse what reads as an entry whose heading was left behind.

    Raises:
        InputError: Two or more keys of an entry stand in it, and no heading.
    """
    if len({found[1] for found in _OWN_KEY.finditer(data)}) > 1:
        remedy = "Hand it in from [[evidence]] on; the line above it was left behind."
        raise InputError("this looks like an entry without its [[evidence]] line.", remedy=remedy)


def copy_report(case_path: Path, file: Path) -> str:
    """Copy a report into the evidence folder of a case and return its path inside the case.

    Raises:
        InputError: A file of that name with other content is there, or the disk refuses.
    """
    if not file.name.isprintable():
        shown = ascii(file.name)[:120]
        raise InputError(f"{shown} is no readable name.", remedy="Rename the file.")
    data = read_bytes(file, MAX_BYTES)
    folder = open_file(case_path).path.parent
    if (folder / "evidence").is_symlink():
        message = f"'{folder / 'evidence'}' is a link; nothing is written through it."
        raise InputError(message, remedy="Make it a folder of the case.")
    make_folder(folder / "evidence")
    place = folder / "evidence" / file.name
    if place.is_file() and place.read_bytes() != data:
        message = f"'{place}' is there already, and it says something else."
        other = f"{file.stem}-2{file.suffix}"
        raise InputError(message, remedy=f"Give yours another name, such as {other}.")
    if not place.is_file():
        write_files([NewFile(path=place, data=data)])
    return f"evidence/{file.name}"


@contextmanager
def copied(case_path: Path, name: str) -> Iterator[None]:
    """Leave no new copy of a file in the evidence folder when what follows fails."""
    folder = case_path if case_path.is_dir() else case_path.parent
    place = folder / "evidence" / name
    had_folder, had_file = place.parent.exists(), place.exists()
    try:
        yield
    except InputError:
        if not had_file:
            place.unlink(missing_ok=True)
        if not had_folder and place.parent.is_dir():
            place.parent.rmdir()
        raise


PICTURES = (".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif", ".gif", ".tif", ".tiff")


def is_picture(file: Path) -> bool:
    """Is a file a photograph, by its name."""
    return file.suffix.lower() in PICTURES


def load_entry(mark: str, loop: str, move: str) -> Pairs:
    """Return the entry of a substitute load that goes into a circuit, or comes out of it."""
    return {"kind": "substitute-load", "serial": mark, "loop": loop, "move": move}


def lamp_entry(seconds: float) -> Pairs:
    """Return the entry of a lamp that lit, went out after so many seconds and stayed out.

    Of the drive it says nothing: that is an operation of its own.
    """
    return {"kind": "lamp-check", "lit": True, "out_after_s": seconds, "stayed_out": True}


def photo_entry(case_path: Path, file: Path, subject: str, todo: Work | None) -> Pairs:
    """Copy a photograph into the evidence folder and return its entry.

    Args:
        case_path: Folder of the case.
        file: The photograph.
        subject: Component, or number of an operation; empty = the car as a whole.
        todo: The work, when the subject is a number.

    Raises:
        InputError: No operation has that number, or the disk refuses.
    """
    entry = {"kind": "photo"}
    if todo is not None:
        operation = next((o for o in todo.operations if str(o.n) == subject), None)
        if operation is None:
            remedy = "`squibwise work CASE` prints the numbers."
            raise InputError(f"no operation has the number {subject}.", remedy=remedy)
        entry["operation"] = operation.id
    elif subject:
        entry["component"] = subject
    digest = hashlib.sha256(read_bytes(file, MAX_BYTES)).hexdigest()
    return entry | {"file": copy_report(case_path, file), "sha256": digest}
