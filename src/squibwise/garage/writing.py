"""Every write to disk: whole or not at all, never through a link, never over what is not ours.

New content is prepared beside its place under a random name that did not exist before, and moved
into place in one step. Writers of one folder wait for each other; what a killed one left under such
a name is swept away by the next, by a mark in the name that belongs to this one folder. Several
files that belong together are moved by a process of their own, so that killing this one leaves all
of them old or all of them new.
"""

import hashlib
import os
import re
import secrets
import stat
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from importlib import import_module
from pathlib import Path
from typing import Any

import msgspec

from squibwise.errors import InputError

# Windows has no such locks: a move that loses a race fails there by itself.
fcntl: Any = import_module("fcntl") if os.name == "posix" else None

PREPARED = ".squibwise-"
_PREPARED_NAME = re.compile(re.escape(PREPARED) + "([0-9a-f]{32})-([0-9a-f]{32})")
_NEW = os.O_CREAT | os.O_EXCL | os.O_WRONLY | getattr(os, "O_NOFOLLOW", 0)
_MOVE = """
import os, sys
folder, *names = sys.argv[1:]
for n in range(0, len(names), 2):
    os.replace(names[n], names[n + 1])
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        os.fsync(handle)
        os.close(handle)
"""


class NewFile(msgspec.Struct, frozen=True, kw_only=True):
    """Content and the place it goes to."""

    path: Path
    data: bytes


def never(path: Path) -> bool:
    """Replace nothing: the answer of a caller that has nothing of its own in the folder."""
    del path
    return False


def refuse_places(
    places: Iterable[Path],
    guarded: Iterable[Path] = (),
    may_replace: Callable[[Path], bool] = never,
) -> None:
    """Refuse places that must not be written to; ask this before long work.

    Args:
        places: Files that are to be written.
        guarded: Files that are never replaced, whatever the caller allows: evidence, a case file.
        may_replace: Tells whether a file that is there may be replaced.

    Raises:
        InputError: A place is guarded, is no plain file, lies in no folder, or holds something
            that may not be replaced.
    """
    kept = [(os.path.realpath(path), _identity(path)) for path in guarded]
    for place in places:
        if not place.parent.is_dir():
            remedy = "Name a file in a folder that exists."
            raise InputError(f"'{place}' cannot be written: no such folder.", remedy=remedy)
        here, real = _identity(place), os.path.realpath(place)
        if any(real == path or (here and here == mark) for path, mark in kept):
            message = f"'{place}' is evidence or the case file; it is never written over."
            raise InputError(message, remedy="Choose another name.")
        if not os.path.lexists(place):
            continue
        if not stat.S_ISREG(place.lstat().st_mode) and not place.is_symlink():
            message = f"'{place}' is no file that can be replaced."
            raise InputError(message, remedy="Choose another name.")
        if not may_replace(place):
            message = f"'{place}' is there already and is not an earlier one of this case."
            raise InputError(message, remedy="Choose another name, or say --force.")


def _identity(path: Path) -> tuple[int, int] | None:
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def write_files(
    files: Sequence[NewFile],
    guarded: Iterable[Path] = (),
    may_replace: Callable[[Path], bool] = never,
) -> None:
    """Write files that belong together, in one folder: after it all are new, or none is.

    They are moved in their order, each on disk before the next: where the power fails between two
    moves, the first is new and the later ones are old, never the other way round.

    Args:
        files: What goes where; first that from which the others can be made again.
        guarded: See ``refuse_places``.
        may_replace: See ``refuse_places``.

    Raises:
        InputError: A place is refused, or the disk is; it says what was and what was not written.
    """
    folder = files[0].path.parent
    refuse_places((f.path for f in files), guarded, may_replace)
    with _locked(folder) as lock:
        refuse_places((f.path for f in files), guarded, may_replace)
        places = [file.path for file in files]
        prepared = [_beside(folder) for _ in files]
        moving = False
        try:
            for file, path in zip(files, prepared, strict=True):
                _write_new(path, file.data, _mode(file.path))
            moving = True
            _move(prepared, places, lock)
            _settle(folder)
        except OSError as error:
            pairs = zip(prepared, places, strict=True)
            done = [place for path, place in pairs if moving and not os.path.lexists(path)]
            raise _told(error, places, done) from error
        finally:
            for path in prepared:
                _discard(path)


def change_file(path: Path, change: Callable[[bytes], bytes], seen: str | None = None) -> bytes:
    """Change a file that a person keeps, in one step, and return its new content.

    Args:
        path: A file that is there; through a link, the file that it leads to is not touched.
        change: Gives the new content from the old.
        seen: SHA-256 of the content that the person saw; None to change whatever is there.

    Raises:
        InputError: It cannot be read or written, is a link, or is not what was seen.
    """
    if path.is_symlink():
        message = f"'{path}' is a link; what it leads to is not changed."
        raise InputError(message, remedy="Name the file itself.")
    with _locked(path.parent):
        try:
            old = path.read_bytes()
        except OSError as error:
            raise InputError(f"{path}: {error.strerror}.", remedy="Name a case.") from error
        if seen is not None and hashlib.sha256(old).hexdigest() != seen:
            message = f"'{path}' was changed since it was read; nothing was written."
            raise InputError(message, remedy="Look at it again, then repeat the change.")
        new = change(old)
        prepared = _beside(path.parent)
        try:
            _write_new(prepared, new, _mode(path))
            os.replace(prepared, path)
            _settle(path.parent)
        except OSError as error:
            raise _told(error, [path]) from error
        finally:
            _discard(prepared)
    return new


def write_folder(folder: Path, files: Mapping[str, bytes], empty: Sequence[str] = ()) -> None:
    """Write a new folder with its files; it is there with all of them or not at all.

    Args:
        folder: A place where nothing is, or an empty folder.
        files: Content by path inside the folder.
        empty: Folders inside it that may stay without a file.

    Raises:
        InputError: Something is there, a path leads out of the folder, or the disk refuses.
    """
    place = folder.absolute()
    _refuse_full(place, folder)
    make_folder(place.parent)
    with _locked(place.parent):
        _refuse_full(place, folder)
        prepared = _beside(place.parent)
        try:
            for name in (*empty, *(str(Path(n).parent) for n in files)):
                _inside(prepared, name).mkdir(parents=True, exist_ok=True)
            for name, data in files.items():
                _write_new(_inside(prepared, name), data)
            if place.is_dir():
                place.rmdir()  # empty: only some systems move onto it
            os.rename(prepared, place)
            _settle(place.parent)
        except OSError as error:
            raise _told(error, [folder]) from error
        finally:
            _discard(prepared)


def _refuse_full(place: Path, named: Path) -> None:
    try:
        place.lstat()
        full = place.is_symlink() or any(place.iterdir())
    except FileNotFoundError:
        return
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        remedy = "Choose a folder that you may write to."
        raise InputError(f"{str(named)[:200]}: {reason}.", remedy=remedy) from error
    if full:
        raise InputError(f"'{named}' is not empty.", remedy="Name a new or empty folder.")


def _inside(root: Path, name: str) -> Path:
    path = root / name
    leads_out = ".." in Path(name).parts or not path.is_relative_to(root)
    if leads_out or "\0" in name:
        raise InputError(
            f"{ascii(name)[:200]} leads out of its folder.", remedy="Name a file inside it."
        )
    return path


def make_folder(folder: Path) -> None:
    """Make a folder for output; one that is there is used.

    Raises:
        InputError: It cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        remedy = "Choose a folder that you may write to."
        raise InputError(f"{str(folder)[:200]}: {reason}.", remedy=remedy) from error


@contextmanager
def preparing(folder: Path) -> Iterator[Path]:
    """Give a new folder inside another for what a library writes itself; moved out, it counts.

    It goes in any case: with this writer, or with the next one where this one is killed.

    Raises:
        InputError: The folder cannot be used.
    """
    with _locked(folder):
        prepared = _beside(folder)
        try:
            prepared.mkdir()
            yield prepared
            _settle(folder)
        finally:
            _discard(prepared)


def sweep(folder: Path) -> None:
    """Take away what killed writers left in a folder; nothing while somebody writes there."""
    if folder.is_symlink() or not folder.is_dir():
        return
    with suppress(InputError), _locked(folder, waits=False):
        pass


@contextmanager
def _locked(folder: Path, *, waits: bool = True) -> Iterator[int | None]:
    """Hold a folder against other writers; sweep away what a killed one had prepared."""
    lock = _open_folder(folder)
    try:
        if lock is not None and _holds(lock, waits=waits):
            for left in filter(is_prepared, folder.glob(f"{PREPARED}*")):
                _discard(left)
        yield lock
    finally:
        if lock is not None:
            os.close(lock)


def _holds(lock: int, *, waits: bool) -> bool:
    """Hold a folder; False where others write and nobody waits, or the system has no such locks."""
    try:
        fcntl.flock(lock, fcntl.LOCK_EX if waits else fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def _open_folder(folder: Path) -> int | None:
    if fcntl is None:
        return None
    try:
        return os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    except OSError as error:
        remedy = "Choose a folder that you may write to."
        raise InputError(f"{folder}: {error.strerror}.", remedy=remedy) from error


def _beside(folder: Path) -> Path:
    chance = secrets.token_hex(16)
    return folder / f"{PREPARED}{chance}-{_mark(folder, chance)}"


def is_prepared(path: Path) -> bool:
    """Was something certainly prepared here by a writer; whatever else has such a name was not.

    The mark in its name is over the folder itself, so that a file that came with a case from
    elsewhere, or that a person called so, never has one that fits.
    """
    found = _PREPARED_NAME.fullmatch(path.name)
    return found is not None and found[2] == _mark(path.parent, found[1])


def _mark(folder: Path, chance: str) -> str:
    here = folder.stat()
    return hashlib.sha256(f"{chance} {here.st_dev} {here.st_ino}".encode()).hexdigest()[:32]


def _mode(path: Path) -> int:
    """Return the permissions of the file that is replaced; the usual ones for a new file."""
    if path.is_symlink() or not path.exists():
        return 0o666
    return stat.S_IMODE(path.stat().st_mode)


def _write_new(path: Path, data: bytes, mode: int = 0o666) -> None:
    handle = os.open(path, _NEW | getattr(os, "O_BINARY", 0), mode)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())


def _move(prepared: Sequence[Path], places: Sequence[Path], lock: int | None) -> None:
    if len(places) == 1:
        os.replace(prepared[0], places[0])
        return
    pairs = [str(path.absolute()) for pair in zip(prepared, places, strict=True) for path in pair]
    command = [sys.executable, "-I", "-S", "-c", _MOVE, str(places[0].parent.absolute()), *pairs]
    held = () if lock is None else (lock,)
    import subprocess  # of no use to what only reads

    mover = subprocess.run(
        command, check=False, capture_output=True, start_new_session=True, pass_fds=held
    )
    if mover.returncode:
        raise OSError(0, "the files could not be moved into place")


def _settle(folder: Path) -> None:
    """Have the folder itself on disk, where the system offers that."""
    if fcntl is not None:
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _told(error: OSError, places: Sequence[Path], done: Sequence[Path] = ()) -> InputError:
    """Return the refusal of a disk, with what was and what was not written."""
    lost = ", ".join(str(place) for place in places if place not in done)
    written = f"Written: {', '.join(map(str, done))}. " if done else ""
    kept = f"Not written: {lost}; what was there is as it was." if lost else "Nothing is missing."
    where = str(places[0].parent)[:200]
    remedy = "Make room, or choose a folder that you may write to."
    return InputError(f"{where}: {error.strerror or error}. {written}{kept}", remedy=remedy)


def _discard(path: Path) -> None:
    """Take away what was prepared; where even that is refused, the next writer does it."""
    with suppress(OSError):
        _remove(path)


def _remove(path: Path) -> None:
    """Remove what was prepared, a file or a folder, and nothing that a link in it leads to."""
    if path.is_dir() and not path.is_symlink():
        for inner in path.iterdir():
            _remove(inner)
        path.rmdir()
    else:
        path.unlink(missing_ok=True)
