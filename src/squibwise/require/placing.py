"""Where each operation comes: its phase between two changes of power, its area, its rank."""

from collections.abc import Iterable, Iterator, Sequence

import msgspec

from squibwise.catalog.load import component_title
from squibwise.catalog.tasks import Step
from squibwise.model.names import split_component
from squibwise.model.work import ON_LOADS, Demand, Operation
from squibwise.require.access import Way
from squibwise.require.demands import pick_cautions
from squibwise.require.looks import look
from squibwise.require.operations import (
    HIGH_VOLTAGE_WAY,
    PLUG_BACK,
    PLUG_IN,
    TRACE,
    close,
    each_minutes,
    fit,
    fit_outside,
    join,
    open_up,
    piece_title,
    set_up,
    take_out,
)
from squibwise.require.orders import FASTENERS, find_piece
from squibwise.require.progress import KEY_ON_GATE
from squibwise.require.progress import LATER_KEY_ON_GATE as LATER
from squibwise.require.scope import Scope, is_signed, to_minutes
from squibwise.require.steps import (
    MOUNTED_EARLY,
    UNIT_WAYS,
    cause_operations,
    find_situations,
    goes_in_after_loads,
    list_left_open,
    list_loads,
    list_steps,
    loads_of,
    seats_out,
    stays_open,
    step_operations,
)

BEFORE_AREAS = (
    "power-down",
    "make-safe",
    "bench-read",
    "hunt-loads",
    "part-labels",
    "heat-back",
    "second-power-down",
    "second-make-safe",
    "return-loads",
)
HV_CUTOFF = "hv-cutoff"


SHARED = "step:check-shared-plug-"


class Placed(msgspec.Struct, frozen=True, kw_only=True):
    """An operation with its place in the order of work.

    Attributes:
        phase: As of a step.
        area: Id of an opening with its side or seat, or a word for the whole car.
        rank: Within its phase: 0 before the areas, 1 in them, 2 after them, 3 high voltage; then
            the area, opened outside in (``slot``) and closed from the middle outwards (``99 -
            slot``, 42 for what lies in none); then the layer: -1 what comes off, 0 base, 1 charge,
            2 trim or look, 3 connectors, 4 cover; then the number.
    """

    phase: str
    area: str
    rank: tuple[int, ...]
    operation: Operation


def place_all(scope: Scope, held: frozenset[str], *, long: bool) -> list[Placed]:
    """Return every operation of a job with its place in the order of work.

    Args:
        scope: What is done.
        held: Gates that hold steps.
        long: There is a first power on loads, before airbags and pretensioners go in.
    """
    return [
        *_place_steps(scope, held),
        *_place_strip(scope),
        *_place_fits(scope, long=long),
        *_place_outside(scope),
        *_place_faults(scope, long=long),
        *_place_settings(scope, long=long),
    ]


def _place_steps(scope: Scope, held: frozenset[str]) -> list[Placed]:
    steps = list_steps(scope)
    found = step_operations(scope, steps, held)
    return [_placed_step(s, o, scope) for s, o in zip(steps, found, strict=True)]


def _placed_step(step: Step, operation: Operation, scope: Scope) -> Placed:
    """Return a step in its place; the unit is bolted down while its area is open."""
    area = _step_area(step.id, step.phase)
    rank: tuple[int, ...] = (_half(step.id), step.number)
    way = next((w for w in scope.ways if w.opening.id in UNIT_WAYS), None)
    if step.id == "unit-bolted" and way is not None:
        area, rank = way.id, (1, 99 - way.slot, 0, 480, 1)
    return Placed(phase=step.phase, area=area, rank=rank, operation=operation)


def _half(step: str) -> int:
    """Return whether a step comes before the areas of its phase (0) or after them (2)."""
    return 0 if step in BEFORE_AREAS else 2


def _step_area(step: str, phase: str) -> str:
    if step in ("order-closed", "live-charges"):
        return "order"
    if phase in ("body",):
        return "body"
    if step in ("lamp-check", "drive", "final-scan", "papers"):
        return "proof"
    if step in ("clear", "weigh-seat"):
        return "settings"
    return "power" if phase in ("open", "fit", "prove", "final") else "car"


def _place_strip(scope: Scope) -> list[Placed]:
    """Return openings, what comes out behind them, and the looks, area by area."""
    opened = {o.id.partition(":")[2]: o for o in open_up(scope)}
    found = [
        Placed(phase="open", area=w.id, rank=_open_rank(w), operation=opened[w.id])
        for w in scope.ways
    ]
    for operation in take_out(scope):
        holding = (w for w in scope.ways if w.opening.first_out == operation.assembly)
        way = _way_behind(operation, scope) or next(holding, None)
        off = way is None or operation.assembly in (way.opening.takes_off, way.opening.first_out)
        slot = way.slot if way else 0
        area = way.id if way else "wheel" if operation.assembly == "driver-bag" else "car"
        rank: tuple[int, ...] = (1, slot, -1 if off else 1, operation.n)
        rank = (0, operation.n) if area == "car" else rank
        found.append(Placed(phase="open", area=area, rank=rank, operation=operation))
    for operation in look(scope):
        way = _way_behind(operation, scope)
        area = way.id if way else "asked" if operation.kind == "ask" else "car"
        if operation.id == "look:cabin":
            found.append(Placed(phase="arrive", area="car", rank=(2, 1, 5), operation=operation))
        else:
            rank = (1, way.slot if way else 99 + (area == "asked"), 2, operation.n)
            found.append(Placed(phase="open", area=area, rank=rank, operation=operation))
    return found


def _open_rank(way: Way) -> tuple[int, ...]:
    """Return where an opening comes; a qualified person makes high voltage safe first of all."""
    return (0, 21, 1) if way.opening.id == HIGH_VOLTAGE_WAY else (1, way.slot, 0)


def _way_behind(operation: Operation, scope: Scope) -> Way | None:
    """Return the innermost opening that an operation lies behind."""
    opened = {f"open:{w.id}": w for w in scope.ways}
    behind = [opened[a] for a in operation.after if a in opened]
    return max(behind, key=lambda w: w.slot, default=None)


def _place_fits(scope: Scope, *, long: bool) -> list[Placed]:
    """Return fits, joins and closings: from the middle outwards, the driver's airbag last.

    On the long way what holds no charge is fitted before the first power; airbags and pretensioners
    follow after the loads are out. What was opened stays open until then, but for what must be firm
    while the wheel is turned and the unit powered: the panel with the column, the steering wheel, a
    seat that waits for nothing. High voltage comes back last of all.
    """
    fitted = _place_new(scope, long=long)
    late = frozenset(
        p.operation.id for p in fitted if p.operation.action == "fit" and p.phase == "fit"
    )
    back = _plug_back(fitted, scope) if long else []
    joined = _place_joins(scope, late, long=long)
    return [*fitted, *back, *joined, *_place_closings(scope, late, long=long)]


def _place_new(scope: Scope, *, long: bool) -> list[Placed]:
    """Return what is fitted, each before the first power or, on the long way, after the loads."""
    found: list[Placed] = []
    fits = tuple(fit(scope, connects_later=list_left_open(scope) if long else frozenset()))
    late = _find_late(fits, scope) if long else frozenset()
    for operation in fits:
        way = _way_behind(operation, scope)
        is_late = operation.id in late
        if is_late:
            kept = (a for a in operation.after if a != "open:panel")
            operation = msgspec.structs.replace(operation, after=(*kept, "step:return-loads"))
        found.append(_placed_fit(operation, way, "fit" if is_late else "build", scope))
        if long and operation.assembly in MOUNTED_EARLY:
            found.append(_plug_in(operation, way, scope))
    return found


def _find_late(fits: Sequence[Operation], scope: Scope) -> frozenset[str]:
    """Return what is fitted once the loads are out, and what is fitted only over that."""
    waiting = {p.assembly.id for p in scope.pieces if goes_in_after_loads(p)}
    late = {o.id for o in fits if o.assembly in waiting}
    while more := {o.id for o in fits if not late.isdisjoint(o.after)} - late:
        late |= more
    return frozenset(late)


def _place_joins(scope: Scope, late: frozenset[str], *, long: bool) -> list[Placed]:
    """Return what is plugged in again, area by area; at a seat that stays out, after the loads."""
    found: list[Placed] = []
    out = seats_out(scope) if long else frozenset()
    for way, operation in join(scope, _stand_on_loads(scope) if long else frozenset()):
        is_late = way.opening.id == "seat" and way.at in out
        after = tuple(a for a in operation.after if is_late or a not in late)
        after = (*after, "step:return-loads") if is_late else after
        operation = msgspec.structs.replace(operation, after=after)
        rank = (1, 99 - way.slot, 3, operation.n)
        phase = "fit" if is_late else "build"
        found.append(Placed(phase=phase, area=way.id, rank=rank, operation=operation))
    return found


def _place_closings(scope: Scope, late: frozenset[str], *, long: bool) -> list[Placed]:
    """Return what is closed, before the first power only where it must be firm then."""
    found: list[Placed] = []
    for way, operation in close(scope):
        stays = long and stays_open(way, scope)
        after = operation.after
        if stays:  # no hand behind a trim while the wait runs
            after = (*after, "step:return-loads", f"join:{ON_LOADS}")
        elif long:
            after = tuple(a for a in after if a not in late)
        operation = msgspec.structs.replace(operation, after=after)
        is_last = way.opening.id == HIGH_VOLTAGE_WAY
        rank = (3, 1, 0, operation.n) if is_last else (1, 99 - way.slot, 4, operation.n)
        phase = "fit" if stays else "build"
        found.append(Placed(phase=phase, area=way.id, rank=rank, operation=operation))
    return found


def _place_outside(scope: Scope) -> list[Placed]:
    """Return what others fit, with the body work."""
    found = fit_outside(scope)
    return [Placed(phase="body", area="body", rank=(2, 99, o.n), operation=o) for o in found]


def _placed_fit(operation: Operation, way: Way | None, phase: str, scope: Scope) -> Placed:
    fits = scope.job.catalog.assemblies[operation.assembly or ""].operation.fit
    if operation.assembly == HV_CUTOFF:
        return Placed(phase=phase, area="hv", rank=(3, 0, operation.n), operation=operation)
    if operation.assembly == FASTENERS:
        after = (*operation.after, "all:fit", "all:close")
        operation = msgspec.structs.replace(operation, after=after)
        return Placed(phase=phase, area="car", rank=(2, operation.n), operation=operation)
    layer = ("base", "charge", "trim").index(fits)
    slot = way.slot if way else 0 if operation.assembly == "driver-bag" else 42
    area = way.id if way else "wheel" if operation.assembly == "driver-bag" else "car"
    return Placed(
        phase=phase, area=area, rank=(1, 99 - slot, layer, operation.n), operation=operation
    )


def _stand_on_loads(scope: Scope) -> frozenset[str]:
    """Return what gets a load and is plugged in after it, but for what is behind a seat then."""
    out = seats_out(scope)
    seats = (o for w, o in join(scope) if w.opening.id == "seat" and w.at in out)
    return frozenset(loads_of(list_loads(scope))) - {c for o in seats for c in o.joins}


def _plug_back(fitted: Sequence[Placed], scope: Scope) -> list[Placed]:
    """Return the line that plugs in again what had a load and is neither new nor behind a seat."""
    joined = {c for p in fitted if p.phase == "fit" for c in p.operation.joins}
    left = tuple(sorted(_stand_on_loads(scope) - joined, key=loads_of(list_loads(scope)).index))
    if not left:
        return []
    names = ", ".join(component_title(c, scope.job.catalog) for c in left)
    operation = Operation(
        n=PLUG_BACK,
        id=f"join:{ON_LOADS}",
        action="join",
        title=f"Plug in and lock again where a load was: {names}",
        components=left,
        after=("step:return-loads",),
        joins=left,
        cautions=pick_cautions(("full-wait", "static", "no-meter"), scope.job.catalog),
        done=is_signed(f"join:{ON_LOADS}", scope),
        passes_when=f"passed join:{ON_LOADS}: each connector lock felt home",
    )
    return [Placed(phase="fit", area="connectors", rank=(1, 0, 1, PLUG_BACK), operation=operation)]


def _plug_in(fitted: Operation, way: Way | None, scope: Scope) -> Placed:
    """Return the line that plugs in what was mounted before the first power."""
    word = fitted.id.partition(":")[2]
    operation = Operation(
        n=PLUG_IN,
        id=f"join:{word}",
        action="join",
        title=f"Plug in and lock, through the glove box opening: {fitted.title.partition(': ')[2]}",
        assembly=fitted.assembly,
        components=fitted.components,
        after=("step:return-loads", fitted.id),
        joins=fitted.components,
        cautions=fitted.cautions,
        done=is_signed(f"join:{word}", scope),
        passes_when=f"passed join:{word}: each connector lock felt home",
    )
    area = way.id if way else "car"
    return Placed(phase="fit", area=area, rank=(1, 0, 0, operation.n), operation=operation)


def _place_faults(scope: Scope, *, long: bool) -> list[Placed]:
    found = [_place_cause(o, scope, long=long) for o in cause_operations(scope.job)]
    apart = {c for _, joined in join(scope) for c in joined.joins}
    for operation in _trace(scope, powered=long):
        phase, half = ("prove", 2) if long else ("open", 1)
        if long and _needs_its_connector(operation, apart, scope):
            operation = msgspec.structs.replace(operation, after=("step:final-power", "all:cause"))
            phase, half = "final", 1
        rank = (half, 99, operation.n)
        found.append(Placed(phase=phase, area="connectors", rank=rank, operation=operation))
    return found


def _needs_its_connector(operation: Operation, apart: set[str], scope: Scope) -> bool:
    """Is a circuit that takes no load traced, and its connector apart until the end."""
    return any(c in apart and not scope.fires(c) for c in operation.components)


def _place_cause(operation: Operation, scope: Scope, *, long: bool) -> Placed:
    """Return a common cause in its visit: what needs the key on is done while the power is on."""
    if "step:make-safe" in operation.after:
        return Placed(
            phase="open", area="connectors", rank=(1, 98, operation.n), operation=operation
        )
    reads = "key-on" in find_situations(scope)
    phase, before, gate = (
        ("prove", "first-power", LATER) if long else ("final", "final-power", LATER)
    )
    if reads:
        phase, before, gate = "read", "save-codes", KEY_ON_GATE
    powered = msgspec.structs.replace(operation, after=(f"step:{before}",), blocked_by=(gate,))
    return Placed(phase=phase, area="connectors", rank=(2, 98, operation.n), operation=powered)


_PROGRAM = "set:program"


def _place_settings(scope: Scope, *, long: bool) -> list[Placed]:
    """Return the settings; what a unit keeps is set after the unit was programmed, not before."""
    found = []
    settings = tuple(set_up(scope))
    programmed = tuple(o.id for o in settings if o.id == _PROGRAM)
    for operation in settings:
        is_first = operation.id == _PROGRAM
        early = long and is_first
        later = operation.after if is_first else (*operation.after, *programmed)
        after = ("step:first-power",) if early else later
        placed = msgspec.structs.replace(operation, after=after)
        phase = "prove" if early else "final"
        number = 62 if early else operation.n
        found.append(Placed(phase=phase, area="settings", rank=(2, number), operation=placed))
    return found


def _trace(scope: Scope, *, powered: bool) -> Iterator[Operation]:
    """Yield one operation per assembly whose circuits are traced.

    Args:
        scope: What is done.
        powered: It is traced with loads and the power on, not by connectors alone.
    """
    checks = [o for o in cause_operations(scope.job) if o.id.startswith(SHARED)]
    for piece in scope.pieces:
        own = [
            scope.demands[f"{c}:trace"]
            for c in scope.traced
            if find_piece(c, scope.pieces) == piece
        ]
        if not own:
            continue
        after = ("step:second-scan",) if powered else ("step:make-safe",)
        how = (
            ", card by card; hands only with the power off and waited; "
            "the time is of the first cards, the trace foretells the rest"
        )
        check = _find_check(own, checks)
        how += f"; only where no. {check.n} did not end it" if check else ""
        yield Operation(
            n=piece.number + TRACE,
            id=f"trace:{piece.id}",
            action="trace",
            title=f"Trace the circuit of the {piece_title(piece)}{how}",
            short=f"trace the circuit of the {piece_title(piece, short=True)}",
            components=tuple(d.component for d in own if d.component),
            minutes=to_minutes(each_minutes("trace", scope)),
            counted=check is None,
            kind="look-first" if check else own[0].kind,
            p=1.0 - check.p if check else max(d.probability for d in own),
            after=(*after, "all:cause"),
            because=own[0].because,
            cautions=own[0].cautions,
            blocked_by=own[0].blocked_by,
            demands=tuple(d.id for d in own),
            done=all(d.done for d in own),
            passes_when=own[0].passes_when,
        )


def _find_check(own: Sequence[Demand], checks: Iterable[Operation]) -> Operation | None:
    """Return the look at the connector that several circuits share, where it likely ends them all.

    Each of the circuits is traced, and its time counted, only where that look did not.
    """
    places = {split_component(d.component).place for d in own if d.component}
    for check in checks:
        at = check.id.removeprefix(SHARED).partition(".")[0]
        if {at} == places and check.counted and not check.done:
            return check
    return None
