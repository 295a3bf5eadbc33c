"""Collect everything that is wrong with a case file, each with its line."""

from collections.abc import Iterable, Mapping
from pathlib import Path as FilePath

import msgspec
from rapidfuzz import fuzz, process

from squibwise.catalog.load import Catalog
from squibwise.intake.case_file.locate import Lines, Path, line_of
from squibwise.model.origin import Finding, Origin, Severity

_CLOSE = (
    62.0  # share of letters in common, in %, from which a suggestion helps more than it misleads
)


class Mention(msgspec.Struct, frozen=True, kw_only=True):
    """A component named somewhere in the file, to be compared with the car's equipment.

    Attributes:
        component: Component id.
        stage: Circuit that was named; 1 when none was.
        path: Where it stands.
    """

    component: str
    stage: int
    path: Path


class Notes:
    """What is being learned while a case file is read; a class because every check adds to it.

    Args:
        name: Name of the case file, as messages show it.
        folder: The case folder; None for a file that stands alone.
        text: The file's text.
        lines: Where each table and key stands.
        catalog: The catalogue words are checked against.
    """

    def __init__(
        self, name: str, folder: FilePath, text: str, lines: Lines, catalog: Catalog
    ) -> None:
        self.name = name
        self.folder = folder
        self.catalog = catalog
        self.findings: list[Finding] = []
        self.mentions: list[Mention] = []
        self._texts = text.splitlines()
        self._lines: Mapping[Path, int] = lines

    def add(
        self, code: str, path: Path, message: str, remedy: str = "", severity: Severity = "error"
    ) -> None:
        """Add one finding at the line of a path."""
        finding = Finding(
            code=code, severity=severity, message=message, remedy=remedy, origin=self.origin(path)
        )
        self.findings.append(finding)

    def origin(self, path: Path, person: str | None = None) -> Origin:
        """Return where a path stands, with the text of that line."""
        line = line_of(self._lines, path)
        raw = self._texts[line - 1].strip() if line and line <= len(self._texts) else ""
        return Origin(file=self.name, line=line, raw=raw, person=person)

    def mention(self, component: str, stage: int, path: Path) -> None:
        """Remember that the evidence, or a number of circuits, named a component."""
        if path[0] == "evidence" or path[:2] == ("car", "stages"):
            self.mentions.append(Mention(component=component, stage=stage, path=path))


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return ``Did you mean 'x'?`` for the nearest known word, or an empty text."""
    best = process.extractOne(word.lower(), list(known), scorer=fuzz.ratio, score_cutoff=_CLOSE)
    return f"Did you mean '{best[0]}'?" if best else ""


def suggest(word: str, known: Iterable[str]) -> str:
    """Return the nearest known word as a question, then the whole list."""
    words = list(known)
    guess = did_you_mean(word, words)
    return f"{guess} Use one of: {', '.join(words)}.".strip()
