"""Run the command line in this process: exit code, what was written, what was complained."""

from collections.abc import Callable, Iterator
from pathlib import Path

import msgspec
import pytest

from squibwise.cli.demo import DEMO_CASES
from squibwise.cli.main import main
from squibwise.plan import buying


class Run(msgspec.Struct, frozen=True):
    """What one command line did."""

    code: int
    out: str
    err: str

    def json(self) -> dict[str, object]:
        value: dict[str, object] = msgspec.json.decode(self.out)
        return value


@pytest.fixture(scope="session", autouse=True)
def one_search() -> Iterator[None]:
    """A short list of offers is planned by one search; `tests/plan` has the eight."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(buying, "WORKERS", 1)
        yield


@pytest.fixture(autouse=True)
def garage_of_nobody(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """No test sees the garage of whoever runs it."""
    place = tmp_path / "garage" / "garage.db"
    monkeypatch.setenv("SQUIBWISE_GARAGE", str(place))
    return place


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., Run]:
    monkeypatch.delenv("COLUMNS", raising=False)
    monkeypatch.delenv("SQUIBWISE_DEBUG", raising=False)

    def line(*arguments: str | Path) -> Run:
        code = main([str(a) for a in arguments])
        captured = capsys.readouterr()
        return Run(code, captured.out, captured.err)

    return line


@pytest.fixture(scope="session")
def cases() -> Path:
    return DEMO_CASES
