"""Coverage-guided fuzzing of the reader: ``make fuzz``, or ``python tests/fuzz/fuzz_reports.py``.

Everything that is not read in the helper process runs here, instrumented; a document that would go
to the helper is passed over (``many.py`` damages those). An exception that is not a refusal, a read
of more than 5 s or a process of more than the memory limit ends the run and keeps the input.
Arguments are those of libFuzzer, such as ``-max_total_time=120``; a corpus is laid in ``out/fuzz``.
"""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import mutate

try:
    import atheris
except ImportError:
    sys.exit(
        "atheris is not installed, so nothing was fuzzed. It is in the extra 'fuzz' and runs on "
        "Python below 3.14: pip install atheris, or run make fuzz, which installs it."
    )

with atheris.instrument_imports(include=["squibwise"]):
    from squibwise.catalog.load import load_catalog
    from squibwise.errors import InputError, UnavailableError
    from squibwise.intake import read_report
    from squibwise.intake.importers import claimants
    from squibwise.intake.importers.choose import importer_of
    from squibwise.intake.report import entry

DEFAULTS = ("-timeout=5", "-rss_limit_mb=400", "-max_len=65536")
CORPUS = Path("out") / "fuzz"
CATALOG = load_catalog()


def read(data: bytes) -> None:
    """Read one document; only a refusal may be raised."""
    try:
        importer = importer_of(claimants(data, "scan")[0])
        if importer.apart or importer.unpack is not None:
            return
        report = read_report(data, "scan", CATALOG)
    except (InputError, UnavailableError) as stop:
        if not stop.remedy:
            raise AssertionError(f"refused without a remedy: {stop}") from stop
        return
    numbers = [line.line for line in report.lines] + [line.line for line in report.unread]
    if any(number < 1 for number in numbers):
        raise AssertionError(f"line numbers {numbers}")


def lay_corpus() -> None:
    """Write the samples that are read here, for the fuzzer to start from."""
    CORPUS.mkdir(parents=True, exist_ok=True)
    for name, data in mutate.corpus().items():
        importer = importer_of(claimants(data, name)[0])
        if not importer.apart:
            (CORPUS / name).write_bytes(data)


def main() -> None:
    """Run until the time asked for is over or something is found."""
    if entry.read_report is not read_report:
        sys.exit("the reader is not the one that is instrumented")
    lay_corpus()
    given = {argument.split("=")[0] for argument in sys.argv[1:]}
    defaults = [d for d in DEFAULTS if d.split("=")[0] not in given]
    kept = f"-artifact_prefix={CORPUS.parent}/"
    atheris.Setup([sys.argv[0], *defaults, kept, *sys.argv[1:], str(CORPUS)], read)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
