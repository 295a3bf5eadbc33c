"""Steps of the procedure that a job needs, and what is done about common causes of faults."""

from collections.abc import Iterable, Iterator

from squibwise.catalog.load import Catalog, component_title
from squibwise.catalog.tasks import Cause, Step
from squibwise.history.order import POWER_DOWNS
from squibwise.history.signed import last_signed, unit_exposed
from squibwise.model.belief import Assessment, Because
from squibwise.model.names import PLACES, split_component
from squibwise.model.words import WEAK_BASES
from squibwise.model.work import ON_LOADS, Minutes, Operation
from squibwise.require.access import Way
from squibwise.require.conditions import is_unit_gone, weigh_crash_record
from squibwise.require.demands import name_chance, pick_cautions
from squibwise.require.job import Job, list_unsettled
from squibwise.require.orders import Piece
from squibwise.require.progress import FIRST_POWER, KEY_ON_GATE, STEP, is_step_done
from squibwise.require.scope import Scope, find_all_ways, is_signed, list_parted, once, to_minutes

UNIT_WAYS = ("flap", "console", "panel")
NEVER_LOADED = ("battery-cutoff", "high-voltage-cutoff")
LIVE_CHARGES = "live-charges"
CRASH_DATA = "save-crash-data"
LOAD_STEPS = ("fit-loads", "return-loads")
MOUNTED_EARLY = frozenset({"passenger-bag"})
CAUSE_NUMBERS = 900


@once
def list_steps(scope: Scope) -> tuple[Step, ...]:
    """Return the steps that this job needs, in the order of their numbers."""
    words = find_situations(scope)
    chosen = (s for s in scope.job.catalog.tasks.steps.values() if s.when in words)
    return tuple(sorted(chosen, key=lambda s: s.number))


@once
def find_situations(scope: Scope) -> frozenset[str]:
    """Return the words of steps and gates that hold of the car.

    Behind a passed or open key-on gate codes are saved with the key on; after a failed one the
    unit is read out of the car; from a unit that is not there nothing is saved. Where loads or
    bridges were left in, the power stays off until every igniter connector was seen.
    """
    job = scope.job
    gone = is_unit_gone(job.case)
    exposed = unit_exposed(job.progress.history) is not None
    refused = (job.progress.failed(KEY_ON_GATE) or exposed) and not gone
    loads = is_long_way(scope)
    bridged = job.may_be_bridged
    powers = not refused and not gone and not bridged and not job.was_flooded
    holds = {
        "always": True,
        "fired": job.has_fired,
        "crash": job.had_crash,
        "parts": bool(scope.changed),
        "charge-work": any(p.assembly.live for p in scope.changed),
        "body-work": job.had_crash and _is_out_of_the_heat(job),
        "long-way": loads,
        "loads-left": bridged,
        "read-on-loads": loads and _is_read_on_loads(scope),
        "wheel-on-loads": loads and scope.has("clock-spring") and _is_wheel_on_loads(scope),
        "weight-set": scope.has("occupant-set"),
        "key-on": powers,
        "key-on-crash": powers and job.had_crash and _is_recorded(job),
        "key-on-new-unit": powers and is_programmed(scope),
        "key-on-refused": refused,
        "dry": not job.was_flooded,
        "soaked": job.was_flooded,
        "unit-loose": job.had_crash or gone or refused or scope.has("control-unit"),
        "opened-up": job.had_crash or bool(scope.changed),
    }
    return frozenset(word for word, is_so in holds.items() if is_so)


def _is_out_of_the_heat(job: Job) -> bool:
    """Must live parts leave the heat: before the structure is signed; what is out goes back."""
    passed = job.progress.passed
    return not passed("structure-sound") or passed(STEP + "heat-out")


def _is_recorded(job: Job) -> bool:
    """Is there likely a crash record, or a firing that may have left one."""
    return weigh_crash_record(job.case, job.assessment)[0] >= job.limits.trace


@once
def is_long_way(scope: Scope) -> bool:
    """Is a proving power-up with loads needed before the airbags and pretensioners go in.

    Only where a new unit must be programmed while airbags are out, where an igniter circuit of a
    crashed car is traced, or where loads were left in; otherwise there is one first power, with
    everything fitted: after belts alone a new unit is programmed then. Without a crash the cards of
    the trace bring their own load and their waits; a car that stood in water, or burnt, gets its
    first power with loads for the parts it reached.
    """
    job = scope.job
    if job.may_be_bridged:
        return True
    if job.was_soaked and any(p.assembly.live for p in scope.changed):
        return True
    with_loads = bool(job.progress.loads.issued) or any(scope.fires(c) for c in scope.traced)
    if with_loads and (job.had_crash or scope.changed):
        return True
    kinds = job.catalog.kinds
    bags = [
        c for p in scope.changed for c in p.key if kinds[split_component(c).kind].family == "bag"
    ]
    return is_programmed(scope) and _has_fired(bags, scope)


def is_programmed(scope: Scope) -> bool:
    """Is a new control unit fitted, of years in which one is programmed to the car."""
    return scope.has("control-unit") and _is_of_years("require.program-from-year", scope.job)


def _is_of_years(fact: str, job: Job) -> bool:
    """Is a car of the model year that a fact names, or later; one whose year is untold is."""
    first = job.catalog.fact(fact).number()
    return (job.case.car.model_year or first) >= first


def _has_fired(components: Iterable[str], scope: Scope) -> bool:
    beliefs = (scope.job.assessment.get(c) for c in components)
    return any(b is not None and b.after_crash.fired >= scope.job.limits.likely for b in beliefs)


@once
def seats_out(scope: Scope) -> frozenset[str]:
    """Return the seats that stay out of the car until their airbag or pretensioner is new."""
    return frozenset(
        w.at
        for w in scope.ways
        if w.opening.id == "seat"
        and any(p.place == w.at and "seat" in _needs_open(p, scope) for p in scope.changed)
    )


SHUT_BEFORE_POWER = ("wheel", "panel")


def goes_in_after_loads(piece: Piece) -> bool:
    """Does a piece go in once the loads are out, where the first power is one on loads."""
    return piece.assembly.operation.fit != "base" and piece.assembly.id not in MOUNTED_EARLY


def stays_open(way: Way, scope: Scope) -> bool:
    """Does an opening stay open over the first power on loads.

    Closed is only what must be firm while the wheel is turned and the unit powered: the panel with
    the column, the steering wheel, a seat that waits for nothing.
    """
    is_firm = "seat" in (way.opening.id, *way.opening.needs) and way.at not in seats_out(scope)
    return way.opening.id not in SHUT_BEFORE_POWER and not is_firm


def _needs_open(piece: Piece, scope: Scope) -> set[str]:
    """Return the openings that a live piece lies behind."""
    if not piece.assembly.live:
        return set()
    ways = find_all_ways(piece, scope)
    return {w.opening.id for w in ways}


@once
def list_loads(scope: Scope) -> tuple[str, ...]:
    """Return the igniter circuits that get a substitute load before the first power.

    Of what is off or new, of what was unplugged where a cover stays open over that power, so that
    nothing live is joined with its cover off, and of what water reached.
    """
    off = [
        c
        for p in (*scope.changed, *scope.taken_off)
        if not _is_plugged_in(p, scope)
        for c in p.contains
        if scope.fires(c) and split_component(c).kind not in NEVER_LOADED
    ]
    fitted = {c for p in scope.changed if _is_plugged_in(p, scope) for c in p.contains}
    kept = [
        c
        for w in scope.ways
        if stays_open(w, scope)
        for c in list_parted(w, scope.job)
        if scope.fires(c) and c not in fitted and split_component(c).kind not in NEVER_LOADED
    ]
    wet = [c for c in scope.job.reached if scope.fires(c)]
    out = dict.fromkeys([*off, *kept, *wet, *(c for c in scope.traced if scope.fires(c))])
    return tuple(f"{c}/{n}" for c in out for n in range(1, _stages(c, scope) + 1))


def _is_read_on_loads(scope: Scope) -> bool:
    """Are the loads in, or still to come, or was read with them: without them nobody can."""
    loads = scope.job.progress.loads
    return is_signed(STEP + "second-scan", scope) or not loads.issued or bool(loads.out)


def _is_power_due_again(scope: Scope) -> bool:
    """Did the power come off while something that is done on loads is open, the loads still in."""
    signed_at = last_signed(scope.job.progress.history, STEP + FIRST_POWER, FIRST_POWER)
    off = last_signed(scope.job.progress.history, *POWER_DOWNS)
    if not (signed_at and off and off[0] > signed_at[0] and scope.job.progress.loads.out):
        return False
    own = (s.id for s in list_steps(scope) if s.phase == "prove" and s.id != FIRST_POWER)
    return not all(is_signed(STEP + word, scope) for word in own)


def list_left_open(scope: Scope) -> frozenset[str]:
    """Return what is mounted before a first power on loads and plugged in only after it.

    The bag that goes in with the panel, and the charge of a new column: its circuit has a load.
    """
    loaded = {*loads_of(list_loads(scope))}
    pieces = [p for p in (*scope.changed, *scope.taken_off) if not goes_in_after_loads(p)]
    early = {c for p in pieces if p.assembly.id in MOUNTED_EARLY for c in p.contains}
    return frozenset(early.union(*(loaded.intersection(p.contains) for p in pieces)))


def _is_wheel_on_loads(scope: Scope) -> bool:
    """Does the driver's airbag come in after the loads, or did it, so that one stood for it."""
    signed = is_signed(STEP + "move-steering", scope)
    bags = [p for p in scope.changed if p.assembly.id == "driver-bag"]
    return any(signed or not _is_plugged_in(p, scope) for p in bags)


def _is_plugged_in(piece: Piece, scope: Scope) -> bool:
    """Is a piece fitted anew and joined; what is mounted first is joined by a line of its own."""
    if piece.id not in scope.orders or not scope.orders[piece.id].done:
        return False
    if piece.assembly.id in MOUNTED_EARLY:
        return is_signed(f"join:{piece.id}", scope)
    return goes_in_after_loads(piece) or is_signed(f"join:{ON_LOADS}", scope)


def _stages(component: str, scope: Scope) -> int:
    return max(
        scope.job.case.car.stages.get(component, 1),
        len(getattr(scope.job.assessment.get(component), "stages", {}) or {}),
        1,
    )


def step_operations(scope: Scope, steps: Iterable[Step], held: frozenset[str]) -> list[Operation]:
    """Return the steps as operations.

    Args:
        scope: What is done.
        steps: Those that are needed.
        held: Gates that hold operations now.
    """
    return [_operation(s, scope, held) for s in steps]


def _operation(step: Step, scope: Scope, held: frozenset[str]) -> Operation:
    job = scope.job
    gate = next((w for w, g in job.catalog.tasks.gates.items() if g.step == step.id), None)
    done = gate in job.closed if gate else is_step_done(step, job.progress, job.closed, job.catalog)
    done = done and not (step.id == FIRST_POWER and _is_power_due_again(scope))
    loads = list_loads(scope) if step.id in LOAD_STEPS else ()
    return Operation(
        n=step.number,
        id=STEP + step.id,
        action="do",
        title=_step_title(step, job),
        short=step.short,
        components=loads_of(loads),
        minutes=_step_minutes(step, scope),
        after=(*(w if ":" in w else STEP + w for w in step.after), *_way_to_unit(step, scope)),
        hold_minutes=job.wait.minutes if step.hold else 0,
        blocked_by=() if done else tuple(g for g in step.gates if g in held),
        cautions=pick_cautions(step.cautions, job.catalog),
        tools=step.tools,
        undoes=_heat_near(scope) if step.id == "heat-out" else (),
        joins=_back_from_heat(scope) if step.id == "heat-back" else (),
        loads=loads,
        because=_because(step, scope),
        demands=(STEP + step.id,),
        done=done,
        counted=step.id != CRASH_DATA or _is_of_years("require.recorder-from-year", job),
        is_advice=step.advice,
        passes_when=step.passes_when,
    )


def _way_to_unit(step: Step, scope: Scope) -> tuple[str, ...]:
    """Return the opening behind which a unit lies that is taken out to be read."""
    ways = (w for w in scope.ways if step.id == "bench-read" and w.opening.id in UNIT_WAYS)
    return tuple(f"open:{w.id}" for w in ways)[:1]


def _step_title(step: Step, job: Job) -> str:
    """Return what is done; a car whose battery was cut off is fed by the maker's route."""
    is_cut = step.when in ("key-on", "key-on-crash") and job.fired("battery-cutoff")
    if is_cut and job.fired("battery-cutoff") >= job.limits.likely:
        return f"{step.title} (the battery cut-off has likely fired: feed it as the maker says)"
    return step.title


def loads_of(loads: Iterable[str]) -> tuple[str, ...]:
    """Return the components whose circuits these are, each once."""
    return tuple(dict.fromkeys(x.partition("/")[0] for x in loads))


def _step_minutes(step: Step, scope: Scope) -> Minutes:
    if step.each == "label":
        return to_minutes(step.minutes, sum(1 for p in scope.changed if is_labelled(p.key, scope)))
    if step.each == "load":
        return to_minutes(step.minutes, len(list_loads(scope)))
    if step.each == "igniter":
        return to_minutes(step.minutes, sum(map(scope.fires, scope.job.case.car.components)))
    job = scope.job
    is_more = job.had_crash or job.was_soaked or bool(scope.changed)
    return to_minutes(step.minutes if is_more else step.undamaged or step.minutes)


_NOTED = ("control-unit", "impact-sensor", "clock-spring")


def is_labelled(components: Iterable[str], scope: Scope) -> bool:
    """Is the origin noted: of everything live, of the unit, of sensors and of the clock spring."""
    kinds = {split_component(c).kind for c in components}
    return any(map(scope.fires, components)) or not kinds.isdisjoint(_NOTED)


def _heat_near(scope: Scope) -> tuple[str, ...]:
    """Return what comes out of the heat: live devices and sensors at the struck zones, the unit."""
    zones = {z for z, p in scope.job.assessment.event.zones.items() if p >= scope.job.limits.likely}
    near = {place for zone in zones for place in _near(zone, scope)}
    return tuple(
        c
        for c in scope.job.case.car.components
        if split_component(c).kind == "control-unit"
        or (
            split_component(c).place in near
            and _is_hurt_by_heat(c, scope)
            and not scope.is_to_be_fitted(c)
        )
    )


def _back_from_heat(scope: Scope) -> tuple[str, ...]:
    """Return what is joined again before the first power: not what stands on a load then."""
    loaded = loads_of(list_loads(scope)) if is_long_way(scope) else ()
    near = _heat_near(scope)
    return tuple(c for c in near if not scope.is_to_be_fitted(c) and c not in loaded)


def _is_hurt_by_heat(component: str, scope: Scope) -> bool:
    return scope.fires(component) or split_component(component).kind == "impact-sensor"


def _near(zone: str, scope: Scope) -> set[str]:
    """Return the places within reach of body work on a zone, with its side of the cabin."""
    if not zone.startswith(("door-", "pillar-")):
        return {zone}
    side = zone.partition("-")[2]
    seat = "driver" if side == scope.job.case.car.drive_hand else "passenger"
    return {f"door-{side}", f"pillar-{side}", side, seat, f"row2-{side}"}


def _because(step: Step, scope: Scope) -> tuple[Because, ...]:
    weak = step.basis if step.basis in WEAK_BASES else None
    because: tuple[Because, ...] = (Because(text=step.text, sources=(step.source,), weak=weak),)
    because += (scope.job.wait.because,) if step.hold else ()
    if step.id == LIVE_CHARGES:
        because += _live_charges(scope.job.assessment, scope.job.catalog)
    return because


def find_live_stages(assessment: Assessment, catalog: Catalog) -> tuple[tuple[str, float], ...]:
    """Return the circuits of fired devices that may still be live, with how probable that is.

    A stage counts until it is believed spent as surely as the fact ``require.sure`` asks; even
    then it is handled as live until a person confirms it spent.
    """
    sure = catalog.fact("require.sure").number()
    least = catalog.fact("require.replace-from").number()
    return tuple(
        (f"{belief.id}/{stage}", 1.0 - chance.fired)
        for belief in assessment.components
        if max(belief.after_crash.fired, belief.now.fired) >= least
        for stage, chance in sorted(belief.stages.items())
        if chance.fired < sure
    )


def _live_charges(assessment: Assessment, catalog: Catalog) -> tuple[Because, ...]:
    return tuple(
        Because(
            text=(
                f"Stage {loop.rpartition('/')[2]} of the "
                f"{component_title(loop.partition('/')[0], catalog)} may be live ({chance:.2f})."
            )
        )
        for loop, chance in find_live_stages(assessment, catalog)
    )


def cause_operations(job: Job) -> Iterator[Operation]:
    """Yield one operation per believed common cause that work can do something about.

    The causes of ``event.causes`` are keyed ``<cause>``, ``<cause>:<place>`` or
    ``<cause>:<place>.<part>``; the first of a place steps back behind its parts.
    """
    causes = sorted(job.assessment.event.causes.items())
    followed = {k: p for k, p in causes if p >= job.limits.trace}
    for key, probability in followed.items():
        word, _, place = key.partition(":")
        cause = job.catalog.tasks.causes.get(word)
        if cause is not None and cause.powered and list_unsettled(job):
            continue  # no key-on: it waits for the first power
        if cause is not None and not any(other.startswith(f"{key}.") for other in followed):
            yield _cause(cause, place, probability, job)


def _cause(cause: Cause, place: str, probability: float, job: Job) -> Operation:
    word = STEP + "-".join(w for w in ("check", cause.cause, place) if w)
    shown = f"the {place.replace('.', ' ').replace('-', ' ')}" if place else "one connector"
    told = f"{cause.text} Here: {name_chance(probability, job.catalog)}."
    weak = cause.basis if cause.basis in WEAK_BASES else None
    return Operation(
        n=_cause_number(cause, place, job),
        id=word,
        action="do",
        title=cause.title.format(place=shown),
        kind="look-first",
        p=probability,
        minutes=to_minutes(cause.minutes),
        counted=probability >= job.limits.likely,
        after=() if cause.powered else ("step:make-safe",),
        because=(Because(text=told, sources=(cause.source,), weak=weak),),
        cautions=pick_cautions(cause.cautions, job.catalog),
        demands=(word,),
        done=job.progress.passed(word) or word in job.progress.done_items,
        passes_when="passed, then scan again",
    )


def _cause_number(cause: Cause, place: str, job: Job) -> int:
    """Return the number of a cause at a place, the same whatever else is believed."""
    rank = list(job.catalog.tasks.causes).index(cause.cause)
    head, _, part = place.partition(".")
    at = 1 + PLACES.index(head) if head in PLACES else 0
    return CAUSE_NUMBERS + rank * 60 + at * 3 + (1 + len(part) % 2 if part else 0)
