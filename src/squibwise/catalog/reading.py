"""Read catalogue files strictly: unknown keys, wrong types and broken syntax are refused.

A section is read in two lines, whatever it holds: ``read_files`` gives the records of its files,
``key_entries`` the entries of one list by their id. ``refuse_unknown`` is how an entry that names
something which is not there is refused.
"""

from collections.abc import Iterable, Mapping
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import Protocol, TypeVar

import msgspec
import tomli

from squibwise.catalog.prepared import keep_prepared
from squibwise.errors import CatalogError

T = TypeVar("T")
SHIPPED = Path(__file__).parent / "data"


class Cited(Protocol):
    """An entry that says where it was read."""

    @property
    def source(self) -> str:
        """Source id."""


def read_toml(path: Path, kind: type[T]) -> T:
    """Return one catalogue file as a record.

    Raises:
        CatalogError: The file is missing, is not TOML, or does not fit the record.
    """
    try:
        table = _shipped_tables().get(str(path))
        if table is not None:
            return msgspec.msgpack.decode(table, type=kind)
        return msgspec.convert(tomli.loads(path.read_text(encoding="utf-8")), kind)
    except OSError as error:
        raise CatalogError(f"{path.name}: cannot be read: {error.strerror}") from error
    except (tomli.TOMLDecodeError, UnicodeDecodeError) as error:
        raise CatalogError(f"{path.name}: not valid TOML: {error}") from error
    except (msgspec.ValidationError, CatalogError) as error:
        raise CatalogError(f"{path.name}: {error}", remedy="Correct the file.") from error


@cache
def _shipped_tables() -> dict[str, bytes]:
    """Return the tables of every file of the shipped catalogue by its path, parsed once and kept.

    A file that cannot be read is left out: whoever asks for it is told.
    """
    texts = {}
    for path in sorted(SHIPPED.rglob("*.toml")):
        with suppress(OSError, UnicodeDecodeError):
            texts[str(path)] = path.read_text(encoding="utf-8")
    made_by, named = (Path(__file__),), (*texts, *texts.values())
    return keep_prepared(dict[str, bytes], lambda: _parse_each(texts), made_by, named)


def _parse_each(texts: Mapping[str, str]) -> dict[str, bytes]:
    tables = {}
    for path, text in texts.items():
        with suppress(tomli.TOMLDecodeError):
            tables[path] = msgspec.msgpack.encode(tomli.loads(text))
    return tables


def read_folder(folder: Path, kind: type[T]) -> dict[str, T]:
    """Return every TOML file of a folder as a record, by file stem, sorted."""
    return {path.stem: read_toml(path, kind) for path in sorted(folder.glob("*.toml"))}


def read_files(place: Path, kind: type[T]) -> tuple[T, ...]:
    """Return the records of a section: those of a folder's files in order, or that of one file."""
    paths = sorted(place.glob("*.toml")) if place.is_dir() else [place]
    return tuple(read_toml(path, kind) for path in paths)


def key_entries(entries: Iterable[T], section: str, key: str = "id") -> dict[str, T]:
    """Return the entries of a section by their key, in the order of the files.

    Args:
        entries: Records of one list, from every file of the section.
        section: Name of the section, for messages.
        key: Field that names an entry.

    Raises:
        CatalogError: A key stands twice.
    """
    named = [(str(getattr(entry, key)), entry) for entry in entries]
    refuse_repeats((name for name, _ in named), section)
    return dict(named)


def read_tsv(path: Path, columns: tuple[str, ...]) -> list[dict[str, str]]:
    """Return the rows of a tab-separated file whose first line names exactly these columns.

    Raises:
        CatalogError: The header differs or a row has another number of cells.
    """
    lines = path.read_text(encoding="utf-8").splitlines()
    if not lines or tuple(lines[0].split("\t")) != columns:
        raise CatalogError(f"{path.name}:1: the columns must be {', '.join(columns)}")
    rows = []
    for number, line in enumerate(lines[1:], start=2):
        if not line.strip():
            continue
        cells = line.split("\t")
        if len(cells) != len(columns):
            raise CatalogError(f"{path.name}:{number}: {len(cells)} cells, not {len(columns)}")
        rows.append(dict(zip(columns, cells, strict=True)))
    return rows


def refuse_repeats(keys: Iterable[str], what: str) -> None:
    """Raise when a key stands twice.

    Raises:
        CatalogError: With the first key that repeats.
    """
    seen: set[str] = set()
    for key in keys:
        if key in seen:
            raise CatalogError(f"{what}: '{key}' stands twice")
        seen.add(key)


def refuse_unknown(where: str, words: Iterable[str], known: Iterable[str], what: str = "") -> None:
    """Raise when a word is not among the known ones.

    Args:
        where: Section and entry that use the words.
        words: Words used.
        known: Words there are.
        what: What the words name, for the message.

    Raises:
        CatalogError: With every word that is not known.
    """
    strange = sorted(set(words) - set(known))
    if strange:
        named = f"{what} {', '.join(strange)}".strip()
        raise CatalogError(f"{where}: unknown {named}", remedy="Correct the file.")


def refuse_unknown_sources(section: str, entries: Iterable[Cited], sources: Iterable[str]) -> None:
    """Raise when an entry cites a source that is not in ``sources.toml``.

    Raises:
        CatalogError: With every source that is not known.
    """
    refuse_unknown(section, (e.source for e in entries), sources, "source")
