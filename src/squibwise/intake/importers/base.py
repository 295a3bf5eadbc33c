"""What every importer takes and hands over, how much of a file is read, and reading apart."""

import contextlib
import importlib
import os
import signal
import sys
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import msgspec

from squibwise.errors import InputError, UnavailableError
from squibwise.model.origin import Finding

if TYPE_CHECKING:
    import subprocess

    Ended = subprocess.CompletedProcess[bytes]

_AS_TEXT = "Print the report to PDF again, or save it as text, and read that."


class RawLine(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One line of a report, whatever its format was.

    Attributes:
        number: Line in the file, from 1; row of a sheet, or line counted over all pages.
        text: Its text, cells joined by a tab where there are cells.
        cells: The cells of a table row; empty when the format has none.
        sheet: Name of the sheet that begins with this row.
    """

    number: int
    text: str
    cells: tuple[str, ...] = ()
    sheet: str = ""


class Extract(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What an importer got out of a file.

    Attributes:
        lines: In reading order.
        findings: What was wrong or remarkable with the file.
        format: Word for the format, such as ``text``, ``csv``, ``pdf``.
        recorded: Anything an importer read beside text, such as crash data series.
    """

    lines: tuple[RawLine, ...]
    findings: tuple[Finding, ...] = ()
    format: str
    recorded: tuple[object, ...] = ()


class Document(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A file that was handed in.

    Attributes:
        data: Its bytes.
        name: Its name as the user wrote it; a hint, and the file named in messages.
        text: Its text; None for a format that is not text.
    """

    data: bytes
    name: str
    text: str | None = None

    def ends(self, *endings: str) -> bool:
        """Tell whether the name ends so, in any case."""
        return self.name.lower().endswith(endings)


class Part(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A document inside another one, such as an attachment."""

    data: bytes
    name: str


class Unpacked(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a container held.

    Attributes:
        parts: Documents to be read on their own, in order.
        findings: What was left out and why.
    """

    parts: tuple[Part, ...]
    findings: tuple[Finding, ...] = ()


class Importer(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One format.

    Attributes:
        format: Its word.
        claims: Tells by the content whether a document is of this format.
        read: Returns the lines; None for a container.
        unpack: Returns the documents inside; None for a format that is read itself.
        binary: It is not text: asked first, on the bytes alone.
        apart: Read in a helper process with limits on memory and time.
        seconds: What the helper may take. [s]
        memory_mib: What the helper may take. [MiB]
    """

    format: str
    claims: Callable[[Document], bool]
    read: Callable[[Document], Extract] | None = None
    unpack: Callable[[Document], Unpacked] | None = None
    binary: bool = False
    apart: bool = False
    seconds: int = 4
    memory_mib: int = 192


MIB = 1 << 20
MAX_BYTES = 20 * MIB
MAX_TEXT_BYTES = 640 << 10
MAX_JSON_BYTES = MIB
MAX_PAGE_BYTES = 4 * MIB
MAX_LINES = 20_000
MAX_LINE_CHARS = 1_000
MAX_CELLS = 64

_CUT = "Cut the part with the faults into a file of its own and read that."


def size_text(count: int) -> str:
    """Return a number of bytes in words: ``3.2 MB`` or ``17 bytes``."""
    return f"{count / MIB:.1f} MB" if count >= MIB >> 4 else f"{count} bytes"


def refuse_large(name: str, count: int, limit: int, what: str = "a file") -> None:
    """Refuse what is larger than a report can be.

    Raises:
        InputError: There are more bytes than the limit.
    """
    if count > limit:
        raise InputError(
            f"{name}: {size_text(count)} is more than {what} may have ({size_text(limit)}).",
            remedy=_CUT,
        )


def refuse_many(name: str, count: int, limit: int, what: str) -> None:
    """Refuse more lines, rows, pages or parts than a report can have.

    Raises:
        InputError: There are more than the limit.
    """
    if count > limit:
        raise InputError(
            f"{name}: more than {limit} {what}; no scan report has that many.", remedy=_CUT
        )


class Answer(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the helper sends back: the lines, or why there are none."""

    extract: Extract | None = None
    message: str = ""
    remedy: str = ""
    unavailable: bool = False


def read_apart(importer: Importer, data: bytes, name: str) -> Extract:
    """Return what an importer reads, in a helper process.

    Raises:
        InputError: The file is damaged, refused, or asks for more memory or time than allowed; or
            the process ended without an answer.
        UnavailableError: An optional part is not installed.
    """
    format_ = importer.format
    done = run_apart("squibwise.intake.importers.helper", (format_, name), data, importer.seconds)
    if done is None or done.returncode:
        raise InputError(f"{name}: the {format_} file {tell_end(done)}.", remedy=_AS_TEXT)
    return _opened(msgspec.json.decode(done.stdout, type=Answer))


def run_apart(module: str, arguments: Sequence[str], data: bytes, seconds: float) -> "Ended | None":
    """Return how a helper process of this program ended; None when its time was over."""
    import subprocess  # most files need no helper

    command = [sys.executable, "-P", "-m", module, *arguments]
    try:
        return subprocess.run(
            command, input=data, capture_output=True, timeout=seconds, env=os.environ | _LEAN
        )
    except subprocess.TimeoutExpired:
        return None


_LEAN = {"MALLOC_ARENA_MAX": "1", "RAYON_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
"""What each thread lays out besides counts against the limit, on any number of cores."""


def tell_end(done: "Ended | None") -> str:
    """Return why a helper gave no answer, to follow the name of the file; None = out of time.

    Only what its limits ended is told of the file. What crashed may be a fault of this program, of
    a library, or a file that was made for it: nobody has looked, so the file is not called damaged.
    """
    told = done.stderr.decode("utf-8", "replace").strip() if done else ""
    last = told.rpartition("\n")[2][:200]
    if done is None or -done.returncode in _BY_LIMIT or "MemoryError" in last.partition(":")[0]:
        return "asks for more memory or time than it needs, and was not read"
    if done.returncode < 0:
        last = signal.strsignal(-done.returncode) or f"signal {-done.returncode}"
    crash = "was not read: the part of this program that reads it ended without an answer"
    return f"{crash} ({last or f'code {done.returncode}'}), which says nothing of the file itself"


_BY_LIMIT = frozenset(
    getattr(signal, name) for name in ("SIGKILL", "SIGXCPU", "SIGABRT") if hasattr(signal, name)
)
"""What ends a process at a limit on time, or libraries that can get no more memory."""


def _opened(answer: Answer) -> Extract:
    if answer.extract is not None:
        return answer.extract
    if answer.unavailable:
        raise UnavailableError(answer.message, remedy=answer.remedy)
    raise InputError(answer.message, remedy=answer.remedy)


def limit_this_process(memory_mib: int, seconds: int) -> None:
    """Limit memory and processor time of the running process, where the system can.

    Args:
        memory_mib: Address space. [MiB]
        seconds: Processor time. [s]
    """
    with contextlib.suppress(ImportError):  # a system without these limits has the time box only
        resource = importlib.import_module("resource")
        for which, limit in (
            (resource.RLIMIT_AS, memory_mib * MIB),
            (resource.RLIMIT_CPU, seconds),
            (resource.RLIMIT_CORE, 0),
        ):
            with contextlib.suppress(ValueError, OSError):
                resource.setrlimit(which, (limit, limit))
