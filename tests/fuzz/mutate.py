"""Damage to documents, the same for the same seed."""

import io
import random
import zipfile
from collections.abc import Callable, Sequence
from pathlib import Path

ROOT = Path(__file__).parents[1]
TOKENS = (
    b"B0001",
    b"B0001-1B",
    b"9001 11",
    b"4-11",
    b"00532",
    b"59 02 FF 80 01 11 2F",
    b"7E8 [8] 10 0B 59 02 FF 80 01 11",
    b"open or increased resistance",
    b"driver",
    b"LH",
    b"stage 1",
    b"present",
    b"3 faults",
    b"0Z9HB5A26KR000417",
    b"<table>",
    b"<tr><td>",
    b"<!--",
    b"<script>",
    b"&#x110000;",
    b"&amp;",
    b'"',
    b"'",
    b";",
    b",",
    b"\t",
    b"|",
    b"\r\n",
    b"\n",
    b"\x00",
    b"\xff\xfe",
    b"\xef\xbb\xbf",
    b"{",
    b"[",
    b'{"code": ',
    b"From: a@example.org\nTo: b\nSubject: c\nMIME-Version: 1.0\n\n",
    b"Content-Type: multipart/mixed; boundary=x\n\n--x\n",
    b"Content-Transfer-Encoding: base64\n",
    b"sep=;\n",
    b"date Mon\nbase hex\n",
    b"%PDF-1.4",
    b"PK\x03\x04",
    b"LOGG",
    "Zündkreis größer ł 1\u0660 \u2028 \U0001f600".encode(),
    b"1e309",
    b"9" * 400,
)
Change = Callable[[bytes, random.Random, Sequence[bytes]], bytes]


def corpus() -> dict[str, bytes]:
    """Return the sample documents by name."""
    files = [*(ROOT / "intake" / "importers" / "samples").iterdir()]
    files += (ROOT.parent / "src" / "squibwise" / "demo").glob("*/evidence/*")
    return {f"{p.parent.parent.name}-{p.name}": p.read_bytes() for p in sorted(files)}


def _place(data: bytes, rng: random.Random) -> int:
    return rng.randrange(len(data) + 1)


def _stretch(data: bytes, rng: random.Random) -> tuple[int, int]:
    at = _place(data, rng)
    return at, min(len(data), at + rng.choice((1, 2, 4, 16, 64, 400)))


def _flip(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    if not data:
        return data
    out = bytearray(data)
    for _ in range(rng.choice((1, 1, 4, 40))):
        out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)
    return bytes(out)


def _write(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    at, end = _stretch(data, rng)
    return data[:at] + rng.randbytes(end - at) + data[end:]


def _drop(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    at, end = _stretch(data, rng)
    return data[:at] + data[end:]


def _cut(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    return data[: _place(data, rng)]


def _again(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    at, end = _stretch(data, rng)
    return data[:at] + data[at:end] * rng.choice((2, 3, 50)) + data[end:]


def _insert(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    at = _place(data, rng)
    return data[:at] + rng.choice(TOKENS) * rng.choice((1, 1, 1, 2, 30)) + data[at:]


def _splice(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    other = rng.choice(others)
    at, end = _stretch(other, rng)
    place = _place(data, rng)
    return data[:place] + other[at:end] + data[place:]


def _lines(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    lines = data.split(b"\n")
    rng.shuffle(lines)
    return b"\n".join(lines)


def _swap_case(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    return data.swapcase()


def _in_archive(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    """Damage one part of a zip archive and pack it again, so that the damage is reached."""
    out = io.BytesIO()
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
            parts = old.infolist()
            hit = rng.randrange(len(parts))
            for number, part in enumerate(parts):
                content = old.read(part) if part.file_size < 1 << 20 else b""
                if number == hit:
                    content = rng.choice(SIMPLE)(content, rng, others)
                new.writestr(part.filename, content, zipfile.ZIP_DEFLATED)
    except Exception:  # noqa: BLE001 - an archive damaged before fails in any way
        return _flip(data, rng, others)
    return out.getvalue()


SIMPLE: tuple[Change, ...] = (
    _flip,
    _write,
    _drop,
    _cut,
    _again,
    _insert,
    _insert,
    _splice,
    _lines,
    _swap_case,
)


def mutated(data: bytes, rng: random.Random, others: Sequence[bytes]) -> bytes:
    """Return a document with one to six kinds of damage done to it."""
    if data.startswith(b"PK\x03\x04") and rng.random() < 0.8:
        return _in_archive(data, rng, others)
    for _ in range(rng.choice((1, 1, 2, 3, 6))):
        data = rng.choice(SIMPLE)(data, rng, others)
    return data


def repeated(rng: random.Random) -> bytes:
    """Return one or two tokens many times over: what makes careless patterns slow."""
    a, b = rng.choice(TOKENS), rng.choice(TOKENS)
    return (a + b if rng.random() < 0.5 else a) * rng.choice((100, 3_000, 60_000))
