"""What is still to be paid: parts, labour and the work of others apart, expected and at most."""

from collections.abc import Sequence

from squibwise.catalog.load import Catalog
from squibwise.model.case import Case
from squibwise.model.cost import Amount, Cost, CostLine, Money
from squibwise.present.figures import about, bare_about, listed, minutes, percent, spread
from squibwise.present.phrases import standing, tell_car, tell_findings
from squibwise.present.telling import Section, Table, Telling, Text, filled, section

SIDE_BY_SIDE = {
    "certain": "only what is certain",
    "followed": "the rules that are followed",
    "strictest": "the strictest of all rules",
}
NAMES_SHOWN = 8


def tell_cost(case: Case, costs: Sequence[Cost], catalog: Catalog) -> Telling:
    """Return the sums, then the lines of the rules that are followed."""
    found = (*case.findings, *(f for c in costs for f in c.findings))
    followed = find_followed(costs)
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=tell_car(case),
        sections=filled(
            (
                tell_cost_shortly(followed) if followed else None,
                tell_sums(case.currency, costs),
                _by_profile(costs),
                _lines(followed) if followed and followed.lines else None,
                tell_findings(found),
            )
        ),
        closing=standing(catalog),
    )


def find_followed(costs: Sequence[Cost]) -> Cost | None:
    """Return the sum under the rules that are followed."""
    return next((c for c in costs if c.name == "followed"), costs[0] if costs else None)


def tell_cost_shortly(cost: Cost) -> Section:
    """Return the few lines that matter most."""
    rows = [("parts", tell_amount(cost.parts, cost.chance))]
    rows.append(("labour", tell_labour(cost)))
    if cost.outside is not None and cost.outside.at_most.minor:
        rows.append(("work of others", tell_amount(cost.outside, cost.chance)))
    counted = "" if cost.labour is not None else ", without labour: enter an hourly rate"
    rows.append(("together", tell_amount(cost.total, cost.chance) + counted))
    if cost.waiting_minutes:
        rows.append(("waiting", f"{minutes(cost.waiting_minutes)} after power-downs"))
    if cost.missing:
        rows.append(("in no sum", f"{listed(cost.missing, NAMES_SHOWN)}: no price is known"))
    if cost.from_memory:
        told = listed(cost.from_memory, 4)
        rows.append(("from memory", f"{told}: the catalogue's wide range; enter your own price"))
    return section("In short", Table(rows=tuple(rows)))


def tell_amount(amount: Amount | None, chance: float) -> str:
    """Return a sum as what is expected, and the range that it lies in with the stated chance."""
    if amount is None:
        return "no price is known"
    return ", ".join(tell_expected(amount.likely, amount.at_least, amount.at_most, chance))


def tell_expected(
    expected: Money, least: Money | None, most: Money | None, chance: float
) -> tuple[str, ...]:
    """Return what is expected, then its range where it has one.

    Args:
        expected: The mean.
        least: Not below it with ``chance``; None is not known.
        most: Not above it with ``chance``.
        chance: [0..1]; 0 = is not told.
    """
    told = f"{about(expected)} expected"
    if least is None or least == most:
        return (told,)
    how = f" (in {percent(2.0 * chance - 1.0)} of cases)" if chance else ""
    return (told, f"{bare_about(least)} to {about(most)}{how}")


def tell_labour(cost: Cost) -> str:
    """Return hands-on work in hours, and in money where an hourly rate was entered."""
    low, likely, high = cost.labour_minutes
    told = spread(low, likely, high)
    if cost.labour is None:
        return f"{told}; no hourly rate is entered"
    return f"{told}: {tell_amount(cost.labour, 0.0)}"


def tell_sums(currency: str, costs: Sequence[Cost]) -> Section | None:
    """Return side by side what is certain, what the followed rules ask for, and the strictest."""
    rows = tuple(tell_sum(SIDE_BY_SIDE[c.name], c) for c in _side_by_side(costs))
    note = f"{currency}, expected; parts as entered, else the catalogue's range"
    table = Table(rows=rows, head=_HEAD, right=(1, 2, 3, 4, 5))
    return section("Still to be paid", table, *_missing(costs), note=note) if rows else None


_HEAD = ("", "parts", "labour", "others", "expected", "at most")


def _side_by_side(costs: Sequence[Cost]) -> list[Cost]:
    by_name = {c.name: c for c in costs}
    return [by_name[name] for name in SIDE_BY_SIDE if name in by_name]


def tell_sum(label: str, cost: Cost) -> tuple[str, ...]:
    """Return a row: parts, labour, the work of others, all of it, and what it is at most."""
    parts, labour, outside = (_expected(a) for a in (cost.parts, cost.labour, cost.outside))
    total = cost.total
    return (
        label,
        parts,
        labour,
        outside,
        _expected(total),
        bare_about(total.at_most if total else None),
    )


def _expected(amount: Amount | None) -> str:
    return bare_about(None if amount is None else amount.likely)


def _missing(costs: Sequence[Cost]) -> tuple[Text, ...]:
    missing = list(dict.fromkeys(name for c in costs for name in c.missing))
    if not missing:
        return ()
    words = f"In no sum, because no price is known: {', '.join(missing)}."
    return (Text(text=words, tone="check"),)


def _by_profile(costs: Sequence[Cost]) -> Section | None:
    found = [c for c in costs if c.name not in SIDE_BY_SIDE]
    rows = tuple(tell_sum(c.name or c.profile, c) for c in found)
    table = Table(rows=rows, head=_HEAD, right=(1, 2, 3, 4, 5))
    return (
        section("Under each kind of rules", table, note="which is yours is not known")
        if rows
        else None
    )


def rules_of(cost: Cost) -> str:
    """Return the rules that a sum follows."""
    return SIDE_BY_SIDE.get(cost.name, cost.name or cost.profile)


def _lines(cost: Cost) -> Section:
    head = ("needed", "low", "likely", "high", "for")
    rows = tuple(_line(x) for x in cost.lines)
    table = Table(rows=rows, head=head, right=(1, 2, 3))
    return section("Lines", table, note=rules_of(cost))


def _line(line: CostLine) -> tuple[str, str, str, str, str]:
    low, likely, high = (bare_about(m) for m in (line.low, line.likely, line.high))
    needed = "yes" if line.probability == 1.0 else percent(line.probability)
    return needed, low, likely, high, line.what
