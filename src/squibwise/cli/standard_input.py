"""A file, or ``-`` for what is piped in."""

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory

from squibwise.errors import InputError

DASH = Path("-")
NAME = "standard-input"
_LARGEST = 64_000_000


@contextmanager
def as_file(path: Path) -> Iterator[Path]:
    """Give a file as it is; for ``-``, a file that holds what was piped in, while it is used.

    Raises:
        InputError: Nothing was piped in, or too much.
    """
    if path != DASH:
        yield path
        return
    if sys.stdin is None or sys.stdin.isatty():
        remedy = "Pipe a file in, or name it: `squibwise read - < scan.txt`."
        raise InputError("nothing was piped in.", remedy=remedy)
    data = sys.stdin.buffer.read(_LARGEST + 1)
    if len(data) > _LARGEST:
        raise InputError("more was piped in than is read.", remedy="Name the file instead.")
    with TemporaryDirectory(prefix="squibwise-") as folder:
        file = Path(folder) / NAME
        file.write_bytes(data)
        yield file
