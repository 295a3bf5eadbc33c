"""``python -m squibwise.web GARAGE``: what `squibwise serve` starts."""

import argparse
from pathlib import Path

from squibwise.web.running import PORT, serve


def main() -> None:
    """Serve a garage until it is stopped."""
    parser = argparse.ArgumentParser(prog="squibwise.web", description=__doc__)
    parser.add_argument("garage", type=Path)
    parser.add_argument("--port", type=int, default=PORT)
    parser.add_argument("--lan", action="store_true")
    parser.add_argument("--open", action="store_true", dest="opens")
    asked = parser.parse_args()
    serve(asked.garage, asked.port, lan=asked.lan, opens=asked.opens)


if __name__ == "__main__":
    main()
