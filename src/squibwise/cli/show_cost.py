"""Show what is still to be paid, and what has no price yet."""

from collections.abc import Sequence

from rich.console import RenderableType

from squibwise.cli import page
from squibwise.model.case import Case
from squibwise.model.cost import Cost, CostLine, Money


def blocks(case: Case, costs: Sequence[Cost]) -> list[RenderableType]:
    """Return the sums, then the lines of the profile that is followed."""
    shown = page.title(case) + summary(case, costs)
    if costs:
        shown.append(page.heading("Lines", f"rules: {rules_of(costs[0])}"))
        shown.append(page.rows(_head() + [_line(x) for x in costs[0].lines], right=(1, 2, 3)))
    return shown + page.findings((*case.findings, *(f for c in costs for f in c.findings)))


def summary(case: Case, costs: Sequence[Cost]) -> list[RenderableType]:
    """Return one sum for each profile, and what has no price."""
    if not costs:
        return []
    shown: list[RenderableType] = [
        page.heading("Still to be paid", f"{case.currency}, from the prices you entered")
    ]
    table = [("rules", "low", "likely", "high", "hands-on")]
    sums = [(*_sums(c), page.minutes(c.minutes)) for c in costs]
    if len(costs) > 1 and len(set(sums)) == 1:
        table.append(("every profile", *sums[0]))
    else:
        table += [(rules_of(c), *figures) for c, figures in zip(costs, sums, strict=True)]
    shown.append(page.rows(table, right=(1, 2, 3)))
    missing = list(dict.fromkeys(key for c in costs for key in c.unpriced))
    if missing:
        text = f"Not in these sums, because you have entered no price: {', '.join(missing)}."
        shown.append(page.para(text, style="yellow"))
    return shown


def rules_of(cost: Cost) -> str:
    """Return the rules that a sum follows."""
    return "strictest of all" if cost.profile == "unknown" else cost.profile


def short(cost: Cost) -> str:
    """Return one sum in a sentence."""
    text = f"{cost.likely.text()} likely ({_sum(cost.low)} to {_sum(cost.high)})"
    if not _is_priced(cost):
        text = "no price is entered"
    count = len(cost.unpriced)
    kinds = "1 kind of part or work has" if count == 1 else f"{count} kinds of part or work have"
    missing = f"; {kinds} no price yet" if count else ""
    return f"{text}{missing}"


def _sums(cost: Cost) -> tuple[str, str, str]:
    """Return the three sums; what holds no price at all is unknown, not nothing."""
    if not _is_priced(cost):
        return "?", "?", "?"
    return _sum(cost.low), _sum(cost.likely), _sum(cost.high)


def _is_priced(cost: Cost) -> bool:
    return cost.high.minor > 0 or not cost.unpriced


def _sum(money: Money) -> str:
    return money.text().rpartition(" ")[0]


def _head() -> list[tuple[str, str, str, str, str]]:
    return [("needed", "low", "likely", "high", "for")]


def _line(line: CostLine) -> tuple[str, str, str, str, str]:
    low, likely, high = (_sum(m) if m else "?" for m in (line.low, line.likely, line.high))
    return page.percent(line.probability), low, likely, high, f"{line.item} ({line.what})"
