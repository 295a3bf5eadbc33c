"""Open a case for a command, with what the user's own finished cases teach, and answer about it."""

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any

import msgspec
from rich.console import RenderableType

from squibwise import case as line
from squibwise.catalog.load import Catalog, load_catalog
from squibwise.cli import output, page
from squibwise.errors import InputError
from squibwise.model.case import Case, Experience
from squibwise.model.origin import Finding, Origin


class Opened(msgspec.Struct, frozen=True, kw_only=True):
    """What a command works on.

    Attributes:
        case: The case.
        catalog: The catalogue.
        own: What the finished cases teach; empty when none were named.
        learned: Were finished cases named.
        findings: What is remarkable about the case and about the finished cases.
    """

    case: Case
    catalog: Catalog
    own: Experience
    learned: bool
    findings: tuple[Finding, ...]


def opened(path: Path, own: Path | None) -> Opened:
    """Return the case under a path, and what the cases in a folder of finished ones teach.

    Raises:
        InputError: The case cannot be used, or there is no such folder.
    """
    catalog = load_catalog()
    case = line.open_case(path, catalog)
    finished, broken = ([], []) if own is None else _finished(own, path, catalog)
    return Opened(
        case=case,
        catalog=catalog,
        own=line.learn(finished, catalog) if finished else Experience(),
        learned=own is not None,
        findings=(*broken, *case.findings),
    )


def _finished(own: Path, path: Path, catalog: Catalog) -> tuple[list[Case], list[Finding]]:
    """Open every case of a folder but the one at hand; one that is broken is told and skipped."""
    if not own.is_dir():
        remedy = "Name the folder in which your finished cases lie."
        raise InputError(f"'{own}' is no folder.", remedy=remedy)
    here = path.resolve()
    cases, broken = [], []
    for file in sorted(own.glob("*/case.toml")):
        if here in (file.resolve(), file.parent.resolve()):
            continue
        try:
            cases.append(line.open_case(file, catalog))
        except InputError as error:
            broken.append(_skipped(file, error))
    return cases, broken


def _skipped(file: Path, error: InputError) -> Finding:
    told = str(error)
    if len(error.findings) > 1:
        told = f"{told} {error.findings[0].text()}"
    return Finding(
        code="own-case-skipped",
        severity="warning",
        message=f"this finished case was skipped, nothing was learned from it: {told}",
        remedy=f"`squibwise assess {file.parent}` tells every mistake in it.",
        origin=Origin(file=str(file)),
    )


def answer(
    at: Opened,
    value: Mapping[str, Any],
    blocks: Callable[[Case], Iterable[RenderableType]],
    *,
    as_json: bool,
    findings: Iterable[Finding] = (),
    needs_person: bool = False,
) -> int:
    """Write an answer about a case and return the exit code.

    Args:
        at: The case at hand.
        value: The answer in plain values.
        blocks: Makes the text, from the case with everything remarkable about the input.
        as_json: JSON instead of text.
        findings: What is remarkable about the answer itself.
        needs_person: Does something need a person, whatever the findings say.
    """
    told = list(dict.fromkeys((*at.findings, *findings)))
    whole = {"case": at.case.id} | dict(value)
    whole |= {"findings": [output.as_builtins(f) for f in told]}
    if at.learned:
        whole |= {"own_cases": output.as_builtins(at.own)}
    shown = msgspec.structs.replace(at.case, findings=at.findings)
    code = output.exit_code(told, needs_person=needs_person)
    made = [*_head(at), *blocks(shown)]  # also for JSON: an unknown --why is refused either way
    return output.answer(whole, lambda: made, as_json=as_json, code=code)


def _head(at: Opened) -> list[RenderableType]:
    if not at.learned:
        return []
    moved = ", ".join(f"{curve} {shift:+.2f}" for curve, shift in at.own.shifts.items())
    text = f"Learned from {at.own.cases} of your own finished cases"
    tail = f": shift of log odds {moved}." if moved else "; no curve was shifted."
    return [page.para(text + tail, indent=0, style="dim")]
