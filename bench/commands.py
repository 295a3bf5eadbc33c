"""How long whole commands take, beside a Python that does nothing, in one run.

Modules are compiled beforehand, as an installer does: a Python told not to keep what it compiles
spends a quarter of a second on that in every run.
"""

import argparse
import json
import os
import statistics
import subprocess
import sys
from pathlib import Path
from time import perf_counter

ROOT = Path(__file__).parents[1]
CASE = ROOT / "src" / "squibwise" / "demo" / "harrow-07"
COMMANDS = {
    "help": ["--help"],
    "read_text": ["read", str(CASE / "evidence" / "scan-before.txt")],
    "assess": ["assess", str(CASE)],
    "work": ["work", str(CASE)],
    "trace": ["trace", str(CASE.parent / "burdock-09"), "passenger.front-bag/1"],
}
REPEATS = 5
KEEPS = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}


def seconds(arguments: list[str]) -> float:
    """Return the median seconds of one whole process."""
    times = []
    for _ in range(REPEATS):
        began = perf_counter()
        subprocess.run([sys.executable, *arguments], capture_output=True, check=False, env=KEEPS)
        times.append(perf_counter() - began)
    return statistics.median(times)


def measured() -> dict[str, dict[str, float]]:
    """Return the seconds of every command, and how often a bare Python's start that is."""
    bare = seconds(["-c", "pass"])
    found = {"bare_python": {"seconds": bare, "times_bare": 1.0}}
    for name, arguments in COMMANDS.items():
        took = seconds(["-c", "from squibwise.cli.main import run; run()", *arguments])
        found[name] = {"seconds": took, "times_bare": took / bare}
    return found


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--json", action="store_true")
    as_json = parser.parse_args().json
    found = measured()
    if as_json:
        print(json.dumps(found, indent=1))
        return
    for name, row in found.items():
        print(f"{name:12s} {row['seconds']:.3f} s  {row['times_bare']:.1f} times a bare Python")


if __name__ == "__main__":
    main()
