"""What people are told in fixed words: cautions, notices by region, gates and papers of release."""

import datetime as dt
import re
from pathlib import Path

import msgspec

from squibwise.catalog.facts import Source
from squibwise.catalog.reading import key_entries, read_files, refuse_unknown_sources
from squibwise.errors import CatalogError
from squibwise.model.words import Basis

EVERYWHERE = "everywhere"
ELSEWHERE = "elsewhere"
UNKNOWN = "unknown"
SHOWN_BY = ("", "report-before", "report-after", "part-label", "recorder", "lamp-check")
PASSED = "passed:"
_REGION = re.compile(r"[A-Z]{2}(-[A-Z0-9]{1,3})?|[A-Z]{2}-other|everywhere|elsewhere|unknown")


class CautionText(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A hazard and what keeps people safe from it, in our own words."""

    id: str
    text: str
    source: str
    at: str
    basis: Basis
    read_on: dt.date


class CautionFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One file of ``cautions/``."""

    caution: tuple[CautionText, ...]


class Notice(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A notice of law or custom.

    Attributes:
        id: Catalogue id.
        region: ISO 3166-1 or 3166-2 code; ``US-other`` for subdivisions with no notice of their
            own; ``everywhere``; ``elsewhere`` for countries with none; ``unknown`` for no region.
        text: In our own words; no legal advice.
    """

    id: str
    region: str
    text: str
    source: str
    at: str
    basis: Basis
    read_on: dt.date

    def __post_init__(self) -> None:
        if not _REGION.fullmatch(self.region):
            raise CatalogError(f"notice {self.id}: '{self.region}' is no region code")


class NoticeFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One file of ``notices/``."""

    notice: tuple[Notice, ...]


class ReleaseGate(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A condition of release; the check itself is in ``prove``.

    Attributes:
        id: Gate word.
        text: What must hold.
        remedy: What to record to close it.
        source: Why it is asked for.
    """

    id: str
    text: str
    remedy: str
    source: str
    basis: Basis


class RecordText(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A text that stands in every record; those called ``limit-...`` say what it cannot prove."""

    id: str
    text: str
    source: str


class Paper(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A paper that an inspector, an authority or a buyer asks for.

    Attributes:
        id: Word.
        text: What it is.
        shown_by: Evidence that shows it is there: one of ``SHOWN_BY`` or ``passed:<word>``;
            empty = only a person can tell.
        source: Who asks for it.
    """

    id: str
    text: str
    shown_by: str = ""
    source: str
    basis: Basis

    def __post_init__(self) -> None:
        if self.shown_by not in SHOWN_BY and not self.shown_by.startswith(PASSED):
            raise CatalogError(f"paper {self.id}: unknown shown_by '{self.shown_by}'")


class ReleaseFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``release.toml``."""

    gate: tuple[ReleaseGate, ...]
    text: tuple[RecordText, ...]
    paper: tuple[Paper, ...] = ()


def read_cautions(folder: Path, sources: dict[str, Source]) -> dict[str, CautionText]:
    """Return the cautions by id.

    Raises:
        CatalogError: A file is broken, an id stands twice or a source is unknown.
    """
    entries = [c for f in read_files(folder, CautionFile) for c in f.caution]
    refuse_unknown_sources("cautions", entries, sources)
    return key_entries(entries, "cautions")


def read_notices(folder: Path, sources: dict[str, Source]) -> tuple[Notice, ...]:
    """Return every notice, in the order of the files.

    Raises:
        CatalogError: A file is broken, an id stands twice or a source is unknown.
    """
    entries = [n for f in read_files(folder, NoticeFile) for n in f.notice]
    refuse_unknown_sources("notices", entries, sources)
    return tuple(key_entries(entries, "notices").values())


def notices_for(region: str | None, notices: tuple[Notice, ...]) -> tuple[Notice, ...]:
    """Return the notices that apply in a region, the most general first.

    Args:
        region: ISO 3166-1 or 3166-2 code such as ``US-LA`` or ``GB``; None when not stated.
        notices: All notices of the catalogue.
    """
    known = {n.region for n in notices}
    wanted = [EVERYWHERE, *_regions(region, known)]
    return tuple(n for word in wanted for n in notices if n.region == word)


def _regions(region: str | None, known: set[str]) -> list[str]:
    if region is None:
        return [UNKNOWN]
    country, dash, _ = region.partition("-")
    if country not in known:
        return [ELSEWHERE]
    if region in known and dash:
        return [country, region]
    return [country, f"{country}-other"]
