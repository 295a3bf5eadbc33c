"""What a finished case proved to be the cause."""

import math

from squibwise.catalog.load import Catalog
from squibwise.isolate.bench import BenchRepair
from squibwise.isolate.history import fixes
from squibwise.isolate.suspects import Suspect
from squibwise.isolate.tracing import Search, search_of
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.evidence import TestOutcome


def proved_causes(case: Case, assessment: Assessment, catalog: Catalog) -> dict[str, int]:
    """Return how often each ``<element>:<fault>`` was proved in one case, by its repairs.

    A repair that was entered as the one that fixed a loop proves the cause that it removes. When it
    removes several, one counts only if it holds most of their probability
    (``isolation.proved-share``): otherwise nothing was proved.
    """
    outcomes = {e.id: e for e in case.evidence if isinstance(e, TestOutcome)}
    causes: dict[str, int] = {}
    for loop in sorted({e.loop for e in outcomes.values()}):
        search = search_of(case, assessment, loop, catalog)
        cause = _proved(search, outcomes, catalog)
        if cause:
            causes[cause] = causes.get(cause, 0) + 1
    return causes


def _proved(search: Search, outcomes: dict[str, TestOutcome], catalog: Catalog) -> str | None:
    last = outcomes.get(search.history.fixed)
    repair = next((r for r in search.repairs if last and r.id == last.test), None)
    if repair is None:
        return None
    removed = _removed(search.history.suspects, repair)
    best = max(removed, key=lambda s: s.p, default=None)
    share = catalog.fact("isolation.proved-share").number()
    if best is None or best.p < share * math.fsum(s.p for s in removed):
        return None
    return best.id


def _removed(suspects: tuple[Suspect, ...], repair: BenchRepair) -> list[Suspect]:
    return [s for s in suspects if len(s.parts) == 1 and fixes(repair, s.parts[0])]
