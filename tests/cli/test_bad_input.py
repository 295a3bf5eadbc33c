"""Bad input gets one clear message, exit code 2 and a remedy; nothing is lost. Cases are ours."""

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Line = Callable[..., Any]

COMMANDS = [
    ("assess",),
    ("work",),
    ("cost",),
    ("check",),
    ("trace", "driver.front-bag/1"),
]

CASE_TEXTS = {
    "broken TOML": ("[case\nid = 1\n", "case.toml:1"),
    "unknown component": ("[car]\nadd = ['driver.front-bga']\n", "did you mean 'front-bag'"),
    "impossible date": (
        "[[evidence]]\nkind = 'impact'\nzone = 'tail'\ntime = 2026-02-30\n",
        "case.toml:4",
    ),
    "a VIN with an O": ("[car]\nvin = '1O9HB5A26KR000417'\n", "case.toml:2"),
    "an empty case file": ("", "is empty"),
}


def _command(words: tuple[str, ...], path: Path) -> list[str]:
    return [words[0], str(path), *words[1:]]


def _refused(run: Any, words: str) -> None:
    assert run.code == 2
    assert run.out == ""
    assert words.lower() in run.err.lower()
    assert "Traceback" not in run.err


@pytest.mark.parametrize("command", COMMANDS, ids=lambda c: c[0])
@pytest.mark.parametrize("name", CASE_TEXTS)
def test_a_broken_case_file_is_refused_by_every_command(
    run: Line, tmp_path: Path, command: tuple[str, ...], name: str
) -> None:
    text, words = CASE_TEXTS[name]
    (tmp_path / "case.toml").write_text(text, encoding="utf-8")
    _refused(run(*_command(command, tmp_path)), words)


@pytest.mark.parametrize("command", [*COMMANDS, ("read",), ("verify",)], ids=lambda c: c[0])
@pytest.mark.parametrize("size", [0, 50_000_001])
def test_empty_and_huge_files_are_refused_by_every_command(
    run: Line, tmp_path: Path, command: tuple[str, ...], size: int
) -> None:
    path = tmp_path / "scan.txt"
    with path.open("wb") as file:
        file.truncate(size)
    _refused(run(*_command(command, path)), "empty" if size == 0 else "MB")


@pytest.mark.parametrize("command", [*COMMANDS, ("read",)], ids=lambda c: c[0])
def test_a_binary_file_is_refused(run: Line, tmp_path: Path, command: tuple[str, ...]) -> None:
    path = tmp_path / "scan.bin"
    path.write_bytes(bytes(range(256)) * 40)
    done = run(*_command(command, path))
    assert (done.code, done.out) == (2, "")
    assert done.err.count("squibwise:") == 1


@pytest.mark.parametrize("command", [*COMMANDS, ("read",), ("verify",)], ids=lambda c: c[0])
def test_a_missing_path_is_refused(run: Line, tmp_path: Path, command: tuple[str, ...]) -> None:
    _refused(run(*_command(command, tmp_path / "nothing")), "nothing")


@pytest.mark.parametrize("command", COMMANDS, ids=lambda c: c[0])
def test_a_folder_without_a_case_file_is_refused_with_the_way_out(
    run: Line, tmp_path: Path, command: tuple[str, ...]
) -> None:
    _refused(run(*_command(command, tmp_path)), f"squibwise new {tmp_path}")


def test_every_mistake_is_listed_on_its_own_line(run: Line, tmp_path: Path) -> None:
    (tmp_path / "case.toml").write_text("[car]\nvni = 'x'\ndrive_hand = 'up'\n[cra]\n", "utf-8")
    lines = run("assess", tmp_path).err.splitlines()
    assert lines[0] == "squibwise: case.toml has 3 mistakes."
    assert [line.split()[0] for line in lines[1:4]] == [
        "case.toml:2:",
        "case.toml:3:",
        "case.toml:4:",
    ]


def test_with_json_a_refusal_is_json_and_nothing_else(run: Line, tmp_path: Path) -> None:
    (tmp_path / "case.toml").write_text("[car]\nvni = 'x'\ndrive_hand = 'up'\n", "utf-8")
    done = run("assess", tmp_path, "--json")
    assert (done.code, done.err) == (2, "")
    answer = done.json()
    assert answer["error"] == "case.toml has 2 mistakes."
    assert [f["origin"]["line"] for f in answer["findings"]] == [2, 3]


def test_a_wrong_command_line_is_told_without_a_traceback(run: Line) -> None:
    for arguments in (("asess", "x"), ("assess",), ("assess", "x", "--jsno")):
        done = run(*arguments)
        assert done.code == 2
        assert done.err.startswith("squibwise: ")


def test_a_wrong_command_line_with_json_is_json(run: Line) -> None:
    assert "error" in run("assess", "--json").json()


@pytest.mark.parametrize("name", ["fire", "clear"])
def test_a_command_that_does_not_exist_is_not_listed(run: Line, name: str) -> None:
    assert f"\n  {name} " not in run("--help").out
    assert run(name, "whatever.csv", "--json").code == 2


def test_something_unforeseen_is_one_message_and_exit_code_three(
    run: Line, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("squibwise.intake.read_report_file", broken)
    done = run("read", tmp_path)
    assert done.code == 3
    assert "ZeroDivisionError" in done.err
    assert "Traceback" not in done.err


def test_the_trace_of_something_unforeseen_is_there_on_request(
    run: Line, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("division by zero")

    monkeypatch.setattr("squibwise.intake.read_report_file", broken)
    monkeypatch.setattr("os.environ", {"SQUIBWISE_DEBUG": "1"})
    assert "Traceback" in run("read", tmp_path).err


def test_a_record_goes_only_where_a_record_can_go(run: Line, tmp_path: Path, cases: Path) -> None:
    case = cases / "yarrow-04"
    _refused(run("release", case, "-o", tmp_path / "case.toml"), ".pdf")
    _refused(run("release", case, "-o", tmp_path / "nowhere" / "x.pdf"), "cannot be written")
    assert list(tmp_path.iterdir()) == []


def test_more_codes_than_can_be_weighed_are_refused(run: Line, tmp_path: Path) -> None:
    report = tmp_path / "many.txt"
    codes = (f"B{1000 + n}-13 Driver belt pretensioner circuit open present" for n in range(400))
    report.write_text("\n".join(codes), encoding="utf-8")
    answer = run("assess", str(report))
    assert answer.code == 2
    assert "pieces of evidence" in answer.err


@pytest.mark.parametrize(
    "line",
    [
        ("saw", "{case}", "driver.front-bag", "intact", "--by", "\udcff"),
        ("did", "{case}", "1", "--by", "\udcff"),
        ("import", "{case}", "--by", "\udcff"),
        ("import", "{case}", "--as", "\udcff"),
        ("garage", "history", "\udcff"),
    ],
)
def test_a_word_that_is_no_text_is_refused_and_nothing_is_written(
    run: Any, cases: Path, tmp_path: Path, line: tuple[str, ...]
) -> None:
    case = shutil.copytree(cases / "clover-05", tmp_path / "clover-05")
    run("import", cases / "harrow-07")
    before = (case / "case.toml").read_bytes()
    told = run(*(word.format(case=case) for word in line))
    assert (told.code, "Traceback" in told.err, "did not foresee" in told.err) == (2, False, False)
    assert (case / "case.toml").read_bytes() == before


def test_thousands_of_mistakes_are_told_by_the_first_hundred(run: Any, tmp_path: Path) -> None:
    (tmp_path / "case.toml").write_text("[[evidence]]\nkind = 'lok'\n" * 500)
    told = run("assess", tmp_path)
    assert (told.code, len(told.err.splitlines()) < 120) == (2, True)
    assert "more; --json has them all" in told.err
