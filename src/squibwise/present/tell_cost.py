"""What is still to be paid, and what has no price yet."""

from collections.abc import Sequence

from squibwise.catalog.load import Catalog
from squibwise.model.case import Case
from squibwise.model.cost import Cost, CostLine
from squibwise.present.figures import bare_sum, counted, listed, minutes, money, percent
from squibwise.present.phrases import standing, tell_car, tell_findings
from squibwise.present.telling import Section, Table, Telling, Text, filled, section

STRICTEST = "strictest of all"


def tell_cost(case: Case, costs: Sequence[Cost], catalog: Catalog) -> Telling:
    """Return the sums, then the lines of the profile that is followed."""
    found = (*case.findings, *(f for c in costs for f in c.findings))
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=tell_car(case),
        sections=filled(
            (
                tell_sums(case.currency, costs),
                _lines(costs[0]) if costs and costs[0].lines else None,
                tell_findings(found),
            )
        ),
        closing=standing(catalog),
    )


def tell_sums(currency: str, costs: Sequence[Cost]) -> Section | None:
    """Return one sum for each profile, and what has no price."""
    if not costs:
        return None
    sums = [(*_three(c), minutes(c.minutes)) for c in costs]
    rows = [(rules_of(c), *figures) for c, figures in zip(costs, sums, strict=True)]
    if len(costs) > 1 and len(set(sums)) == 1:
        rows = [("every profile", *sums[0])]
    head = ("rules", "low", "likely", "high", "hands-on")
    table = Table(rows=tuple(rows), head=head, right=(1, 2, 3))
    note = f"{currency}, from the prices you entered"
    return section("Still to be paid", table, *_unpriced(costs), note=note)


def _unpriced(costs: Sequence[Cost]) -> tuple[Text, ...]:
    missing = list(dict.fromkeys(key for c in costs for key in c.unpriced))
    if not missing:
        return ()
    words = f"Not in these sums, because you have entered no price: {', '.join(missing)}."
    return (Text(text=words, tone="check"),)


def rules_of(cost: Cost) -> str:
    """Return the rules that a sum follows."""
    return STRICTEST if cost.profile == "unknown" else cost.profile


def tell_cost_shortly(cost: Cost) -> str:
    """Return one sum in a sentence."""
    told = f"{money(cost.likely)} likely ({bare_sum(cost.low)} to {bare_sum(cost.high)})"
    if not is_priced(cost):
        told = "no price is entered"
    missing = counted(len(cost.unpriced), "kind of part or work has", "kinds of part or work have")
    return f"{told}; {missing} no price yet" if cost.unpriced else told


def _three(cost: Cost) -> tuple[str, str, str]:
    """Return the three sums; what holds no price at all is unknown, not nothing."""
    if not is_priced(cost):
        return "?", "?", "?"
    return bare_sum(cost.low), bare_sum(cost.likely), bare_sum(cost.high)


def is_priced(cost: Cost) -> bool:
    """Return whether anything in a sum has a price."""
    return cost.high.minor > 0 or not cost.unpriced


def _lines(cost: Cost) -> Section:
    head = ("needed", "low", "likely", "high", "for")
    rows = tuple(_line(x) for x in cost.lines)
    table = Table(rows=rows, head=head, right=(1, 2, 3))
    return section("Lines", table, note=f"rules: {rules_of(cost)}")


def _line(line: CostLine) -> tuple[str, str, str, str, str]:
    low, likely, high = (bare_sum(m) for m in (line.low, line.likely, line.high))
    needed = "yes" if line.probability == 1.0 else percent(line.probability)
    return needed, low, likely, high, f"{line.item} ({line.what})"


def tell_missing(names: Sequence[str]) -> str:
    """Return what has no price, the long tail counted."""
    return listed(names, 8)
