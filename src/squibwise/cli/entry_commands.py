"""The commands that write into a case file, so that nobody has to type TOML."""

import datetime as dt
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from squibwise.cli import output
from squibwise.cli.commands import answers, case_argument, examples

if TYPE_CHECKING:
    from squibwise.cli.opening import Opened
    from squibwise.model.work import Work

by_option = click.option(
    "--by", metavar="NAME", callback=output.one_name, help="Who saw it, did it or signs for it."
)
time_option = click.option(
    "--time", "at", metavar="TIME", type=click.DateTime(["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"]),
    help="When it was; now when left out. [YYYY-MM-DDTHH:MM]",
)  # fmt: skip


def common_keys(by: str | None, at: dt.datetime | None) -> dict[str, Any]:
    """Return the keys that every entry gets.

    Raises:
        InputError: The time has not come yet.
    """
    from squibwise.errors import InputError

    now = dt.datetime.now().replace(microsecond=0)
    time = (at or now).replace(microsecond=0)
    if time > now:
        raise InputError(f"{time:%Y-%m-%d %H:%M} has not come yet.", remedy="Say when it was done.")
    return ({"by": by} if by else {}) | {"time": time}


def write_entries(
    case_path: Path,
    command: str,
    entries: Any,  # noqa: ANN401 - pairs of whatever TOML holds
    *,
    as_json: bool,
    rules: Any = (),  # noqa: ANN401
    told: tuple[str, ...] = (),
) -> int:
    """Add entries and rules to a case and, once they are kept, tell what was written."""
    from squibwise.cli import stored

    by = next((e["by"] for e in entries if e.get("by")), "")
    with stored.editable(case_path, command, by) as folder:
        _enter(folder, command, entries, rules)
    return _tell_kept(case_path, (*entries, *rules), told, as_json=as_json)


def _enter(
    folder: Path,
    command: str,
    entries: Any,  # noqa: ANN401 - pairs of whatever TOML holds
    rules: Any = (),  # noqa: ANN401
) -> None:
    """Add entries and rules to the case file in a folder; in a garage they are not yet kept."""
    from squibwise.catalog.load import load_catalog
    from squibwise.entering import case_text

    now = dt.datetime.now().replace(microsecond=0)
    addition = case_text.Addition(
        command=command, at=now, evidence=tuple(entries), rules=tuple(rules)
    )
    file = case_text.open_file(folder)
    if entries or rules:
        case_text.add(file, addition, load_catalog())


def _tell_kept(
    case_path: Path,
    written: Any,  # noqa: ANN401 - pairs of whatever TOML holds
    told: tuple[str, ...] = (),
    *,
    as_json: bool,
) -> int:
    """Tell what was written into a case; only ever after the case, or the garage, keeps it."""
    from squibwise.cli import stored
    from squibwise.present.tell_entries import tell_written

    file = stored.told_file(case_path)
    value = {"file": file, "written": [dict(e) for e in written]}
    return output.answer(
        value, lambda: tell_written(case_path, file, written, told), as_json=as_json, code=0
    )


@click.command(
    short_help="Write down what you saw on a part.",
    epilog=examples(
        "saw harrow-07 driver.front-bag cover-torn --by R", "saw harrow-07 left.curtain intact"
    ),
)
@case_argument
@click.argument("component")
@click.argument("word")
@by_option
@time_option
@answers
def saw(
    case_path: Path,
    component: str,
    word: str,
    by: str | None,
    at: dt.datetime | None,
    as_json: bool,
) -> int:
    """Write down what an eye saw on a component, in a word of its kind.

    `squibwise catalog KIND` lists the words; intact, deployed, damaged, missing and not-seen hold
    for every kind. A part may be named as people say it ("left curtain", windshield) where only one
    is meant.
    """
    from squibwise.cli import opening
    from squibwise.entering import saying

    opened = opening.open_case(case_path)
    component = saying.find_component(component, opened.case.car, opened.catalog, word)
    word = saying.find_seen(word, component, opened.catalog)
    entry = {"kind": "look", "component": component, "seen": word, **common_keys(by, at)}
    return write_entries(case_path, f"saw {component} {word}", [entry], as_json=as_json)


@click.command(
    short_help="Write down what is known of the crash, the seats or a flood.",
    epilog=examples("told harrow-07 nose-right moderate", "told harrow-07 flood to the seats"),
)
@case_argument
@click.argument("words", nargs=-1, required=True)
@answers
def told(case_path: Path, words: tuple[str, ...], as_json: bool) -> int:
    """Write down what is known of the event: where it was hit, who sat where, a flood, a fire.

    A circumstance (flood, rollover, parked, "no crash"), how far a flood came (flood to the seats)
    or what it reached (fire curtain), a place that was hit, how hard and from where as on a clock
    (nose-right moderate 1), or a seat and who sat in it (passenger adult belted).
    """
    from squibwise.cli import opening
    from squibwise.entering import saying

    opened = opening.open_case(case_path)
    entry = saying.find_told(words, opened.case.car, opened.catalog)
    return write_entries(case_path, f"told {' '.join(words)}", [entry], as_json=as_json)


@click.command(
    short_help="Tick operations by their numbers.",
    epilog=examples(
        "did harrow-07 9-14,22 --by R", "did harrow-07 155 --by R --failed --of driver.seat-frame"
    ),
)
@case_argument
@click.argument("numbers", nargs=-1, required=True)
@by_option
@time_option
@click.option("--failed", is_flag=True, help="It was checked and did not pass.")
@click.option("--safe", is_flag=True, help="A gate among them was decided, and holds.")
@click.option(
    "--of",
    "parts",
    multiple=True,
    metavar="COMPONENT",
    help="Only this part of them, such as the one of a look that failed; may be repeated.",
)
@click.option(
    "--lamp",
    type=click.FloatRange(0.0, 120.0),
    metavar="SECONDS",
    help="The lamp check: it lit, went out after so long, and stayed out.",
)
@click.option(
    "--ohm",
    type=click.FloatRange(0.0, 100.0),
    metavar="OHM",
    help="Substitute loads that are fitted: what each measures.",
)
@click.option("--note", default="", help="What was found, or the document that was followed.")
@answers
def did(
    case_path: Path,
    numbers: tuple[str, ...],
    by: str | None,
    at: dt.datetime | None,
    failed: bool,
    safe: bool,
    parts: tuple[str, ...],
    lamp: float | None,
    ohm: float | None,
    note: str,
    as_json: bool,
) -> int:
    """Tick operations by number or id as `work` prints them, with all that they contain.

    `visit 3` stands for what is sure and open in that visit, up to a gate, a wait or a measurement;
    looks at what may well fail are left out and named.

    Gates and words of the release (power-safe, maker-procedure, disposal, cautions, release) are
    signed by their name. A look ticks what can be seen in its area and nothing behind it; where one
    thing of several failed, --of says which.
    """
    from squibwise import case
    from squibwise.cli import opening
    from squibwise.entering import tick_visit, ticking

    opened = opening.open_case(case_path)
    todo = case.work(opened.case, opened.catalog)
    evidence = opened.case.evidence
    stroke = tick_visit.expand_visit(numbers, todo, opened.catalog, evidence, note)
    typed, named_parts = ticking.find_demands(stroke.words, todo)
    counted, words = ticking.split_words(typed, opened.catalog)
    named = ticking.name_numbers(todo, opened.catalog)
    wanted = ticking.read_numbers(counted, named) if counted or not words else ()
    wanted, fallen = ticking.drop_fallen(wanted, todo, opened.catalog)
    common = common_keys(by, at)
    entries = ticking.word_entries(
        words, todo, opened.catalog, common, failed=failed, safe=safe, note=note
    )
    if wanted:
        entries += ticking.entries_for(
            todo,
            wanted,
            opened.catalog,
            common,
            failed=failed,
            safe=safe,
            parts=(*parts, *named_parts),
            lamp=lamp,
            ohm=ohm,
            note=note,
            evidence=evidence,
        )
    entries = ticking.add_note(entries, note)
    is_whole = not (failed or parts or named_parts)
    told = _tell_ticked(opened, todo, entries, wanted if is_whole else ())
    told, command = (*told, *fallen, *stroke.told), f"did {','.join(numbers)}"
    return write_entries(case_path, command, entries, as_json=as_json, told=told)


def _tell_ticked(
    opened: "Opened", todo: "Work", entries: Sequence[Mapping[str, Any]], whole: Sequence[int]
) -> tuple[str, ...]:
    """Return what is told beside what was written of operations, some ticked as a whole."""
    from squibwise.entering import tick_times, tick_visit, ticking
    from squibwise.history.order import read_history

    evidence, catalog = opened.case.evidence, opened.catalog
    return (
        *ticking.tell_along(entries, todo, catalog),
        *tick_times.tell_later_looks(entries, read_history(evidence), catalog),
        *ticking.tell_left_open(todo, whole, evidence, catalog),
        *tick_visit.tell_doubts(whole, todo, catalog),
    )


@click.command(
    short_help="Add the block that a bench card printed, a report, or a photograph.",
    epilog=examples(
        "add harrow-07 scan-after.pdf --when after-repair",
        "add harrow-07 bag.jpg --of driver.front-bag --by R",
    ),
)
@case_argument
@click.argument("file", type=click.Path(path_type=Path, allow_dash=True))
@click.option(
    "--when", type=click.Choice(["before-repair", "after-repair"]),
    help="A report: read before or after the repair.",
)  # fmt: skip
@click.option("--complete", is_flag=True, help="A report: every circuit of the unit was read.")
@click.option(
    "--of",
    "subject",
    default="",
    metavar="COMPONENT|NUMBER",
    help="A photograph: the component it shows, or the operation it documents.",
)
@click.option("--note", default="", help="A photograph: what is to be seen.")
@by_option
@time_option
@answers
def add(
    case_path: Path,
    file: Path,
    when: str | None,
    complete: bool,
    subject: str,
    note: str,
    by: str | None,
    at: dt.datetime | None,
    as_json: bool,
) -> int:
    """Add to a case: a printed [[evidence]] block, from a file or `-`, a scan report, a photograph.

    A report or a photograph is copied into the evidence folder of the case; nothing that is there
    is replaced. A picture is a photograph unless --when says that it shows a report.
    """
    from squibwise.cli import opening, stored
    from squibwise.entering import case_text, saying

    command = f"add {file.name}"
    is_photo = bool(subject) or (case_text.is_picture(file) and not when and not complete)
    with (
        stored.as_file(file) as given,
        stored.editable(case_path, command, by or "") as folder,
        case_text.copied(folder, given.name),
    ):
        if is_photo:
            todo = _work_of(folder) if subject.isdigit() else None
            entry = dict(case_text.photo_entry(folder, given, subject, todo))
            entry |= ({"note": note} if note else {}) | common_keys(by, at)
            entries: Any = (entry,)
        elif (block := case_text.entries_of(given, file.name)) is not None:
            opened = opening.open_case(folder)
            saying.refuse_strange_entries(block, opened.case, opened.catalog)
            entries = block
        else:
            stated: dict[str, Any] = {"when": when} if when else {}
            stated |= {"complete": True} if complete else {}
            name = case_text.copy_report(folder, given)
            entries = ({"kind": "report", "file": name, **stated, **common_keys(None, at)},)
        _enter(folder, command, entries)
    return _tell_kept(case_path, entries, as_json=as_json)


def _work_of(case_path: Path) -> "Work":
    from squibwise import case
    from squibwise.cli import opening

    opened = opening.open_case(case_path)
    return case.work(opened.case, opened.catalog)


@click.command(
    short_help="Answer questions about the maker's rules.",
    epilog=examples(
        "answer harrow-07 unit-bags no clock-spring yes --source 'procedure, section 12'",
        "answer harrow-07 crash yes",
    ),
)
@case_argument
@click.argument("words", nargs=-1, required=True, metavar="QUESTION yes|no ...")
@click.option("--source", default="", help="Where the maker says so; needed for his rules.")
@answers
def answer(case_path: Path, words: tuple[str, ...], source: str, as_json: bool) -> int:
    """Answer questions that `work` asks, with where the answers stand; everything follows.

    Several may be answered at once from one source. What a flood or fire reached is answered by a
    height (floor, seats, dash, roof) or by parts.
    """
    from squibwise.cli import opening
    from squibwise.entering import answering

    at = opening.open_case(case_path)
    entries, rules = answering.read_answers(at.case, words, source, at.catalog)
    told = answering.tell_idle(at.case, words, rules, at.catalog)
    command = f"answer {' '.join(words)}"
    return write_entries(case_path, command, entries, as_json=as_json, rules=rules, told=told)


@click.command(
    short_help="Take back what the last of these commands wrote.",
    epilog=examples("undo harrow-07", "undo harrow-07 --json"),
)
@case_argument
@answers
def undo(case_path: Path, as_json: bool) -> int:
    """Take back what the last `saw`, `did`, `add` or `answer` wrote; what you typed stays."""
    from squibwise.catalog.load import load_catalog
    from squibwise.cli import stored
    from squibwise.entering import case_text
    from squibwise.present.tell_entries import tell_taken_back

    with stored.editable(case_path, "undo") as folder:
        file = case_text.open_file(folder)
        command, count = case_text.take_back(file, load_catalog())
        left = case_text.list_left(file)
    place = stored.told_file(case_path)
    value = {"file": place, "taken_back": command, "entries": count, "left": left}
    return output.answer(
        value, lambda: tell_taken_back(place, command, count, left), as_json=as_json, code=0
    )


ENTRY_COMMANDS = (saw, told, did, add, answer, undo)
