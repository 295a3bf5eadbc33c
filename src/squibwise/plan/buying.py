"""One model of what to buy from whom and when each operation runs, solved to a proof.

Chosen together, because a dear part that comes soon may cost less than a cheap one that keeps the
car standing, and because shipments are shared. Money is in minor units, time in working minutes.
A part that is only perhaps needed is ordered now, or after the look that decides; the day plan is
that of the car that needs it.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from itertools import pairwise, product
from typing import TYPE_CHECKING, Any

import numpy as np

from squibwise.errors import InputError, UnavailableError
from squibwise.model.cost import Money
from squibwise.model.market import BACK_STATES, HERE_STATES, BuyPlan, Need, Offer
from squibwise.plan.buying_days import (
    Chosen,
    appointment_step,
    believe_ready,
    lay_out,
    least_minutes,
    list_purchases,
    ready_day,
)
from squibwise.plan.buying_freight import ship
from squibwise.plan.buying_problem import (
    LATER,
    NOW,
    RECOMMENDED,
    RISK_SCALE,
    Aim,
    Option,
    Problem,
    Task,
    accepted_risk,
    cancel_cost,
    expect_lead,
    expected_price,
    latest_day,
    list_options,
    replace_failed,
    simple_choices,
)

if TYPE_CHECKING:
    from ortools.sat.python import cp_model


def solve(
    problem: Problem,
    aim: Aim = RECOMMENDED,
    rng: "np.random.Generator | None" = None,
) -> BuyPlan:
    """Return the best plan for an aim, whether it is proven and the bound.

    Args:
        problem: Offers, work and terms.
        aim: What counts.
        rng: For the lead times as they may fall; None = when it is ready is not drawn.

    Raises:
        InputError: There is no plan at all, with what stands in the way.
        UnavailableError: The solver is not installed.
    """
    model = _Model(problem, aim, rng)
    if aim.first:
        what = model.ready if aim.first == "day" else model.paid
        model.model.add(what <= int(model.run(what).value(what)))
    return model.plan(model.run(model.total))


def least_paid(problem: Problem, ready_by: int) -> tuple[int, bool]:
    """Return the least that is paid out to be ready by a day, and whether it is proven.

    In minor units; what standing and lateness cost is left out.

    Raises:
        InputError: There is no plan that is ready by then.
    """
    model = _Model(problem, Aim(name=f"by day {ready_by}", ready_by=ready_by))
    solver = model.run(model.paid)
    return int(solver.value(model.paid)), model.is_optimal


WORKERS = 8
"""Searches side by side, each in its own way; one alone finds the same of a short list."""
_HINT_SECONDS = 30.0  # enough to work out what a plan comes to that is known


class _Model:
    """Variables and constraints. A class because the solver's model is built up piece by piece."""

    def __init__(
        self, problem: Problem, aim: Aim, rng: "np.random.Generator | None" = None
    ) -> None:
        try:
            from ortools.sat.python import cp_model
        except ImportError:
            raise UnavailableError(
                "The solver is not installed.", remedy="Install squibwise with the extra 'buy'."
            ) from None
        self.cp = cp_model
        self.problem, self.aim, self.rng = problem, aim, rng
        self.open_days = problem.open_days
        self.model: cp_model.CpModel = cp_model.CpModel()
        self.horizon = latest_day(problem)
        self.take: dict[Option, Any] = {}
        self.options: dict[str, list[Option]] = {}
        self.is_optimal = True
        self.costs: dict[str, Any] = {}
        self.waits_anew: list[Any] = []  # of the rework, what the days cost that it stands longer
        self._schedule()
        self._choose()
        self.costs["shipping"] = ship(self.model, problem, self.take)
        self._limit()
        self.total = sum(self.costs.values())
        standing = self.costs["standing"] + sum(self.waits_anew)
        self.paid = self.total - standing - self.costs["late"]
        self.known = [self._lay_out(c) for c in simple_choices(problem, self.options)]

    def _lead(self, offer: Offer) -> int:
        return expect_lead(self.problem.terms, offer)

    def _schedule(self) -> None:
        """Tasks in their order, technicians shared, appointments at the start of a day."""
        m, day = self.model, self.problem.terms.day_minutes
        self.start: dict[str, Any] = {}
        end: dict[str, Any] = {}
        inside = []
        rooms: dict[str, list[Any]] = {}
        for t in self.problem.tasks:
            start = m.new_int_var_from_domain(self._hours(t), f"start {t.id}")
            self.start[t.id], end[t.id] = start, start + t.minutes
            takes = m.new_fixed_size_interval_var(start, t.minutes, t.id)
            inside += [] if t.outside else [takes]
            for room in t.rooms:
                rooms.setdefault(room, []).append(takes)
        for t in self.problem.tasks:
            for before in t.after:
                if before in end:
                    m.add(self.start[t.id] >= end[before] + t.hold)
            for before in t.follows:
                m.add(self.start[t.id] >= end[before])
        self._share_technicians(inside, rooms)
        self.ready = m.new_int_var(0, self.horizon, "ready")
        for t in self.problem.tasks:
            m.add((self.ready + 1) * day >= self.start[t.id] + least_minutes(t))
        self.ready_on = self._on_calendar(self.ready, self.open_days.calendar, "ready on")
        if self.aim.ready_by is not None:
            m.add(self.ready_on <= self.aim.ready_by)
        self._time_costs()

    def _hours(self, task: Task) -> "cp_model.Domain":
        """Return when a task may start.

        An appointment is in the morning, or at midday where half a day is enough; nobody goes home
        in the middle of what fits into a day.
        """
        day, days = self.problem.terms.day_minutes, range(self.horizon + 1)
        if task.outside:
            first = self.open_days.working(task.notice) * day
            step = appointment_step(task, day)
            return self.cp.Domain.from_values(list(range(first, days[-1] * day + 1, step)))
        if task.minutes > day:
            return self.cp.Domain(0, self.horizon * day)
        return self.cp.Domain.from_intervals(
            [[d * day, (d + 1) * day - task.minutes] for d in days]
        )

    def _share_technicians(self, inside: list[Any], rooms: Mapping[str, list[Any]]) -> None:
        """One technician does one thing at a time; two never work in one narrow place.

        Nor does one where the car is with somebody else.
        """
        if self.problem.terms.technicians == 1:
            self.model.add_no_overlap(inside)
        else:
            self.model.add_cumulative(inside, [1] * len(inside), self.problem.terms.technicians)
        shared = {r for t in self.problem.tasks if t.outside for r in t.rooms}
        for room, mine in rooms.items():
            if self.problem.terms.technicians > 1 or room in shared:
                self.model.add_no_overlap(mine)

    def _on_calendar(self, day: Any, turned: Callable[[int], int], name: str) -> Any:  # noqa: ANN401
        """Return a day turned into another count of days; itself where every day is open."""
        if not self.open_days.days:
            return turned(0) + day  # every day is open: it is so many days later
        table = [turned(d) for d in range(self.horizon + 1)]
        found = self.model.new_int_var(0, max(table), name)
        self.model.add_element(day, table, found)
        return found

    def _time_costs(self) -> None:
        terms, minor = self.problem.terms, self.problem.minor
        hands_on = sum(t.minutes for t in self.problem.tasks if not t.outside)
        self.costs["labour"] = round(hands_on * minor(terms.hour or 0.0) / 60)
        self.costs["outside"] = sum(t.price for t in self.problem.tasks)
        self.costs["standing"] = minor(terms.bay_day) * self.ready_on
        self.late = self._count_late(self.ready_on, "late")
        self.costs["late"] = minor(terms.late_day) * self.late

    def _count_late(self, ready_on: Any, name: str) -> Any:  # noqa: ANN401 - a variable of the solver
        """Return the days after the deadline; nothing where a late day costs nothing."""
        terms, most = self.problem.terms, 2 * self.open_days.calendar(self.horizon)
        if terms.deadline is None or not terms.late_day:
            return 0
        late = self.model.new_int_var(0, most, name)
        self.model.add_max_equality(late, [0, ready_on - terms.deadline])
        return late

    def _choose(self) -> None:
        """One offer for each need, now or after its look; its operation waits for it."""
        m, offers, terms = self.model, self.problem.offers, self.problem.terms
        parts, rework, cancelled = list[Any](), list[Any](), list[Any]()
        for need in self.problem.needs:
            options = self.options[need.key] = self._options(need)
            m.add_exactly_one(self.take[o] for o in options)
            arrival = m.new_int_var(0, 2 * self.horizon, f"arrives {need.key}")
            there = {i: self.open_days.working(self._lead(offers[i][1])) for i, _ in options}
            m.add(arrival >= sum(there[i] * self.take[i, s] for i, s in options))
            if any(stage == LATER for _, stage in options):
                self._wait_for_look(need, options, arrival)
            cancelled += self._cancel(need, options)
            for index, stage in options:
                offer, took = offers[index][1], self.take[index, stage]
                price = expected_price(need, offer, stage, terms) * took
                (cancelled if offer.state in BACK_STATES else parts).append(price)
            rework += self._replace_failed(need, options)
            self._wait_if_needed(need, options)
            is_here = any(offers[i][1].state in HERE_STATES for i, _ in options)
            delivered = 0 if is_here else terms.delivery_minutes
            for task in self.problem.tasks:
                if need.key in task.needs:
                    m.add(self.start[task.id] >= arrival * terms.day_minutes + delivered)
        for mine, stage in product(self.problem.sets(), (NOW, LATER)):
            takes = [self.take.get((i, stage), 0) for i in mine]
            for one, other in pairwise(takes):
                m.add(one == other)
        self.costs["parts"], self.costs["rework"] = sum(parts), sum(rework + self.waits_anew)
        self.costs["cancelled"] = sum(cancelled)

    def _cancel(self, need: Need, options: Sequence[Option]) -> list[Any]:
        """What an order costs that is late and not waited for: any other choice cancels it."""
        kept = self.problem.kept_for(need.key)
        if kept is None:
            return []
        lost = cancel_cost(need, self.problem.offers[kept][1], self.problem.terms)
        return [lost * self.take[o] for o in options if o[0] != kept]

    def _wait_for_look(self, need: Need, options: Sequence[Option], arrival: Any) -> None:  # noqa: ANN401
        """What is ordered after its look is there so many days after the look's own day."""
        by_lead: dict[int, list[Any]] = {}
        for index, stage in options:
            if stage == LATER:
                lead = self._lead(self.problem.offers[index][1])
                by_lead.setdefault(lead, []).append(self.take[index, stage])
        for lead, takes in by_lead.items():
            day = self._day_after(need, LATER, lead)
            for took in takes:
                self.model.add(arrival >= day).only_enforce_if(took)

    def _after(self, lead: int, ordered: int) -> int:
        """Return the working day that comes so many calendar days after a working day."""
        return self.open_days.working(self.open_days.calendar(ordered) + lead)

    def _options(self, need: Need) -> list[Option]:
        """Return what may be taken for a need, each with its variable."""
        options = list_options(self.problem, need, self.aim)
        if not options:
            raise InputError(
                f"Nobody offers a usable part for {need.title}.",
                remedy="Add an offer for it, or leave it out of what is to be bought.",
            )
        for index, stage in options:
            self.take[index, stage] = self.model.new_bool_var(f"take {index} {stage}")
        return options

    def _look_day(self, need: Need) -> Any:  # noqa: ANN401 - a variable of the solver
        """Return the day on which the look at a need is over: it is ordered the day after."""
        task = next(t for t in self.problem.tasks if t.id == self.problem.looks[need.key])
        day = self.model.new_int_var(0, self.horizon, f"look {need.key}")
        finish = self.start[task.id] + task.minutes
        self.model.add(day * self.problem.terms.day_minutes >= finish)
        return day

    def _replace_failed(self, need: Need, options: Sequence[Option]) -> list[Any]:
        """Return what parts that fail cost: others in their place, and the days the car waits."""
        found: list[Any] = []
        again: dict[float, list[tuple[Any, Any]]] = {}  # alike likely to fail: one number of days
        for index, stage in options:
            offer, took = self.problem.offers[index][1], self.take[index, stage]
            if offer.state not in HERE_STATES and offer.fails > 0.0:
                chance = need.chance * offer.fails
                paid, lead = replace_failed(self.problem, need, index)
                found.append(math.ceil(chance * paid - 1e-6) * took)
                if self.problem.reject_risk(index):  # the days of a set count once
                    comes = self._day_after(need, stage, self._lead(offer) + lead)
                    again.setdefault(chance, []).append((comes, took))
        tasks = [t for t in self.problem.tasks if need.key in t.needs]
        if again and tasks and self._days_cost:
            fitted = self._last_day(need, tasks)
            for chance, comes in again.items():
                self._charge_days(f"{need.key} {chance}", chance, fitted, comes)
        return found

    @property
    def _days_cost(self) -> bool:
        """Does it cost anything that the car is ready later."""
        return bool(self.problem.terms.bay_day or self.problem.terms.late_day)

    def _wait_if_needed(self, need: Need, options: Sequence[Option]) -> None:
        """What is on no day, being unlikely, keeps the car by its chance until it is there."""
        on_a_day = any(need.key in t.needs for t in self.problem.tasks)
        if on_a_day or not 0.0 < need.chance < 1.0 or not self._days_cost:
            return
        offers = self.problem.offers
        comes = [
            (self._day_after(need, s, self._lead(offers[i][1])), self.take[i, s])
            for i, s in options
        ]
        self._charge_days(f"{need.key} at all", need.chance, self.ready, comes)

    def _charge_days(
        self,
        name: str,
        chance: float,
        fitted: Any,  # noqa: ANN401 - a variable of the solver
        comes: Sequence[tuple[Any, Any]],
    ) -> None:
        """Add what it costs, by its chance, that something comes after its day."""
        minor, terms = self.problem.minor, self.problem.terms
        bay_day, late_day = minor(terms.bay_day), minor(terms.late_day)
        ready_on = self._ready_anew(name, fitted, comes)
        late = self._count_late(ready_on, f"after the deadline {name}") - self.late
        longer = ready_on - self.ready_on
        self.waits_anew.append(math.ceil(chance * bay_day - 1e-6) * longer)
        self.waits_anew.append(math.ceil(chance * late_day - 1e-6) * late)

    def _day_after(self, need: Need, stage: int, lead: int) -> Any:  # noqa: ANN401 - may be a variable
        """Return the working day on which something is there so many days after its order."""
        if stage == NOW:
            return self.open_days.working(lead)
        look = self._look_day(need)
        return self._on_calendar(look, partial(self._after, lead), f"again {need.key} {lead}")

    def _last_day(self, need: Need, tasks: Sequence[Task]) -> Any:  # noqa: ANN401 - a variable
        """Return the working day on which a part has to be there at the latest."""
        day, delivered = self.problem.terms.day_minutes, self.problem.terms.delivery_minutes
        fitted = self.model.new_int_var(0, self.horizon, f"fitted {need.key}")
        for task in tasks:
            self.model.add(fitted * day + delivered <= self.start[task.id])
        return fitted

    def _ready_anew(self, name: str, fitted: Any, comes: Sequence[tuple[Any, Any]]) -> Any:  # noqa: ANN401 - variables
        """Return the calendar day the car is ready if what is taken fails and comes anew."""
        late = (m := self.model).new_int_var(0, self.horizon, f"late anew {name}")
        m.add(late >= sum(d * took for d, took in comes if isinstance(d, int)) - fitted)
        for day, took in ((d, took) for d, took in comes if not isinstance(d, int)):
            m.add(late >= day - fitted).only_enforce_if(took)
        ready = m.new_int_var(0, self.horizon, f"ready anew {name}")
        m.add(ready == self.ready + late)
        return self._on_calendar(ready, self.open_days.calendar, f"anew {name}")

    def _limit(self) -> None:
        """The accepted chance that any used part fails: exact for independent failures."""
        if self.aim.rejects and (most := accepted_risk(self.problem.terms)) is not None:
            risks = (self.problem.reject_risk(i) * took for (i, _), took in self.take.items())
            self.model.add(sum(risks) <= most)

    def run(self, what: Any) -> "cp_model.CpSolver":  # noqa: ANN401 - a sum of the solver
        """Return the solver after its search for the least of a sum.

        Where its time is too short, the best plan that needs no search stands. The search does not
        begin with that plan: that makes it slower by a third.

        Raises:
            InputError: There is no plan.
        """
        self.model.minimize(what)
        solver = self._solver(self.problem.terms.seconds, WORKERS)
        status = solver.solve(self.model)
        self.bound = solver.best_objective_bound
        if status != self.cp.OPTIMAL:
            self.is_optimal = False
            solver = self._stand_by(solver, status)
        self.known.append(self._hints(solver))
        return solver

    def _stand_by(
        self, solver: "cp_model.CpSolver", status: "cp_model.CpSolverStatus"
    ) -> "cp_model.CpSolver":
        """Return the better of what an unfinished search found and of the plans known before it."""
        known = self._best_known() if status != self.cp.INFEASIBLE else None
        if status == self.cp.FEASIBLE:
            is_better = known is not None and known.objective_value < solver.objective_value
            return known if known is not None and is_better else solver
        if known is None:
            raise InputError(
                f"No plan was found for '{self.aim.name}' ({solver.status_name(status)}).",
                remedy="Accept a later day or a higher chance of rejected parts, add offers, or "
                "give the search more time.",
            )
        return known

    def _solver(self, seconds: float, workers: int) -> "cp_model.CpSolver":
        solver = self.cp.CpSolver()
        solver.parameters.max_time_in_seconds = seconds
        solver.parameters.num_workers = workers
        solver.parameters.random_seed = 1
        return solver

    def _lay_out(self, choice: Mapping[str, Option]) -> dict[Any, int]:
        """Return a choice of offers with its work laid out, as something to begin with."""
        taken = tuple(choice.values())
        ends = lay_out(Chosen(self.problem, taken, self.problem.tasks))[1]
        starts = {self.start[t.id]: ends[t.id] - t.minutes for t in self.problem.tasks}
        return starts | {took: int(o in taken) for o, took in self.take.items()}

    def _hint(self, hints: Mapping[Any, int]) -> None:
        self.model.clear_hints()  # type: ignore[no-untyped-call]
        for variable, value in hints.items():
            self.model.add_hint(variable, value)

    def _hints(self, solver: "cp_model.CpSolver") -> dict[Any, int]:
        """Return what a search found, as something to begin with."""
        return {v: int(solver.value(v)) for v in (*self.start.values(), *self.take.values())}

    def _best_known(self) -> "cp_model.CpSolver | None":
        """Return the best of the plans known without this search."""
        found = []
        for hints in self.known:
            solver = self._solver(_HINT_SECONDS, workers=1)
            solver.parameters.fix_variables_to_their_hinted_value = True
            self._hint(hints)
            if solver.solve(self.model) == self.cp.OPTIMAL:
                found.append(solver)
        self._hint({})
        return min(found, key=lambda s: s.objective_value, default=None)

    def plan(self, solver: "cp_model.CpSolver") -> BuyPlan:
        """Return what the solver found as a record."""
        currency = self.problem.currency

        def money(word: str) -> Money:
            return Money(minor=int(solver.value(self.costs[word])), currency=currency)

        chosen = self._chosen(solver)
        schedule, ends = lay_out(chosen)
        risk = sum(self.problem.reject_risk(i) for i, _ in chosen.taken)
        return BuyPlan(
            name=self.aim.name,
            purchases=list_purchases(chosen, ends),
            schedule=schedule,
            total=Money(minor=round(solver.objective_value), currency=currency),
            parts=money("parts"),
            shipping=money("shipping"),
            labour=money("labour"),
            outside=money("outside"),
            standing=money("standing"),
            late=money("late"),
            rework=money("rework"),
            cancelled=money("cancelled"),
            cancels=self._cancels(chosen),
            ready_day=ready_day(self.problem, ends),
            optimal=self.is_optimal,
            bound=Money(minor=math.ceil(self.bound - 1e-6), currency=currency),
            all_pass=math.exp(-risk / RISK_SCALE),
            ready=believe_ready(chosen, self.rng) if self.rng is not None else None,
        )

    def _cancels(self, chosen: Chosen) -> tuple[str, ...]:
        """Return the late orders that are not waited for."""
        taken = {i for i, _ in chosen.taken}
        kept = (self.problem.kept_for(n.key) for n in self.problem.needs)
        return tuple(self.problem.offers[i][1].id for i in kept if i is not None and i not in taken)

    def _chosen(self, solver: "cp_model.CpSolver") -> Chosen:
        """Return what is bought, and the tasks in the order of their starts."""
        order = sorted(
            enumerate(self.problem.tasks),
            key=lambda t: (int(solver.value(self.start[t[1].id])), t[1].minutes, t[0]),
        )
        taken = tuple(option for option, took in self.take.items() if solver.value(took))
        return Chosen(self.problem, taken, tuple(t for _, t in order))
