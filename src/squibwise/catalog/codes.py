"""Code tables: what a fault code and a failure type byte stand for, each with its source."""

from functools import cached_property
from pathlib import Path

import msgspec

from squibwise.catalog.reading import read_toml, read_tsv, refuse_repeats
from squibwise.catalog.vocabulary import FEATURES, VALUES, shares
from squibwise.errors import CatalogError, InputError, ModelError
from squibwise.model.car import OwnCode
from squibwise.model.names import split_component
from squibwise.model.origin import Origin
from squibwise.model.words import FAULTS, Basis, Fault, Status

CODE_COLUMNS = ("code", "means", "title")
TYPE_COLUMNS = ("byte", "gives", "status", "title", "basis")
OWN_COLUMNS = ("code", "component", "stage", "fault", "text")
NO_FAULT = "none"


class TableRecord(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One row of ``tables.toml``.

    Attributes:
        file: TSV beside it.
        share: Weight of the table's reading of a code that has no words. [0 to 1]
    """

    file: str
    title: str
    source: str
    at: str
    basis: Basis
    share: float
    note: str = ""

    def __post_init__(self) -> None:
        if not 0.0 < self.share < 1.0:
            raise CatalogError(f"{self.file}: share {self.share} is not between 0 and 1")


class _TableFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    table: tuple[TableRecord, ...]


class CodeMeaning(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What one table says of one code.

    Attributes:
        code: Such as ``B0001``.
        means: Features and values, as the vocabulary has them; ``number:2`` for a second part.
        title: In words.
        table: The table it stands in.
    """

    code: str
    means: tuple[str, ...]
    title: str
    table: TableRecord


class FailureType(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a failure type byte stands for.

    Attributes:
        byte: Two hex digits.
        gives: Fault words with their shares.
        status: Status word it adds; None for none.
        basis: Basis of its text; the fault word is our reading of it.
    """

    byte: str
    gives: tuple[tuple[str, float], ...]
    status: Status | None
    title: str
    basis: Basis


class CodeBook:
    """All shipped tables. A class because each is read when first asked for.

    Args:
        folder: Holds ``tables.toml``, its TSV files and ``failure-types.tsv``.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    @cached_property
    def codes(self) -> dict[str, CodeMeaning]:
        """Meanings by code; the first table that knows a code counts."""
        found: dict[str, CodeMeaning] = {}
        for table in read_toml(self.folder / "tables.toml", _TableFile).table:
            for meaning in read_codes(self.folder / table.file, table):
                found.setdefault(meaning.code, meaning)
        return found

    @cached_property
    def failure_types(self) -> dict[str, FailureType]:
        """Failure types by byte."""
        return read_failure_types(self.folder / "failure-types.tsv")


def read_codes(path: Path, table: TableRecord) -> tuple[CodeMeaning, ...]:
    """Return the rows of one table.

    Raises:
        CatalogError: An unknown feature, or a code twice.
    """
    rows = read_tsv(path, CODE_COLUMNS)
    refuse_repeats((r["code"] for r in rows), path.name)
    found = []
    for row in rows:
        means = tuple(row["means"].split())
        strange = [m for m in means if not _is_known(m)]
        if strange or not means:
            raise CatalogError(f"{path.name}: {row['code']} means unknown {strange}")
        found.append(CodeMeaning(code=row["code"], means=means, title=row["title"], table=table))
    return tuple(found)


def read_failure_types(path: Path) -> dict[str, FailureType]:
    """Return failure types by byte.

    Raises:
        CatalogError: An unknown fault or basis, shares that do not sum to one, a byte twice.
    """
    rows = read_tsv(path, TYPE_COLUMNS)
    refuse_repeats((r["byte"] for r in rows), path.name)
    try:
        return {
            row["byte"]: msgspec.convert(
                row
                | {"gives": shares(row["gives"], frozenset(FAULTS), path.name)}
                | {"status": None if row["status"] == "-" else row["status"]},
                FailureType,
            )
            for row in rows
        }
    except msgspec.ValidationError as error:
        raise CatalogError(f"{path.name}: {error}") from error


def read_own_codes(path: Path, source: str, kinds: frozenset[str]) -> tuple[OwnCode, ...]:
    """Return a code table that the user brings for a car.

    Args:
        path: TSV with the columns ``code component stage fault text``; ``-`` for unknown, and
            ``none`` where the words of a line tell of no fault.
        source: Where the user read it; needed.
        kinds: Component kinds of the catalogue.

    Raises:
        InputError: No source, wrong columns, or a cell that is not understood, with its line.
    """
    if not source.strip():
        raise InputError(
            f"{path.name}: a code table needs a source", remedy="Say where it is from."
        )
    try:
        rows = read_tsv(path, OWN_COLUMNS)
        return tuple(_own_code(r, path, n, source, kinds) for n, r in enumerate(rows, start=2))
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path.name}: cannot be read: {error}") from error
    except CatalogError as error:
        remedy = "Tab-separated, first line: " + " ".join(OWN_COLUMNS)
        raise InputError(str(error), remedy=remedy) from error


def _own_code(
    row: dict[str, str], path: Path, line: int, source: str, kinds: frozenset[str]
) -> OwnCode:
    code, _, failure = row["code"].strip().upper().partition("-")
    component = _own_component(row["component"].strip(), f"{path.name}:{line}", kinds)
    fault = row["fault"].strip()
    if fault not in ("-", NO_FAULT, *FAULTS):
        raise InputError(f"{path.name}:{line}: unknown fault '{fault}'", remedy=f"One of {FAULTS}.")
    stage = row["stage"].strip()
    if stage != "-" and not stage.isdecimal():
        raise InputError(f"{path.name}:{line}: stage '{stage}' is no number", remedy="Or write -.")
    return OwnCode(
        code=code,
        failure_type=failure or None,
        component=component,
        stage=None if stage == "-" else int(stage),
        fault=msgspec.convert(fault, Fault) if fault in FAULTS else "unknown",
        denies=fault == NO_FAULT,
        text=row["text"] if row["text"] != "-" else "",
        source=source,
        origin=Origin(file=str(path), line=line, raw="\t".join(row.values())),
    )


def _own_component(text: str, where: str, kinds: frozenset[str]) -> str | None:
    if text == "-":
        return None
    try:
        name = split_component(text)
    except ModelError as error:
        raise InputError(f"{where}: {error}", remedy=error.remedy) from error
    if name.kind not in kinds:
        raise InputError(f"{where}: unknown component '{text}'", remedy="Write <place>.<kind>.")
    return text


def _is_known(mean: str) -> bool:
    key, colon, value = mean.partition(":")
    if key == "number":
        return value.isdecimal()
    return value in VALUES.get(key, ()) if colon else mean in FEATURES
