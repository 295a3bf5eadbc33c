"""A case folder as content by path: what is stored of it, and how it is written out again."""

import os
import stat
from collections.abc import Iterator
from pathlib import Path

from squibwise.errors import InputError
from squibwise.garage.writing import is_prepared, write_folder

FOLDER = "/"  # what the path of a folder without files ends in
MOST_FILES = 5_000
MOST_BYTES = 1_000_000_000
MOST_DEEP = 20

Content = dict[str, bytes]


def folder_content(folder: Path) -> Content:
    """Return every file of a case folder by its path in it; folders without files too.

    Raises:
        InputError: There is a link, a device or a name that is no text, or too much of it.
    """
    found: Content = {}
    size = 0
    for here, folders, names in walk_folder(folder):
        folders[:] = sorted(n for n in folders if not is_prepared(here / n))
        for name in sorted((*folders, *(n for n in names if not is_prepared(here / n)))):
            path = here / name
            inside = _plain_name(path.relative_to(folder))
            kind = path.lstat().st_mode
            if stat.S_ISREG(kind):
                size += path.lstat().st_size
                _refuse_much(folder, len(found), size)
                found[inside] = _read(path)
            elif stat.S_ISDIR(kind):
                found |= {} if any(path.iterdir()) else {inside + FOLDER: b""}
            else:
                remedy = "Copy what it leads to into the case, then repeat it."
                raise InputError(f"'{path}' is a link or a device.", remedy=remedy)
    return found


def walk_folder(folder: Path) -> Iterator[tuple[Path, list[str], list[str]]]:
    """Walk through a folder as ``os.walk`` does; what it cannot read or follow is refused.

    Raises:
        InputError: A folder in it may not be read, or there are too many one in the other.
    """
    for root, folders, names in os.walk(folder, onerror=_refuse):
        here = Path(root)
        if len(here.parts) - len(folder.parts) > MOST_DEEP:
            message = f"'{folder}' holds folders more than {MOST_DEEP} deep."
            raise InputError(message, remedy="Keep only what belongs to the case in its folder.")
        yield here, folders, names


def write_content(content: Content, folder: Path) -> None:
    """Write a case out as a folder: all of it, or nothing.

    Raises:
        InputError: Something is there already, a path leads out of it, or the disk refuses.
    """
    empty = [path for path in content if path.endswith(FOLDER)]
    files = {path: data for path, data in content.items() if not path.endswith(FOLDER)}
    write_folder(folder, files, empty)


def _read(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        remedy = "Make it readable, then repeat it."
        raise InputError(f"{path}: {error.strerror}.", remedy=remedy) from error


def _plain_name(path: Path) -> str:
    name = path.as_posix()
    try:
        name.encode("utf-8")
    except UnicodeEncodeError as error:
        shown = name.encode("utf-8", "backslashreplace").decode("utf-8")
        raise InputError(f"'{shown}' is no readable name.", remedy="Rename the file.") from error
    return name


def _refuse_much(folder: Path, count: int, size: int) -> None:
    if count >= MOST_FILES or size > MOST_BYTES:
        message = f"'{folder}' holds more than {MOST_FILES} files or {MOST_BYTES // 10**6} MB."
        raise InputError(message, remedy="Keep only what belongs to the case in its folder.")


def _refuse(error: OSError) -> None:
    remedy = "Name a case folder that you may read."
    raise InputError(f"{error.filename}: {error.strerror}.", remedy=remedy) from error
