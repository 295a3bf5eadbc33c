"""Read catalogue files strictly: unknown keys, wrong types and broken syntax are refused."""

import tomllib
from collections.abc import Iterable
from pathlib import Path
from typing import TypeVar

import msgspec

from squibwise.errors import CatalogError

T = TypeVar("T")


def read_toml(path: Path, kind: type[T]) -> T:
    """Return one catalogue file as a record.

    Raises:
        CatalogError: The file is missing, is not TOML, or does not fit the record.
    """
    try:
        text = path.read_text(encoding="utf-8")
        return msgspec.convert(tomllib.loads(text), kind)
    except OSError as error:
        raise CatalogError(f"{path.name}: cannot be read: {error.strerror}") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise CatalogError(f"{path.name}: not valid TOML: {error}") from error
    except (msgspec.ValidationError, CatalogError) as error:
        raise CatalogError(f"{path.name}: {error}", remedy="Correct the file.") from error


def read_folder(folder: Path, kind: type[T]) -> dict[str, T]:
    """Return every TOML file of a folder as a record, by file stem, sorted."""
    return {path.stem: read_toml(path, kind) for path in sorted(folder.glob("*.toml"))}


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
        cells = line.split("\t")
        if line.strip() and len(cells) != len(columns):
            raise CatalogError(f"{path.name}:{number}: {len(cells)} cells, not {len(columns)}")
        if line.strip():
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
