"""What is made of catalogue files is kept, and made anew whenever it is not what it should be."""

import stat
from collections.abc import Callable
from importlib.util import cache_from_source
from pathlib import Path

import msgspec
import pytest
import tomli

from squibwise.catalog import reading
from squibwise.catalog.load import load_catalog
from squibwise.catalog.prepared import keep_prepared
from squibwise.intake.report.language.lexicon import Filed, file_words

CODE = "made by this"


class Counted(msgspec.Struct):
    """A record to keep."""

    words: dict[tuple[str, str], set[str]]


@pytest.fixture
def ask(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., tuple[Counted, bool]]:
    """Ask for what is made of a text by a module; with it, whether it was made anew."""
    monkeypatch.setattr("sys.dont_write_bytecode", False)
    module = tmp_path / "module.py"

    def ask(text: str, code: str = CODE) -> tuple[Counted, bool]:
        module.write_text(code, encoding="utf-8")
        made = []

        def make() -> Counted:
            made.append(text)
            return Counted(words={("en", "ü"): set(text.split())})

        return keep_prepared(Counted, make, [module], [text]), bool(made)

    return ask


def kept_file(folder: Path) -> Path:
    return Path(cache_from_source(folder / "module.py")).with_suffix(".kept")


def test_what_was_made_is_kept_and_equal(ask: Callable[..., tuple[Counted, bool]]) -> None:
    first, second = ask("a b"), ask("a b")
    assert (first[1], second[1]) == (True, False)
    assert first[0] == second[0] == Counted(words={("en", "ü"): {"a", "b"}})


def test_other_texts_or_other_code_make_it_anew(ask: Callable[..., tuple[Counted, bool]]) -> None:
    ask("a b")
    assert ask("a c") == (Counted(words={("en", "ü"): {"a", "c"}}), True)
    assert ask("a c", code=CODE + "!")[1]
    assert not ask("a c", code=CODE + "!")[1]


@pytest.mark.parametrize("damage", ["cut", "bit", "empty", "other record", "folder"])
def test_what_is_damaged_is_made_anew(
    ask: Callable[..., tuple[Counted, bool]], tmp_path: Path, damage: str
) -> None:
    ask("a b")
    place = kept_file(tmp_path)
    content = place.read_bytes()
    place.unlink()
    if damage == "folder":
        place.mkdir()
    else:
        broken = {
            "cut": content[:-1],
            "bit": content[:-1] + bytes([content[-1] ^ 1]),
            "empty": b"",
            "other record": content[:32] + msgspec.msgpack.encode({"words": 3}),
        }
        place.write_bytes(broken[damage])
    assert ask("a b") == (Counted(words={("en", "ü"): {"a", "b"}}), True)
    assert [p.name for p in place.parent.iterdir()] == [place.name]


def test_nothing_is_kept_where_python_keeps_nothing(
    ask: Callable[..., tuple[Counted, bool]], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("sys.dont_write_bytecode", True)
    assert ask("a b")[1]
    assert ask("a b")[1]
    assert not kept_file(tmp_path).parent.exists()


def test_a_place_that_cannot_be_written_to_is_no_fault(
    ask: Callable[..., tuple[Counted, bool]], tmp_path: Path
) -> None:
    kept_file(tmp_path).parent.write_text("a file where the folder would be", encoding="utf-8")
    assert ask("a b") == (Counted(words={("en", "ü"): {"a", "b"}}), True)
    assert stat.S_ISREG(kept_file(tmp_path).parent.stat().st_mode)


def test_the_vocabulary_is_the_same_kept_and_made() -> None:
    filed = file_words(load_catalog().vocabulary.texts())
    again = msgspec.msgpack.decode(msgspec.msgpack.encode(filed), type=Filed)
    assert again == filed
    assert list(again.rows) == list(filed.rows)


def test_every_shipped_file_says_kept_what_it_says_parsed() -> None:
    """Dates are kept as text, as they are written."""
    kept = reading._shipped_tables()
    paths = sorted(reading.SHIPPED.rglob("*.toml"))
    assert list(kept) == [str(p) for p in paths]
    for path in paths:
        parsed = tomli.loads(path.read_text(encoding="utf-8"))
        assert msgspec.msgpack.decode(kept[str(path)]) == msgspec.to_builtins(parsed), path.name


def test_a_shipped_file_that_is_no_toml_is_left_to_whoever_asks_for_it() -> None:
    assert list(reading._parse_each({"good": "a = 1", "broken": "a = = 1"})) == ["good"]
