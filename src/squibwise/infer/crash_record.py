"""The crash record in the unit and what a crash recorder tells, as likelihoods."""

from collections.abc import Iterable, Iterator

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.blows import SIGNS, Blow, shows_on_one_axis, struck, told_axis, usual_blows
from squibwise.infer.crash import HOURS, Scenario
from squibwise.infer.engine import Posterior
from squibwise.infer.event_table import OTHER_BAGS, EventTable
from squibwise.infer.network import Likelihood, Network, OnOccupant
from squibwise.infer.parts import CRASH, OnComponent, PartModel
from squibwise.infer.reports import chance_whole, event_lines
from squibwise.infer.scan import UNIT, Scan, find_scans
from squibwise.infer.told import passenger_words, weigh_seat_words, weigh_told
from squibwise.model.evidence import DoneWork, Recorder
from squibwise.model.names import loop_id, split_component, split_loop
from squibwise.model.report import CodeLine
from squibwise.numerics.curves import expit

Array = npt.NDArray[np.float64]


def weigh_crash_record(net: Network, catalog: Catalog) -> list[Likelihood]:
    """Return what the presence or absence of a crash record says of the event.

    It is one thing in one unit: reports that tell the same of it are weighed once.
    """
    chance = chance_of_record(net, catalog)
    own = [s for s in find_scans(net) if s.same_unit and not _cleared_before(s, net)]
    shown = next((s for s in own if event_lines(s.report)), None)
    if shown is not None:
        lines = event_lines(shown.report)
        events = np.maximum(
            chance * _record_details(lines, net, catalog), catalog.firing.scans.floor
        )
        text = f"line {', '.join(str(c.line) for c in lines)}: crash record in the unit"
        return [Likelihood(shown.report.id, UNIT, text, events=events)]
    reach = np.array([_would_show(s, net, catalog) for s in own])
    if not reach.any():
        return []
    widest = own[int(np.argmax(reach.mean(axis=1)))]
    events = 1.0 - chance[:, None] * reach.max(axis=0)
    return [Likelihood(widest.report.id, UNIT, "no crash record in the unit", events=events)]


def _would_show(scan: Scan, net: Network, catalog: Catalog) -> Array:
    """Return the chance that a scan would have shown a crash record, by state of the unit."""
    whole = chance_whole(scan.report, net.line, catalog)
    shown = catalog.firing.events.record.shown_among_codes.value
    asked = scan.report.id in net.unit_states[0].asked
    return shown * np.array(
        [float(scan.report.id not in s.unread) if asked else whole for s in net.unit_states]
    )


def _cleared_before(scan: Scan, net: Network) -> bool:
    return any(
        isinstance(e, DoneWork) and e.what == "cleared" for e in net.line.entries[: scan.place]
    )


def chance_of_record(net: Network, catalog: Catalog) -> Array:
    """Return the chance of a crash record by row of the event table."""
    row, events = catalog.firing.events.record, net.events
    crash = events.holds([bool(s.blows) or s.rollover for s in events.scenarios])
    light = np.where(
        events.speed >= row.severe_kmh, row.nothing_severe.value, row.nothing_light.value
    )
    nothing = np.where(crash & ~events.dead, light, row.nothing_no_crash.value)
    belts = np.where(events.belts, row.belts_only.value, nothing)
    return np.where(events.bags, row.bags.value, belts)


def _record_details(lines: tuple[CodeLine, ...], net: Network, catalog: Catalog) -> Array:
    """Return the chance of the record being locked, and of it naming the belts or a side."""
    row, events = catalog.firing.events.record, net.events
    bags = events.bags
    result = np.ones(len(events.weight))
    if any("locked" in c.status for c in lines):
        result = result * np.where(bags, 1.0, row.locked_if_belts_only.value)
    kinds = {c.kind for line in lines for c in line.candidates} | {c.kind for c in lines}
    if any(k is not None and catalog.kinds[k].family == "belt" for k in kinds if k):
        named = (row.names_belts_if_bags.value, row.names_belts_if_belts_only.value)
        result = result * np.where(bags, named[0], named[1])
    right = catalog.firing.scans.people["recorder_right"].value
    for side in {c.side for c in lines if c.side}:
        there = events.holds([side in {b.zone.side for b in s.blows} for s in events.scenarios])
        result = result * np.where(there, right, 1.0 - right)
    return result


def weigh_named_parts(scan: Scan, net: Network, catalog: Catalog) -> list[Likelihood]:
    """Return likelihoods of event lines that name the very part that fired."""
    figures = catalog.firing.scans.reach
    fired, not_fired = figures.named_part_fired.value, figures.named_part_not_fired.value
    likelihoods = []
    for line in event_lines(scan.report):
        for _, _, _, part in net.parts():
            if line.component == part.id and part.kind.fires:
                hit = np.array([fired if m.fired else not_fired for m in part.micros])
                on = OnComponent(part.id, scan.place, hit[None, None, :])
                text = f"line {line.line}: {line.raw.strip()}"
                likelihoods.append(Likelihood(scan.report.id, part.id, text, parts=(on,)))
    return likelihoods


def crash_record(posterior: Posterior, catalog: Catalog) -> float | None:
    """Return the chance that the unit of the crash, still in the car, holds a record.

    None when the unit was replaced since.
    """
    net = posterior.net
    known = find_scans(net)
    if any(w.what == "replaced" for _, w in net.line.works_on(frozenset({UNIT}))):
        return None
    told = [s for s in known if s.same_unit and event_lines(s.report)]
    by_row = chance_of_record(net, catalog)
    for scan in known:
        if scan.same_unit and not event_lines(scan.report):
            seen = float(posterior.unit @ _would_show(scan, net, catalog))
            by_row = by_row * (1.0 - seen) / (1.0 - by_row * seen)
    chance = float(posterior.events @ by_row)
    figures = catalog.firing.scans.people["recorder_right"]
    return max(chance, figures.value) if told else chance


_FRONT = "front-bag"


def weigh_recorder(
    entry: Recorder, _place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield what a crash recorder or a pulse says; half of it where another one disputes it.

    One of two records that give one event different speeds is of another car or another event, and
    nothing tells which.
    """
    others = (e for _, e in net.line.all_of(Recorder) if e.id != entry.id)
    disputed = any(tell_apart(entry, other, catalog) for other in others)
    told = _told_by_recorder(entry, net, catalog)
    yield from map(_halved, told) if disputed else told


def tell_apart(one: Recorder, two: Recorder, catalog: Catalog) -> bool:
    """Return whether two entries give one event changes of speed that do not fit together."""
    limit = catalog.firing.scans.clash.recorders_apart_kmh
    return one.event == two.event and apart_kmh(one, two) > limit


def apart_kmh(one: Recorder, two: Recorder) -> float:
    """Return how far two changes of speed are apart on the axes that both give. [km/h]."""
    axes = (
        (one.delta_v_long_kmh, two.delta_v_long_kmh),
        (one.delta_v_lat_kmh, two.delta_v_lat_kmh),
    )
    return max((abs(a - b) for a, b in axes if a is not None and b is not None), default=0.0)


def _halved(piece: Likelihood) -> Likelihood:
    """Return a likelihood of which nobody knows whether it is of this car."""

    def half(values: Array) -> Array:
        return np.asarray(0.5 + 0.5 * values / values.max())

    return msgspec.structs.replace(
        piece,
        events=None if piece.events is None else half(piece.events),
        parts=tuple(OnComponent(on.part, on.place, half(on.values)) for on in piece.parts),
        seats=tuple(OnOccupant(on.group, half(on.values)) for on in piece.seats),
    )


def _told_by_recorder(entry: Recorder, net: Network, catalog: Catalog) -> Iterator[Likelihood]:
    figures = catalog.firing.scans.recorder
    events = weigh_direction(entry, net.events, catalog)
    text = "delta-V of the crash recorder" if entry.method == "recorder" else "delta-V"
    if entry.record == "locked":
        events = events * chance_of_record(net, catalog)
        text = "locked crash record"
    elif entry.record == "none":
        events = events * np.where(net.events.bags, figures["no_record_if_fired"].value, 1.0)
        text = "no crash record"
    right = catalog.firing.scans.people["recorder_right"].value
    if entry.rollover:
        events = events * weigh_told(net.events.rollover, right, net)
    elif entry.rollover is not None:
        events = events * np.where(net.events.rollover, 1.0 - right, right)
    if entry.event_count is not None:
        several = chance_of_several(net.events, catalog)
        several = several if entry.event_count > 1 else 1.0 - several
        events = events * (right * several + (1.0 - right) * (1.0 - several))
    yield Likelihood(entry.id, "", text, events=events)
    yield from _recorded_people(entry, net, catalog)
    yield from _commanded(entry, net, catalog)
    yield from _left_off(entry, net, catalog)


def chance_of_several(events: EventTable, catalog: Catalog) -> Array:
    """Return the chance of more than one impact by row of the event table.

    Where the table follows no second impact up, each row stands for cars struck once and cars
    struck more often, and those have other bags out more often: the mean over both is the row's.
    """
    blows = events.holds([len(s.blows) > 1 for s in events.scenarios])
    struck_at_all = events.holds([bool(s.blows) for s in events.scenarios])
    if blows.any():
        return blows.astype(float)
    size = len(events.scenarios)
    total = np.bincount(events.scenario, weights=events.weight, minlength=size)
    fired = np.bincount(events.scenario, events.weight * (events.others > 0), size)
    usual = (fired / np.maximum(total, _TINY))[events.scenario]
    share = catalog.priors.share("sides", "second-impact").p
    more = catalog.firing.events.several_impacts_add * ((events.others > 0) - usual)
    return np.asarray(struck_at_all * expit(np.log(share / (1.0 - share)) + more))


_TINY = 1e-300


def second_impact(found: Posterior, catalog: Catalog) -> float:
    """Return the chance that there was more than one impact, what was counted included."""
    prior = chance_of_several(found.net.events, catalog)
    right = catalog.firing.scans.people["recorder_right"].value
    yes, no = prior, 1.0 - prior
    for _, entry in found.net.line.all_of(Recorder):
        if entry.event_count is not None:
            fits = right if entry.event_count > 1 else 1.0 - right
            yes, no = yes * fits, no * (1.0 - fits)
    return float(found.events @ (yes / np.maximum(yes + no, _TINY)))


def _recorded_people(entry: Recorder, net: Network, catalog: Catalog) -> Iterator[Likelihood]:
    right = catalog.firing.scans.people["recorder_right"].value
    if entry.driver_belt is not None:
        yield from weigh_seat_words(
            entry.id,
            "driver",
            f"recorder: driver {entry.driver_belt}",
            net,
            right,
            entry.driver_belt,
        )
    passenger = passenger_words(None, entry.passenger_class, entry.passenger_belt)
    if entry.passenger_belt is not None or entry.passenger_class is not None:
        yield from weigh_seat_words(
            entry.id, "passenger", f"recorder: passenger {passenger}", net, right, passenger
        )


def _commanded(entry: Recorder, net: Network, catalog: Catalog) -> Iterator[Likelihood]:
    """Yield what the recorded firing commands say of each charge."""
    listed = _loops(entry.commanded_ms) | _loops(entry.commanded)
    broken_off = entry.complete is False  # it is silent on what it lacks; what it lists was said
    others = (e for _, e in net.line.all_of(Recorder) if e.event != entry.event)
    fired = listed.union(*(_loops((*e.commanded_ms, *e.commanded)) for e in others))
    refused = set() if broken_off else _loops(entry.not_commanded) - fired
    timed = {_sort(split_component(split_loop(n)[0]).kind) for n in listed}
    for _, _, _, part in net.parts():
        own = {loop_id(part.id, s + 1) for s in range(part.stages)}
        if part.kind.fires and entry.complete and not own & (listed | refused):
            if _sort(part.kind.kind) in timed:
                yield _unlisted(entry, part, "no firing time", "unlisted_if_fired", catalog)
            continue
        if part.kind.fires and own & (listed | refused):
            whole = entry.complete is True and {split_loop(n)[1] for n in listed} > {1}
            values = _command_values(part, listed, refused, catalog, silent=whole)
            on = OnComponent(part.id, CRASH, values)
            said = "firing commanded" if own & listed else "firing not commanded"
            yield Likelihood(entry.id, part.id, f"recorder: {said}", parts=(on,))


def _left_off(entry: Recorder, net: Network, catalog: Catalog) -> Iterator[Likelihood]:
    """Yield what a list of what the events fired says by naming no front bag, or no other bag.

    And by naming the curtain or seat bag of one side and not its like. It is one list, however many
    events it counts.
    """
    records = [e for _, e in net.line.all_of(Recorder)]
    if [e for e in records if e.commanded and e.complete is not False][:1] != [entry]:
        return
    told = {n for e in records for n in (*e.commanded, *e.commanded_ms, *e.not_commanded)}
    told = {split_loop(name)[0] for name in told}
    kinds = {split_component(name).kind for name in told}
    sorts = {_sort(kind) for kind in kinds}
    for part in (p for *_, p in net.parts() if p.kind.kind in kinds & _ON_TWO_SIDES):
        if part.id not in told and not entry.complete:
            yield _unlisted(
                entry, part, "lists its like, not this one", "left_off_if_like", catalog
            )
    fits, table = np.ones(len(net.events.weight)), net.events
    for sort, fired in ((_FRONT, table.front), ("bag", table.others > 0)):
        left_off = catalog.firing.scans.recorder[f"left_off_if_fired_{sort}"].value
        fits = fits if sort in sorts else fits * np.where(fired, left_off, 1.0)
    if fits.min() < 1.0:
        yield Likelihood(entry.id, "", "recorder: lists what fired, not all bags", events=fits)


_ON_TWO_SIDES = {"curtain", "seat-bag"}


def _sort(kind: str) -> str:
    """Return the sort of charge whose times stand together in a record."""
    return kind if kind == _FRONT else "bag" if kind in OTHER_BAGS else kind


def _unlisted(
    entry: Recorder, part: PartModel, text: str, figure: str, catalog: Catalog
) -> Likelihood:
    """Return what a record that tells of charges of the same sort says by its silence."""
    unlisted = catalog.firing.scans.recorder[figure].value
    fired = np.array([m.fired > 0 for m in part.micros])
    on = OnComponent(part.id, CRASH, np.where(fired, unlisted, 1.0)[None, None, :])
    return Likelihood(entry.id, part.id, f"recorder: {text}", parts=(on,))


def _loops(names: Iterable[str]) -> set[str]:
    return {loop_id(*split_loop(name)) for name in names}


def _command_values(
    part: PartModel, listed: set[str], refused: set[str], catalog: Catalog, silent: bool
) -> Array:
    """Return the chance of what a record says of a part's commands: (1, 1, micros).

    A later stage the record does not speak of is no evidence, unless it is whole and times later
    stages: then it is ``silent`` on this one. Only first stages of front bags must be recorded.
    """
    figures = catalog.firing.scans.recorder
    unheard = figures["commanded_if_circuit_open_before"].value
    values = np.ones(len(part.micros))
    for stage in range(1, part.stages + 1):
        loop = loop_id(part.id, stage)
        fired = np.array([m.fired >= stage for m in part.micros])
        if loop not in listed | refused:
            left_out = silent and stage > 1 and loop_id(part.id, 1) in listed
            unlisted = figures["unlisted_if_fired"].value if left_out else 1.0
            values = values * np.where(fired, unlisted, 1.0)
            continue
        front = part.kind.kind == _FRONT and stage == 1
        quiet = figures["silent_if_fired_front" if front else "silent_if_fired_other"].value
        commanded = figures["commanded_if_fired"].value, figures["commanded_if_not"].value
        hit = commanded if loop in listed else (quiet, 1.0 - commanded[1])
        before = np.array([m.condition == "before" for m in part.micros])
        values = values * np.where(fired, hit[0], np.where(before, unheard, hit[1]))
    return values[None, None, :]


def weigh_direction(entry: Recorder, events: EventTable, catalog: Catalog) -> Array:
    """Return how well a recorded delta-V fits the zone struck, by event.

    With both axes it points at a zone, in full from twice the speed from which it points at all.
    One axis alone leaves the other free: it is weighed against
    every severity and direction that a blow there may have.
    """
    along, across = entry.delta_v_long_kmh, entry.delta_v_lat_kmh
    if along is None and across is None:
        return np.ones(len(events.weight))
    if along is None or across is None:
        usual: dict[str, float] = {}
        values = [_axis_fits(entry, s, usual, catalog) for s in events.scenarios]
        return events.by_scenario(np.array(values))
    vague = catalog.fact("crash-data.vague-below").number()
    points = min(1.0, float(np.hypot(along, across)) / vague - 1.0)
    if points <= 0.0:
        return np.ones(len(events.weight))
    angle = np.degrees(np.arctan2(-across, -along)) % 360.0
    clock = int(np.round(angle / 30.0)) % HOURS or HOURS
    other = catalog.firing.scans.body["dent_of_an_earlier_crash"].value
    values = [
        max((_pointing(clock, b, catalog) for b in _meant(entry, s)), default=other)
        for s in events.scenarios
    ]
    told = events.by_scenario(np.array(values))
    return np.asarray(points * told + (1.0 - points) * float(events.weight @ told))


def _axis_fits(
    entry: Recorder, scenario: Scenario, usual: dict[str, float], catalog: Catalog
) -> float:
    """Return how likely one recorded axis is in a scenario, the other one left free.

    A blow that was made to fit it is as likely as usual ones on that zone are together; these are
    kept by zone in ``usual``. Too little to fire anything is as likely of any crash as its weight
    says already, be it one so mild or one that the recorder missed.
    """
    severity = catalog.priors.severity
    is_along = entry.delta_v_long_kmh is not None
    value = (entry.delta_v_long_kmh if is_along else entry.delta_v_lat_kmh) or 0.0
    told = value * (1.0 if entry.method == "estimate" else severity.bias)
    spread = float(np.hypot(severity.sd_kmh, entry.u_kmh or 0.0))
    still = float(np.exp(-0.5 * (told / spread) ** 2))
    body, shown = catalog.firing.scans.body, shows_on_one_axis(entry, catalog)
    enough = shown / (shown + (1.0 - shown) * catalog.firing.events.crash_below_bound.value)
    fits = []
    for blow in _meant(entry, scenario):
        if blow.is_missed:
            fits.append(still)
            continue
        if told_axis(entry, blow.zone.side) is None or not blow.is_completed:
            fits.append(_one_axis(told, blow, is_along, spread, catalog))
            continue
        if blow.zone.name not in usual:
            several, sign = usual_blows(blow.zone, None, catalog), SIGNS[blow.zone.side]
            away = _pointing_past(value, body["clock_other"].value, catalog)
            fit, towards = away if value * sign < 0.0 else 1.0, sign * abs(told)
            shares = (w * _one_axis(towards, b, is_along, spread, catalog) for b, w in several)
            usual[blow.zone.name] = fit * sum(shares)
        fits.append(enough * usual[blow.zone.name] + (1.0 - enough) * still)
    other = body["dent_of_an_earlier_crash"].value
    return max(fits, default=still * _pointing_past(value, other, catalog))


def _pointing_past(value: float, chance: float, catalog: Catalog) -> float:
    """Return how seldom one axis points so far past the side that was struck, if any was.

    In full, as ``chance`` for one that points at a side, from twice the speed that points at all.
    """
    vague = catalog.fact("crash-data.vague-below").number()
    points = min(1.0, max(0.0, abs(value) / vague - 1.0))
    return 1.0 - points + points * chance / catalog.firing.scans.body["clock_exact"].value


def _one_axis(told: float, blow: Blow, is_along: bool, spread: float, catalog: Catalog) -> float:
    """Return the density of one axis for a blow, over its usual directions to either hand."""
    side = blow.zone.side
    usual = catalog.priors.severity.directions(struck(side, "left"))
    angle = np.radians(np.array(usual.degrees))
    main, off = blow.speed * np.cos(angle), blow.speed * np.sin(angle)
    own = is_along == (side in ("front", "rear"))
    expected = np.stack([SIGNS[side] * main] * 2) if own else np.stack([off, -off])
    density = np.exp(-0.5 * ((told - expected) / spread) ** 2)
    return float((density @ np.array(usual.weight)).mean())


def _meant(entry: Recorder, scenario: Scenario) -> tuple[Blow, ...]:
    """Return the blow that a recorded event tells of; the only one when there is one."""
    if len(scenario.blows) < 2:
        return scenario.blows
    return scenario.blows[entry.event - 1 : entry.event]


def _pointing(clock: int, blow: Blow, catalog: Catalog) -> float:
    """Return the chance of this direction for a blow, generous to neighbours."""
    body = catalog.firing.scans.body
    apart = abs(clock - blow.zone.clock) % HOURS
    apart = min(apart, HOURS - apart)
    return max(body["clock_other"].value, body["clock_exact"].value * 0.5**apart)
