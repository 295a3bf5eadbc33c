"""Days of a plan: when each operation runs once the order is set, and when the car is ready.

Two times run beside each other: working minutes, days laid end to end, in which work is done; and
days of the calendar from today, in which parts travel and the car stands.
"""

import heapq
import math
from bisect import insort
from collections.abc import Mapping, Sequence

import msgspec
import numpy as np

from squibwise.model.market import (
    BACK_STATES,
    HERE_STATES,
    KEPT_STATES,
    Need,
    Purchase,
    ReadyBelief,
    ScheduledTask,
)
from squibwise.model.work import UNDER_POWER
from squibwise.plan.buying_problem import (
    LATER,
    NOW,
    Option,
    Problem,
    Task,
    expect_lead,
    find_instead,
)

_DRAWS = 300
WAIT = "wait"
"""What an operation waited for, where it was the wait after a power-down or the like."""


class Chosen(msgspec.Struct, frozen=True):
    """What was decided: what is bought, and in which order a technician takes the tasks.

    Attributes:
        taken: Offers with their stage.
        order: Tasks.
    """

    problem: Problem
    taken: tuple[Option, ...]
    order: tuple[Task, ...]


def expect_leads(chosen: Chosen) -> dict[int, int]:
    """Return the days on which everything bought is counted on, by offer."""
    offers = chosen.problem.offers
    return {i: expect_lead(chosen.problem.terms, offers[i][1]) for i, _ in chosen.taken}


def find_arrival(
    chosen: Chosen, option: Option, leads: Mapping[int, int], ends: Mapping[str, int]
) -> int:
    """Return the calendar day a part is there; what waits for a look is ordered the day after."""
    index, stage = option
    if stage == NOW:
        return leads[index]
    problem = chosen.problem
    look = math.ceil(ends[problem.looks[problem.offers[index][0]]] / problem.terms.day_minutes)
    return problem.open_days.calendar(look) + leads[index]


def appointment_step(task: Task, day_minutes: int) -> int:
    """Return how far appointments for a service lie apart: half days where that is enough."""
    return day_minutes // 2 if 2 * task.minutes <= day_minutes else day_minutes


def list_purchases(chosen: Chosen, ends: Mapping[str, int]) -> tuple[Purchase, ...]:
    """Return what is bought, each with the day it is counted on."""
    leads = expect_leads(chosen)
    taken = [o for o in chosen.taken if chosen.problem.offers[o[0]][1].state not in BACK_STATES]
    return tuple(_purchase(chosen, o, find_arrival(chosen, o, leads, ends)) for o in taken)


def _purchase(chosen: Chosen, option: Option, arrives: int) -> Purchase:
    index, stage = option
    key, offer = chosen.problem.offers[index]
    need = next(n for n in chosen.problem.needs if n.key == key)
    return Purchase(
        need=key,
        title=need.title,
        offer=offer.id,
        supplier=offer.supplier,
        condition=offer.condition,
        part_number=offer.part_number,
        quantity=need.quantity,
        price=offer.price,
        times=offer.times(need),
        as_set=offer.pieces != 1,
        after_look=stage == LATER,
        chance=need.chance if stage == LATER or not need.chance else 1.0,
        question=need.question if stage == LATER else "",
        instead=_say_instead(chosen.problem, need, index),
        arrives_day=arrives,
        kept=offer.state in KEPT_STATES,
        here=offer.state in HERE_STATES,
    )


def _say_instead(problem: Problem, need: Need, index: int) -> str:
    """Return what takes the place of a part that may fail; empty = it is here, or does not."""
    offer = problem.offers[index][1]
    if offer.state in HERE_STATES or offer.fails <= 0.0 or need.chance <= 0.0:
        return ""
    other = find_instead(problem, need, index)
    return "one more of the same" if other.id == offer.id else f"{other.id} of {other.supplier}"


class _Bench(msgspec.Struct):
    """Tasks as they are laid out one by one. Minutes of working time.

    Attributes:
        free: From when each technician is free.
        ends: When each task is over.
        laid: Tasks in the order they were laid out: start, who, what held it up.
        rooms: Until when somebody works in each part of the car that has room for one.
    """

    chosen: Chosen
    leads: Mapping[int, int]
    needed: Mapping[str, tuple[Option, ...]]
    free: list[int]
    ends: dict[str, int]
    laid: list[tuple[Task, int, int, str]]
    rooms: dict[str, int]

    def ready(self, task: Task) -> tuple[int, str]:
        """Return from when a task may start by order and parts, and what held it up to then."""
        day, open_days = self.chosen.problem.terms.day_minutes, self.chosen.problem.open_days
        found = [(0, "")]
        found += [(self.ends[a], "") for a in (*task.after, *task.follows) if a in self.ends]
        if task.hold:
            found += [(self.ends[a] + task.hold, WAIT) for a in task.after if a in self.ends]
        for option in self.needed.get(task.id, ()):
            arrival = find_arrival(self.chosen, option, self.leads, self.ends)
            key = self.chosen.problem.offers[option[0]][0]
            is_here = self.chosen.problem.offers[option[0]][1].state in HERE_STATES
            delivered = 0 if is_here else self.chosen.problem.terms.delivery_minutes
            found.append((open_days.working(arrival) * day + delivered, key))
        return max(found, key=lambda f: f[0])

    def begin(self, task: Task, after: int = 0) -> tuple[int, int, str]:
        """Return when a task starts as early as may be, not before a time, who does it, and why.

        Nobody goes home in the middle of what fits into one day.
        """
        problem = self.chosen.problem
        day = problem.terms.day_minutes
        ready, why = self.ready(task)
        taken = max((self.rooms.get(r, 0) for r in task.rooms), default=0)
        if task.outside:
            first = problem.open_days.working(task.notice) * day
            step = appointment_step(task, day)
            start, who = max(math.ceil(max(ready, taken) / step) * step, first), 0
        else:
            who = self.free.index(min(self.free)) + 1
            start = max(ready, after, self.free[who - 1], taken)
            if start % day + task.minutes > day >= task.minutes:
                start = (start // day + 1) * day
        return start, who, why if start == ready else ""

    def put(self, task: Task, after: int = 0) -> None:
        """Lay a task out as early as may be, not before a time."""
        start, who, why = self.begin(task, after)
        self.ends[task.id] = end = start + task.minutes
        if who:
            self.free[who - 1] = end
        self.rooms |= dict.fromkeys(task.rooms, end)
        self.laid.append((task, start, who, why))


def _set_up(chosen: Chosen, leads: Mapping[int, int]) -> _Bench:
    keys = {option: chosen.problem.offers[option[0]][0] for option in chosen.taken}
    needed = {
        t.id: tuple(o for o in chosen.taken if keys[o] in t.needs)
        for t in chosen.problem.tasks
        if t.needs
    }
    return _Bench(chosen, leads, needed, [0] * chosen.problem.terms.technicians, {}, [], {})


def lay_out(chosen: Chosen) -> tuple[tuple[ScheduledTask, ...], dict[str, int]]:
    """Return each task as early as parts let it, and when each is over.

    The order of the work list is kept to wherever that makes the car ready on the same day: it
    goes through the car area by area.
    """
    leads = expect_leads(chosen)
    found = _keep_order(chosen, leads)
    listed = msgspec.structs.replace(chosen, order=chosen.problem.tasks)
    by_list = _keep_busy(listed, leads)
    if ready_day(chosen.problem, by_list.ends) <= ready_day(chosen.problem, found.ends):
        found = by_list
    places = {t.id: n for n, t in enumerate(chosen.problem.tasks)}
    lines = [_line(*laid, chosen.problem) for laid in found.laid]
    return tuple(sorted(lines, key=lambda x: (x.start, x.end, places[x.id]))), found.ends


def _line(task: Task, start: int, who: int, why: str, problem: Problem) -> ScheduledTask:
    day, minute = divmod(start, problem.terms.day_minutes)
    return ScheduledTask(
        id=task.id,
        title=task.title or task.id,
        day=problem.open_days.calendar(day),
        minute=minute,
        start=start,
        end=start + task.minutes,
        outside=task.outside,
        number=task.number,
        visit=task.visit,
        technician=who,
        waits_for=why,
        powered=UNDER_POWER in task.rooms,
        lacks=task.lacks,
    )


def ready_day(problem: Problem, ends: Mapping[str, int]) -> int:
    """Return the calendar day on which the last task is over: the car is ready that day."""
    last = max((ends[t.id] + least_minutes(t) - t.minutes for t in problem.tasks), default=1)
    return problem.open_days.calendar(math.ceil(last / problem.terms.day_minutes) - 1)


def least_minutes(task: Task) -> int:
    """Return the minutes of a task; what takes none is done on the day it starts on. [min]."""
    return max(task.minutes, 1)


def believe_ready(chosen: Chosen, rng: "np.random.Generator", draws: int = _DRAWS) -> ReadyBelief:
    """Return when the car is ready as lead times vary and used parts fail, each part by itself.

    What fails on the day it comes is ordered anew then, as the plan says; what is too unlikely to
    be on any day keeps the car by its chance until it is there. Whoever waits for a part does
    meanwhile what can be done, in the order of the plan.
    """
    problem = chosen.problem
    drawn = _draw_leads(chosen, rng, draws)
    by_leads: dict[tuple[tuple[int, int], ...], tuple[int, dict[str, int]]] = {}
    for leads in {tuple(x.items()) for x in drawn}:  # few differ where few lead times do
        ways = (way(chosen, dict(leads)).ends for way in (_keep_order, _keep_busy))
        by_leads[leads] = min(((ready_day(problem, e), e) for e in ways), key=lambda w: w[0])
    perhaps = _list_perhaps(chosen)
    needed = rng.random((draws, len(perhaps))) < [chance for _, chance in perhaps]
    days = []
    for leads_of, mine in zip(drawn, needed.tolist(), strict=True):
        day, ends = by_leads[tuple(leads_of.items())]
        there = [
            find_arrival(chosen, o, leads_of, ends)
            for (o, _), n in zip(perhaps, mine, strict=True)
            if n
        ]
        days.append(max([day, *(problem.open_days.next_open(d) for d in there)]))
    days.sort()
    promised = problem.terms.deadline
    if promised is None:
        promised = ready_day(problem, lay_out(chosen)[1])
    return ReadyBelief(
        p50=days[math.ceil(0.5 * draws) - 1],
        p80=days[math.ceil(0.8 * draws) - 1],
        on_time=sum(d <= promised for d in days) / draws,
        draws=draws,
    )


def _list_perhaps(chosen: Chosen) -> list[tuple[Option, float]]:
    """Return what is bought that is on no day, being unlikely, with its chance."""
    problem = chosen.problem
    on_a_day = {key for t in problem.tasks for key in t.needs}
    chances = {n.key: n.chance for n in problem.needs if 0.0 < n.chance < 1.0}
    keys = ((o, problem.offers[o[0]][0]) for o in chosen.taken)
    return [(o, chances[k]) for o, k in keys if k in chances and k not in on_a_day]


def _draw_leads(chosen: Chosen, rng: "np.random.Generator", draws: int) -> list[dict[int, int]]:
    """Return so many ways in which the lead times may fall."""
    columns: dict[int, list[int]] = {}
    for index, _ in chosen.taken:
        offer = chosen.problem.offers[index][1]
        low, likely, high = offer.lead.low, offer.lead.likely, offer.lead.high
        fixed = offer.state in HERE_STATES or offer.id in chosen.problem.terms.late
        if fixed or low == high:
            columns[index] = [expect_lead(chosen.problem.terms, offer)] * draws
        else:
            columns[index] = np.ceil(rng.triangular(low, likely, high, draws)).astype(int).tolist()
    for index, anew in _draw_failures(chosen, rng, draws).items():
        columns[index] = [days + more for days, more in zip(columns[index], anew, strict=True)]
    return [{i: column[n] for i, column in columns.items()} for n in range(draws)]


def _draw_failures(chosen: Chosen, rng: "np.random.Generator", draws: int) -> dict[int, list[int]]:
    """Return the days that what takes its place needs, where a part fails; a set fails as one."""
    problem = chosen.problem
    needs = {n.key: n for n in problem.needs}
    failed: dict[str, np.ndarray] = {}
    found = {}
    for index, _ in chosen.taken:
        key, offer = problem.offers[index]
        if offer.state in HERE_STATES or offer.fails <= 0.0 or needs[key].chance <= 0.0:
            continue
        if offer.id not in failed:
            failed[offer.id] = rng.random(draws) < offer.fails
        anew = expect_lead(problem.terms, find_instead(problem, needs[key], index))
        found[index] = (failed[offer.id] * anew).astype(int).tolist()
    return found


def _keep_order(chosen: Chosen, leads: Mapping[int, int]) -> _Bench:
    """Return the tasks laid out if nobody departs from the order of the plan."""
    bench = _set_up(chosen, leads)
    for task in chosen.order:
        bench.put(task)
    return bench


def _keep_busy(chosen: Chosen, leads: Mapping[int, int]) -> _Bench:
    """Return the tasks laid out if whoever is free takes the first one that can be done."""
    bench = _set_up(chosen, leads)
    before = _befores(bench)
    opens: dict[str, list[int]] = {}
    for place, task in enumerate(chosen.order):
        for one in before[task.id]:
            opens.setdefault(one, []).append(place)
    waiting = [(bench.ready(t)[0], n) for n, t in enumerate(chosen.order) if not before[t.id]]
    heapq.heapify(waiting)
    able: list[int] = []
    now = 0
    while waiting or able:
        now = max(now, min(bench.free))
        if not able:
            now = max(now, waiting[0][0])
        while waiting and waiting[0][0] <= now:
            insort(able, heapq.heappop(waiting)[1])
        start, place = _soonest(bench, able, now)
        if waiting and waiting[0][0] < start:
            now = waiting[0][0]
            continue
        able.remove(place)
        task = chosen.order[place]
        bench.put(task, now)
        for place in opens.get(task.id, ()):
            after = chosen.order[place]
            before[after.id].remove(task.id)
            if not before[after.id]:
                heapq.heappush(waiting, (bench.ready(after)[0], place))
    return bench


def _soonest(bench: _Bench, able: Sequence[int], now: int) -> tuple[int, int]:
    """Return the first task that can be begun now, else the one that can be begun soonest.

    What is done outside keeps nobody from anything: it is begun with, whenever that is; unless it
    takes the car, and then what can be done before the appointment is.
    """
    starts = []
    for place in able:
        task = bench.chosen.order[place]
        start = now if task.outside and not task.rooms else bench.begin(task, now)[0]
        if start <= now:
            return start, place
        starts.append((start, place))
    return min(starts)


def _befores(bench: _Bench) -> dict[str, set[str]]:
    """Return what has to be over before each task can be timed, the look behind its part too."""
    problem = bench.chosen.problem
    known = {t.id for t in bench.chosen.order}
    found = {t.id: {*t.after, *t.follows} & known for t in bench.chosen.order}
    for task, options in bench.needed.items():
        found[task] |= {problem.looks[problem.offers[i][0]] for i, s in options if s != NOW}
    return found
