"""What a crash data file gives, and the settings it is read by."""

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.crash_data import CrashWords
from squibwise.catalog.load import Catalog
from squibwise.model.evidence import Recorder
from squibwise.model.origin import Finding, Origin, Severity
from squibwise.numerics.pulse import Direction, Rules

Array = npt.NDArray[np.float64]


class CrashData(msgspec.Struct, frozen=True, kw_only=True):
    """Everything read from one file.

    Attributes:
        entries: One record per event, in the order of the events.
        directions: Direction of force of each entry; None where it cannot be told.
        findings: What is wrong or remarkable.
    """

    entries: tuple[Recorder, ...] = ()
    directions: tuple[Direction | None, ...] = ()
    findings: tuple[Finding, ...] = ()


class Settings(msgspec.Struct, frozen=True, kw_only=True):
    """Words and figures of the catalogue, and the file they are applied to.

    Attributes:
        words: Names, headers and units.
        figures: Values of the facts ``crash-data.*`` by name, in their own units.
        rules: Trigger, time zero and end of event.
        name: The file, for messages.
    """

    words: CrashWords
    figures: dict[str, float]
    rules: Rules
    name: str

    def finding(
        self, code: str, severity: Severity, message: str, remedy: str = "", line: int | None = None
    ) -> Finding:
        """Return a finding that points into the file."""
        origin = Origin(file=self.name, line=line)
        return Finding(code=code, severity=severity, message=message, remedy=remedy, origin=origin)


def settings_of(catalog: Catalog, name: str) -> Settings:
    """Return the catalogue's words and figures for a file."""
    prefix = "crash-data."
    figures = {
        key.removeprefix(prefix): fact.number()
        for key, fact in catalog.facts.items()
        if key.startswith(prefix)
    }
    rules = Rules(
        trigger_kmh=figures["trigger"],
        trigger_s=figures["trigger-window"] / 1e3,
        onset_kmh=figures["onset"],
        onset_s=figures["onset-window"] / 1e3,
        onset_lateral_s=figures["onset-window-lateral"] / 1e3,
        end_s=figures["onset-window"] / 1e3,
    )
    return Settings(words=catalog.crash_words, figures=figures, rules=rules, name=name)
