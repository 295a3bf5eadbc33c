"""What reaches a screen: nothing that moves the cursor, no colour where none is wanted."""

import json
import os
import pty
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from squibwise.cli import output
from squibwise.cli.filtering import escape_hidden, spell_out

Line = Callable[..., Any]
HOSTILE = "nice\x1b[2K\x1b[1Atitle\u009b31m\u202egnorw\u2066x\u200f\x07\x08"
STYLED = re.compile(r"\x1b\[[0-9;]*m")


def at_a_terminal(*arguments: str, **environment: str) -> str:
    """Return what a command writes to a pseudo-terminal, output and errors together."""
    leader, follower = pty.openpty()
    env = {k: v for k, v in os.environ.items() if k not in ("NO_COLOR", "COLUMNS")}
    env |= {"TERM": "xterm-256color", **environment}
    process = subprocess.Popen(
        [sys.executable, "-m", "squibwise.cli.main", *arguments],
        stdin=follower, stdout=follower, stderr=follower, env=env, close_fds=True,
    )  # fmt: skip
    os.close(follower)
    data = b""
    while True:
        try:
            more = os.read(leader, 65536)
        except OSError:
            break
        if not more:
            break
        data += more
    process.wait()
    os.close(leader)
    return data.decode("utf-8")


@pytest.fixture
def hostile(tmp_path: Path) -> Path:
    folder = tmp_path / "evil\x1b[2Kname"
    (folder / "evidence").mkdir(parents=True)
    scan = f"B0001 driver airbag {HOSTILE} open\n{HOSTILE}\n"
    (folder / "evidence" / "scan.txt").write_text(scan, encoding="utf-8")
    title = HOSTILE.encode("unicode_escape").decode().replace("\\x", "\\u00")
    case = f'[case]\ntitle = "{title}"\n[[evidence]]\nkind = "report"\nfile = "evidence/scan.txt"\n'
    (folder / "case.toml").write_text(case, encoding="utf-8")
    return folder


@pytest.mark.parametrize(
    "arguments", [("assess",), ("work",), ("check",), ("assess", "--json"), ("nonsense",)]
)
def test_no_text_of_a_stranger_moves_the_cursor(hostile: Path, arguments: tuple[str, ...]) -> None:
    command, *options = arguments
    shown = STYLED.sub("", at_a_terminal(command, str(hostile), *options))
    assert spell_out(shown.replace("\r", "")) == shown.replace("\r", "")


def test_the_title_is_shown_with_its_marks_spelled_out(hostile: Path) -> None:
    assert "[U+001B]" in at_a_terminal("assess", str(hostile))


def test_a_read_report_is_filtered_too(hostile: Path) -> None:
    shown = STYLED.sub("", at_a_terminal("read", str(hostile / "evidence" / "scan.txt")))
    assert not re.search(r"[\x00-\x09\x0b\x0c\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]", shown)


def test_without_colour_there_is_no_bold_either() -> None:
    assert "\x1b[1m" in at_a_terminal("catalog", "front-bag")
    for plain in (
        at_a_terminal("catalog", "front-bag", NO_COLOR="1"),
        at_a_terminal("catalog", "front-bag", "--colour", "never"),
        at_a_terminal("--colour", "never", "catalog", "front-bag"),
    ):
        assert "\x1b" not in plain
        assert "front-bag" in plain


def test_what_takes_long_says_so_and_takes_it_back(cases: Path) -> None:
    shown = at_a_terminal("assess", str(cases / "harrow-07"), SQUIBWISE_PATIENCE="0")
    told = shown.find("Working on")
    assert told >= 0
    assert "harrow-07 ...\r" in shown
    assert told < shown.index("What fired")


@pytest.mark.parametrize("text", ["plain", "with é and ß", "line\nline", "\u6f22\u5b57"])
def test_harmless_text_is_left_alone(text: str) -> None:
    assert spell_out(text) == text
    assert escape_hidden(text) == text


def test_json_reads_the_same_after_the_filter() -> None:
    hidden = json.dumps(HOSTILE + "\U000e0001", ensure_ascii=False)
    assert json.loads(escape_hidden(hidden)) == HOSTILE + "\U000e0001"
    assert escape_hidden(hidden).isascii()


def test_json_of_half_a_character_is_written(capsys: pytest.CaptureFixture[str]) -> None:
    output.write_json({"raw": "\ud83d open"})
    assert json.loads(capsys.readouterr().out) == {"raw": "\ud83d open"}


def test_quiet_prints_nothing_and_answers_by_exit_code(run: Line, cases: Path) -> None:
    done = run("check", cases / "clover-05", "--quiet")
    loud = run("check", cases / "clover-05")
    assert (done.out, done.err, done.code) == ("", "", loud.code)
    assert run("--quiet", "check", cases / "clover-05").out == ""
    assert run("check", "nowhere", "--quiet").err != ""
    assert run("check", cases / "clover-05", "--quiet", "--json").json()["case"] == "clover-05"


def test_a_full_disk_is_told_and_is_no_answer(cases: Path) -> None:
    for options in ((), ("--json",)):
        with Path("/dev/full").open("w") as full:
            done = subprocess.run(
                [sys.executable, "-m", "squibwise.cli.main", "catalog", *options],
                stdout=full, stderr=subprocess.PIPE, text=True, check=False,
            )  # fmt: skip
        assert done.returncode == 2
        assert "could not be written" in done.stderr
        assert "Traceback" not in done.stderr


def test_a_terminal_that_cannot_show_a_letter_still_gets_an_answer(cases: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", "from squibwise.cli.main import run; run()", "catalog", "curtain"],
        env={**os.environ, "PYTHONIOENCODING": "ascii"}, capture_output=True, check=False,
    )  # fmt: skip
    assert done.returncode == 0
    assert b"curtain" in done.stdout
