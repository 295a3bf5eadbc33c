"""Time and memory of screening: ``python bench/lots.py [ROWS ...] [--patterns N] [--json]``.

Each size is invented, written as CSV and screened in a process of its own. Printed per size: rows,
distinct patterns, seconds by the clock, seconds of processor in all processes, the largest process,
and the load of the machine when it began. ``--patterns 0`` draws from as many patterns as there are
lots: about 63 in 100 then differ.
"""

import argparse
import csv
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # two processes share the cores already

from squibwise.catalog.load import load_catalog
from squibwise.cli.examples import invent_lots
from squibwise.cli.lot_files import screen_file
from squibwise.model.lots import LotTerms


def measure(rows: int, patterns: int, jobs: int) -> dict[str, float]:
    """Return the figures of one size."""
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "lots.csv"
        with source.open("w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows(invent_lots(rows, load_catalog(), patterns or rows))
        before, clock, load = time.process_time(), time.perf_counter(), os.getloadavg()[0]
        done = screen_file(source, Path(folder) / "out.csv", LotTerms(), jobs)
        seconds = time.perf_counter() - clock
        children = resource.getrusage(resource.RUSAGE_CHILDREN)
        mine = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        return {
            "rows": done.rows,
            "patterns": done.patterns,
            "seconds": round(seconds, 1),
            "processor": round(
                time.process_time() - before + children.ru_utime + children.ru_stime, 1
            ),
            "largest_mb": max(mine, children.ru_maxrss) // 1024,
            "load": round(load, 1),
        }


def main() -> None:
    """Print a row per size."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rows", type=int, nargs="*", default=[1_000, 10_000, 100_000])
    parser.add_argument("--patterns", type=int, default=5_000)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--here", action="store_true", help="in this process, one size")
    arguments = parser.parse_args()
    if arguments.here:
        print(json.dumps(measure(arguments.rows[0], arguments.patterns, arguments.jobs)))
        return
    found = []
    for rows in arguments.rows:
        command = [sys.executable, __file__, str(rows), "--here"]
        command += ["--patterns", str(arguments.patterns), "--jobs", str(arguments.jobs)]
        told = subprocess.run(command, check=True, capture_output=True, text=True).stdout
        found.append(json.loads(told))
        if not arguments.json:
            print(found[-1], flush=True)
    if arguments.json:
        print(json.dumps({"sizes": found}))


if __name__ == "__main__":
    main()
