"""Every command on inputs of just under 1 MB that were made to be slow, large or misread.

    python tests/stress/hostile_inputs.py [--only COMMAND] [--shape WORDS]

Each run is a process of its own. What is measured: processor seconds of it and what it started,
and the memory of the largest process. Wrong are: more than 12 s, more than 350 MB, the exit code 3,
a control character on the screen, and no answer in a minute. The figures stand in docs/trust.md.
"""

import argparse
import datetime as dt
import io
import json
import os
import random
import re
import resource
import shutil
import subprocess
import sys
import tempfile
import time
import zipfile
import zlib
from collections.abc import Callable, Iterator
from pathlib import Path

from squibwise import load_catalog, open_case, release
from squibwise.cli.demo import DEMO_CASES
from squibwise.documents import record_pdf
from squibwise.prove.recording import to_json

SIZE = 990_000  # bytes of an input
TEXT_SIZE = 590_000  # of a report or a sheet: a text may have no more
MAX_SECONDS, MAX_MB, GIVEN_UP = 12.0, 350.0, 60.0
HIDDEN = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u200b-\u200f\u202a-\u202e\u2066-\u2069]")
PROGRAM = Path(sys.executable).with_name("squibwise")
CAR = '[case]\nid = "c"\nregion = "US-OH"\n[car]\nmodel_year = 2019\nequipment = "front-bags"\n'
LOOK = '[[evidence]]\nkind = "look"\ncomponent = "driver.front-bag"\nseen = "cover-torn"\n'
HUGE = ("1e308", "-1e308", "nan", "inf", "9" * 400, "1e-320")
Texts = dict[str, bytes]


def fill(size: int, piece: str, head: str = "", tail: str = "") -> bytes:
    """Return a piece repeated up to the size, ``#`` in it numbered, between a head and a tail."""
    ends = len(f"{head}{tail}".encode())
    count = max(1, (size - ends) // len(piece.replace("#", "00000").encode()))
    whole = "".join(piece.replace("#", f"{n:05}") for n in range(count))
    return f"{head}{whole}{tail}".encode()


def texts(size: int, piece: str) -> Texts:
    """Return shapes that any text may have; ``piece`` is a line that means something there."""
    return {
        "one long line": fill(size, piece.replace("\n", " ")),
        "a million short lines": b"\n" * size,
        "one word again": fill(size, "a "),
        "one letter": b"a" * size,
        "nested brackets": b"[" * (size // 2) + b"]" * (size // 2),
        "nested objects": b'{"a":' * (size // 6),
        "nested marks": fill(size, "<div>", "<html>"),
        "zero bytes": fill(size, piece + "\x00"),
        "half characters": fill(size, '"\\ud800" ') + b"\xed\xa0\x80" * 50,
        "turned writing": fill(size, f"\u202e{piece}\u2066\x1b[2K"),
        "combining marks": fill(size, "e" + "\u0301" * 50),
        "wide signs": fill(size, "\ufdfa"),
        "quotation marks": fill(size, '"'),
        "commas": fill(size, ","),
        "not UTF-8": bytes(range(128, 256)) * (size // 128),
        "good lines": fill(size, piece),
    }


def reports(size: int) -> Texts:
    """Return hostile scan reports."""
    code = "B#-13 Driver frontal deployment loop resistance high, confirmed\n"
    rows = ",".join(f"c{n}" for n in range(90_000)) + "\nB0001-13"
    mail = "Subject: " + "=?utf-8?q?=41=42?= " * (size // 20) + "\n\nB0001-13\n"
    return texts(size, code) | {
        "many columns": rows.encode(),
        "one code again": fill(size, "B0001-13 driver airbag open confirmed\n"),
        "JSON of huge numbers": fill(size, "1e999,", '{"a":[', "1]}"),
        "JSON with a key again": fill(size, '"code":"B0001",', "{", '"a":1}'),
        "a mail's long subject": mail.encode(),
        "XML entities": b'<!DOCTYPE a [<!ENTITY b "' + b"x" * size + b'">]><a>&b;&b;&b;</a>',
        "a table in a table": fill(size, "<table><tr><td>B0001", "<html>"),
        "a workbook that unpacks": bomb("xl/worksheets/sheet1.xml"),
        "PDF of empty objects": fill(size, "# 0 obj<<>>endobj ", "%PDF-1.4\n"),
    }


def cases(size: int) -> Texts:
    """Return hostile case files."""
    note = "x" * 900
    shapes = {
        "looks without end": fill(size, LOOK, CAR),
        "looks with long notes": fill(size, f'{LOOK}note = "{note}"\n', CAR),
        "impacts": fill(size, '[[evidence]]\nkind = "impact"\nzone = "tail"\n', CAR),
        "statements": fill(
            size, '[[evidence]]\nkind = "statement"\nsays = "not-deployed"\nfrom = "n#"\n', CAR
        ),
        "readings": fill(
            size,
            '[[evidence]]\nkind = "reading"\ncomponent = "driver.front-bag"\n'
            'quantity = "resistance"\nvalue = 2.#\nunit = "ohm"\n',
            CAR,
        ),
        "work done": fill(
            size,
            '[[evidence]]\nkind = "done"\nwhat = "replaced"\ncomponent = "driver.front-bag"\n'
            "time = 2026-03-02T11:00:00\n",
            CAR,
        ),
        "reports that are not there": fill(
            size, '[[evidence]]\nkind = "report"\nfile = "evidence/scan-#.txt"\n', CAR
        ),
        "one report a thousand times": fill(
            size, '[[evidence]]\nkind = "report"\nid = "r#"\nfile = "scan.txt"\n', CAR
        ),
        "components": fill(size, '"driver.front-bag-#",', CAR + "add = [", "]\n"),
        "prices": fill(size, '[[price]]\nwhat = "w#"\nlikely = 5\n', CAR),
        "dotted keys": fill(size, "a.b#.c.d = 1\n", CAR),
        "one key of many dots": (CAR + "a" + ".b" * (size // 2) + " = 1\n").encode(),
        "nested tables": (CAR + "x = " + "{a=" * (size // 4)).encode(),
        "nested lists": (CAR + "x = " + "[" * (size // 2)).encode(),
        "one key again": fill(size, "id = 1\n", "[case]\n"),
        "a long number": (CAR + "[profile]\nwait_minutes = " + "9" * size).encode(),
        "a long number in hexadecimal": (
            CAR + "[profile]\nwait_minutes = 0x" + "f" * size
        ).encode(),
        "a long text": f'{CAR}[profile]\nname = "{"x" * size}"\n'.encode(),
        "turned title": fill(size, "\\u202e\\u0007abc", '[case]\ntitle = "', '"\n'),
        "a year far off": fill(size, f"{LOOK}time = 9999-12-31T23:59:59\n", CAR),
        "unknown words": fill(size, '[[evidence]]\nkind = "k#"\n', CAR),
    }
    return texts(size, "[[evidence]]\nkind = 'look'\n") | shapes


def sheets(size: int) -> Texts:
    """Return hostile sheets of offers."""
    head = "part,supplier,price,lead days,shipping\n"
    many = ",".join(f"c{n}" for n in range(60_000))
    shapes = {
        "offers of one supplier": fill(size, "driver-bag@driver,Alder,6#,3,12\n", head),
        "offers of many suppliers": fill(size, "driver-bag@driver,Alder #,600,3,12\n", head),
        "offers of every part by name": fill(size, "driver airbag #,Alder,600,3,12\n", head),
        "bad rows": fill(size, "driver-bag@driver,Alder,x,3,12\n", head),
        "many columns": f"{head[:-1]},{many}\ndriver-bag@driver,Alder,600,3,12\n".encode(),
        "huge amounts": (
            head + "".join(f"driver-bag@driver,A,{h},{h},{h}\n" for h in HUGE)
        ).encode(),
        "far days": fill(size, "driver-bag@driver,Alder,600,99999999#,12\n", head),
        "formulas": fill(size, "=cmd|' /C calc'!A0,@SUM(A1),600,3,12\n", head),
        "a long cell": f"{head}driver-bag@driver,{'A' * size},600,3,12\n".encode(),
        "a workbook that unpacks": bomb("xl/worksheets/sheet1.xml"),
        "shipping terms that differ": fill(size, "driver-bag@driver,Alder,600,3,1#\n", head),
    }
    return texts(size, "driver-bag@driver,Alder,600,3,12\n") | shapes


def terms(size: int) -> Texts:
    """Return hostile terms of a shop."""
    shapes = {
        "services": fill(size, '[services."s#"]\ndays = 1\n'),
        "late lines": fill(size, "line-# = 9\n", "[late]\n"),
        "closed days": fill(size, "2026-12-25,", "closed = [", "]\n"),
        "far service": b'[services."set:program"]\ndays = 1e300\nnotice = 999999999\n',
    }
    for word in ("hour", "bay_day", "late_day", "deadline", "rejects", "lead_chance", "seconds"):
        for number in HUGE:
            shapes[f"{word} = {number[:6]}"] = f"{word} = {number}\n".encode()
    shapes["late far"] = b"[late]\nline-2 = 999999999\n"
    return texts(size, "hour = 95\n") | shapes


def sales(size: int) -> Texts:
    """Return hostile sheets of a sale."""
    good = SALE
    band = '[[fees]]\nname="b"\nsource="s"\non=2026-11-20\nbands=['
    shapes = {
        "bands of fees": fill(size, "{from_price=#,flat=1},", good + band, "]\n"),
        "fees": fill(size, band + "{from_price=0,flat=1}]\n", good),
        "least step": good.replace("increment = 50", "increment = 1e-9").encode(),
        "trades": fill(size, "[shares.t#]\nnil = true\n", good),
        "many bidders": good.replace("bidders = 6", "bidders = 999999999999").encode(),
    }
    for word in ("day", "tax", "target", "increment", "estimate_error", "loss_chance"):
        for number in HUGE:
            shapes[f"{word} = {number[:6]}"] = re.sub(
                rf"(?m)^{word} = .*$", f"{word} = {number}", good
            ).encode()
    for number in HUGE[:4]:
        spread = f"resale = {{low={number},likely={number},high={number}}}"
        shapes[f"resale = {number}"] = re.sub(r"(?m)^resale = .*$", spread, good).encode()
    return texts(size, "day = 18\n") | shapes


SALE = """\
resale = { low = 11000, likely = 13000, high = 14500 }
brand_discount = { low = 0.2, likely = 0.3, high = 0.45 }
loss_chance = 0.15
target = 0
bidders = 6
estimate_error = 0.08
increment = 50
tax = 0.065
days = { low = 25, likely = 45, high = 100 }
day = 18
[shares]
body = { nil = true }
paint = { nil = true }
glass = { nil = true }
mechanical = { nil = true }
keys = { nil = true }
tyres = { nil = true }
[gates.titled]
answer = "yes"
source = "s"
on = 2026-11-24
[gates.unit]
answer = "yes"
source = "s"
on = 2026-11-24
[gates.parts]
answer = "yes"
source = "s"
on = 2026-11-24
"""


def settled(size: int) -> Texts:
    """Return hostile sheets of how a car came out."""
    shapes = {
        "lines": fill(size, "w# = 5\n", 'case = "c"\n[expected]\nparts = 5\n[actual]\n'),
        "comebacks": fill(size, '"x#",', 'case = "c"\ncomebacks = [', "]\n[expected]\nparts = 5\n"),
    }
    for number in HUGE:
        text = f'case = "c"\n[expected]\nparts = 5\n[actual]\nparts = {number}\n'
        shapes[f"parts = {number[:6]}"] = text.encode()
    return texts(size, "parts = 5\n") | shapes


def lots(size: int) -> Texts:
    """Return hostile lists of lots."""
    head = "id,model_year,zone,extent,driver_belt,resale,other_costs\n"
    rng = random.Random(1)
    columns = ",".join(f"c{n}" for n in range(60_000))
    good = "".join(
        f"L{n},{rng.randrange(2005, 2026)},nose-{rng.choice(('left', 'right', 'centre'))},"
        f"{rng.choice(('light', 'moderate', 'severe'))},latched,9000,900\n"
        for n in range(18_000)
    )
    shapes = {
        "lots": (head + good).encode(),
        "bad rows": fill(size, "L#,1066,moon,total,maybe,free,?\n", head),
        "many columns": f"{head[:-1]},{columns}\nL1,2015,tail,light,latched,9000,900\n".encode(),
        "huge amounts": (head + "".join(f"L1,2015,tail,light,,{h},{h}\n" for h in HUGE)).encode(),
        "parts said to be deployed": fill(
            size, "driver.front-bag;", "id,deployed\nL1,", "driver.front-bag\n"
        ),
        "formulas": fill(size, "=cmd|' /C calc'!A#,2015,tail,light,,9000,900\n", head),
        "Parquet that is none": b"PAR1" + b"\x00" * size + b"PAR1",
    }
    return texts(size, "L1,2015,tail,light,latched,9000,900\n") | shapes


def records(size: int) -> Texts:
    """Return hostile records, the good one changed and blown up."""
    catalog = load_catalog()
    case = open_case(DEMO_CASES / "clover-05", catalog)
    record = release(case, catalog, today=dt.date(2026, 3, 6))
    whole = to_json(record)
    pages = record_pdf(record)
    data = json.loads(whole)
    listed = next(k for k, v in data.items() if isinstance(v, list) and v)
    grown = {**data, listed: data[listed] * max(1, size // max(len(json.dumps(data[listed])), 1))}
    return texts(size, '{"gates": []}') | {
        "a good record": whole,
        "a good PDF": pages,
        "a list that was blown up": json.dumps(grown).encode()[:size],
        "one text of ideographs": whole.replace(
            b'"title":"', b'"title":"' + "\u4e00".encode() * 300_000, 1
        )[:size],
        "a key again": whole[:-1] + b',"case":"x"' * 1000 + b"}",
        "pages twice": pages[: size // 2] * 2,
        "bytes after the end": pages + b"\x00" * (size - min(size, len(pages))),
        "PDF of empty objects": fill(size, "# 0 obj<<>>endobj ", "%PDF-1.7\n"),
        "PDF with a long stream": pdf_bomb(),
    }


def bomb(name: str) -> bytes:
    """Return an archive of some kilobytes that unpacks to hundreds of megabytes."""
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("xl/workbook.xml", "<workbook/>")
        archive.writestr(name, b"<row>" * 40_000_000)
    return held.getvalue()


def pdf_bomb() -> bytes:
    """Return a PDF whose one stream unpacks to hundreds of megabytes."""
    packed = zlib.compress(b"0" * 300_000_000, 9)
    stream = b"4 0 obj<</Length %d/Filter/FlateDecode>>stream\n" % len(packed)
    return b"".join(
        (
            b"%PDF-1.7\n1 0 obj<</Type/Catalog/Pages 2 0 R/Names<</EmbeddedFiles<</Names",
            b"[(record.json) 5 0 R]>>>>>>endobj\n",
            b"2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n",
            b"3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 9 9]/Contents 4 0 R>>endobj\n",
            stream + packed + b"\nendstream endobj\n",
            b"5 0 obj<</Type/Filespec/F(record.json)/EF<</F 4 0 R>>>>endobj\n",
            b"trailer<</Root 1 0 R/Size 6>>\n%%EOF\n",
        )
    )


def folders(place: Path) -> Iterator[tuple[str, Path]]:
    """Make hostile folders to import; yield each with its name."""
    for name, make in {
        "thousands of files": lambda f: [(f / f"n{n}").write_bytes(b"x") for n in range(9_000)],
        "folders in folders": _nest,
        "one large file": lambda f: (f / "scan.txt").write_bytes(b"B0001-13\n" * (SIZE // 9)),
        "turned names": lambda f: [
            (f / f"a\u202e{n}\x1b[2K").write_bytes(b"x") for n in range(500)
        ],
        "a pipe": lambda f: os.mkfifo(f / "scan.txt"),
        "links in a circle": lambda f: [
            (f / "a").symlink_to(f / "b"),
            (f / "b").symlink_to(f / "a"),
        ],
        "a case file of looks": lambda f: (f / "case.toml").write_bytes(fill(SIZE, LOOK, CAR)),
    }.items():
        folder = place / name.replace(" ", "-")
        folder.mkdir()
        (folder / "case.toml").write_text(CAR, encoding="utf-8")
        make(folder)  # type: ignore[no-untyped-call]
        yield name, folder


def _nest(folder: Path) -> None:
    for n in range(200):
        folder = folder / f"d{n}"
        folder.mkdir()
    (folder / "x").write_bytes(b"x")


# ------------------------------------------------------------------------------------ running


# A process of its own starts the program: what this one holds is not counted as the program's.
LAUNCH = """
import json, os, signal, sys
pid = os.fork()
if not pid:
    os.setsid()
    os.execv(sys.argv[2], sys.argv[2:])
signal.signal(signal.SIGALRM, lambda *_: os.killpg(pid, 9))
signal.setitimer(signal.ITIMER_REAL, float(sys.argv[1]))
_, status, used = os.wait4(pid, 0)
found = {"code": os.waitstatus_to_exitcode(status), "seconds": used.ru_utime + used.ru_stime}
with open(os.environ["SQUIBWISE_HOME"] + "/.used", "w") as file:
    json.dump(found | {"mb": used.ru_maxrss / 1024}, file)
"""


class Run:
    """One run of the program, measured."""

    def __init__(self, arguments: list[str], folder: Path, given: bytes | None = None) -> None:
        surroundings = os.environ | {
            "SQUIBWISE_HOME": str(folder),
            "NO_COLOR": "1",
            "COLUMNS": "100",
        }
        surroundings |= {
            "HOME": str(folder),
            "XDG_DATA_HOME": str(folder),
            "XDG_CONFIG_HOME": str(folder),
        }
        out, err, given_to = folder / ".out", folder / ".err", folder / ".in"
        given_to.write_bytes(given or b"")
        started = time.perf_counter()
        with out.open("wb") as told, err.open("wb") as wrong, given_to.open("rb") as asked:
            launched = subprocess.run(
                [sys.executable, "-S", "-c", LAUNCH, str(GIVEN_UP), str(PROGRAM), *arguments],
                stdin=asked,
                stdout=told,
                stderr=wrong,
                env=surroundings,
                check=False,
            )
        found = json.loads((folder / ".used").read_bytes())
        self.code, self.seconds, self.mb = found["code"], found["seconds"], found["mb"]
        self.clock = time.perf_counter() - started
        assert launched.returncode == 0
        self.out = out.read_text(encoding="utf-8", errors="replace")
        self.err = err.read_text(encoding="utf-8", errors="replace")

    def wrongs(self) -> list[str]:
        """Return what is wrong with it."""
        found = {
            "gave no answer": self.code < 0,
            f"exit code {self.code}": self.code == 3,
            "slow": self.seconds > MAX_SECONDS,
            "large": self.mb > MAX_MB,
            "control characters": bool(HIDDEN.search(self.out + self.err)),
            "a long answer": len(self.out) + len(self.err) > 5_000_000,
        }
        return [word for word, is_so in found.items() if is_so]


def _case(folder: Path, text: bytes = CAR.encode()) -> Path:
    place = folder / "car"
    shutil.rmtree(place, ignore_errors=True)
    place.mkdir()
    (place / "case.toml").write_bytes(text)
    (place / "scan.txt").write_text("B0001-13 driver airbag stage 1 open, confirmed\n")
    return place


def _beside(name: str, *more: str) -> Callable[[Path, bytes], list[str]]:
    """Return a command on a car beside whose case file the input stands."""

    def start(folder: Path, data: bytes) -> list[str]:
        place = _case(folder)
        (place / "offers.csv").write_text(
            "part,supplier,price,lead days\ndriver-bag@driver,A,600,3\n"
        )
        (place / "bid.toml").write_text(SALE)
        (place / name).write_bytes(data)
        return [more[0], str(place), *more[1:]]

    return start


def _of_case(*words: str) -> Callable[[Path, bytes], list[str]]:
    """Return a command on the case file itself."""

    def start(folder: Path, data: bytes) -> list[str]:
        place = _case(folder, data)
        return [w.replace("CASE", str(place)).replace("OUT", str(folder / "out")) for w in words]

    return start


def _of_file(suffix: str, *words: str) -> Callable[[Path, bytes], list[str]]:
    """Return a command on a file."""

    def start(folder: Path, data: bytes) -> list[str]:
        file = folder / f"input{suffix}"
        file.write_bytes(data)
        return [w.replace("FILE", str(file)).replace("OUT", str(folder / "out.csv")) for w in words]

    return start


def _from_garage(folder: Path, data: bytes) -> list[str]:
    """Return the command that writes out what the garage took of the case."""
    Run(["import", str(_case(folder, data)), "--json"], folder)
    return ["export", "car", str(folder / "out")]


Start = Callable[[Path, bytes], list[str]]
RUNS: dict[str, tuple[Callable[[int], Texts], Start]] = {
    "read": (reports, _of_file(".txt", "read", "FILE")),
    "brief of a report": (reports, _of_file(".txt", "brief", "FILE")),
    "new": (reports, _of_file(".txt", "new", "FILE-car", "--report", "FILE")),
    **{
        word: (cases, _of_case(word, "CASE"))
        for word in ("brief", "assess", "work", "cost", "check")
    },
    "trace": (cases, _of_case("trace", "CASE", "driver.front-bag/1")),
    "release": (cases, _of_case("release", "CASE", "-o", "OUT.pdf")),
    "saw": (cases, _of_case("saw", "CASE", "driver.front-bag", "cover-torn")),
    "did": (cases, _of_case("did", "CASE", "cautions", "--by", "R")),
    "told": (cases, _of_case("told", "CASE", "nose-right", "moderate")),
    "answer": (cases, _of_case("answer", "CASE", "crash", "yes")),
    "label": (cases, _of_case("label", "CASE", "driver.front-bag", "9Z-1")),
    "measured": (cases, _of_case("measured", "CASE", "battery", "voltage", "12.4", "V")),
    "paper": (cases, _of_case("paper", "CASE", "tags", "-o", "OUT.pdf")),
    "undo": (cases, _of_case("undo", "CASE")),
    "buy, offers": (sheets, _beside("offers.csv", "buy")),
    "buy, terms": (terms, _beside("buying.toml", "buy")),
    "bid": (sales, _beside("bid.toml", "bid")),
    "settle": (settled, _beside("settled.toml", "settle")),
    "screen": (lots, _of_file(".csv", "screen", "FILE", "--out", "OUT")),
    "verify": (records, _of_file(".pdf", "verify", "FILE")),
    "add": (reports, _of_case("add", "CASE", "-")),
    "import": (cases, _of_case("import", "CASE")),
    "export": (cases, _from_garage),
}


def run_all(
    only: str | None, shape: str | None, part: tuple[int, int]
) -> Iterator[tuple[str, str, Run]]:
    """Yield every run by its command and its shape; of so many parts only one."""
    for command, (shapes, start) in RUNS.items():
        if only not in (None, command):
            continue
        size = TEXT_SIZE if shapes in (reports, sheets) else SIZE
        for number, (name, data) in enumerate(shapes(size).items()):
            if number % part[1] == part[0] - 1 and (shape is None or shape in name):
                with tempfile.TemporaryDirectory(prefix="squibwise-hostile-") as folder:
                    place = Path(folder)
                    given = data if command == "add" else None
                    arguments = start(place, CAR.encode() if command == "add" else data)
                    yield command, name, Run(arguments, place, given)
    if only in (None, "import") and part[0] == 1:
        with tempfile.TemporaryDirectory(prefix="squibwise-hostile-") as folder:
            for name, source in folders(Path(folder)):
                if shape is None or shape in name:
                    yield "import", name, Run(["import", str(source)], Path(folder))


def main() -> int:
    """Print the worst of each command and everything that is wrong; return 1 when anything is."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", choices=RUNS, help="One command alone.")
    parser.add_argument("--shape", help="Shapes whose name holds these words.")
    parser.add_argument(
        "--part", default="1/1", help="Such as 2/3: the second third of the shapes."
    )
    parser.add_argument("--all", action="store_true", help="Print every run.")
    given = parser.parse_args()
    first, _, parts = given.part.partition("/")
    part = int(first), int(parts)
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    runs: dict[str, list[tuple[str, Run]]] = {}
    wrong = 0
    for command, name, run in run_all(given.only, given.shape, part):
        runs.setdefault(command, []).append((name, run))
        found = run.wrongs()
        wrong += bool(found)
        if found or given.all:
            told = (run.err or run.out).strip().replace("\n", " ")[:160]
            print(
                f"{command} / {name}: {', '.join(found) or 'fine'}; exit {run.code}, "
                f"{run.seconds:.1f} s, {run.mb:.0f} MB, clock {run.clock:.0f} s: {told!r}",
                flush=True,
            )
    print("| command | shapes | refused | most seconds | most MB |\n|---|---|---|---|---|")
    for command, mine in runs.items():
        slow, large = max(mine, key=lambda r: r[1].seconds), max(mine, key=lambda r: r[1].mb)
        refused = sum(r.code == 2 for _, r in mine)
        print(
            f"| `{command}` | {len(mine)} | {refused} | {slow[1].seconds:.1f} ({slow[0]}) | "
            f"{large[1].mb:.0f} ({large[0]}) |"
        )
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
