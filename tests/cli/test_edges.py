"""The outer edge: pipes that close, files that cannot be written, narrow terminals."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
import pytest

from squibwise.cli import demo, files, output
from squibwise.errors import InputError

Line = Callable[..., Any]


def test_a_pipe_that_closes_early_is_no_fault(cases: Path) -> None:
    command = f"{sys.executable} -m squibwise.cli.main catalog front-bag --json | head -c 5"
    done = subprocess.run(["bash", "-c", command], capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert done.stderr == ""


def test_an_interruption_is_told_in_a_word(run: Line, monkeypatch: pytest.MonkeyPatch) -> None:
    def stop(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("squibwise.intake.read_report_file", stop)
    done = run("read", "x")
    assert (done.code, done.err.strip()) == (130, "Stopped.")


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    files.write(tmp_path / "a.pdf", b"old")
    with pytest.raises(InputError, match="nowhere"):
        files.write(tmp_path / "nowhere" / "a.pdf", b"new")
    (tmp_path / "b.pdf").mkdir()
    with pytest.raises(InputError):
        files.write(tmp_path / "b.pdf", b"new")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["a.pdf", "b.pdf"]


def test_a_folder_that_cannot_be_made_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(InputError, match="file"):
        files.make_folder(tmp_path / "file")


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
