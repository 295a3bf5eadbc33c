"""Write entries into a case file for a person; what the person wrote there stays as it was."""

import datetime as dt
import hashlib
import re
import textwrap
import tomllib
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import msgspec
import tomlkit
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT
from tomlkit.items import Table as TomlTable

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.garage.writing import NewFile, change_file, make_folder, write_files
from squibwise.intake.case_file.checks import did_you_mean
from squibwise.intake.case_file.load import CASE_FILE, load_case_text
from squibwise.intake.case_file.toml_text import LARGEST_BYTES, decode, is_folder, read_bytes
from squibwise.intake.importers.base import MAX_BYTES
from squibwise.model.case import Case
from squibwise.model.words import ASKED_WORDS
from squibwise.model.work import Operation, Work, WorkItem
from squibwise.require.progress import entry_for
from squibwise.require.questions import ANSWERS, CRASH, YES, answer_rules

MARK = "squibwise:"
_RANGE = re.compile(r"(\d{1,6})(?:-(\d{1,6}))?")
_MOST_NUMBERS, _MOST_TOLD = 2000, 3

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
    """

    command: str
    at: dt.datetime
    evidence: tuple[Pairs, ...] = ()
    rules: tuple[Pairs, ...] = ()

    @property
    def mark(self) -> str:
        """The comment beside each table, by which it can be taken back."""
        return f"{MARK} {self.command}, {self.at.isoformat(sep=' ')}"


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


def _when(mark: str) -> str:
    return mark.rpartition(", ")[2]


def _parsed(file: OpenFile) -> tomlkit.TOMLDocument:
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
    case = _loaded(text, file, catalog)
    _refuse_loss(file, text)
    change_file(file.path, lambda _: text.encode("utf-8"), seen=file.seen)
    return case


def _loaded(text: str, file: OpenFile, catalog: Catalog) -> Case:
    """Return the case of a changed text; a mistake that the change brought is told without a line.

    Raises:
        InputError: The case had a mistake before, or would have one now.
    """
    try:
        return load_case_text(text, file.path, catalog)
    except InputError as error:
        load_case_text(file.text, file.path, catalog)
        told = " ".join(f"{f.message} {f.remedy}".strip() for f in error.findings[:_MOST_TOLD])
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
    table = tomlkit.table()
    for key, value in pairs.items():
        table.add(key, value)
    table.comment(mark)
    table.add(tomlkit.nl())
    return table


def _tables(document: tomlkit.TOMLDocument) -> list[Any]:
    profile = document.get("profile", {})
    return [*document.get("evidence", ()), *profile.get("rules", ())]


def _mark_of(table: Any) -> str:  # noqa: ANN401 - whatever the document holds
    comment = table.trivia.comment.lstrip("# ") if isinstance(table, TomlTable) else ""
    return comment if comment.startswith(MARK) else ""


def _remove(document: tomlkit.TOMLDocument, mark: str) -> None:
    for holder, key in ((document, "evidence"), (document.get("profile", {}), "rules")):
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
    if not re.search(rb"^\s*\[\[?\s*\w", data, re.MULTILINE):
        return None
    text = textwrap.dedent(decode(data, name)).replace("\r\n", "\n")
    try:
        tables = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, ValueError) as error:
        if "[[evidence]]" not in text:
            return None  # a report with brackets in it
        remedy = "Hand in the block as it was printed, from [[evidence]] on."
        raise InputError(f"{name}: this is no entry: {error}.", remedy=remedy) from error
    entries = tables.pop("evidence", None)
    if tables or not isinstance(entries, list) or not entries:
        remedy = "Only [[evidence]] tables can be added; edit the rest in case.toml."
        raise InputError(f"{name}: it holds more than [[evidence]] tables.", remedy=remedy)
    return tuple(entries)


def copy_report(case_path: Path, file: Path) -> str:
    """Copy a report into the evidence folder of a case and return its path inside the case.

    Raises:
        InputError: A file of that name with other content is there, or the disk refuses.
    """
    data = read_bytes(file, MAX_BYTES)
    folder = open_file(case_path).path.parent
    if (folder / "evidence").is_symlink():
        message = f"'{folder / 'evidence'}' is a link; nothing is written through it."
        raise InputError(message, remedy="Make it a folder of the case.")
    make_folder(folder / "evidence")
    place = folder / "evidence" / file.name
    if not (place.is_file() and place.read_bytes() == data):
        write_files([NewFile(path=place, data=data)])
    return f"evidence/{file.name}"


PICTURES = (".jpg", ".jpeg", ".png", ".webp", ".heic", ".heif", ".gif", ".tif", ".tiff")


def is_picture(file: Path) -> bool:
    """Is a file a photograph, by its name."""
    return file.suffix.lower() in PICTURES


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


def read_numbers(words: Sequence[str]) -> tuple[int, ...]:
    """Return the numbers that ``9-14,22`` stands for.

    Raises:
        InputError: It is not such a list.
    """
    numbers: list[int] = []
    for word in ",".join(words).replace(" ", ",").split(","):
        found = _RANGE.fullmatch(word.strip())
        if word.strip() and not found:
            raise InputError(f"'{word}' is no number.", remedy="Write 9-14,22.")
        if found:
            first, last = int(found[1]), int(found[2] or found[1])
            numbers += range(first, last + 1)
        if len(numbers) > _MOST_NUMBERS:
            raise InputError("those are too many numbers.", remedy="Write 9-14,22.")
    if not numbers:
        raise InputError("no number was named.", remedy="Write 9-14,22.")
    return tuple(dict.fromkeys(numbers))


def numbered_items(todo: Work) -> dict[int, tuple[WorkItem, ...]]:
    """Return what each printed number of the work stands for."""
    by_id = {i.id: i for i in todo.items}
    return {o.n: tuple(_ticked(o, by_id)) for o in todo.operations}


def _ticked(operation: Operation, by_id: Mapping[str, WorkItem]) -> list[WorkItem]:
    """Return what an operation stands for: its demands, or itself when it answers none."""
    found = [by_id[d] for d in operation.demands if d in by_id]
    itself = WorkItem(
        id=operation.id,
        action="do",
        component=None,
        title=operation.title,
        strict="always",
        done=operation.done,
    )
    return found or [itself]


def _named_in(todo: Work, numbers: Sequence[int], parts: Sequence[str]) -> dict[str, WorkItem]:
    """Return the items of these operations that stand for these parts, by id.

    Raises:
        InputError: None of the operations stands for a part.
    """
    inside = [i for n in numbers for i in numbered_items(todo).get(n, ())]
    for part in parts:
        if part not in {i.component for i in inside}:
            known = sorted({i.component for i in inside if i.component})
            remedy = did_you_mean(part, known) or f"They hold {', '.join(known) or 'no part'}."
            raise InputError(f"'{part}' is not in these operations.", remedy=remedy)
    return {i.id: i for i in inside if i.component in parts}


def _refuse_vague(todo: Work, numbers: Sequence[int]) -> None:
    """Refuse to fail a whole look: what was seen is said of each thing.

    Raises:
        InputError: One of the operations is a look at several things.
    """
    for operation in todo.operations:
        if operation.n in numbers and operation.action == "look" and len(operation.demands) > 1:
            raise InputError(
                f"no. {operation.n} looks at several things: {', '.join(operation.components)}.",
                remedy=f"Say which failed: `did CASE {operation.n} --failed --of COMPONENT`, "
                "or what was seen: `saw CASE COMPONENT WORD`.",
            )


def _runs(numbers: Sequence[int]) -> list[list[int]]:
    """Return numbers in runs without a gap; a range may span numbers that a job does not have."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return runs


def entries_for(
    todo: Work,
    numbers: Sequence[int],
    catalog: Catalog,
    common: Pairs,
    *,
    failed: bool,
    safe: bool = False,
    parts: Sequence[str] = (),
) -> tuple[Pairs, ...]:
    """Return the entries that tick operations by their numbers; what is done already is left out.

    Args:
        todo: The work of the case.
        numbers: As it was printed.
        catalog: Words of the gates.
        common: Keys that every entry gets: who, when.
        failed: It was looked at or tried, and failed.
        safe: Whoever signs says of the gates among them that they hold.
        parts: Only these components of them; empty = all that they contain.

    Raises:
        InputError: A number is not on the list, or stands for nothing that can be recorded; a gate
            is ticked without saying which way, or a step that an open gate holds; a look at several
            things is failed as a whole.
    """
    known = numbered_items(todo)
    strange = [run[0] for run in _runs(numbers) if not any(n in known for n in run)]
    if strange:
        remedy = f"`squibwise work CASE` prints the numbers, 1 to {max(known, default=0)}."
        raise InputError(f"no operation has the number {strange[0]}.", remedy=remedy)
    if failed and not parts:
        _refuse_vague(todo, numbers)
    items = {i.id: i for n in numbers for i in known.get(n, ()) if failed or not i.done}
    items = _named_in(todo, numbers, parts) if parts else items
    entries = [entry_for(item, catalog) for item in items.values()]
    if not failed:
        _refuse_unsafe(list(items.values()), entries, catalog, safe=safe)
    if failed:
        entries = [e | {"result": "failed"} for e in entries if e["kind"] == "passed"]
    if not entries:
        remedy = "Nothing was written."
        raise InputError("these operations have nothing to record, or are done.", remedy=remedy)
    return tuple({**e, **common} for e in entries)


def answer_entries(
    case: Case, question: str, word: str, source: str, catalog: Catalog
) -> tuple[tuple[Pairs, ...], tuple[Pairs, ...]]:
    """Return the entries and the maker's rules that an answer stands for.

    Args:
        case: The case.
        question: Id of the question, as ``work`` prints it.
        word: ``yes`` or ``no``.
        source: Where the maker's answer stands.
        catalog: The questions.

    Raises:
        InputError: There is no such question, no such answer, or the source is missing.
    """
    known = catalog.rules.questions
    if question == "equipment" and word != YES:
        raise InputError(
            f"'{word}' does not say what the car has.",
            remedy="Answer yes when it is as the template says; else write equipment, add or "
            "remove under [car] (`squibwise catalog` lists the templates).",
        )
    if word not in ANSWERS:
        raise InputError(f"'{word}' is no answer.", remedy=f"Answer {' or '.join(ANSWERS)}.")
    if question in ASKED_WORDS:
        result = "passed" if word == YES else "failed"
        note = f"answered {word}" + (f"; {source}" if source else "")
        return ({"kind": "passed", "what": question, "result": result, "note": note},), ()
    if question == CRASH:
        return ({"kind": "circumstance", "what": "crash", "present": word == YES},), ()
    if question not in known:
        raise InputError(
            f"'{question}' is no question.",
            remedy=did_you_mean(question, (CRASH, *ASKED_WORDS, *known)),
        )
    if not source.strip():
        remedy = 'Say where it stands: --source "maker\'s procedure, section 12".'
        raise InputError("an answer of the maker needs its source.", remedy=remedy)
    rules = answer_rules(known[question], word, case, source)
    return (), tuple(
        {"component": r.component, "action": r.action, "when": r.when, "source": r.source}
        for r in rules
    )


def _refuse_unsafe(
    items: Sequence[WorkItem], entries: Sequence[Pairs], catalog: Catalog, *, safe: bool
) -> None:
    """Refuse a gate that nobody decided, and a step of the procedure that an open gate holds.

    A part that was fitted all the same is recorded: what was done is never refused.
    """
    gates = [str(e["what"]) for e in entries if e.get("what") in catalog.tasks.gates]
    if gates and not safe:
        raise InputError(
            f"{gates[0]} is a gate: a tick does not say which way it was decided.",
            remedy="Write --safe when every point of it holds, --failed when one does not.",
        )
    steps = [i for i in items if i.action == "do"]
    held = {i.title: sorted(set(i.blocked_by) - set(gates)) for i in steps}
    for title, by in held.items():
        if by:
            raise InputError(
                f"'{title}' is held by an open gate: {', '.join(by)}.",
                remedy="Sign the gate first, with --safe, by whoever made sure of it.",
            )
