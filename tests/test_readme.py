"""What the README shows is what the program prints; every page it names is there."""

import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

import squibwise
from squibwise.cli.demo import DEMO_CASES
from squibwise.cli.main import cli

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"```text\n(.*?)```", README, re.DOTALL)
COMMANDS = [
    pytest.param(command, shown, id=command.split(" out/")[0])
    for block in BLOCKS
    for command, shown in re.findall(r"^\$ squibwise (.*)\n((?:(?!\$ ).*\n)*)", block, re.MULTILINE)
]


@pytest.fixture
def checkout(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    shutil.copytree(DEMO_CASES, tmp_path / "out")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def _printed(command: str) -> list[str]:
    result = CliRunner().invoke(cli, command.split(), env={"COLUMNS": "80"})
    assert result.exception is None or isinstance(result.exception, SystemExit), result.output
    return result.output.splitlines()


@pytest.mark.usefixtures("checkout")
@pytest.mark.parametrize(("command", "shown"), COMMANDS)
def test_the_readme_shows_what_the_program_prints(command: str, shown: str) -> None:
    if command.startswith("verify"):
        _printed("release out/harrow-07 -o out/harrow-07.pdf")
    printed = _printed(command)
    missing = [line for line in shown.splitlines() if line != "..." and line not in printed]
    assert missing == []
    assert printed != []


def test_every_page_named_in_the_readme_is_there() -> None:
    links = re.findall(r"\]\(([^)#:]+)\)", README)
    assert links
    assert [link for link in links if not (ROOT / link).exists()] == []


@pytest.mark.usefixtures("checkout")
def test_the_python_example_runs() -> None:
    example = re.findall(r"```python\n(.*?)```", README, re.DOTALL)[0]
    names: dict[str, object] = {}
    exec(example, names)  # noqa: S102 - our own README
    states = names["states"]
    assert states.of("driver.front-bag").now.fired > 0.95  # type: ignore[attr-defined]


def test_the_index_of_decisions_names_every_page_once() -> None:
    folder = ROOT / "docs" / "decisions"
    named = re.findall(r"\]\(([0-9][^)]+\.md)\)", (folder / "README.md").read_text("utf-8"))
    assert sorted(named) == sorted(p.name for p in folder.glob("[0-9]*.md"))


def test_the_readme_names_the_wheel_of_this_version() -> None:
    assert set(re.findall(r"squibwise-([0-9.]+)-py3", README)) == {squibwise.__version__}
