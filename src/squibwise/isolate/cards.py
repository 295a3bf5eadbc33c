"""Cards: a test or repair written so that it can be carried out."""

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.loops import LoopRepair, LoopTest
from squibwise.history.closing import AGAIN, BACK, STAYS
from squibwise.history.power import KEY_ON_GATES
from squibwise.history.signed import find_loads, is_signed, refuse_drive
from squibwise.isolate.bench import (
    BenchRepair,
    BenchTest,
    access_of,
    chances_of,
    power_of,
)
from squibwise.isolate.context import LIKELY, Context, wait_minutes
from squibwise.isolate.standing import Standing
from squibwise.model.belief import Because
from squibwise.model.evidence import SubstituteLoad
from squibwise.model.names import split_loop
from squibwise.model.trace import BenchCard, CardStep
from squibwise.model.work import Caution
from squibwise.numerics.troubleshoot.planner import FIXED, NOT_FIXED

_ALWAYS = "maker-first"
_MARKS = {"[off] ": "off", "[on] ": "on", "[drive] ": "on"}
_LOAD_OHM = "2.1"
_UNIT_PLUG = "unit-plug"
_CALM_OFF = (
    "Power off before anything here is touched; wait too where the maker asks it of sensors."
)
_WHEN = "# time = 2026-01-31T09:30:00  # when it was done"


def card_of(
    bench: BenchTest | BenchRepair,
    context: Context,
    standing: Standing,
    wait: float,
    catalog: Catalog,
) -> BenchCard:
    """Return the card of a test or a repair at this point of the search."""
    power = power_of(bench)
    load = _load_now(context, standing, bench)
    out_first = bool(load) and _needs_no_load(bench)
    access = [a for a in access_of(bench, context) if a not in standing.opened]
    opens = tuple(catalog.loops.access[a].title for a in access)
    down = standing.powered and (out_first or power in ("off", "through"))
    hold = bench.check_wait + (wait if down else 0.0)
    state = "off" if power in ("off", "through") else "any"
    hands = "off" if _record_of(bench).power in ("off", "through") else "any"
    safe = _make_safe(down, "off" if out_first else state, catalog)
    before = [CardStep(text=t.format(wait=f"{wait:g}"), power="off") for t in safe]
    off = out_first or state == "off"
    before += [CardStep(text=load, power="off")] if load and off else []
    before += _calm_first(bench, power)
    before += [CardStep(text=f"Open: {title}.", power=hands) for title in opens]
    minutes = sum(catalog.loops.access[a].minutes for a in access) + _powering(power, catalog)
    card = (
        _test_card(bench, before, context, catalog)
        if isinstance(bench, BenchTest)
        else _repair_card(bench, before, context, catalog)
    )
    card = _plugged_in_first(_stay_off_the_road(card, context, catalog), context)
    taken = [catalog.loops.access[a].title for a in (*sorted(standing.opened), *access)]
    card = _behind_the_gate(_fastened(card, taken, catalog), context, catalog)
    return msgspec.structs.replace(
        card,
        how=tuple(s.text for s in card.steps),
        opens=opens,
        danger=danger_of(context),
        load=load,
        minutes=card.minutes + minutes,
        hold_minutes=hold,
    )


def _needs_no_load(bench: BenchTest | BenchRepair) -> bool:
    """Return whether a card is done with the power on and without loads: one that is in comes out.

    Power off and the wait come before it.
    """
    if isinstance(bench, BenchRepair):
        return bench.repair.power == "on"
    reads = bench.test.power == "on" and bench.test.igniters != "loads"
    return reads and bench.test.rule != "split" and not bench.test.moves


def _stay_off_the_road(card: BenchCard, context: Context, catalog: Catalog) -> BenchCard:
    """Return a card without its drive while the car is not whole; the drive comes at the end."""
    held = refuse_drive(context.history, catalog, context.loop)
    if not held or not any(s.drives for s in card.steps):
        return card
    stay = CardStep(text=f"No drive now: {held} Read a complete scan where it stands.", power="on")
    return msgspec.structs.replace(
        card,
        steps=(*(s for s in card.steps if not s.drives), stay),
        outcomes=card.outcomes | ({FIXED: _FIXED_STANDING} if FIXED in card.outcomes else {}),
    )


def _calm_first(bench: BenchTest | BenchRepair, power: str) -> list[CardStep]:
    """Return the step that takes the power off where no charge is near and no wait is charged."""
    record = _record_of(bench)
    if power == record.power or record.power == "on":
        return []
    return [CardStep(text=_CALM_OFF, power="off")]


def _record_of(bench: BenchTest | BenchRepair) -> LoopTest | LoopRepair:
    """Return the catalogue's test or repair, whose power says where hands go in."""
    return bench.repair if isinstance(bench, BenchRepair) else bench.test


def _plugged_in_first(card: BenchCard, context: Context) -> BenchCard:
    """Return a card that reads, held until the circuit's connector is together again."""
    if not context.apart or not any(s.power == "on" for s in card.steps):
        return card
    text = (
        f"Not before the connector of {context.name.id} is plugged in and locked: it is apart "
        f"({context.apart}), and what is read without it is not this circuit."
    )
    return msgspec.structs.replace(card, steps=(CardStep(text=text, power="any"), *card.steps))


def _fastened(card: BenchCard, opened: list[str], catalog: Catalog) -> BenchCard:
    """Return a card with power on only once what the cards have taken off is fastened again."""
    first = next((n for n, s in enumerate(card.steps) if s.power == "on"), None)
    if first is None or not opened or not any(s.power == "off" for s in card.steps[:first]):
        return card
    told = (t.format(opening=title) for t in catalog.loops.steps_fast for title in opened)
    fast = [CardStep(text=text, power="off") for text in dict.fromkeys(told)]
    return msgspec.structs.replace(card, steps=(*card.steps[:first], *fast, *card.steps[first:]))


def _behind_the_gate(card: BenchCard, context: Context, catalog: Catalog) -> BenchCard:
    """Return a card with power on behind the key-on gate, where nobody has signed it as safe."""
    first = next((n for n, s in enumerate(card.steps) if s.power == "on"), None)
    if first is None or any(is_signed(context.history, word) for word in KEY_ON_GATES):
        return card
    number = catalog.tasks.steps["key-on-gate"].number
    text = f"First the key-on gate, signed as safe: no. {number} of the order of work."
    gate = CardStep(text=text, power="any")
    return msgspec.structs.replace(card, steps=(*card.steps[:first], gate, *card.steps[first:]))


def danger_of(context: Context) -> str:
    """Return what can hurt on this very circuit: its own danger, then what was found in the car."""
    found = [context.chain.danger]
    if context.twin_fired >= LIKELY:
        found.append("Another charge of the same device has probably fired; this one may be live.")
    if context.load_out:
        found.append("A substitute load is still in: what the circuit reads is the load.")
    return " ".join(found)


def _make_safe(down: bool, state: str, catalog: Catalog) -> tuple[str, ...]:
    """Return what comes before hands go in: power down, or be sure that it still is."""
    if down:
        return catalog.loops.steps_off
    return catalog.loops.steps_held if state == "off" else ()


def _powering(power: str, catalog: Catalog) -> float:
    return catalog.fact("isolation.power-up").number() if power in ("through", "on") else 0.0


def _load_now(
    context: Context, standing: Standing, bench: BenchTest | BenchRepair | None = None
) -> str:
    """Return where a substitute load now is; empty when none is known to be in."""
    serials = {e.serial: e.id for e in context.case.evidence if isinstance(e, SubstituteLoad)}
    out = [serial for serial, i in serials.items() if i in context.load_out]
    beside = _loads_beside(context, standing)
    if not out and not standing.load_at:
        return beside
    titles = {e.id: e.title for e in context.chain.element}
    where = titles.get(standing.load_at, "this circuit, at a point that is not entered")
    then = _TAKE_OUT
    if isinstance(bench, BenchTest) and bench.test.rule == "split":
        then = "Move it to where this card asks."
    elif isinstance(bench, BenchTest) and bench.test.meter:
        then = "Take it out and write it down as returned; its connector stays apart for this card."
    return f"In the circuit now: {_named_load(out)}, at {where}. {then} {beside}".rstrip()


_TAKE_OUT = "Take it out, write it down as returned, and plug that connector together."


def _named_load(serials: list[str]) -> str:
    marks = ", ".join(s.removeprefix("load ") for s in serials)
    return f"load {marks}" if marks else "a substitute load"


def _loads_beside(context: Context, standing: Standing) -> str:
    """Return where loads are in other stages of the device: what they hold apart is this one's."""
    titles = {e.id: e.title for e in context.chain.element}
    out: dict[int, list[str]] = {n: [] for n in standing.loads_beside}
    for load in find_loads(context.history).out:
        component, stage = split_loop(load.loop)
        if component == context.name.id and stage != context.stage:
            out.setdefault(stage, []).append(load.serial)
    told = []
    for stage, serials in sorted(out.items()):
        where = titles.get(standing.loads_beside.get(stage, ""), "a point that is not entered")
        told.append(f"In stage {stage} beside it: {_named_load(serials)}, at {where}. {_TAKE_OUT}")
    return " ".join(told)


def _cleared_by(bench: BenchTest, context: Context, catalog: Catalog) -> tuple[Because, ...]:
    """Return what a load that reads good clears, and how often that is wrong."""
    if bench.test.rule != "split":
        return ()
    after = context.chain.element[context.chain.element.index(bench.point) + 1 :]
    beyond = [e.id for e in after if e.role not in ("plug", "whole")]
    missed = chances_of(bench, f"{beyond[0]}:broken", context, catalog)[bench.test.clear]
    text = f"Gone clears what lies between here and the control unit, wrongly in {missed:.0%}."
    return (Because(text=text, weak="judgement"),)


def _test_card(
    bench: BenchTest, before: list[CardStep], context: Context, catalog: Catalog
) -> BenchCard:
    test, title, power = bench.test, bench.point.title, power_of(bench)
    at_unit = test.at_unit if bench.point.id == _UNIT_PLUG else ()
    how = [s.format(element=title) for s in at_unit or test.how]
    gate = catalog.loops.steps_bare if test.bare else catalog.loops.steps_on
    on = [CardStep(text=t, power="on") for t in gate]
    if "through" in (power, test.power):
        steps = [*before, _step(how[0], "off"), *on, *(_step(t, "on") for t in how[1:])]
    elif power == "on":
        steps = [*before, *on, *(_step(t, "on") for t in how)]
    else:
        steps = [*before, *(_step(t, test.power) for t in how)]
    return BenchCard(
        id=bench.id,
        kind="test",
        title=test.title.format(element=title),
        how=(),
        steps=tuple(steps),
        figure=test.figure,
        entry=_entry(bench, list(test.outcomes), context),
        outcomes=dict(test.outcomes),
        minutes=test.minutes,
        needs=(*(test.at_unit_needs if at_unit else ()), *test.needs),
        cautions=cautions_of((_ALWAYS, *test.cautions), catalog),
        because=(
            *_cleared_by(bench, context, catalog),
            Because(
                text="Minutes and error rates of the test.",
                sources=(test.source,),
                weak="judgement",
            ),
        ),
    )


def _step(text: str, power: str) -> CardStep:
    """Return a step; a mark before it says what the power is, where that is not plain."""
    for mark, word in _MARKS.items():
        if text.startswith(mark):
            told = text.removeprefix(mark)
            return CardStep(text=told, power=word, drives=mark == "[drive] ")
    return CardStep(text=text, power=power)


def _entry(bench: BenchTest | BenchRepair, words: list[str], context: Context) -> str:
    """Return what to paste into the case: the outcome, and where a load went."""
    lines = _outcome_entry(context, bench.id, words)
    if isinstance(bench, BenchTest) and bench.test.igniters == "loads":
        lines += ["", *_load_entry(context, "issued", "the mark on the load")]
        lines.append('# and once more with move = "returned" when it is out of the car')
    elif context.load_out and (isinstance(bench, BenchRepair) or bench.id == "look-loads"):
        lines += ["", *_load_entry(context, "returned", "when it is out of the car")]
    return "\n".join(lines)


def _outcome_entry(context: Context, test: str, words: list[str]) -> list[str]:
    first, *others = words
    return [
        "[[evidence]]",
        'kind = "test-outcome"',
        f'loop = "{context.loop}"',
        f'test = "{test}"',
        f'outcome = "{first}"' + (f"  # or {', '.join(others)}" if others else ""),
        _WHEN,
    ]


def _load_entry(context: Context, move: str, remark: str) -> list[str]:
    known = [e for e in context.case.evidence if isinstance(e, SubstituteLoad)]
    serial = next((e.serial for e in known if e.id in context.load_out), "L-1")
    return [
        "[[evidence]]",
        'kind = "substitute-load"',
        f'serial = "{serial}"  # {remark}',
        f'loop = "{context.loop}"',
        f"ohm = {_LOAD_OHM}",
        f'move = "{move}"',
    ]


_FIXED = "The fault is gone after clearing and on the drive: fixed and verified."
_FIXED_SO_FAR = (
    "The fault is gone after clearing and on the drive. It came and went before: only the second "
    "drive proves it."
)


_FIXED_STANDING = "The fault is gone after clearing; the drive at the end of the job proves it."


def _repair_card(
    bench: BenchRepair, before: list[CardStep], context: Context, catalog: Catalog
) -> BenchCard:
    repair, title, book = bench.repair, bench.point.title, catalog.loops
    hands = "on" if repair.power == "on" else "off"
    how = [_step(s.format(element=title), hands) for s in repair.how]
    on = [CardStep(text=t, power="on") for t in book.steps_on]
    nothing_stored = repair.stored is False
    check = [_step(t, "on") for t in book.steps_check[nothing_stored:]]  # the first one clears
    late = next((n for n, s in enumerate(how) if s.power == "on"), len(how))
    if hands == "off":
        how, check = how[:late], [*how[late:], *check]
    return BenchCard(
        id=bench.id,
        kind="repair",
        title=repair.title.format(element=title),
        how=(),
        steps=(*before, *on, *how, *check) if hands == "on" else (*before, *how, *on, *check),
        entry=_entry(bench, [FIXED, NOT_FIXED], context),
        outcomes={
            FIXED: _FIXED_SO_FAR if context.may_hide else _FIXED,
            NOT_FIXED: "The fault is still there: the plan goes on from here.",
        },
        minutes=repair.minutes + repair.check_minutes,
        cautions=cautions_of((_ALWAYS, *repair.cautions), catalog),
        because=(
            Because(text="Minutes of the repair.", sources=(repair.source,), weak="judgement"),
        ),
    )


_PROVE = "Prove what was done: {title}"


def proving_card(bench: BenchRepair, context: Context, catalog: Catalog) -> BenchCard:
    """Return the card that reads again after a repair that was done and not yet proved."""
    left = tuple(s for s in bench.repair.how if s.startswith(("[on] ", "[drive] ")))
    title = _PROVE.format(title=bench.repair.title)
    check = msgspec.structs.replace(bench.repair, how=left, minutes=0.0, title=title)
    proved = msgspec.structs.replace(bench, repair=check)
    card = _repair_card(proved, [], context, catalog)
    card = _plugged_in_first(_stay_off_the_road(card, context, catalog), context)
    card = _behind_the_gate(card, context, catalog)
    how = tuple(s.text for s in card.steps)
    return msgspec.structs.replace(card, how=how, danger=danger_of(context))


def confirming_card(context: Context, standing: Standing, catalog: Catalog) -> BenchCard:
    """Return the card of the second drive: a fault that comes and goes is not cured before it."""
    book, calm = catalog.loops, _is_calm(context)
    steps = tuple(_step(t, "on") for t in (book.steps_again_calm if calm else book.steps_again))
    card = BenchCard(
        id=AGAIN,
        kind="test",
        title="Drive a second time and read again: the fault came and went before",
        how=tuple(s.text for s in steps),
        steps=steps,
        load=_load_now(context, standing),
        entry="\n".join(_outcome_entry(context, AGAIN, [STAYS, BACK])),
        outcomes={
            STAYS: "It stayed away where it came before: fixed and verified.",
            BACK: f"It is back: {standing.repair} did not hold, the search goes on.",
        },
        danger=danger_of(context),
        minutes=catalog.fact("isolation.second-drive").number(),
        hold_minutes=0.0 if calm else 2.0 * wait_minutes(context.case, catalog),
        cautions=cautions_of((_ALWAYS, "key-on", "loads-out"), catalog),
        because=(Because(text="Gone after clearing is weak evidence of a fault that hides."),),
    )
    held = _stay_off_the_road(card, context, catalog)
    if held == card:
        return card
    how = tuple(s.text for s in held.steps)
    return msgspec.structs.replace(held, how=how, entry="", outcomes={})


def _is_calm(context: Context) -> bool:
    """Return whether no charge is near anything of this circuit but the control unit."""
    return all(e.calm for e in context.chain.element if e.role in ("device", "segment"))


def stop_card(title: str, text: str, load: str, context: Context, catalog: Catalog) -> BenchCard:
    """Return the card that ends the search."""
    steps = [text, *([load] if load else [])]
    steps.append("Count every substitute load back and read a last complete scan before release.")
    return BenchCard(
        id="stop",
        kind="stop",
        title=title,
        how=tuple(steps),
        steps=tuple(CardStep(text=s, power="any") for s in steps),
        danger=danger_of(context),
        load=load,
        cautions=cautions_of((_ALWAYS, "loads-out"), catalog),
    )


def cautions_of(ids: tuple[str, ...], catalog: Catalog) -> tuple[Caution, ...]:
    """Return cautions by id, each once."""
    texts = [catalog.cautions[i] for i in dict.fromkeys(ids)]
    return tuple(Caution(id=t.id, text=t.text, source=t.source) for t in texts)
