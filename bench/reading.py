"""How long a line of a report takes to be read, and how many times that of another version.

    python bench/reading.py FOLDER [FOLDER ...] [--beside SOURCES]

Reads the ``.txt`` files of the folders, each version in processes of its own, in turns; the least
of its runs counts (processor time, the start of the program apart).
"""

import argparse
import os
import subprocess
import sys
from pathlib import Path

RUNS = 3
TIMED = """
import sys, time
from pathlib import Path
from squibwise.catalog.load import load_catalog
from squibwise.intake.report.reader import read_report
catalog = load_catalog()
texts = [Path(name).read_bytes() for name in sys.stdin.read().splitlines()]
begin = time.process_time()
for text in texts:
    read_report(text, "report.txt", catalog)
print(time.process_time() - begin)
"""


def seconds(files: list[Path], sources: Path) -> float:
    """Return the processor time that a version takes to read files once, in a fresh process."""
    names = "\n".join(map(str, files))
    at = os.environ | {"PYTHONPATH": str(sources)}
    call = [sys.executable, "-c", TIMED]
    done = subprocess.run(call, input=names, text=True, capture_output=True, check=True, env=at)
    return float(done.stdout)


def main() -> None:
    """Print milliseconds of a line, and the ratio to the other version."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    parser.add_argument("--beside", type=Path, help="src folder of another version")
    asked = parser.parse_args()
    files = sorted(f.resolve() for folder in asked.folders for f in folder.glob("*.txt"))
    lines = sum(f.read_bytes().count(b"\n") for f in files)
    own = Path(__file__).resolve().parent.parent / "src"
    versions = [own, *([asked.beside.resolve()] if asked.beside else [])]
    turns = [[seconds(files, v) for v in versions] for _ in range(RUNS)]
    least = [min(times) for times in zip(*turns, strict=True)]
    print(f"{len(files)} files, {lines} lines")
    print("ms a line:", " ".join(f"{1000 * t / lines:.2f}" for t in least))
    if asked.beside:
        print(f"times the other version's: {least[0] / least[1]:.2f}")


if __name__ == "__main__":
    main()
