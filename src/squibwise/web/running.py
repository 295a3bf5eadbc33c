"""Start the server: on this machine only, or also for a phone of the same network, once paired.

``python -m squibwise.web.running GARAGE`` is what `squibwise serve` starts.
"""

import argparse
import os
import socket
import sys
import threading
import webbrowser
from pathlib import Path

import segno
import uvicorn

from squibwise.web.sessions import PAIRING_SECONDS, Sessions

HERE, PORT = "127.0.0.1", 8321
_ELSEWHERE = ("192.0.2.1", 9)  # RFC 5737: an address for examples; nothing is sent to it


def main() -> None:
    """Serve a garage until it is stopped."""
    parser = argparse.ArgumentParser(prog="squibwise.web", description=__doc__)
    parser.add_argument("garage", type=Path)
    parser.add_argument("--port", type=int, default=PORT)
    parser.add_argument("--lan", action="store_true")
    parser.add_argument("--open", action="store_true", dest="opens")
    asked = parser.parse_args()
    serve(asked.garage, asked.port, lan=asked.lan, opens=asked.opens)


def serve(place: Path, port: int, *, lan: bool = False, opens: bool = False) -> None:
    """Serve a garage until it is stopped.

    Args:
        place: The garage.
        port: Port; 0 for one that is free.
        lan: Also for other machines of the network, which pair by a token that works once.
        opens: Open the browser of this machine.
    """
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from squibwise.web.app import make_app  # loads the linear algebra, which reads the line above

    port = port or free_port()
    if is_taken(port):
        sys.exit(f"squibwise: port {port} is in use. `--port 0` takes a free one.")
    sessions, names = Sessions(), own_names(port)
    address = lan_address() if lan else ""
    if address:
        names |= {f"{address}:{port}"}
    app = make_app(place, names, sessions)
    sys.stdout.write(f"The bench is at http://{HERE}:{port}/ . Stop it with Ctrl-C.\n")
    if lan:
        sys.stdout.write(tell_pairing(address, port, sessions))
    sys.stdout.flush()
    if opens:
        threading.Timer(0.6, webbrowser.open, (f"http://{HERE}:{port}/",)).start()
    host = "0.0.0.0" if address else HERE  # noqa: S104 - asked for by --lan, and paired
    uvicorn.run(
        app, host=host, port=port, log_level="warning", server_header=False, proxy_headers=False
    )


def tell_pairing(address: str, port: int, sessions: Sessions) -> str:
    """Return how a phone is paired: its code to scan, and one for a visitor who only reads."""
    if not address:
        return "This machine is in no network; only its own browser can use the bench.\n"
    minutes = round(PAIRING_SECONDS / 60)
    owner = f"http://{address}:{port}/pair/{sessions.offer_pairing('owner')}"
    visitor = f"http://{address}:{port}/pair/{sessions.offer_pairing('visitor')}"
    return (
        f"\nScan with the phone; it works once, within {minutes} minutes:\n\n{draw_code(owner)}\n"
        f"{owner}\n\nFor a visitor who only reads: {visitor}\n"
        "What is sent in this network is not encrypted: use one that you trust.\n"
    )


def draw_code(text: str) -> str:
    """Return a QR code as lines of blocks, light on dark as terminals are."""
    rows = [list(row) for row in segno.make(text, error="m").matrix_iter(scale=1, border=2)]
    rows += [[0] * len(rows[0])] if len(rows) % 2 else []
    blocks = {(0, 0): "█", (0, 1): "▀", (1, 0): "▄", (1, 1): " "}
    pairs = zip(rows[::2], rows[1::2], strict=True)
    lines = ("".join(blocks[bool(a), bool(b)] for a, b in zip(*p, strict=True)) for p in pairs)
    return "\n".join(lines) + "\n"


def lan_address() -> str:
    """Return the address of this machine in its network; empty when it is in none."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(_ELSEWHERE)
        except OSError:
            return ""
        return str(probe.getsockname()[0])


def own_names(port: int) -> frozenset[str]:
    """Return the names of this machine with a port, as browsers write them."""
    return frozenset(f"{name}:{port}" for name in (HERE, "localhost", "[::1]"))


def is_taken(port: int) -> bool:
    """Return whether somebody listens at a port of this machine already."""
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HERE, port))
        except OSError:
            return True
    return False


def free_port() -> int:
    """Return a port that nobody uses."""
    with socket.socket() as probe:
        probe.bind((HERE, 0))
        return int(probe.getsockname()[1])


if __name__ == "__main__":
    main()
