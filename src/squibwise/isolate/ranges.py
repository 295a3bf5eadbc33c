"""Whether the first cause stays first inside the ranges of the judgement behind it."""

from collections.abc import Callable

from squibwise.catalog.load import Catalog
from squibwise.isolate.suspects import Suspect
from squibwise.model.belief import Assumption

RANKED_BY = {
    "isolation.step": "a step of rank",
    "isolation.next-sign": "each further sign",
}


def other_first_causes(
    first: Suspect, search: Callable[[Catalog], tuple[Suspect, ...]], catalog: Catalog
) -> tuple[Assumption, ...]:
    """Return which other cause would come first at an end of a range, one sentence per cause.

    Args:
        first: The cause that comes first at the catalogue's values.
        search: The causes, likeliest first, with a given catalogue.
        catalog: The figures and their ranges.
    """
    found: dict[str, list[tuple[str, float, str]]] = {}
    titles: dict[str, str] = {}
    for fact_id, meaning in RANKED_BY.items():
        fact = catalog.fact(fact_id)
        for end in (fact.low, fact.high):
            if end is None:
                continue
            other = search(catalog.with_value(fact_id, end))[0]
            if other.id != first.id:
                where = f"{meaning} {end:g} in place of {fact.value:g}"
                found.setdefault(other.id, []).append((fact_id, other.p, where))
                titles[other.id] = other.title
    return tuple(_told(titles[cause], ends, catalog) for cause, ends in found.items())


def _told(title: str, ends: list[tuple[str, float, str]], catalog: Catalog) -> Assumption:
    fact = catalog.fact(ends[0][0])
    most = max(p for _, p, _ in ends)
    text = (
        "Not settled by the ranks alone: inside their ranges another cause comes first: "
        f"{title}, up to {most:.0%} ({'; '.join(where for *_, where in ends)})."
    )
    return Assumption(text=text, fact=fact.id, source=fact.source, basis=fact.basis)
