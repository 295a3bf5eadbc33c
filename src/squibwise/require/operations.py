"""Operations of a job: what is opened, looked at, taken out, fitted, joined, closed and set."""

from collections.abc import Iterable, Iterator, Mapping, Sequence

from squibwise.catalog.load import Catalog, component_title
from squibwise.catalog.tasks import Setting, Three
from squibwise.history.signed import CONTROL_UNIT, last_signed
from squibwise.model.evidence import Passed
from squibwise.model.names import SEATS, side_of, split_component
from squibwise.model.work import Caution, Demand, Minutes, Operation, Order
from squibwise.require.access import Way, covers, swallows
from squibwise.require.demands import pick_cautions
from squibwise.require.looks import LOOK, list_deciding, look
from squibwise.require.orders import FASTENERS, Piece
from squibwise.require.scope import (
    Scope,
    find_all_ways,
    find_piece_ways,
    is_signed,
    list_parted,
    to_minutes,
)
from squibwise.require.steps import (
    SHUT_BEFORE_POWER,
    UNIT_WAYS,
    find_situations,
    goes_in_after_loads,
    is_labelled,
    is_long_way,
    is_programmed,
)

OUT, FIT, TRACE, JOIN, CLOSE = 0, 200, 400, 800, 850
OPEN = 100
PLUG_IN, PLUG_BACK = 790, 791
HIGH_VOLTAGE_WAY = "hv"
BENCH_READ = "key-on-refused"


def list_numbers(catalog: Catalog) -> frozenset[int]:
    """Return every number that an operation of some car may have."""
    tasks = catalog.tasks
    own = [s.number for s in tasks.steps.values()] + [s.number for s in tasks.settings.values()]
    own += [t.number for t in tasks.ticks.values() if t.number]
    slots = {o.slot + n for o in tasks.openings.values() for n in (0, 1)}
    work = [(a.operation.number, len(a.places)) for a in catalog.assemblies.values()]
    parts = {first + n for first, count in work for n in range(count)}
    ways = (base + slot for base in (OPEN, LOOK, JOIN, CLOSE) for slot in slots)
    pieces = (base + number for base in (OUT, FIT, TRACE) for number in parts)
    return frozenset((*own, *ways, *pieces, PLUG_IN, PLUG_BACK))


def open_up(scope: Scope) -> Iterator[Operation]:
    """Yield one operation per opening, with the connectors it parts."""
    for way in scope.ways:
        parted = tuple(c for c in list_parted(way, scope.job) if not scope.is_new(c))
        done = _is_area_done(way, scope)
        yield Operation(
            n=OPEN + way.slot,
            id=f"open:{way.id}",
            action="open",
            title=_opening_title(way, parted, scope),
            components=parted,
            minutes=to_minutes(way.opening.open),
            after=_before_opening(way, scope),
            undoes=parted,
            cautions=_cautions(parted, scope),
            done=(is_signed(f"open:{way.id}", scope) or done) and not _is_shut_early(way, scope),
            passes_when=f"passed open:{way.id}",
        )


def _before_opening(way: Way, scope: Scope) -> tuple[str, ...]:
    """Return what comes before an opening: high voltage first of all, then what lies over it."""
    if way.opening.id == HIGH_VOLTAGE_WAY:
        return ("step:power-down",)
    read = () if _is_over_unit(way, scope) else ("step:bench-read",)
    over = [f"open:{w.id}" for w in scope.ways if covers(w, way) or swallows(way, w)]
    over += [f"out:{p.id}" for p in scope.changed if p.assembly.id == way.opening.first_out]
    return ("step:make-safe", *read, "step:hunt-loads", *over)


def _is_over_unit(way: Way, scope: Scope) -> bool:
    """Is an opening the one to the unit, or off before it: what is read outside lies behind."""
    unit = [w for w in scope.ways if w.opening.id in UNIT_WAYS][:1]
    return any(way == u or covers(way, u) or swallows(u, way) for u in unit)


def _opening_title(way: Way, parted: Sequence[str], scope: Scope) -> str:
    title = f"Open: {way.title}"
    live = [component_title(c, scope.job.catalog) for c in parted if scope.fires(c)]
    return f"{title}; unplug {', '.join(live)}, live" if live else title


def _cautions(components: Iterable[str], scope: Scope) -> tuple[Caution, ...]:
    is_live = any(scope.fires(c) for c in components)
    ids = ("full-wait", "live-until-proven", "static", "no-meter") if is_live else ()
    return pick_cautions(ids, scope.job.catalog)


def _is_area_done(way: Way, scope: Scope) -> bool:
    """Was something behind an opening fitted, so that it must have been open."""
    return any(scope.orders[p.id].done and way in find_all_ways(p, scope) for p in scope.changed)


def _is_shut_early(way: Way, scope: Scope) -> bool:
    """Was an opening closed, and something is to be fitted behind it after all.

    What goes in after the loads does so with panel and wheel closed: it is reached from outside.
    """
    if _place(f"close:{way.id}", scope) <= _place(f"open:{way.id}", scope):
        return False
    on_loads = way.opening.id in SHUT_BEFORE_POWER and is_long_way(scope)
    return any(
        scope.orders[p.id].kind in ("certain", "rule") and not scope.orders[p.id].done
        for p in scope.changed
        if way in _open_ways(p, scope) and not (on_loads and goes_in_after_loads(p))
    )


def _is_open_again(way: Way, word: str, scope: Scope) -> bool:
    """Is it to be opened a second time since it was closed or its connectors joined, or is it."""
    if _is_shut_early(way, scope):
        return True
    history, opening = scope.job.progress.history, f"open:{way.id}"
    times = sum(p.what == opening for _, p in history.all_of(Passed))
    return times > 1 and _place(opening, scope) > _place(word, scope)


def _place(word: str, scope: Scope) -> int:
    signed = last_signed(scope.job.progress.history, word)
    return signed[0] if signed else -1


def take_out(scope: Scope) -> Iterator[Operation]:
    """Yield one operation per fired or replaced charge, and per piece that comes off for access.

    And per piece of which something is noted before it is gone; its minutes are those of fitting.
    """
    is_read_outside = BENCH_READ in find_situations(scope)
    for piece in scope.changed:
        there = [c for c in piece.key if not _is_gone(c, scope)]
        noted = piece.assembly.operation.out
        if piece.assembly.live and there:
            yield _out(
                piece, "Take out, bag and label", to_minutes(each_minutes("bag-it", scope)), scope
            )
        elif noted and there and not (is_read_outside and piece.assembly.id == CONTROL_UNIT):
            yield _out(piece, f"Take out, {noted}", Minutes(), scope)
    for piece in scope.taken_off:
        yield _out(piece, "Take off and store, cover up, live", Minutes(), scope)


def each_minutes(word: str, scope: Scope) -> Three:
    """Return the minutes of the catalogue for each of what a word names. [min]."""
    fact = scope.job.catalog.fact(f"require.{word}-minutes")
    return (round(fact.low or 0), round(fact.number()), round(fact.high or 0))


def _is_gone(component: str, scope: Scope) -> bool:
    belief = scope.job.assessment.get(component)
    return belief is not None and belief.now.missing >= scope.job.limits.likely


def _out(piece: Piece, verb: str, minutes: Minutes, scope: Scope) -> Operation:
    order = scope.orders.get(piece.id)
    word = f"out:{piece.id}"
    behind = (w for w in _open_ways(piece, scope) if w.opening.first_out != piece.assembly.id)
    ways = [f"open:{w.id}" for w in behind]
    held = (w for w in scope.ways if w.opening.first_out == piece.assembly.id)
    read = () if any(_is_over_unit(w, scope) for w in held) else ("step:bench-read",)
    looks = list_deciding(piece, order, scope)
    cautions, live = piece.assembly.operation.cautions, piece.assembly.live
    hot = ("hot-residue",) if live else ()
    return Operation(
        n=piece.number + OUT,
        id=word,
        action="out",
        title=f"{verb}: {piece_title(piece)}",
        short=piece_title(piece, short=True) if live else piece.assembly.operation.out_short,
        assembly=piece.assembly.id,
        components=piece.contains,
        minutes=minutes,
        kind=order.kind if order else "certain",
        p=order.p if order else 1.0,
        after=("step:make-safe", *read, "step:hunt-loads", *ways, *looks),
        undoes=piece.contains,
        cautions=pick_cautions(dict.fromkeys((*cautions, *hot)), scope.job.catalog),
        tools=piece.assembly.operation.tools,
        done=is_signed(word, scope) or bool(order and order.done),
        passes_when=f"passed {word}; {'each stage noted as spent or live' if live else 'noted'}",
    )


def piece_title(piece: Piece, *, short: bool = False) -> str:
    """Return what the trade calls a piece, with its place where it may have several."""
    title = (piece.assembly.short if short else "") or piece.assembly.title_at(piece.place)
    return title if len(piece.assembly.places) == 1 else f"{title}, {piece.place}"


def _open_ways(piece: Piece, scope: Scope) -> list[Way]:
    """Return the openings of this job that a piece lies behind; none for one that is in the way."""
    if piece in scope.taken_off:
        return []
    need = find_all_ways(piece, scope)
    wanted = {w.opening.id for w in need}
    found = []
    for way in scope.ways:
        outer = not way.at and bool(wanted & {*way.opening.swallows, way.opening.both})
        if way in need or outer:
            found.append(way)
    return found


def fit(scope: Scope, *, connects_later: frozenset[str] = frozenset()) -> Iterator[Operation]:
    """Yield one operation per piece that is fitted new, and per piece that goes back.

    Args:
        scope: What is done.
        connects_later: Components that are mounted now and plugged in after the loads are out.
    """
    looks = look(scope)
    for piece in (*scope.changed, *scope.taken_off):
        yield _fit(piece, scope, looks, later=connects_later.intersection(piece.contains))


def _fit(
    piece: Piece, scope: Scope, looks: Sequence[Operation], *, later: frozenset[str]
) -> Operation:
    order, work = scope.orders.get(piece.id), piece.assembly.operation
    kinds = [split_component(c).kind for c in piece.key]
    gates = {g for k in kinds for g in scope.job.catalog.tasks.work[k].gates}
    out = f"out:{piece.id}"
    return Operation(
        n=piece.number + FIT,
        id=f"fit:{piece.id}",
        action="fit",
        title=f"{_fit_verb(piece, scope, later=bool(later))}: {piece_title(piece)}",
        short=piece_title(piece, short=True),
        assembly=piece.assembly.id,
        components=piece.contains,
        minutes=_fit_minutes(piece, scope),
        kind=order.kind if order else "certain",
        p=order.p if order else 1.0,
        after=(
            out,
            "step:make-safe",
            "step:structure",
            "step:part-labels",
            *(f"open:{w.id}" for w in _open_ways(piece, scope)),
            *(x.id for x in looks if set(piece.contains) & set(x.components)),
            *(
                f"fit:{p.id}"
                for p in (*scope.changed, *scope.taken_off)
                if _comes_first(p, piece, scope)
            ),
            *(("step:unit-bolted",) if CONTROL_UNIT in work.after else ()),
        ),
        joins=tuple(c for c in piece.contains if c not in later),
        undoes=() if piece.assembly.live or work.out else piece.contains,
        cautions=pick_cautions(work.cautions, scope.job.catalog),
        tools=work.tools,
        because=order.because if order else (),
        blocked_by=tuple(sorted(gates)),
        demands=order_demands(piece, scope),
        labelled=is_labelled(piece.key, scope),
        done=order.done if order else _is_back(piece, scope),
        passes_when=_fitted(piece, scope),
    )


def _is_back(piece: Piece, scope: Scope) -> bool:
    """Is a piece that came off in again, or a new one: a new buckle switch came in a buckle."""
    new = {split_component(c).kind for c in piece.contains if c in scope.job.progress.replaced}
    came = bool(new & {*piece.assembly.key, *piece.assembly.holds})
    return came or is_signed(f"fit:{piece.id}", scope)


def fit_outside(scope: Scope) -> Iterator[Operation]:
    """Yield one operation per piece that others fit: in no hours, ticked when it is in."""
    for piece in scope.outside:
        order = scope.orders[piece.id]
        yield Operation(
            n=piece.number + FIT,
            id=f"fit:{piece.id}",
            action="fit",
            title=f"By others: new {piece_title(piece)}, fitted and cured",
            short=piece_title(piece, short=True),
            assembly=piece.assembly.id,
            components=piece.contains,
            kind=order.kind,
            p=order.p,
            after=("step:structure",),
            because=order.because,
            cautions=pick_cautions(piece.assembly.operation.cautions, scope.job.catalog),
            demands=order_demands(piece, scope),
            done=order.done,
            passes_when=f"done: {', '.join(piece.key)} replaced",
        )


def _comes_first(other: Piece, piece: Piece, scope: Scope) -> bool:
    """Is another piece of the same seat or side, or of the whole car, fitted before this one."""
    if other.assembly.id not in piece.assembly.operation.after:
        return False
    if other.place == piece.place or "centre" in (other.place, piece.place):
        return True
    hand = scope.job.case.car.drive_hand
    if other.place in SEATS and piece.place in SEATS:
        return False
    side = side_of(other.place, hand)
    return side is not None and side == side_of(piece.place, hand)


def _fit_verb(piece: Piece, scope: Scope, *, later: bool) -> str:
    if piece.assembly.id == FASTENERS:
        return "Check off, each new one in where its old one came out"
    verb = "Put back" if piece in scope.taken_off else "Fit"
    if later:
        return f"{verb}, its connector covered and left open until the load"
    if piece in scope.taken_off:
        return f"{verb}, join and lock"
    kinds = scope.job.catalog.kinds
    has_circuit = any(kinds[split_component(c).kind].circuit for c in piece.contains)
    return "Fit, join and lock" if has_circuit else "Fit"


def order_demands(piece: Piece, scope: Scope) -> tuple[str, ...]:
    """Return the demands to replace something in a piece."""
    order = scope.orders.get(piece.id)
    if order is None:
        return ()
    own = set(piece.contains)
    return tuple(d for d in order.demands if (scope.demands[d].component or "") in own)


def _fitted(piece: Piece, scope: Scope) -> str:
    work = piece.assembly.operation
    parts = [f"done: {', '.join(piece.key)} replaced, with a part label"]
    if piece in scope.taken_off:
        parts = [f"passed fit:{piece.id}"]
    parts += [work.how.removesuffix(".")] if work.how else []
    parts += [f"Then: {work.follows}"] if work.follows else []
    return ". ".join(parts)


def _fit_minutes(piece: Piece, scope: Scope) -> Minutes:
    """Return the minutes of fitting: those of the other way where that one was opened."""
    work = piece.assembly.operation
    if work.instead is None or find_piece_ways(piece, scope) <= set(scope.ways):
        return to_minutes(work.minutes)
    return to_minutes(work.instead.minutes)


def join(scope: Scope, loaded: frozenset[str] = frozenset()) -> Iterator[tuple[Way, Operation]]:
    """Yield one operation per area with connectors that came apart for access and get no load."""
    seen = set(loaded)
    behind = {p.id: _open_ways(p, scope) for p in scope.changed}
    for way in scope.ways:
        parted = list_parted(way, scope.job)
        kept = tuple(c for c in parted if not _is_surely_new(c, scope) and c not in seen)
        seen |= set(kept)
        if kept:
            names = ", ".join(component_title(c, scope.job.catalog) for c in kept)
            word = f"join:{way.id}"
            yield (
                way,
                Operation(
                    n=JOIN + way.slot,
                    id=word,
                    action="join",
                    title=f"Plug in and lock again, {way.title}: {names}",
                    components=kept,
                    after=("step:structure", f"open:{way.id}", *_fits_behind(way, behind)),
                    joins=kept,
                    cautions=_cautions(kept, scope),
                    done=is_signed(word, scope) and not _is_open_again(way, word, scope),
                    passes_when=f"passed {word}: each connector lock felt home",
                ),
            )


def _is_surely_new(component: str, scope: Scope) -> bool:
    """Is a part renewed for sure, or already: where a look decides, the old one may go back."""
    orders = (scope.orders[p.id] for p in scope.changed if component in p.contains)
    return any(o.done or o.kind != "look-first" for o in orders)


def _fits_behind(way: Way, behind: Mapping[str, Sequence[Way]]) -> list[str]:
    """Return what is fitted behind an opening: nothing is plugged in there or shut before it."""
    return [f"fit:{piece}" for piece, ways in behind.items() if way in ways]


def close(scope: Scope) -> Iterator[tuple[Way, Operation]]:
    """Yield one operation per opening that is closed, with its area."""
    behind = {p.id: _open_ways(p, scope) for p in scope.changed}
    for way in scope.ways:
        word = f"close:{way.id}"
        yield (
            way,
            Operation(
                n=CLOSE + way.slot,
                id=word,
                action="close",
                title=f"Close: {way.title}",
                minutes=to_minutes(way.opening.close),
                after=(
                    f"open:{way.id}",
                    f"join:{way.id}",
                    *(("step:unit-bolted",) if way.opening.id in UNIT_WAYS else ()),
                    *_fits_behind(way, behind),
                    *(f"close:{w.id}" for w in scope.ways if covers(way, w) or swallows(w, way)),
                ),
                cautions=pick_cautions(("one-time",), scope.job.catalog),
                done=is_signed(word, scope) and not _is_open_again(way, word, scope),
                passes_when=f"passed {word}",
            ),
        )


def set_up(scope: Scope) -> Iterator[Operation]:
    """Yield one operation per setting that is due once the power is on."""
    for setting in scope.job.catalog.tasks.settings.values():
        own = [
            d
            for d in scope.demands.values()
            if d.action == "calibrate"
            and d.component
            and split_component(d.component).kind == setting.kind
        ]
        if own:
            yield _setting(setting, own, scope)


def _setting(setting: Setting, own: Sequence[Demand], scope: Scope) -> Operation:
    due = is_due(setting, own, scope)
    counted = due and own[0].kind != "ask"
    new = _doubted_order(own, scope) if setting.id == "program" else None
    return Operation(
        n=setting.number,
        id=f"set:{setting.id}",
        action="set",
        title=_setting_title(setting, own, scope),
        short=setting.short,
        components=tuple(d.component for d in own if d.component),
        minutes=to_minutes(setting.minutes) if counted else Minutes(),
        counted=counted,
        kind=new.kind if new else own[0].kind,
        p=new.p if new else max(d.probability for d in own),
        after=("step:final-power", "step:reset-cutoffs", *_fitted_before(setting, scope)),
        because=own[0].because,
        cautions=own[0].cautions,
        demands=tuple(d.id for d in own),
        done=all(d.done for d in own),
        passes_when=f"{own[0].passes_when}. {setting.text}",
    )


def _fitted_before(setting: Setting, scope: Scope) -> tuple[str, ...]:
    """Return what others fit before a setting is made, such as the glass before the camera."""
    kinds = {p.id: {split_component(c).kind for c in p.key} for p in scope.outside}
    return tuple(f"fit:{word}" for word, found in kinds.items() if found & {*setting.follows})


def _doubted_order(own: Sequence[Demand], scope: Scope) -> Order | None:
    """Return the order of what is set where a look still decides whether it is new."""
    parts = {d.component for d in own}
    found = (o for o in scope.orders.values() if parts & {*o.contains} and not o.done)
    return next((o for o in found if o.kind == "look-first"), None)


def _setting_title(setting: Setting, own: Sequence[Demand], scope: Scope) -> str:
    """Return what is set; where the unit stays, its record goes by the maker's route or not."""
    if setting.id == "program" and not scope.has("control-unit"):
        return own[0].title
    return setting.title


def is_due(setting: Setting, own: Sequence[Demand], scope: Scope) -> bool:
    """Is a setting due: what it follows is fitted or opened, or a rule asks for it after any crash.

    Args:
        setting: The setting.
        own: Its demands.
        scope: What is done.
    """
    if setting.id == "program":
        return is_programmed(scope)
    seats = {split_component(d.component).place for d in own if d.component}
    off = (*scope.changed, *scope.taken_off, *scope.outside)
    touched = [*(c for p in off for c in p.contains), *scope.traced]
    names = (split_component(c) for c in touched)
    if any(n.kind in setting.follows and n.place in (*seats, "centre") for n in names):
        return True
    if setting.id == "seat-zero":
        opened = any(w.opening.id == "seat" and w.at in seats for w in scope.ways)
        return opened or any(d.kind in ("certain", "rule") for d in own)
    return False
