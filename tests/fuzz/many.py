# ruff: noqa: T201
"""Read many damaged documents and report what happened: ``python tests/fuzz/many.py``.

Every input follows from the seed and its number, so one that fails can be made again with
``--only NUMBER``. Reading is that of the program: formats with a library go through the helper
process. Wrong are: an exception that is not a refusal with a remedy, a read of more than 5 s, and
more than 300 MB in this process or a helper.
"""

import argparse
import collections
import faulthandler
import json
import random
import resource
import sys
import time
import traceback
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import mutate

from squibwise.catalog.load import Catalog, load_catalog
from squibwise.errors import InputError, UnavailableError
from squibwise.intake import read_report
from squibwise.intake.importers import claimants
from squibwise.intake.importers.choose import importer_of

MAX_SECONDS, MAX_MB = 5.0, 300.0
STUCK_SECONDS = 60


class Inputs:
    """The damaged documents by number; a class because the corpus is read once."""

    def __init__(self, seed: int, helper_share: float) -> None:
        self.seed, self.helper_share = seed, helper_share
        documents = mutate.corpus()
        self.all = list(documents.values())
        apart = {n for n, d in documents.items() if _goes_apart(n, d)}
        self.apart = [(n, d) for n, d in documents.items() if n in apart]
        self.here = [(n, d) for n, d in documents.items() if n not in apart]

    def make(self, number: int) -> tuple[str, bytes]:
        """Return one document and its name."""
        rng = random.Random(f"{self.seed}:{number}")
        if rng.random() < 0.01:
            return f"{number}.txt", mutate.repeated(rng)
        pool = self.apart if rng.random() < self.helper_share else self.here
        name, data = rng.choice(pool)
        return name, mutate.mutated(data, rng, self.all)


def _goes_apart(name: str, data: bytes) -> bool:
    importer = importer_of(claimants(data, name)[0])
    return importer.apart or importer.unpack is not None


def one(name: str, data: bytes, catalog: Catalog) -> str:
    """Return how reading one document ended, in a word."""
    try:
        report = read_report(data, name, catalog)
    except InputError as stop:
        return "refused" if stop.remedy else "refused without a remedy"
    except UnavailableError:
        return "needs an optional part"
    except Exception as wrong:  # noqa: BLE001 - what must not happen is what is looked for
        traceback.print_exc()
        return f"WRONG {type(wrong).__name__}"
    return "read with faults" if report.lines else "read without faults"


def processor_seconds() -> float:
    """Return what this process and its helpers have used. [s]"""
    used = (resource.getrusage(k) for k in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return sum(u.ru_utime + u.ru_stime for u in used)


def peak_mb() -> tuple[float, float]:
    """Return the most memory this process and any helper have had. [MB]"""
    kinds = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    here, helper = (resource.getrusage(kind).ru_maxrss * 1024 / 1e6 for kind in kinds)
    return here, helper


def run(inputs: Inputs, numbers: range) -> dict[str, object]:
    """Read the documents of some numbers and return the figures."""
    catalog = load_catalog()
    ends: collections.Counter[str] = collections.Counter()
    slow: list[tuple[float, int, str]] = []
    wrong: list[int] = []
    longest = 0.0
    began = time.perf_counter()
    for number in numbers:
        name, data = inputs.make(number)
        faulthandler.dump_traceback_later(STUCK_SECONDS, exit=True)
        start, at = processor_seconds(), time.perf_counter()
        end = one(name, data, catalog)
        taken, by_clock = processor_seconds() - start, time.perf_counter() - at
        faulthandler.cancel_dump_traceback_later()
        ends[end] += 1
        if "WRONG" in end or "without a remedy" in end or taken > MAX_SECONDS:
            wrong.append(number)
            print(f"input {number} ({name}, {len(data)} bytes): {end}, {taken:.2f} s", flush=True)
        slow = sorted([*slow, (round(taken, 3), number, name)], reverse=True)[:5]
        longest = max(longest, by_clock)
        if number % 5_000 == 4_999:
            print(f"{number + 1}: {dict(ends)} worst {slow[0]} MB {peak_mb()}", flush=True)
    here, helper = peak_mb()
    return {
        "inputs": len(numbers),
        "ends": dict(ends),
        "wrong": wrong,
        "slowest": slow,
        "longest_by_clock": round(longest, 3),
        "peak_mb": round(here, 1),
        "peak_helper_mb": round(helper, 1),
        "seconds": round(time.perf_counter() - began, 1),
    }


def main() -> int:
    """Parse the command line, run, print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=100_000)
    parser.add_argument("--start", type=int, default=0)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--helper-share", type=float, default=0.08)
    parser.add_argument("--only", type=int, help="read one input again and keep it in out/")
    options = parser.parse_args()
    inputs = Inputs(options.seed, options.helper_share)
    if options.only is not None:
        name, data = inputs.make(options.only)
        Path("out").mkdir(exist_ok=True)
        (Path("out") / f"fuzz-{options.only}-{name}").write_bytes(data)
        print(one(name, data, load_catalog()))
        return 0
    figures = run(inputs, range(options.start, options.start + options.count))
    print(json.dumps(figures, indent=1))
    heavy = max(float(str(figures["peak_mb"])), float(str(figures["peak_helper_mb"]))) > MAX_MB
    return 1 if figures["wrong"] or heavy else 0


if __name__ == "__main__":
    sys.exit(main())
