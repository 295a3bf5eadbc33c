"""Coverage-guided fuzzing of the reader: ``make fuzz``, or ``python tests/fuzz/fuzz_reports.py``.

Everything that is not read in the helper process runs here, instrumented; a document that would go
to the helper is passed over (``many.py`` damages those). An exception that is not a refusal, a read
of more than 5 s or a process of more than the memory limit ends the run and keeps the input.
Arguments are those of libFuzzer, such as ``-max_total_time=120``; a corpus is laid in ``out/fuzz``.
"""

import importlib
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

import mutate

DEFAULTS = ("-timeout=5", "-rss_limit_mb=400", "-max_len=65536")
CORPUS = Path("out") / "fuzz"
MISSING = (
    "atheris is not installed, so nothing was fuzzed. It is in the extra 'fuzz' and runs on "
    "Python below 3.14: pip install atheris, or run make fuzz, which installs it."
)


def instrumented(atheris: Any) -> tuple[Callable[[bytes], None], Callable[[bytes, str], bool]]:
    """Return the reader with its branches watched, and what tells what it reads by itself."""
    with atheris.instrument_imports(include=["squibwise"]):
        catalog = importlib.import_module("squibwise.catalog.load").load_catalog()
        errors = importlib.import_module("squibwise.errors")
        choose = importlib.import_module("squibwise.intake.importers.choose")
        entry = importlib.import_module("squibwise.intake.report.reader")

    def is_read_here(data: bytes, name: str) -> bool:
        importer = choose.importer_of(choose.claimants(data, name)[0])
        return not importer.apart and importer.unpack is None

    def read(data: bytes) -> None:
        try:
            if not is_read_here(data, "scan"):
                return
            report = entry.read_report(data, "scan", catalog)
        except (errors.InputError, errors.UnavailableError) as stop:
            if not stop.remedy:
                raise AssertionError(f"refused without a remedy: {stop}") from stop
            return
        numbers = [line.line for line in report.lines] + [line.line for line in report.unread]
        if any(number < 1 for number in numbers):
            raise AssertionError(f"line numbers {numbers}")

    return read, is_read_here


def lay_corpus(is_read_here: Callable[[bytes, str], bool]) -> None:
    """Write the samples that are read here, for the fuzzer to start from."""
    CORPUS.mkdir(parents=True, exist_ok=True)
    for name, data in mutate.corpus().items():
        if is_read_here(data, name):
            (CORPUS / name).write_bytes(data)


def main() -> None:
    """Run until the time asked for is over or something is found."""
    try:
        atheris = importlib.import_module("atheris")
    except ImportError:
        sys.exit(MISSING)
    read, is_read_here = instrumented(atheris)
    lay_corpus(is_read_here)
    given = {argument.split("=")[0] for argument in sys.argv[1:]}
    defaults = [d for d in DEFAULTS if d.split("=")[0] not in given]
    kept = f"-artifact_prefix={CORPUS.parent}/"
    atheris.Setup([sys.argv[0], *defaults, kept, *sys.argv[1:], str(CORPUS)], read)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
