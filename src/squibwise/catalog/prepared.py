"""What is made of catalogue files once and kept, so that not every start makes it anew.

It lies where Python keeps the compiled modules, under the same rights: who can change it can
change the program. It holds plain values that are checked against their record when they are read,
never code, and it carries a hash of everything that it was made from and of itself: where either
differs, it is made anew. Where nothing can be written, or Python is told to keep nothing, nothing
is kept.
"""

import hashlib
import os
import sys
from collections.abc import Callable, Iterable, Sequence
from contextlib import suppress
from importlib.util import cache_from_source
from pathlib import Path
from typing import TypeVar

import msgspec

T = TypeVar("T")
_HASH_BYTES = 32


def keep_prepared(
    kind: type[T], make: Callable[[], T], made_by: Sequence[Path], texts: Iterable[str]
) -> T:
    """Return what was kept, or else what is made now, which is kept for the next time.

    Args:
        kind: The record that it is.
        make: Makes it from the texts.
        made_by: Modules whose code says how; it is kept beside the first one, compiled.
        texts: Everything that it is made from.
    """
    try:
        key = _hash_all((*(path.read_bytes() for path in made_by), *map(str.encode, texts)))
        place = Path(cache_from_source(made_by[0])).with_suffix(".kept")
    except (OSError, NotImplementedError):  # the modules are no files, or nothing is compiled
        return make()
    kept = _read(place, key, kind)
    if kept is not None:
        return kept
    made = make()
    if not sys.dont_write_bytecode:
        _write(place, key, msgspec.msgpack.encode(made))
    return made


def _hash_all(pieces: Iterable[bytes]) -> bytes:
    """Return a hash of pieces and of where each of them ends."""
    return hashlib.sha256(b"".join(hashlib.sha256(p).digest() for p in pieces)).digest()


def _read(place: Path, key: bytes, kind: type[T]) -> T | None:
    """Return what is kept; None when it is not there, of something else, or not whole."""
    with suppress(OSError, msgspec.DecodeError):
        content = place.read_bytes()
        said, value = content[:_HASH_BYTES], content[_HASH_BYTES:]
        if said == _hash_all((key, value)):
            return msgspec.msgpack.decode(value, type=kind)
    return None


def _write(place: Path, key: bytes, value: bytes) -> None:
    """Keep a value, whole or not at all; it is no fault when that cannot be done."""
    new = place.with_name(f"{place.name}.{os.getpid()}")
    try:
        place.parent.mkdir(exist_ok=True)
        new.write_bytes(_hash_all((key, value)) + value)
        new.replace(place)
    except OSError:
        with suppress(OSError):
            new.unlink(missing_ok=True)
