"""The outer edge: pipes that close, files that cannot be written, narrow terminals."""

import errno
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
import pytest

from squibwise.cli import demo, output
from squibwise.errors import InputError

Line = Callable[..., Any]


def test_a_pipe_that_closes_early_is_no_fault(cases: Path) -> None:
    command = f"{sys.executable} -m squibwise.cli.main catalog front-bag --json | head -c 5"
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert done.stderr == ""


@pytest.mark.parametrize(
    ("command", "code"),
    [
        ("--version >&-", 0),
        ("brief /nothing --json >&-", 2),
        ("brief /nothing 2>&-", 2),
        ("brief /nothing --json >&- 2>&- <&-", 2),
        ("brief /nothing 2>/dev/full", 2),
        ("--help >/dev/full 2>/dev/full", 2),
        ("catalog front-bag --json >/dev/full", 2),
    ],
)
def test_the_exit_code_tells_where_no_stream_can(command: str, code: int) -> None:
    shell = f"{sys.executable} -m squibwise.cli.main {command}"
    done = subprocess.run(["bash", "-c", shell], capture_output=True, text=True, check=False)
    assert (done.returncode, "Traceback" in done.stdout + done.stderr) == (code, False)


@pytest.mark.skipif(sys.platform != "linux", reason="address space is limited by Linux")
@pytest.mark.parametrize("mib", [60, 100])
def test_too_little_memory_is_told_as_that(mib: int, cases: Path) -> None:
    shell = f"ulimit -v {mib * 1024}; {sys.executable} -m squibwise.cli.main brief"
    command = ["bash", "-c", f"{shell} {cases / 'clover-05'}"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert (done.returncode, "not enough memory" in done.stderr) == (2, True)


def test_an_interruption_is_told_in_a_word(run: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("squibwise.intake.read_report_file", stop)
    done = run("read", "x")
    assert (done.code, done.err.strip()) == (130, "Stopped.")


@pytest.fixture
def clover(tmp_path: Path, cases: Path) -> Path:
    return Path(shutil.copytree(cases / "clover-05", tmp_path / "clover-05"))


def test_a_record_replaces_an_earlier_one_of_the_same_case_only(
    run: Line, clover: Path, tmp_path: Path
) -> None:
    out = tmp_path / "r.pdf"
    assert run("release", clover, "-o", out).code == 1
    first = out.read_bytes()
    assert run("release", clover, "-o", out).code == 1
    out.write_bytes(b"my holiday plans")
    refused = run("release", clover, "-o", out)
    assert (refused.code, "--force" in refused.err) == (2, True)
    assert out.read_bytes() == b"my holiday plans"
    assert run("release", clover, "-o", out, "--force").code == 1
    assert out.read_bytes() == first
    out.with_suffix(".json").write_text("{}")
    assert run("release", clover, "-o", out).code == 2


def test_a_person_at_the_terminal_is_asked_once(
    run: Line, clover: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out, asked = tmp_path / "r.pdf", []

    def answer(question: str, **_: object) -> bool:
        asked.append(question)
        return True

    out.write_bytes(b"my holiday plans")
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("sys.stderr.isatty", lambda: True, raising=False)
    monkeypatch.setattr(click, "confirm", answer)
    assert run("release", clover, "-o", out).code == 1
    assert out.read_bytes().startswith(b"%PDF-")
    assert len(asked) == 1


def test_a_record_never_replaces_evidence(run: Line, clover: Path) -> None:
    scan = clover / "evidence" / "scan.pdf"
    scan.write_bytes(b"the only copy")
    for out in (scan, clover / "evidence" / ".." / "evidence" / "scan.pdf"):
        refused = run("release", clover, "-o", out, "--force")
        assert (refused.code, "evidence" in refused.err) == (2, True)
    assert scan.read_bytes() == b"the only copy"


def test_a_drawing_replaces_only_drawings(run: Line, clover: Path, tmp_path: Path) -> None:
    drawings = tmp_path / "drawings"
    drawings.mkdir()
    mine = drawings / "driver.front-bag.svg"
    mine.write_text("my own")
    wanted = ("assess", clover, "--why", "driver.front-bag", "--drawings", drawings)
    assert run(*wanted).code == 2
    assert mine.read_text() == "my own"
    mine.unlink()
    assert run(*wanted).code == run(*wanted).code == 0


def test_the_demo_cars_are_copied_and_a_changed_copy_is_left_alone(tmp_path: Path) -> None:
    copies = demo.copied_cases(tmp_path)
    assert all((copy / "case.toml").is_file() for copy in copies)
    (copies[0] / "case.toml").write_text("mine", encoding="utf-8")
    assert demo.copied_cases(tmp_path) == copies
    assert (copies[0] / "case.toml").read_text(encoding="utf-8") == "mine"


def test_a_place_that_refuses_the_demo_cars_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(InputError, match="file"):
        demo.copied_cases(tmp_path / "file")


def test_refusals_are_wrapped_at_a_terminal_and_whole_in_a_pipe(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("COLUMNS", "50")
    output.refuse("word " * 30, "", (), as_json=False)
    assert len(capsys.readouterr().err.splitlines()) == 1
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    output.refuse("word " * 30, "", (), as_json=False)
    lines = capsys.readouterr().err.splitlines()
    assert len(lines) > 1
    assert max(map(len, lines)) <= 50


def test_a_wrong_option_value_is_refused(run: Line) -> None:
    done = run("trace", "x", "y", "--seconds", "soon")
    assert done.code == 2
    assert "soon" in done.err
    assert click.__name__ not in done.err


def test_folders_nested_without_end_are_refused(run: Line, clover: Path, tmp_path: Path) -> None:
    (clover / "evidence").joinpath(*["a"] * 25).mkdir(parents=True)
    for told in (run("release", clover, "-o", tmp_path / "r.pdf"), run("import", clover)):
        assert (told.code, "deep" in told.err) == (2, True)


@pytest.mark.parametrize(
    ("error", "says"),
    [
        (MemoryError(), "there is not enough memory for this"),
        (OSError(errno.EMFILE, "Too many open files", "x.toml"), "x.toml: Too many open files"),
        (OSError(errno.EROFS, "Read-only file system"), "the system: Read-only file system"),
        (FileNotFoundError(2, "No usable temporary directory found"), "no folder for temporary"),
    ],
)
def test_what_the_machine_lacks_is_no_fault_of_the_program(
    run: Line, monkeypatch: pytest.MonkeyPatch, error: Exception, says: str
) -> None:
    def fail(*_: object) -> None:
        raise error

    monkeypatch.setattr("squibwise.intake.read_report_file", fail)
    told = run("read", "x")
    assert (told.code, "fault in the program" in told.err) == (2, False)
    assert says in told.err


def test_links_that_go_round_in_the_evidence_stop_no_release(
    run: Line, clover: Path, tmp_path: Path
) -> None:
    for one, other in (("a.txt", "b.txt"), ("b.txt", "a.txt")):
        (clover / "evidence" / one).symlink_to(other)
    assert run("release", clover, "-o", tmp_path / "r.pdf").code == 1
    (tmp_path / "l.csv").symlink_to("l.csv")
    told = run("screen", tmp_path / "l.csv")
    assert (told.code, "did not foresee" in told.err) == (2, False)


@pytest.mark.parametrize(
    "more",
    [
        "".join(f"k{n} = 1\n" for n in range(10_000)),
        f"parts = [{', '.join(repr(str(n)) for n in range(10_000))}]\n",
    ],
)
def test_an_entry_of_ten_thousand_values_is_refused_in_one_line(
    run: Line, clover: Path, tmp_path: Path, more: str
) -> None:
    before = (clover / "case.toml").read_bytes()
    block = '[[evidence]]\nkind = "circumstance"\nwhat = "flood"\npresent = true\n'
    (tmp_path / "block.txt").write_text(block + more)
    told = run("add", clover, tmp_path / "block.txt")
    assert (told.code, "values; the most is 500" in told.err) == (2, True)
    assert len(told.err) < 300
    assert (clover / "case.toml").read_bytes() == before
