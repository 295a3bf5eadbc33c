"""Show verdicts: what is not met first, then what is undecided and what would decide it."""

from collections.abc import Sequence

from rich.console import RenderableType

from squibwise.cli import page
from squibwise.model.case import Case
from squibwise.model.proof import Verdict
from squibwise.model.words import Outcome

_GROUPS: tuple[tuple[Outcome, str, str], ...] = (
    ("not met", "Not met", "bold red"),
    ("undecided", "Undecided", "yellow"),
    ("met", "Met", ""),
)


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
    return shown + page.findings(case.findings) + page.standing()


def _text(verdict: Verdict) -> str:
    chance = "" if verdict.p_met is None else f" (meets it with {page.percent(verdict.p_met)})"
    decide = f"\nTo decide: {verdict.decide}" if verdict.decide else ""
    weak = {b.weak.replace("-", " ") for b in verdict.because if b.weak}
    leans = f"\nLeans on {', '.join(sorted(weak))}." if weak else ""
    return f"{verdict.text}{chance}{decide}{leans}"
