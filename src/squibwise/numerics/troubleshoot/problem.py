"""A troubleshooting problem: what can be wrong, what can be tested, what can be repaired."""

import math
from collections.abc import Sequence
from typing import Literal

import msgspec

from squibwise.errors import ModelError

Power = Literal["off", "through", "on", "any"]


class Result(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One possible outcome of a test.

    Attributes:
        word: Name of the outcome.
        chance: Probability of it under each hypothesis, in their order.
        minutes: Work that this outcome costs on top of the test. [min]
        wait: Waiting that it costs on top. [min]
        fixed: The test itself has cured the fault and shown it: nothing is left to do.
    """

    word: str
    chance: tuple[float, ...]
    minutes: float = 0.0
    wait: float = 0.0
    fixed: bool = False


class Test(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One test. Repeating it repeats its outcome, so it is worth doing once.

    Attributes:
        id: Name.
        minutes: Hands-on time without access, wait and power-up. [min]
        access: Access clusters that must be open, as positions.
        power: ``off`` is done with the power off and leaves it off, ``through`` starts with the
            power off and ends with it on, ``on`` needs no hands on the circuit, ``any`` is done in
            whatever state the car is and leaves it so.
        results: Outcomes; their chances sum to one under every hypothesis.
        again: The place was worked on against this fault already: where plans cost nearly the same,
            one that was not goes first.
    """

    __test__ = False

    id: str
    minutes: float
    access: tuple[int, ...] = ()
    power: Power = "off"
    results: tuple[Result, ...]
    again: bool = False


class Repair(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """One repair; each is verified, and a repair of the right fault always succeeds.

    Attributes:
        id: Name.
        minutes: Hands-on time. [min]
        price: Its parts, as minutes of work. [min]
        check_minutes: Time of the verification after it. [min]
        check_wait: Waiting for that verification, besides the wait before the repair. [min]
        access: Access clusters that must be open, as positions.
        power: ``through``, or ``on`` where no hands go near the circuit.
        fixes: Faults that it removes.
        after: Tests that must be done before it.
        unless: Outcomes, as test and word, each of which allows it without those tests.
        until: Tests that must be done besides, until what it fixes is believed in enough.
        enough: Outcomes, as test and word, each of which ends that.
    """

    id: str
    minutes: float
    price: float = 0.0
    check_minutes: float = 0.0
    check_wait: float = 0.0
    access: tuple[int, ...] = ()
    power: Literal["through", "on"] = "through"
    fixes: frozenset[str]
    after: frozenset[str] = frozenset()
    unless: frozenset[tuple[str, str]] = frozenset()
    until: frozenset[str] = frozenset()
    enough: frozenset[tuple[str, str]] = frozenset()

    @property
    def total(self) -> float:
        """Hands-on time, parts as time and verification with its waiting, in minutes."""
        return self.minutes + self.price + self.check_minutes + self.check_wait


class Problem(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Everything the planner needs.

    Attributes:
        hypotheses: Each a set of faults; more than one for faults that come together.
        weight: Weight of each hypothesis; they need not sum to one.
        access_minutes: What opening each access cluster costs, once. [min]
        wait_minutes: Wait after each power-down before hands go in. [min]
        power_up_minutes: What each power-up costs. [min]
        powered: Is the car powered at the start.
        opened: Access clusters that are open already.
        tried_factor: How much more a test at a place that was tried must tell for its time.
        located: Share of belief from which a repair waits no longer for what it waits ``until``.
    """

    hypotheses: tuple[frozenset[str], ...]
    weight: tuple[float, ...]
    tests: tuple[Test, ...] = ()
    repairs: tuple[Repair, ...]
    access_minutes: tuple[float, ...] = ()
    wait_minutes: float = 0.0
    power_up_minutes: float = 0.0
    powered: bool = True
    opened: frozenset[int] = frozenset()
    located: float = 0.0
    tried_factor: float = 4.0

    def __post_init__(self) -> None:
        _check_weights(self.weight, len(self.hypotheses))
        _check_costs(self)
        for test in self.tests:
            _check_test(test, len(self.hypotheses))
        mended = frozenset[str]().union(*(r.fixes for r in self.repairs))
        stuck = [sorted(h) for h in self.hypotheses if not h or not h <= mended]
        if stuck:
            raise ModelError(f"no repair for {stuck[0]}")
        locked = [r.id for r in self.repairs if not r.after | r.until <= {t.id for t in self.tests}]
        if locked:
            raise ModelError(f"repair {locked[0]} waits for a test that is not there")


def _check_weights(weight: Sequence[float], count: int) -> None:
    if len(weight) != count or not count or not all(w > 0.0 and math.isfinite(w) for w in weight):
        raise ModelError("every hypothesis needs a weight above 0")


def _check_costs(problem: Problem) -> None:
    costs = [*problem.access_minutes, problem.wait_minutes, problem.power_up_minutes]
    costs += [t.minutes for t in problem.tests] + [
        x.minutes + x.wait for t in problem.tests for x in t.results
    ]
    costs += [r.total for r in problem.repairs]
    if not all(cost >= 0.0 and math.isfinite(cost) for cost in costs):
        raise ModelError("minutes must be numbers from 0")
    access = [t.access for t in problem.tests] + [r.access for r in problem.repairs]
    clusters = {k for item in access for k in item}
    if not all(0 <= k < len(problem.access_minutes) for k in clusters | problem.opened):
        raise ModelError("an access cluster has no cost")


def _check_test(test: Test, count: int) -> None:
    if any(len(r.chance) != count for r in test.results):
        raise ModelError(f"test {test.id}: a chance is missing")
    sums = [math.fsum(column) for column in zip(*(r.chance for r in test.results), strict=True)]
    negative = any(not c >= 0.0 for r in test.results for c in r.chance)
    if negative or not all(abs(total - 1.0) <= 1e-9 for total in sums):
        raise ModelError(f"test {test.id}: chances do not sum to one")


def normalised(weight: Sequence[float]) -> tuple[float, ...]:
    """Return weights that sum to one."""
    total = math.fsum(weight)
    return tuple(w / total for w in weight)


def tells_apart(test: Test) -> bool:
    """Return whether any outcome of a test is likelier under one hypothesis than another."""
    return any(r.fixed or max(r.chance) - min(r.chance) > 1e-12 for r in test.results)


def trimmed(problem: Problem) -> Problem:
    """Return the problem without tests that tell nothing and repairs that are never better."""
    faults = frozenset[str]().union(*problem.hypotheses)
    tells = frozenset(t.id for t in problem.tests if tells_apart(t))
    useful = [_waiting_less(r, tells) for r in problem.repairs if r.fixes & faults]
    repairs = tuple(r for r in useful if not any(_beats(o, r, faults, useful) for o in useful))
    needed = frozenset[str]().union(*(_allowing(r) for r in repairs))
    tests = tuple(t for t in problem.tests if t.id in tells | needed)
    return msgspec.structs.replace(problem, tests=tests, repairs=repairs)


def _waiting_less(repair: Repair, tells: frozenset[str]) -> Repair:
    """Return a repair that does not wait until tests are done which can tell nothing."""
    return msgspec.structs.replace(repair, until=repair.until & tells)


def _allowing(repair: Repair) -> frozenset[str]:
    """Return the tests that a repair waits for, or that can allow it without them."""
    freeing = frozenset(test for test, _ in repair.unless | repair.enough)
    return repair.after | freeing if repair.after or repair.until else frozenset()


def _beats(other: Repair, repair: Repair, faults: frozenset[str], order: list[Repair]) -> bool:
    """Return whether ``other`` makes ``repair`` needless; of two equals the first one does."""
    if other is repair or not _covers(other, repair, faults):
        return False
    return not _covers(repair, other, faults) or order.index(other) < order.index(repair)


def _covers(other: Repair, repair: Repair, faults: frozenset[str]) -> bool:
    """Return whether ``other`` does all that ``repair`` does, for no more."""
    wide = (repair.fixes & faults) <= (other.fixes & faults)
    cheap = other.total <= repair.total and set(other.access) <= set(repair.access)
    cheap = cheap and (other.power == repair.power or other.power == "on")
    waits = other.after or other.until
    free = other.after <= repair.after and other.until <= repair.until
    freed = repair.unless <= other.unless and repair.enough <= other.enough
    return wide and cheap and free and (not waits or freed)
