"""Checks of single values against the catalogue and the case folder; each says what it wants."""

import re
from collections.abc import Callable, Iterable, Mapping
from itertools import islice
from typing import get_args

from squibwise.catalog.components import Kind
from squibwise.errors import ModelError
from squibwise.intake.case_file.locate import Path
from squibwise.intake.case_file.notes import Notes, did_you_mean, suggest
from squibwise.intake.case_file.wording import show
from squibwise.intake.vin import read_vin
from squibwise.model.names import PLACES, split_loop
from squibwise.model.words import RELEASE_WORDS, VERDICT_WORDS, Action

Check = Callable[[str, Path, Notes], bool]

_REGION = re.compile(r"[A-Z]{2}(-[A-Z0-9]{1,3})?")
_NEAR = 500  # files looked at for a suggestion
_ITEM_ACTIONS = (*get_args(Action), "trace", "disposal")
_ITEM_IDS = "`squibwise work CASE` shows the ids, such as driver.front-bag:replace."
_WHOLE_CAR = ("battery", "codes")


def component(value: str, path: Path, notes: Notes) -> bool:
    """Say whether a component id names a known kind in a place it can be in."""
    kind = _kind_of(value, path, notes)
    if kind is not None:
        notes.mention(value, 1, path)
    return kind is not None


def loop(value: str, path: Path, notes: Notes) -> bool:
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


def done_to(value: str, path: Path, notes: Notes) -> bool:
    """Say whether work was done to a component, to the battery or to the codes."""
    return value in _WHOLE_CAR or component(value, path, notes)


def rule(value: str, path: Path, notes: Notes) -> bool:
    """Say whether a rule is about a component or about a kind."""
    return value in notes.catalog.kinds or component(value, path, notes)


def _kind_of(value: str, path: Path, notes: Notes) -> Kind | None:
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
        remedy = did_you_mean(rest, kinds) or "`squibwise catalog` lists the kinds."
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


def _complain(message: str, remedy: str, path: Path, notes: Notes) -> None:
    notes.add("case-unknown-component", path, message, remedy)


def _how_to_write(value: str, kinds: Mapping[str, Kind]) -> str:
    example = f"{kinds[value].places[0]}.{value}" if value in kinds else "driver.front-bag"
    return f"Write <place>.<kind>, for example {example}."


def seen(word: str, kind: str, path: Path, notes: Notes) -> bool:
    """Say whether a look word belongs to the kind of component that was looked at."""
    words = [*notes.catalog.looks(kind), "not-seen"]
    if word not in words:
        message = f"a {notes.catalog.kinds[kind].title} cannot be seen as '{word}'."
        notes.add("case-unknown-look", path, message, suggest(word, words))
    return word in words


def region(value: str, path: Path, notes: Notes) -> bool:
    """Say whether a region is written as ISO 3166 writes it."""
    if _REGION.fullmatch(value):
        return True
    remedy = "Write an ISO 3166 code such as US-OH, GB or AU-SA."
    notes.add("case-region-format", path, f"'{value}' is not a region code.", remedy)
    return False


def currency(value: str, path: Path, notes: Notes) -> bool:
    """Say whether a currency is one of the catalogue's ISO 4217 codes."""
    known = notes.catalog.currencies.codes
    if value in known:
        return True
    remedy = did_you_mean(value.upper(), known) or "Write an ISO 4217 code such as USD."
    if value.upper() in known:
        remedy = f"Write '{value.upper()}'."
    notes.add("case-unknown-currency", path, f"'{value}' is not a currency code.", remedy)
    return False


def template(value: str, path: Path, notes: Notes) -> bool:
    """Say whether there is such an equipment template."""
    if value in notes.catalog.templates:
        return True
    remedy = suggest(value, notes.catalog.templates)
    notes.add("case-unknown-template", path, f"there is no equipment '{value}'.", remedy)
    return False


def inside_file(value: str, path: Path, notes: Notes) -> bool:
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
    elif not there and (notes.folder / value).is_dir():
        notes.add("case-missing-file", path, f"{show(value)} is a folder.", "Name a file in it.")
    elif not there:
        near = [str(p.relative_to(notes.folder)) for p in islice(notes.folder.rglob("*"), _NEAR)]
        remedy = did_you_mean(value, sorted(near)) or "Correct the name or put the file there."
        notes.add("case-missing-file", path, f"there is no file {show(value)}.", remedy)
    return inside and there


def vin(value: str, path: Path, notes: Notes) -> bool:
    """Say whether a VIN can be one; a check digit that does not verify is only a warning."""
    read, findings = read_vin(value, notes.catalog, notes.origin(path))
    notes.findings += findings
    return read is not None


def profile(value: str, path: Path, notes: Notes) -> bool:
    """Say whether there is such a rule profile."""
    names = ["unknown", *notes.catalog.rules.profiles]
    if value in names:
        return True
    notes.add(
        "case-unknown-profile", path, f"there is no profile '{value}'.", suggest(value, names)
    )
    return False


def price_key(value: str, path: Path, notes: Notes) -> bool:
    """Say whether a price is for a component, a kind, a task or an hour of work."""
    if value in ("labour-hour", *notes.catalog.kinds, *notes.catalog.tasks.steps):
        return True
    if ":" in value:
        return item(value, path, notes)
    if "." in value:
        return component(value, path, notes)
    names = ["labour-hour", *notes.catalog.kinds, *notes.catalog.tasks.steps]
    remedy = did_you_mean(value, names) or "Name a component, a kind, a task or labour-hour."
    notes.add("case-unknown-price", path, f"nothing is called '{value}'.", remedy)
    return False


def item(value: str, path: Path, notes: Notes) -> bool:
    """Say whether a work item can be called so: ``step:<task>``, ``<component>:<action>``."""
    head, colon, tail = value.rpartition(":")
    steps = notes.catalog.tasks.steps
    if head == "step":
        checked = any(tail.startswith(f"check-{cause}") for cause in notes.catalog.tasks.causes)
        return checked or _among(tail, steps, path, notes)
    if not colon:
        remedy = f"Write 'step:{value}'." if value in steps else _ITEM_IDS
        notes.add("case-unknown-item", path, f"'{value}' is no work item.", remedy)
        return False
    return _among(tail, _ITEM_ACTIONS, path, notes) and rule(head, path, notes)


def passed(value: str, path: Path, notes: Notes) -> bool:
    """Say whether a check is a gate, a word of the release, a verdict or a work item."""
    words = [*notes.catalog.tasks.gates, *RELEASE_WORDS]
    head, _, tail = value.partition(":")
    if value in words or (head == "reading" and tail):
        return True
    if head in VERDICT_WORDS and tail:
        return component(tail, path, notes)
    if ":" in value or value in notes.catalog.tasks.steps:
        return item(value, path, notes)
    return _among(value, words, path, notes)


def _among(word: str, known: Iterable[str], path: Path, notes: Notes) -> bool:
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
