"""The bench as a program of its own: the command line and the browser never import one another."""

import sys
from pathlib import Path

PORT = 8321


def run_bench(place: Path, port: int, *, lan: bool, opens: bool) -> int:
    """Run the bench as a program of its own until it is stopped, and return its exit code."""
    command = [sys.executable, "-P", "-m", "squibwise.web.running", str(place), "--port", str(port)]
    import subprocess  # of no use to other commands

    command += ["--lan"] * lan + ["--open"] * opens
    try:
        return subprocess.run(command, check=False).returncode
    except KeyboardInterrupt:
        return 0
