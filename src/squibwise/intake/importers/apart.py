"""Reading in a helper process: a hostile file can exhaust the helper, not the program.

Native parsers can hang, crash or ask for a gigabyte on a file of a few kilobytes. The helper has a
limit on memory and on time; when it dies, the file is refused with one clear message.
Figures and reasons: decision 111.
"""

import contextlib
import importlib
import subprocess
import sys

import msgspec

from squibwise.errors import InputError, UnavailableError
from squibwise.intake.importers.base import MIB, Extract, Importer

_DAMAGED = "Print the report to PDF again, or save it as text, and read that."


class Answer(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What the helper sends back: the lines, or why there are none."""

    extract: Extract | None = None
    message: str = ""
    remedy: str = ""
    unavailable: bool = False


def read_apart(importer: Importer, data: bytes, name: str) -> Extract:
    """Return what an importer reads, in a helper process.

    Raises:
        InputError: The file is damaged, refused, or asks for more memory or time than allowed.
        UnavailableError: An optional part is not installed.
    """
    format_ = importer.format
    command = [sys.executable, "-P", "-m", "squibwise.intake.importers.helper", format_, name]
    try:
        done = subprocess.run(command, input=data, capture_output=True, timeout=importer.seconds)
    except subprocess.TimeoutExpired:
        raise _too_much(name, format_) from None
    if done.returncode < 0:  # ended by a signal: out of memory, out of time, or a crash
        raise _too_much(name, format_)
    if done.returncode > 0:
        raise InputError(f"{name}: the {format_} file is damaged.", remedy=_DAMAGED)
    return _opened(msgspec.json.decode(done.stdout, type=Answer))


def _opened(answer: Answer) -> Extract:
    if answer.extract is not None:
        return answer.extract
    if answer.unavailable:
        raise UnavailableError(answer.message, remedy=answer.remedy)
    raise InputError(answer.message, remedy=answer.remedy)


def _too_much(name: str, format_: str) -> InputError:
    return InputError(
        f"{name}: the {format_} file asks for more memory or time than a report needs; "
        "it is damaged or built to do harm, and was not read.",
        remedy=_DAMAGED,
    )


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
