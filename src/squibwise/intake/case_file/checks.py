"""What is found wrong with a case file, and the checks of single values against the catalogue."""

import re
from collections.abc import Callable, Iterable, Mapping
from itertools import islice
from pathlib import Path
from typing import get_args

import msgspec

from squibwise.catalog.components import Kind
from squibwise.catalog.load import Catalog, with_article
from squibwise.errors import ModelError
from squibwise.intake.case_file.toml_text import KeyPath, Lines, line_of
from squibwise.intake.importers.base import Extract
from squibwise.intake.patterns import pattern
from squibwise.intake.report.sheet import Sheet
from squibwise.intake.vin import read_vin
from squibwise.model.names import PLACES, split_loop
from squibwise.model.origin import Finding, Origin, Severity
from squibwise.model.words import ASKED_WORDS, RELEASE_WORDS, VERDICT_WORDS, Action
from squibwise.model.work import ON_LOADS

_CLOSE = (
    62.0  # share of letters in common, in %, from which a suggestion helps more than it misleads
)

_LONGEST = 40  # characters of a value that are shown


_TOLD = pattern(r"\s*#\s*told:\s*(.+)", re.IGNORECASE)


class Mention(msgspec.Struct, frozen=True, kw_only=True):
    """A component named somewhere in the file, to be compared with the car's equipment.

    Attributes:
        component: Component id.
        stage: Circuit that was named; 1 when none was.
        path: Where it stands.
    """

    component: str
    stage: int
    path: KeyPath


class Notes:
    """What is being learned while a case file is read; a class because every check adds to it.

    Args:
        name: Name of the case file, as messages show it.
        folder: The case folder; None for a file that stands alone.
        text: The file's text.
        lines: Where each table and key stands.
        catalog: The catalogue words are checked against.
    """

    def __init__(self, name: str, folder: Path, text: str, lines: Lines, catalog: Catalog) -> None:
        self.name = name
        self.folder = folder
        self.catalog = catalog
        self.findings: list[Finding] = []
        self.mentions: list[Mention] = []
        self.gathered: dict[str, tuple[Extract, Sheet]] = {}
        self._texts = text.splitlines()
        self._lines: Mapping[KeyPath, int] = lines

    def add(
        self, code: str, path: KeyPath, message: str, remedy: str = "", severity: Severity = "error"
    ) -> None:
        """Add one finding at the line of a path."""
        finding = Finding(
            code=code, severity=severity, message=message, remedy=remedy, origin=self.origin(path)
        )
        self.findings.append(finding)

    def origin(self, path: KeyPath, person: str | None = None) -> Origin:
        """Return where a path stands, with the text of that line."""
        line = line_of(self._lines, path)
        raw = self._texts[line - 1].strip() if line and line <= len(self._texts) else ""
        return Origin(file=self.name, line=line, raw=raw, person=person)

    def told(self) -> list[tuple[int, str]]:
        """Return the comments that tell the owner's story, ``# told: ...``, with their lines."""
        lines = enumerate(self._texts, start=1)
        return [(n, m[1].strip()) for n, text in lines if (m := _TOLD.match(text))]

    def mention(self, component: str, stage: int, path: KeyPath) -> None:
        """Remember that the evidence, or a number of circuits, named a component."""
        if path[0] == "evidence" or path[:2] == ("car", "stages"):
            self.mentions.append(Mention(component=component, stage=stage, path=path))


def show(value: object) -> str:
    """Return a value as a person wrote it, cut to a readable length."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list):
        return "a list"
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= _LONGEST else f"{text[:_LONGEST]}..."


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return ``Did you mean 'x'?`` for the nearest known word, or an empty text."""
    from rapidfuzz import fuzz, process  # loads slowly, and most cases have no word to guess

    words = list(known)
    best = process.extractOne(word.lower(), words, scorer=fuzz.ratio, score_cutoff=_CLOSE)
    part_of = [w for w in words if word.lower() in w.split("-")]
    near = best[0] if best else min(part_of, key=len, default="")
    return f"Did you mean '{near}'?" if near else ""


def suggest(word: str, known: Iterable[str]) -> str:
    """Return the nearest known word as a question, then the whole list."""
    words = list(known)
    guess = did_you_mean(word, words)
    return f"{guess} Use one of: {', '.join(words)}.".strip()


Check = Callable[[str, KeyPath, Notes], bool]

_REGION = pattern(r"[A-Z]{2}(-[A-Z0-9]{1,3})?")
_NAMED = 90  # how well words must fit a component's title to be taken for it
_NEAR = 200  # files looked at for a suggestion
_ITEM_ACTIONS = (*get_args(Action), "trace", "disposal")
_ITEM_IDS = "`squibwise work CASE` shows the ids, such as driver.front-bag:replace."
_WHOLE_CAR = ("battery", "codes")


def component(value: str, path: KeyPath, notes: Notes) -> bool:
    """Say whether a component id names a known kind in a place it can be in."""
    kind = _kind_of(value, path, notes)
    if kind is not None:
        notes.mention(value, 1, path)
    return kind is not None


def loop(value: str, path: KeyPath, notes: Notes) -> bool:
    """Say whether a loop id (or a component id) names a circuit that can be."""
    try:
        component_id, stage = split_loop(value)
    except ModelError as error:
        notes.add("case-unknown-component", path, f"{error}.", "Write <component>/<stage>.")
        return False
    kind = _kind_of(component_id, path, notes)
    if kind is None:
        return False
    if stage > kind.stages:
        most = f"A {kind.title} has at most {kind.stages} circuit(s)."
        notes.add("case-unknown-component", path, f"'{value}' is no circuit.", most)
        return False
    notes.mention(component_id, stage, path)
    return True


def done_to(value: str, path: KeyPath, notes: Notes) -> bool:
    """Say whether work was done to a component, to the battery or to the codes."""
    return value in _WHOLE_CAR or component(value, path, notes)


def rule(value: str, path: KeyPath, notes: Notes) -> bool:
    """Say whether a rule is about a component or about a kind."""
    return value in notes.catalog.kinds or component(value, path, notes)


def _kind_of(value: str, path: KeyPath, notes: Notes) -> Kind | None:
    place, dot, rest = value.partition(".")
    kinds = notes.catalog.kinds
    if not dot:
        _complain(f"'{value}' is not a component.", _how_to_write(value, kinds), path, notes)
        return None
    kind = kinds.get(kind_word(rest))
    if place not in PLACES:
        _complain(f"'{value}': there is no place '{place}'.", suggest(place, PLACES), path, notes)
        return None
    if kind is None:
        meant = _find_called(f"{place} {rest.replace('-', ' ')}", kinds)
        guess = did_you_mean(rest, kinds) or (f"Did you mean {meant}?" if meant else "")
        remedy = guess or "`squibwise catalog` lists the kinds."
        _complain(f"'{value}': there is no component kind '{rest}'.", remedy, path, notes)
    elif place not in kind.places:
        message = f"'{value}': a {kind.title} is never at '{place}'."
        notes.add("case-place-not-allowed", path, message, suggest(place, kind.places))
        return None
    return kind


def kind_word(rest: str) -> str:
    """Return the kind in the part of a component id behind the dot."""
    numbered = re.fullmatch(r"(.+)-([2-9]|[1-9][0-9])", rest)
    return numbered[1] if numbered else rest


def _complain(message: str, remedy: str, path: KeyPath, notes: Notes) -> None:
    notes.add("case-unknown-component", path, message, remedy)


def _how_to_write(value: str, kinds: Mapping[str, Kind]) -> str:
    if value in kinds:
        return f"Write <place>.<kind>, for example {kinds[value].places[0]}.{value}."
    ids = _find_called(value, kinds) or "driver.front-bag"
    return f"Write <place>.<kind>, for example {ids}."


def _find_called(words: str, kinds: Mapping[str, Kind]) -> str:
    """Return the ids, three at most, of what is called so: ``driver airbag``; empty = nothing."""
    from rapidfuzz import fuzz, process

    called = {f"{p}.{k.kind}": f"{p} {k.title}" for k in kinds.values() for p in k.places}
    near = process.extract(words.lower(), called, scorer=fuzz.token_set_ratio, score_cutoff=_NAMED)
    return " or ".join(sorted((n[2] for n in near), key=lambda i: len(called[i]))[:3])


def seen(word: str, kind: str, path: KeyPath, notes: Notes) -> bool:
    """Say whether a look word belongs to the kind of component that was looked at."""
    words = [*notes.catalog.looks(kind), "not-seen"]
    if word not in words:
        message = f"{with_article(notes.catalog.kinds[kind].title)} cannot be seen as '{word}'."
        meant = notes.catalog.said.seen.get(word.lower(), "")
        guess = f"Did you mean '{meant}'? Use one of: {', '.join(words)}."
        remedy = guess if meant in words else suggest(word, words)
        notes.add("case-unknown-look", path, message, remedy)
    return word in words


def region(value: str, path: KeyPath, notes: Notes) -> bool:
    """Say whether a region is written as ISO 3166 writes it."""
    if _REGION.fullmatch(value):
        return True
    remedy = "Write an ISO 3166 code such as US-OH, GB or AU-SA."
    notes.add("case-region-format", path, f"'{value}' is not a region code.", remedy)
    return False


def currency(value: str, path: KeyPath, notes: Notes) -> bool:
    """Say whether a currency is one of the catalogue's ISO 4217 codes."""
    known = notes.catalog.currencies.codes
    if value in known:
        return True
    remedy = did_you_mean(value.upper(), known) or "Write an ISO 4217 code such as USD."
    if value.upper() in known:
        remedy = f"Write '{value.upper()}'."
    notes.add("case-unknown-currency", path, f"'{value}' is not a currency code.", remedy)
    return False


def template(value: str, path: KeyPath, notes: Notes) -> bool:
    """Say whether there is such an equipment template."""
    if value in notes.catalog.templates:
        return True
    remedy = suggest(value, notes.catalog.templates)
    notes.add("case-unknown-template", path, f"there is no equipment '{value}'.", remedy)
    return False


def name_kind(path: Path) -> str:
    """Return what stands at a path in place of a file; empty for a file, and for nothing at all."""
    if path.is_symlink() and not path.exists():
        return "a link that leads nowhere"
    kinds = {"a folder": path.is_dir, "a pipe": path.is_fifo}
    told = next((kind for kind, is_it in kinds.items() if is_it()), "")
    return told or ("" if path.is_file() or not path.exists() else "a device")


def inside_file(value: str, path: KeyPath, notes: Notes) -> bool:
    """Say whether a file is there, and inside the case folder."""
    try:
        target = (notes.folder / value).resolve()
        inside, there = target.is_relative_to(notes.folder.resolve()), target.is_file()
    except (OSError, ValueError, RuntimeError):  # no name that a file can have, or a link to itself
        remedy = "Name a file that can be opened."
        notes.add("case-missing-file", path, f"{show(value)} leads to no file.", remedy)
        return False
    if not inside:
        remedy = "Copy it into the case folder and name it from there."
        notes.add("case-file-outside", path, f"'{value}' leaves the case folder.", remedy)
    elif not there and (kind := name_kind(notes.folder / value)):
        remedy = "Name a file in it." if kind == "a folder" else "Put the file itself there."
        notes.add("case-missing-file", path, f"{show(value)} is {kind}, not a file.", remedy)
    elif not there:
        near = [str(p.relative_to(notes.folder)) for p in islice(notes.folder.rglob("*"), _NEAR)]
        remedy = did_you_mean(value, sorted(near)) or "Correct the name or put the file there."
        notes.add("case-missing-file", path, f"there is no file {show(value)}.", remedy)
    return inside and there


def vin(value: str, path: KeyPath, notes: Notes) -> bool:
    """Say whether a VIN can be one; a check digit that does not verify is only a warning."""
    read, findings = read_vin(value, notes.catalog, notes.origin(path))
    notes.findings += findings
    return read is not None


def profile(value: str, path: KeyPath, notes: Notes) -> bool:
    """Say whether there is such a rule profile."""
    names = ["unknown", *notes.catalog.profile_names]
    if value in names:
        return True
    notes.add(
        "case-unknown-profile", path, f"there is no profile '{value}'.", suggest(value, names)
    )
    return False


def price_key(value: str, path: KeyPath, notes: Notes) -> bool:
    """Say whether a price is for a component, a kind, a task or an hour of work."""
    if ":" in value:
        return item(value, path, notes)
    if "." in value:
        return component(value, path, notes)
    if value == "labour-hour" or value in notes.catalog.kinds:
        return True
    names = ["labour-hour", *notes.catalog.kinds, *notes.catalog.tasks.steps]
    if value in names:
        return True
    remedy = did_you_mean(value, names) or "Name a component, a kind, a task or labour-hour."
    notes.add("case-unknown-price", path, f"nothing is called '{value}'.", remedy)
    return False


def _is_operation(value: str, notes: Notes) -> bool:
    """Say whether a line of work can be called so: ``open:b-left``, ``fit:front-belt@driver``."""
    head, _, tail = value.partition(":")
    catalog = notes.catalog
    known: dict[str, list[str]] = {
        "look": list(catalog.tasks.ticks),
        "set": [s.id for s in catalog.tasks.settings.values()],
        **{key: list(catalog.tasks.openings) for key in ("open", "close")},
        "join": [*catalog.tasks.openings, *catalog.assemblies, ON_LOADS],
        **{key: list(catalog.assemblies) for key in ("out", "fit", "trace")},
    }
    base = tail.partition("@")[0]
    return any(base == k or base.startswith(f"{k}-") for k in known.get(head, []))


def item(value: str, path: KeyPath, notes: Notes) -> bool:
    """Say whether work can be called so: a step, ``<component>:<action>``, an operation."""
    head, colon, tail = value.rpartition(":")
    steps = notes.catalog.tasks.steps
    is_paper = value in notes.catalog.papers and value not in steps
    if (colon and _is_operation(value, notes)) or is_paper:
        return True
    if head == "step":
        checked = any(tail.startswith(f"check-{cause}") for cause in notes.catalog.tasks.causes)
        return checked or _among(tail, steps, path, notes)
    if not colon:
        remedy = f"Write 'step:{value}'." if value in steps else _ITEM_IDS
        notes.add("case-unknown-item", path, f"'{value}' is no operation and no demand.", remedy)
        return False
    return _among(tail, _ITEM_ACTIONS, path, notes) and rule(head, path, notes)


def passed(value: str, path: KeyPath, notes: Notes) -> bool:
    """Say whether a check is a gate, a word of the release, a verdict or a demand."""
    words = [*notes.catalog.tasks.gates, *RELEASE_WORDS, *ASKED_WORDS]
    words += [*notes.catalog.papers, *notes.catalog.questions]
    head, _, tail = value.partition(":")
    if value in words or (head == "reading" and tail):
        return True
    if head in VERDICT_WORDS and tail:
        return component(tail, path, notes)
    if ":" in value or value in notes.catalog.tasks.steps:
        return item(value, path, notes)
    return _among(value, words, path, notes)


def _among(word: str, known: Iterable[str], path: KeyPath, notes: Notes) -> bool:
    words = list(dict.fromkeys(known))
    if word in words:
        return True
    notes.add("case-unknown-item", path, f"there is no '{word}'.", suggest(word, words))
    return False


CHECKS: dict[str, Check] = {
    "component": component,
    "done-to": done_to,
    "loop": loop,
    "rule": rule,
    "price-key": price_key,
    "item": item,
    "passed": passed,
    "file": inside_file,
    "region": region,
    "currency": currency,
    "vin": vin,
    "template": template,
    "profile": profile,
}
