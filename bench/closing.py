"""How many commands and typed lines close a finished car, from `new` to a record without open gate.

Run: PYTHONPATH=. python bench/closing.py. Three invented cars, each in a folder of its own; every
line of the sessions is played as it was typed, and no file is edited.
"""

import os
import shlex
import tempfile
from contextlib import chdir, redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path

from tests.cli.test_commands_to_close import CLEAN, FRONT_SCAN, LEFT_SCAN, REAR

from squibwise.cli.main import main

ROOT = Path(__file__).parents[1]
SESSIONS = {
    "two front bags, by numbers": ROOT / "tests/cli/two_bags.session",
    "left offset, driver's bag and belts, by visits": ROOT / "tests/cli/left_offset.session",
    "rear-ended, two belts, by visits": ROOT / "bench/rear_belts.session",
}
SCANS = {
    "before.txt": FRONT_SCAN,
    "left.txt": LEFT_SCAN,
    "rear.txt": REAR.scan,
    "after.txt": CLEAN,
}


def play(session: Path) -> tuple[int, str]:
    """Return how many lines were typed, and the line of the release that counts the gates."""
    typed = session.read_text("utf-8").splitlines()
    out, err = StringIO(), StringIO()
    with tempfile.TemporaryDirectory() as folder, chdir(folder):
        os.environ["SQUIBWISE_GARAGE"] = str(Path(folder, "garage.db"))
        for name, text in SCANS.items():
            Path(name).write_text(text, encoding="utf-8")
        for line in typed:
            with redirect_stdout(out), redirect_stderr(err):
                code = main(shlex.split(line)[1:])
            if code not in (0, 1):
                return len(typed), f"refused: {line}: {err.getvalue()}"
    gates = [x for x in out.getvalue().splitlines() if "open gate" in x or "are open" in x]
    return len(typed), gates[-1].strip() if gates else "no release"


if __name__ == "__main__":
    for car, session in SESSIONS.items():
        count, gates = play(session)
        print(f"{car}: {count} commands, a line each; {gates}")
