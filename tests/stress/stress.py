"""Kill, fill, forbid and falsify, at random and many times; the figures stand in docs/trust.md.

    python tests/stress/stress.py --kills 1000 --changes 100000 --seed 1

Each trial says how often it was tried, and how often something was lost, half done or overlooked.
"""

import argparse
import datetime as dt
import importlib.util
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from unittest import mock

from squibwise import load_catalog, open_case, release, verify
from squibwise.catalog.load import Catalog
from squibwise.cli.demo import DEMO_CASES
from squibwise.documents import apart, attached, record_pdf, verify_file
from squibwise.documents.record import without_signature
from squibwise.errors import InputError, SquibwiseError
from squibwise.garage import store
from squibwise.garage.checking import check_garage
from squibwise.garage.database import connected
from squibwise.garage.folders import write_content
from squibwise.garage.writing import PREPARED, NewFile, change_file, write_files
from squibwise.model.proof import KnownKey, ProofRecord, Verification
from squibwise.prove.recording import to_json
from squibwise.prove.sealing import seal, sign

WORKER = Path(__file__).with_name("worker.py")
SECONDS = 0.12  # a worker that is ready is killed within this time
Count = dict[str, int | float]


def killed(task: str, folder: Path, rng: random.Random) -> list[str]:
    """Start a worker, kill it at a random moment after it is ready; return what it acknowledged."""
    command = [sys.executable, str(WORKER), task, str(folder)]
    worker = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, start_new_session=True)
    assert worker.stdout is not None
    told = list(iter(worker.stdout.readline, "ready\n"))
    time.sleep(rng.uniform(0.0, SECONDS))
    os.killpg(worker.pid, signal.SIGKILL)
    told += worker.stdout.read().splitlines()
    worker.wait()
    return [line.strip() for line in told]


def kill_garage(folder: Path, times: int, rng: random.Random) -> Count:
    """Entries of a garage: what was acknowledged is there, and all of it is whole."""
    path, acknowledged, lost, broken = folder / "garage.db", [], 0, 0
    for _ in range(times):
        acknowledged += killed("garage", folder, rng)
        with connected(path) as garage:
            there = {e.what for e in store.history(garage, "car")}
            broken += bool(check_garage(garage))
            lost += len(set(acknowledged) - there)
    return {"kills": times, "acknowledged": len(acknowledged), "lost": lost, "broken": broken}


def kill_case_file(folder: Path, times: int, rng: random.Random) -> Count:
    """Lines added to a case file one by one, as `saw` and `did` do."""
    place, acknowledged, lost, half = folder / "case.toml", [], 0, 0
    place.write_bytes(b"")
    for _ in range(times):
        acknowledged += killed("case", folder, rng)
        lines = place.read_text(encoding="utf-8").splitlines()
        lost += len(set(acknowledged) - set(lines))
        half += sum(not line.endswith(" whole") for line in lines)
    return {"kills": times, "acknowledged": len(acknowledged), "lost": lost, "half": half}


def kill_record(folder: Path, times: int, rng: random.Random) -> Count:
    """A record, PDF and JSON, replaced again and again: both old or both new, never half."""
    mixed = half = acknowledged = 0
    for _ in range(times):
        told = killed("record", folder, rng)
        acknowledged += len(told)
        settle(folder)
        pair = [(folder / f"record.{end}").read_bytes() for end in ("pdf", "json")]
        mixed += pair[0] != pair[1]
        half += any(len(data) != LENGTH for data in pair)
    left = sum(1 for p in folder.iterdir() if p.name.startswith(PREPARED))
    return {
        "kills": times,
        "acknowledged": acknowledged,
        "mixed pairs": mixed,
        "half files": half,
        "left behind at the end": left,
    }


LENGTH = 200_000


def settle(folder: Path) -> None:
    """Wait for a mover that outlived its killed parent: take and give back the folder's lock."""
    write_files([NewFile(path=folder / "settled", data=b"")], may_replace=lambda _: True)


def kill_new(folder: Path, times: int, rng: random.Random) -> Count:
    """A new case folder: there with all its files, or not at all."""
    half = 0
    for _ in range(times):
        killed("new", folder, rng)
        for made in (p for p in folder.iterdir() if not p.name.startswith(PREPARED)):
            whole = (made / "case.toml").is_file() and len(list((made / "evidence").iterdir())) == 5
            half += not whole
            shutil.rmtree(made)
    return {"kills": times, "half folders": half}


def two_writers(folder: Path, times: int, rng: random.Random) -> Count:
    """Two at once, in one garage and in one case file: a conflict or both, never a lost entry."""
    del rng
    path = folder / "garage.db"
    commands = [[sys.executable, str(WORKER), "add", str(folder), n, str(times)] for n in "ab"]
    writers = [subprocess.Popen(c, stdout=subprocess.PIPE, text=True) for c in commands]
    told = [line for w in writers for line in w.communicate()[0].splitlines() if line != "ready"]
    entered = [line for line in told if not line.startswith("conflict")]
    with connected(path) as garage:
        there = {e.what for e in store.history(garage, "car")}
        broken = len(check_garage(garage))
    lines = set((folder / "case.toml").read_text(encoding="utf-8").splitlines())
    lost = len(set(entered) - there) + len(set(entered) - lines)
    return {
        "entries": len(entered),
        "conflicts told": len(told) - len(entered),
        "lost": lost,
        "broken": broken,
    }


@contextmanager
def small_disk(folder: Path, options: str) -> Iterator[Path | None]:
    """Mount a disk of one megabyte; None where that is not allowed."""
    disk = folder / "disk"
    disk.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", options, "tmpfs", str(disk)]
    allowed = sys.platform == "linux" and os.geteuid() == 0
    if not allowed or subprocess.run(mount, capture_output=True, check=False).returncode:
        yield None
        return
    try:
        yield disk
    finally:
        subprocess.run(["umount", str(disk)], check=True)


def full_disk(folder: Path, times: int, rng: random.Random) -> Count | str:
    """Write until the disk is full: the refusal is told, what was there is as it was."""
    with small_disk(folder, "size=1m") as disk:
        if disk is None:
            return "skipped: mounting a small disk is not allowed here"
        return _until_full(disk, times, rng)


def _until_full(disk: Path, times: int, rng: random.Random) -> Count:
    path, case = disk / "garage.db", disk / "case.toml"
    case.write_bytes(b"first whole\n")
    told = changed = 0
    entered = []
    for number in range(times):
        before = case.read_bytes()
        data = rng.randbytes(rng.randrange(1000, 60_000)).hex().encode()
        if _refused(lambda number=number, data=data: _enter(path, str(number), data)):
            told += 1
        else:
            entered.append(str(number))
        line = data[:30_000] + b" whole\n"
        if _refused(lambda line=line: change_file(case, lambda old: old + line)):
            told += 1
            changed += case.read_bytes() != before
    with connected(path) as garage:
        lost = len(set(entered) - {e.what for e in store.history(garage, "car")})
        broken = len(check_garage(garage))
    found: Count = {"writes": 2 * times, "refused": told, "changed": changed}
    return found | {"lost": lost, "broken": broken}


def read_only(folder: Path, times: int, rng: random.Random) -> Count | str:
    """A disk that may not be written to: every way of writing says so, nothing else happens."""
    del times, rng
    with small_disk(folder, "size=4m") as disk:
        if disk is None:
            return "skipped: mounting a small disk is not allowed here"
        (disk / "case.toml").write_text("first")
        _enter(disk / "garage.db", "one", b"1")
        subprocess.run(["mount", "-o", "remount,ro", str(disk)], check=True)
        ways: list[Callable[[], object]] = [
            lambda: write_files([NewFile(path=disk / "a.pdf", data=b"x")]),
            lambda: change_file(disk / "case.toml", lambda old: old + b"x"),
            lambda: write_content({"case.toml": b"x"}, disk / "new"),
            lambda: _enter(disk / "garage.db", "two", b"2"),
        ]
        told = sum(_refused(way) for way in ways)
    return {"ways of writing": len(ways), "told": told}


def _enter(path: Path, what: str, data: bytes) -> None:
    with connected(path, create=True) as garage:
        store.add(garage, "car", {"f": data}, what, dt.datetime(2026, 1, 1))


def _refused(way: Callable[[], object]) -> bool:
    try:
        way()
    except InputError:
        return True
    return False


def clock_backwards(folder: Path, times: int, rng: random.Random) -> Count:
    """The clock jumps about: the order of entries is that of writing, and the chain holds."""
    with connected(folder / "garage.db", create=True) as garage:
        for number in range(times):
            at = dt.datetime(2026, 1, 1) + dt.timedelta(days=rng.randrange(-9000, 9000))
            store.add(garage, "car", {"f": str(number).encode()}, str(number), at)
        order = [int(e.what) for e in store.history(garage, "car")]
        broken = len(check_garage(garage))
        last = store.content(garage, "car")["f"] == str(times - 1).encode()
    wrong = order != list(range(times)) or not last
    return {"entries": times, "out of order": int(wrong), "broken": broken}


def changed_record(folder: Path, times: int, rng: random.Random) -> Count:
    """Single bytes of a record changed, one at a time: each is noticed, or carries nothing."""
    del folder
    catalog = load_catalog()
    case = open_case(DEMO_CASES / "clover-05", catalog)
    whole = to_json(release(case, catalog, dt.date(2026, 3, 2)))
    value = json.loads(whole)
    harmless = missed = 0
    for forged in _with_one_changed(whole, times, rng):
        if verify(forged, catalog).valid:
            same = json.loads(forged) == value
            harmless, missed = harmless + same, missed + (not same)
    return {"bytes": len(whole), "changes": times, "harmless": harmless, "overlooked": missed}


def changed_signed(folder: Path, times: int, rng: random.Random) -> Count:
    """Single bytes of a signed record changed, its key known: none stays valid by that key."""
    del folder
    catalog, signed, known = load_catalog(), *_signed_sample()
    whole, overlooked = to_json(signed), 0
    for forged in _with_one_changed(whole, times, rng):
        answer = verify(forged, catalog, known)
        overlooked += answer.valid and answer.signature == "known"
    return {"bytes": len(whole), "changes": times, "overlooked": overlooked}


def changed_pages(folder: Path, times: int, rng: random.Random) -> Count:
    """Single bytes of a PDF changed whose pages a known key signed: none may be taken for whole.

    ``verify_file`` itself judges each, in this process instead of one of its own per file. A record
    that comes out of a changed PDF as it went in is judged once.
    """
    del folder
    catalog, signed, known = load_catalog(), *_signed_sample()
    whole = record_pdf(signed, key=SAMPLE_KEY)
    with _in_this_process(catalog, known):
        assert verify_file(whole, catalog, known).valid
        missed = without = 0
        for forged in _with_one_changed(whole, times, rng):
            without += not without_signature(forged)[1]  # then its pages are made again
            missed += verify_file(forged, catalog, known).valid
    return {"bytes": len(whole), "changes": times, "overlooked": missed, "without mark": without}


@contextmanager
def _in_this_process(catalog: Catalog, known: tuple[KnownKey, ...]) -> Iterator[None]:
    """Open PDFs and make their pages here; a record that was judged before is not judged again."""

    def here(what: str, data: bytes, form: str = "", fonts: str = "") -> bytes:
        try:
            if what == "pages":
                return apart.make_pages(data, form, Path(fonts) if fonts else None)
            return apart.take_attachment(data)
        except (SquibwiseError, LookupError, TypeError, AttributeError, ValueError) as error:
            raise InputError(str(error)) from error

    @lru_cache(maxsize=64)
    def judged(inner: bytes) -> Verification:
        return verify(inner, catalog, known)

    with (
        mock.patch.object(attached, "_apart", here),
        mock.patch.object(attached, "verify", lambda inner, *_: judged(inner)),
    ):
        yield


SAMPLE_KEY = bytes(range(32))


def _signed_sample() -> tuple[ProofRecord, tuple[KnownKey, ...]]:
    """Return the record of the hand-made finished car, signed, and its key as a known one."""
    place = Path(__file__).parents[1] / "prove" / "conftest.py"
    spec = importlib.util.spec_from_file_location("samples", place)
    assert spec is not None
    assert spec.loader is not None
    samples = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(samples)
    catalog, case = load_catalog(), samples.make_case()
    states, work = samples.make_assessment(), samples.make_work()
    judged = (*samples.MET, *samples.judge(case, work, catalog, states))
    record = samples.record(case, states, work, None, judged, catalog, samples.TODAY)
    signed = sign(seal(record, b"salt"), SAMPLE_KEY, "R. Own")
    assert signed.signature is not None
    return signed, (KnownKey(public_key=signed.signature.public_key, name="R", since="2026-01-01"),)


def _with_one_changed(whole: bytes, times: int, rng: random.Random) -> Iterator[bytes]:
    """Yield the bytes with one of them changed, at a random place, so many times."""
    for _ in range(times):
        at = rng.randrange(len(whole))
        other = rng.choice([b for b in range(256) if b != whole[at]])
        yield whole[:at] + bytes([other]) + whole[at + 1 :]


TRIALS: dict[str, Callable[[Path, int, random.Random], Count | str]] = {
    "kill -9, garage": kill_garage,
    "kill -9, case file": kill_case_file,
    "kill -9, record": kill_record,
    "kill -9, new case": kill_new,
    "two writers": two_writers,
    "disk full": full_disk,
    "read-only disk": read_only,
    "clock backwards": clock_backwards,
    "changed record": changed_record,
    "changed signed record": changed_signed,
    "changed pages": changed_pages,
}
SHARES = {"kill -9, garage": 0.4, "kill -9, case file": 0.3, "kill -9, record": 0.2}


def main() -> int:
    """Run every trial, print a line for each, and return 1 when one has lost or overlooked."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=1000)
    parser.add_argument("--changes", type=int, default=100_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=TRIALS, help="One trial alone.")
    given = parser.parse_args()
    bad = 0
    for name, trial in TRIALS.items():
        if given.only in (None, name):
            kills = round(given.kills * SHARES.get(name, 0.1))
            times = given.changes if name.startswith("changed") else kills
            started, rng = time.perf_counter(), random.Random(f"{given.seed} {name}")
            with tempfile.TemporaryDirectory(prefix="squibwise-stress-") as folder:
                found = trial(Path(folder), times, rng)
            print(f"{name}: {found} in {time.perf_counter() - started:.0f} s", flush=True)
            bad += isinstance(found, dict) and _is_bad(found)
    return int(bad > 0)


def _is_bad(found: Count) -> bool:
    names = ("lost", "broken", "half", "mixed pairs", "half files", "half folders", "changed")
    return any(found.get(n) for n in (*names, "overlooked", "out of order"))


if __name__ == "__main__":
    sys.exit(main())
