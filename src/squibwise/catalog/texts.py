"""What people are told in fixed words: cautions, notices by region, gates and papers of release."""

import datetime as dt
import hashlib
import re
from pathlib import Path
from typing import Literal

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
Reader = Literal["inspector", "insurer", "buyer"]
_REGION = re.compile(r"[A-Z]{2}(-[A-Z0-9]{1,3})?|[A-Z]{2}-other|everywhere|elsewhere|unknown")


class CautionText(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """A hazard and what keeps people safe from it, in our own words.

    Attributes:
        short: The same in a few words, where a page must hold them all.
    """

    id: str
    text: str
    short: str
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


class Question(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What readers of a record ask.

    Attributes:
        id: Word; what answers it stands in ``prove``.
        text: The question.
        readers: Who asks it: ``inspector``, ``insurer``, ``buyer``.
    """

    id: str
    text: str
    readers: tuple[Reader, ...]


class ReleaseFile(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """``release.toml``."""

    gate: tuple[ReleaseGate, ...]
    text: tuple[RecordText, ...]
    paper: tuple[Paper, ...] = ()
    question: tuple[Question, ...] = ()


class WordSet(msgspec.Struct, frozen=True, kw_only=True):
    """The fixed words that records of one version carry, each by its SHA-256.

    Attributes:
        name: Version that wrote them.
        gates: Id and hash of each gate, in order.
        texts: Ids and hashes of the texts that stand in every record.
        cautions: Ids and hashes of the cautions that may stand in it.
        papers: Ids of the papers, in order.
        questions: Id and hash of each question, in order.
    """

    name: str
    gates: tuple[tuple[str, str], ...] = ()
    texts: frozenset[tuple[str, str]] = frozenset()
    cautions: frozenset[tuple[str, str]] = frozenset()
    papers: tuple[str, ...] = ()
    questions: tuple[tuple[str, str], ...] = ()


_WORDS = ("gate", "text", "caution", "paper", "question")


def hash_words(text: str) -> str:
    """Return the SHA-256 of a fixed text, in hex; broken text has one too, of no fixed text."""
    return hashlib.sha256(text.encode("utf-8", "backslashreplace")).hexdigest()


def read_word_sets(folder: Path) -> tuple[WordSet, ...]:
    """Return the words of versions that were released, from ``words/<version>.tsv``.

    Raises:
        CatalogError: A row has another number of fields or an unknown kind.
    """
    return tuple(_word_set(file) for file in sorted(folder.glob("*.tsv")))


def _word_set(file: Path) -> WordSet:
    rows = [line.split("\t") for line in file.read_text(encoding="utf-8").splitlines()]
    wrong = [n for n, row in enumerate(rows, start=1) if len(row) != 3 or row[0] not in _WORDS]
    if wrong:
        raise CatalogError(f"{file.name}:{wrong[0]}: not a kind, an id and a SHA-256")
    kinds = {kind: [(i, h) for k, i, h in rows if k == kind] for kind in _WORDS}
    return WordSet(
        name=file.stem,
        gates=tuple(kinds["gate"]),
        texts=frozenset(kinds["text"]),
        cautions=frozenset(kinds["caution"]),
        papers=tuple(i for i, _ in kinds["paper"]),
        questions=tuple(kinds["question"]),
    )


def write_words(words: WordSet) -> str:
    """Return a set of words as the text of its file."""
    rows = [("gate", *g) for g in words.gates]
    rows += [("text", *t) for t in sorted(words.texts)]
    rows += [("caution", *c) for c in sorted(words.cautions)]
    rows += [("paper", p, "-") for p in words.papers]
    rows += [("question", *q) for q in words.questions]
    return "".join("\t".join(row) + "\n" for row in rows)


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


class MovedSteps(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """How a circuit is read whose fault came with a movement.

    Attributes:
        loads: With the power off, before anything is moved.
        move: With the power on, to be read meanwhile.
        back: The loads out again.
        set: Where nothing may be moved with the power on: with it off, before reading.
    """

    loads: str
    move: str
    back: str
    set: str
