"""A slow, independent answer for small problems, and random problems."""

import math

import numpy as np

from squibwise.numerics.troubleshoot.problem import Power, Problem, Repair, Result, Test

POWERS: tuple[Power, ...] = ("off", "through", "on", "any")


class Enumerator:
    """Plain expectimax over every history; equal sets of facts are looked at once."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        self.known: dict[tuple[frozenset[tuple[str, str]], bool], float] = {}

    def best(
        self, weights: tuple[float, ...], facts: frozenset[tuple[str, str]], on: bool
    ) -> float:
        """Return the least cost from what is known, weighted by its chance."""
        if (facts, on) not in self.known:
            self.known[facts, on] = self._best(weights, facts, on)
        return self.known[facts, on]

    def _best(
        self, weights: tuple[float, ...], facts: frozenset[tuple[str, str]], on: bool
    ) -> float:
        problem, done = self.problem, {name for name, _ in facts}
        mended = frozenset[str]().union(*(r.fixes for r in problem.repairs if r.id in done))
        alive = tuple(
            w if h - mended else 0.0 for w, h in zip(weights, problem.hypotheses, strict=True)
        )
        mass = math.fsum(alive)
        if mass == 0.0:
            return 0.0
        options = [self._test(t, alive, facts, on) for t in problem.tests if t.id not in done]
        for r in problem.repairs:
            if r.id not in done and self._may_be_done(r, alive, facts):
                minutes = r.minutes + r.price + r.check_minutes
                cost = mass * self._pay(minutes, r.access, r.power, done, on)
                options.append(cost + self.best(alive, facts | {(r.id, "no")}, True))
        return min(options)

    def _may_be_done(
        self, repair: Repair, alive: tuple[float, ...], facts: frozenset[tuple[str, str]]
    ) -> bool:
        done = {name for name, _ in facts}
        mended = frozenset[str]().union(*(r.fixes for r in self.problem.repairs if r.id in done))
        cured = math.fsum(
            w
            for w, h in zip(alive, self.problem.hypotheses, strict=True)
            if h - mended <= repair.fixes
        )
        located = cured >= self.problem.located * math.fsum(alive) or bool(repair.enough & facts)
        waits = not repair.after <= done or not (located or repair.until <= done)
        return not waits or bool(repair.unless & facts)

    def _test(
        self, test: Test, alive: tuple[float, ...], facts: frozenset[tuple[str, str]], on: bool
    ) -> float:
        done = {name for name, _ in facts}
        value = math.fsum(alive) * self._pay(test.minutes, test.access, test.power, done, on)
        for result in test.results:
            after = tuple(w * c for w, c in zip(alive, result.chance, strict=True))
            value += math.fsum(after) * result.minutes
            if not result.fixed:
                ends = on if test.power == "any" else test.power != "off"
                value += self.best(after, facts | {(test.id, result.word)}, ends)
        return value

    def _pay(
        self, minutes: float, access: tuple[int, ...], power: str, done: set[str], on: bool
    ) -> float:
        problem = self.problem
        opened = set(problem.opened)
        for action in (*problem.tests, *problem.repairs):
            if action.id in done:
                opened |= set(action.access)
        cost = minutes + sum(problem.access_minutes[k] for k in set(access) - opened)
        if power in ("off", "through") and on:
            cost += problem.wait_minutes
        if power == "through" or (power == "on" and not on):
            cost += problem.power_up_minutes
        return cost


def enumerate_plans(problem: Problem) -> float:
    """Return the least expected minutes by plain expectimax over every history."""
    total = math.fsum(problem.weight)
    weights = tuple(w / total for w in problem.weight)
    return Enumerator(problem).best(weights, frozenset(), problem.powered)


def random_problem(
    seed: int,
    faults: int,
    tests: int,
    *,
    cures: bool = False,
    pairs: bool = False,
    gates: bool = False,
) -> Problem:
    """Return a seeded problem with noisy tests, shared access and overlapping repairs.

    With ``gates`` two repairs wait for tests, one of them unless the first test came out bad.
    """
    rng = np.random.default_rng(seed)
    names = [f"f{i}" for i in range(faults)]
    hypotheses = [frozenset({n}) for n in names]
    if pairs:
        hypotheses.append(frozenset(names[:2]))
    count = len(hypotheses)
    return Problem(
        hypotheses=tuple(hypotheses),
        weight=tuple(float(w) for w in rng.uniform(0.1, 1.0, count)),
        tests=tuple(_random_test(rng, f"t{j}", count, cures) for j in range(tests)),
        repairs=tuple(
            Repair(
                id=f"r{i}",
                minutes=float(rng.uniform(10, 120)),
                price=5.0,
                power="on" if gates and i == 2 else "through",
                check_minutes=10.0,
                access=(int(rng.integers(3)),),
                after=frozenset({"t0", f"t{tests - 1}"}) if gates and i < 2 else frozenset(),
                unless=frozenset({("t0", "bad")}) if gates and i == 1 else frozenset(),
                until=frozenset({"t1", f"t{tests - 1}"}) if gates and i == 1 else frozenset(),
                enough=frozenset({("t1", "clear")}) if gates and i == 1 else frozenset(),
                fixes=frozenset({n, names[(i + 1) % faults]} if i == 0 else {n}),
            )
            for i, n in enumerate(names)
        ),
        access_minutes=(10.0, 25.0, 5.0),
        wait_minutes=15.0,
        power_up_minutes=3.0,
        located=0.6 if gates else 0.0,
    )


def _random_test(rng: np.random.Generator, name: str, count: int, cures: bool) -> Test:
    bad = np.where(rng.random(count) < 0.5, 0.95, 0.05) * rng.uniform(0.9, 1.0, count)
    cured = rng.uniform(0.0, 0.4, count) if cures else np.zeros(count)
    results = [
        Result(word="bad", chance=_floats(bad * (1 - cured))),
        Result(word="clear", chance=_floats((1 - bad) * (1 - cured)), minutes=2.0),
    ]
    if cures:
        results.append(Result(word="cured", chance=_floats(cured), fixed=True, minutes=4.0))
    power = POWERS[int(rng.integers(len(POWERS)))]
    access = (int(rng.integers(3)),)
    return Test(
        id=name,
        minutes=float(rng.uniform(3, 20)),
        access=access,
        power=power,
        results=tuple(results),
    )


def _floats(values: np.ndarray) -> tuple[float, ...]:
    return tuple(float(v) for v in values)
