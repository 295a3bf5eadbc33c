"""What a crash data file gives, the settings it is read by, and values as people write them."""

import math
import re

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.crash_words import CrashWords
from squibwise.catalog.load import Catalog
from squibwise.intake.patterns import pattern
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


_NUMBER = r"[-+\u2212]?(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][-+]?\d+)?"
_ONE = pattern(rf"^\s*({_NUMBER})\s*([^\d\s].*)?$")
_BRACKETS = pattern(r"[\[(]([^\])]*)[\])]")
_ROW_SPLIT = pattern(r"[;|\t]|,\s+|\s+|,(?![\d])|(?<=\d),(?=[-+\u2212]?\d)")


class Amount(msgspec.Struct, frozen=True, kw_only=True):
    """A number and the unit word behind it; empty when none was written."""

    number: float
    unit: str = ""


def number(text: str) -> float | None:
    """Return a number, decimal point or comma; None when it is none.

    >>> number("-12,5"), number("x")
    (-12.5, None)
    """
    low = text.strip()
    try:
        value = float(low)
    except ValueError:
        low = low.replace("\u2212", "-")
        return float(low.replace(",", ".")) if re.fullmatch(_NUMBER, low) else None
    return value if math.isfinite(value) and "_" not in low else None


def amount(text: str) -> Amount | None:
    """Return the number a value starts with, and its unit; None when it is no number.

    >>> amount("-27 km/h")
    Amount(number=-27.0, unit='km/h')
    """
    found = _ONE.match(text)
    if found is None:
        return None
    value = number(found[1])
    if value is None:
        return None
    unit = (found[2] or "").strip().strip("[]()").strip()
    return Amount(number=value, unit=unit)


def row(text: str) -> tuple[float, ...] | None:
    """Return a row of at least three numbers; None when it is none.

    >>> row("0, -1.5, -3")
    (0.0, -1.5, -3.0)
    """
    cells = [cell for cell in _ROW_SPLIT.split(text.strip().strip("[]")) if cell.strip()]
    values = [number(cell) for cell in cells]
    if len(values) < 3 or any(value is None for value in values):
        return None
    return tuple(value for value in values if value is not None)


def unit_in(name: str, words: CrashWords) -> str:
    """Return the unit word that a name carries in brackets or as its last part; else empty.

    >>> from squibwise.catalog.load import load_catalog
    >>> words = load_catalog().crash_words
    >>> unit_in("Delta-V, longitudinal (km/h)", words), unit_in("floor_x_g", words)
    ('km/h', 'g')
    """
    inside = [part.strip() for part in _BRACKETS.findall(name)]
    parts = re.split(r"[\s_,]+", _BRACKETS.sub(" ", name).strip())
    last = parts[-1] if len(parts) > 1 else ""
    return next((p for p in (*inside, last) if words.unit_of(p) is not None), "")


def flag(text: str, words: CrashWords) -> bool | None:
    """Return yes or no; None when the value is missing or another word."""
    low = text.strip().casefold()
    if low in words.yes:
        return True
    return False if low in words.no else None
