"""How far the answer of a trace moves inside the ranges of the figures behind its ranks.

    python bench/ranges.py FOLDER [FOLDER ...]

Each folder holds cases of a proved cause and a ``truth.json`` that names, by case, the ``loop`` and
the accepted causes (``accept``). No plan is made: only the causes are ranked.
"""

import argparse
import json
import statistics
from collections.abc import Iterator
from pathlib import Path

from squibwise import case as line
from squibwise import isolate
from squibwise.catalog.load import Catalog, load_catalog
from squibwise.history.order import put_in_order
from squibwise.isolate.findings import RANKED_BY
from squibwise.isolate.tracing import search_of
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.names import current_name

Entry = tuple[Case, Assessment, str, set[str]]
Answer = tuple[str, int, float]


def entries(folders: list[Path], catalog: Catalog) -> Iterator[Entry]:
    """Return each case with what is believed before its tests, its loop and its proved cause."""
    for folder in folders:
        truth = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
        for name, told in truth.items():
            case, loop = put_in_order(line.open_case(folder / name, catalog)), told["loop"]
            loop = current_name(loop)
            prior = line.assess(isolate.before_tests(case, loop), catalog)
            yield case, prior, loop, set(told["accept"])


def answer(entry: Entry, catalog: Catalog) -> Answer:
    """Return the first cause, the place of the truth (99 = not listed) and its probability."""
    case, prior, loop, accepted = entry
    found = search_of(case, prior, loop, catalog).standing.suspects
    hits = [n for n, s in enumerate(found, start=1) if s.id in accepted]
    p = sum(s.p for s in found if s.id in accepted)
    return found[0].id, hits[0] if hits else 99, p


def main() -> None:
    """Print the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folders", nargs="+", type=Path)
    catalog = load_catalog()
    known = list(entries(parser.parse_args().folders, catalog))
    usual = [answer(e, catalog) for e in known]
    print(f"{len(known)} cases: first / in three / median probability / same first cause")
    print("as shipped:", *summary(usual, usual))
    for fact_id in RANKED_BY:
        fact = catalog.fact(fact_id)
        for end in (fact.low, fact.high):
            if end is not None:
                other = catalog.with_value(fact_id, end)
                print(f"{fact_id} {end:g}:", *summary([answer(e, other) for e in known], usual))


def summary(found: list[Answer], usual: list[Answer]) -> tuple[str, ...]:
    """Return a row of the table."""
    first = sum(rank == 1 for _, rank, _ in found)
    three = sum(rank <= 3 for _, rank, _ in found)
    same = sum(a == b for (a, *_), (b, *_) in zip(found, usual, strict=True))
    middle = statistics.median(p for *_, p in found)
    return str(first), "/", str(three), "/", f"{middle:.2f}", "/", str(same)


if __name__ == "__main__":
    main()
