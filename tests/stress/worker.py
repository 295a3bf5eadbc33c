"""One that writes without end and says after each write that it is done; it will be killed."""

import datetime as dt
import os
import sys
from collections.abc import Callable
from itertools import count
from pathlib import Path

from squibwise.errors import InputError
from squibwise.garage import store
from squibwise.garage.database import connected
from squibwise.garage.writing import NewFile, change_file, write_files, write_folder

NOW = dt.datetime(2026, 3, 2)


def say(word: str) -> None:
    """Acknowledge in one write: a person has seen it from here on."""
    os.write(1, f"{word}\n".encode())


def enter(path: Path, word: str, seen: store.Head | None = None) -> None:
    """Add one entry to a garage."""
    with connected(path, create=True) as garage:
        content = {"case.toml": word.encode(), "evidence/a": word.encode() * 2000}
        store.add(garage, "car", content, word, NOW, seen=seen)


def append(path: Path, word: str) -> None:
    """Add one line to a case file."""
    change_file(path, lambda old: old + f"{word}\n".encode())


def garage(folder: Path, n: int) -> None:
    """One entry."""
    word = f"{os.getpid()}-{n}"
    enter(folder / "garage.db", word)
    say(word)


def case(folder: Path, n: int) -> None:
    """One line, as `saw` and `did` write it."""
    word = f"{os.getpid()}-{n} whole"
    append(folder / "case.toml", word)
    say(word)


def record(folder: Path, n: int) -> None:
    """One pair."""
    data = f"{os.getpid()}-{n} ".encode().ljust(200_000, b".")
    files = [NewFile(path=folder / f"record.{end}", data=data) for end in ("pdf", "json")]
    write_files(files, may_replace=lambda _: True)
    say(str(n))


def new(folder: Path, n: int) -> None:
    """One folder."""
    files = {f"evidence/{i}": b"x" * 50_000 for i in range(5)} | {"case.toml": b"[case]"}
    write_folder(folder / f"{os.getpid()}-{n}", files)
    say(str(n))


def add(folder: Path, name: str, times: int) -> None:
    """Some entries and lines, each from what was seen; a conflict is told and tried again."""
    (folder / "case.toml").touch()
    for n in range(times):
        word = f"{name}-{n}"
        while not _entered(folder / "garage.db", word):
            say(f"conflict {word}")
        append(folder / "case.toml", word)
        say(word)


def _entered(path: Path, word: str) -> bool:
    with connected(path, create=True) as opened:
        seen = store.head(opened, "car")
    try:
        enter(path, word, seen)
    except InputError:
        return False
    return True


TASKS: dict[str, Callable[[Path, int], None]] = {
    "garage": garage,
    "case": case,
    "record": record,
    "new": new,
}


def main(task: str, place: str, *more: str) -> None:
    """Do one task without end, or the task of two writers."""
    folder = Path(place)
    if task == "add":
        add(folder, more[0], int(more[1]))
        return
    TASKS[task](folder, 0)  # one before it counts, so that all is loaded and there is a first
    say("ready")
    for n in count(1):
        TASKS[task](folder, n)


if __name__ == "__main__":
    main(*sys.argv[1:])
