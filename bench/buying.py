"""Time and worth of the joint model: ``python bench/buying.py [--seeds N] [--json]``.

Each seed makes 20 assemblies with 6 offers each from 10 suppliers and 30 operations, with a
deadline and days that cost money, so that price and time do trade against each other. Printed per
seed: seconds to a proven optimum, by the clock and of processor time in all threads, and what three
habits come to beside it with the same offers.
"""

import argparse
import json
import random
import statistics
import time

from squibwise.errors import InputError
from squibwise.model.cost import Money
from squibwise.model.market import Days, Need, Offer, ShopTerms, Supplier
from squibwise.plan.buying import solve
from squibwise.plan.buying_problem import Problem, Task, habits


def _usd(minor: int) -> Money:
    return Money(minor=minor, currency="USD")


def make_problem(
    seed: int, needs: int = 20, offers: int = 6, suppliers: int = 10, tasks: int = 30
) -> Problem:
    """Return an invented problem; quick offers are dear, cheap ones slow or used."""
    rng = random.Random(seed)
    shops = tuple(
        Supplier(
            name=f"S{i}",
            shipping=_usd(rng.randrange(800, 6000, 100)),
            free_from=_usd(rng.randrange(20_000, 90_000, 1000)) if rng.random() < 0.5 else None,
            dangerous=_usd(rng.randrange(1500, 6000, 100)) if rng.random() < 0.7 else None,
        )
        for i in range(suppliers)
    )
    wanted, sheet, looks = [], [], {}
    for i in range(needs):
        perhaps = i % 5 == 4
        base = rng.randrange(8_000, 90_000, 500)
        key = f"part-{i}@centre"
        wanted.append(
            Need(key=key, title=key, chance=0.4 if perhaps else 1.0, live=rng.random() < 0.5)
        )
        if perhaps:
            looks[key] = f"t{rng.randrange(0, 4)}"
        for j, shop in enumerate(rng.sample(range(suppliers), offers)):
            used = rng.random() < 0.3
            speed = rng.uniform(0.0, 1.0)
            factor = (0.45 if used else 0.85) + 0.35 * speed + rng.uniform(-0.05, 0.1)
            usual = max(1, round(1 + 12 * (1.0 - speed)))
            lead = Days(low=max(1, usual - 2), likely=usual, high=usual + rng.randrange(1, 6))
            offer = Offer(
                id=f"{i}-{j}",
                fits=key,
                supplier=f"S{shop}",
                price=_usd(round(base * factor)),
                condition="recycled" if used else "new",
                lead=lead,
                fails=rng.choice((0.03, 0.06, 0.1)) if used else 0.0,
                return_days=14 if rng.random() < 0.8 else None,
                restock=rng.choice((0.0, 0.1, 0.2)),
            )
            sheet.append((key, offer))
    jobs = []
    for i in range(tasks):
        after = tuple(f"t{a}" for a in sorted(rng.sample(range(i), min(i, rng.randrange(0, 3)))))
        fits = (wanted[i - 8].key,) if 8 <= i < 8 + needs else ()
        jobs.append(
            Task(
                id=f"t{i}",
                minutes=rng.randrange(15, 150, 5),
                after=after,
                hold=rng.choice((0, 0, 0, 30, 60)),
                needs=fits,
                outside=i == tasks - 2,
                notice=3 if i == tasks - 2 else 0,
                price=25_000 if i == tasks - 2 else 0,
            )
        )
    terms = ShopTerms(hour=90, bay_day=35, deadline=9, late_day=60, rejects=0.3)
    return Problem(
        needs=tuple(wanted),
        offers=tuple(sheet),
        suppliers=shops,
        tasks=tuple(jobs),
        terms=terms,
        currency="USD",
        looks=looks,
    )


def measure(seed: int) -> dict[str, object]:
    """Return one seed's figures."""
    problem = make_problem(seed)
    start, before = time.perf_counter(), time.process_time()
    plan = solve(problem)
    row: dict[str, object] = {
        "seed": seed,
        "seconds": round(time.perf_counter() - start, 2),
        "processor": round(time.process_time() - before, 2),
        "optimal": plan.optimal,
        "total": plan.total.minor / 100,
        "bound": plan.bound.minor / 100,
        "ready_day": plan.ready_day,
        "all_pass": round(plan.all_pass, 3),
    }
    for aim in habits(problem):
        try:
            found = solve(problem, aim)
            row[aim.name] = round(found.total.minor / plan.total.minor - 1.0, 4)
            row[f"{aim.name} all_pass"] = round(found.all_pass, 3)
        except InputError:
            row[aim.name] = None
    return row


def main() -> None:
    """Print a row per seed and the medians."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seeds", type=int, default=20)
    parser.add_argument("--json", action="store_true")
    arguments = parser.parse_args()
    rows = []
    for seed in range(arguments.seeds):
        rows.append(measure(seed))
        if not arguments.json:
            print(rows[-1], flush=True)
    seconds = [float(str(r["seconds"])) for r in rows]
    names = ("cheapest offer each", "one supplier for all", "everything at once")
    worse = {n: [float(str(r[n])) for r in rows if r[n] is not None] for n in names}
    summary = {
        "optimal": sum(bool(r["optimal"]) for r in rows),
        "seeds": len(rows),
        "median_seconds": statistics.median(seconds),
        "worst_seconds": max(seconds),
        "median_processor": statistics.median(float(str(r["processor"])) for r in rows),
        "median_excess": {n: statistics.median(v) for n, v in worse.items() if v},
    }
    print(json.dumps({"rows": rows, **summary} if arguments.json else summary))


if __name__ == "__main__":
    main()
