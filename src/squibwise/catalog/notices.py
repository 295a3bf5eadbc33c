"""Cautions, and notices of law and custom by region."""

import datetime as dt
import re
from pathlib import Path

import msgspec

from squibwise.catalog.facts import Source
from squibwise.catalog.reading import read_folder, refuse_repeats
from squibwise.errors import CatalogError
from squibwise.model.words import Basis

EVERYWHERE = "everywhere"
ELSEWHERE = "elsewhere"
UNKNOWN = "unknown"
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


def read_cautions(folder: Path, sources: dict[str, Source]) -> dict[str, CautionText]:
    """Return the cautions by id.

    Raises:
        CatalogError: A file is broken, an id stands twice or a source is unknown.
    """
    entries = [c for f in read_folder(folder, CautionFile).values() for c in f.caution]
    refuse_repeats((c.id for c in entries), "cautions")
    _refuse_sources("caution", entries, sources)
    return {c.id: c for c in entries}


def read_notices(folder: Path, sources: dict[str, Source]) -> tuple[Notice, ...]:
    """Return every notice, in the order of the files.

    Raises:
        CatalogError: A file is broken, an id stands twice or a source is unknown.
    """
    entries = [n for f in read_folder(folder, NoticeFile).values() for n in f.notice]
    refuse_repeats((n.id for n in entries), "notices")
    _refuse_sources("notice", entries, sources)
    return tuple(entries)


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


def _refuse_sources(
    what: str, entries: list[CautionText] | list[Notice], sources: dict[str, Source]
) -> None:
    for entry in entries:
        if entry.source not in sources:
            raise CatalogError(f"{what} {entry.id}: unknown source '{entry.source}'")
