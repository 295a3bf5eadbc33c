"""Show verdicts: what is not met first, then what is undecided and what would decide it."""

from collections.abc import Sequence

from rich.console import RenderableType

from squibwise.catalog.load import Catalog
from squibwise.cli import page
from squibwise.cli.known import nearest
from squibwise.errors import InputError
from squibwise.model.case import Case
from squibwise.model.proof import Verdict
from squibwise.model.words import Outcome

_GROUPS: tuple[tuple[Outcome, str, str], ...] = (
    ("not met", "Not met", "bold red"),
    ("undecided", "Undecided", "yellow"),
    ("met", "Met", ""),
)


def chosen(
    case: Case, verdicts: Sequence[Verdict], catalog: Catalog, why: str | None
) -> list[RenderableType]:
    """Return all verdicts, or one with what it rests on.

    Raises:
        InputError: ``why`` names no verdict.
    """
    if why is None:
        return blocks(case, verdicts)
    found = next((v for v in verdicts if v.what == why), None)
    if found is None:
        remedy = nearest(why, (v.what for v in verdicts))
        raise InputError(f"'{why}' is no verdict of this case.", remedy=remedy)
    told = [page.reason(b, case, catalog) for b in found.because]
    shown = [*page.title(case), page.heading(f"{why}: {found.outcome}"), page.para(_text(found))]
    if told:
        shown += [page.heading("Because"), page.bullets(told)]
    return shown + page.standing()


def blocks(case: Case, verdicts: Sequence[Verdict]) -> list[RenderableType]:
    """Return the verdicts by outcome."""
    shown = page.title(case)
    if not verdicts:
        shown.append(page.para("\nNothing was measured, calibrated or tried yet.", indent=0))
    for outcome, head, style in _GROUPS:
        found = [v for v in verdicts if v.outcome == outcome]
        if found:
            shown.append(page.heading(f"{head} ({len(found)})"))
            shown.append(page.bullets((f"{v.what}: {_text(v)}" for v in found), style=style))
    shown += page.findings(case.findings)
    shown.append(page.para("\nWhy? `squibwise check CASE --why VERDICT`", indent=0, style="dim"))
    return shown + page.standing()


def _text(verdict: Verdict) -> str:
    chance = "" if verdict.p_met is None else f" (meets it with {page.percent(verdict.p_met)})"
    decide = f"\nTo decide: {verdict.decide}" if verdict.decide else ""
    weak = {b.weak.replace("-", " ") for b in verdict.because if b.weak}
    leans = f"\nLeans on {', '.join(sorted(weak))}." if weak else ""
    return f"{verdict.text}{chance}{decide}{leans}"
