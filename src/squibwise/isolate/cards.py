"""Cards: a test or repair written so that it can be carried out."""

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.history.closing import AGAIN, BACK, STAYS
from squibwise.history.signed import is_signed, refuse_drive
from squibwise.isolate.bench import BenchRepair, BenchTest, access_of, power_of, wait_minutes
from squibwise.isolate.context import Context
from squibwise.isolate.replay import Standing
from squibwise.model.belief import Assumption, Because
from squibwise.model.case import Case
from squibwise.model.evidence import SubstituteLoad, TestOutcome
from squibwise.model.names import split_loop
from squibwise.model.origin import Finding
from squibwise.model.report import Report
from squibwise.model.trace import BenchCard, CardStep
from squibwise.model.work import Caution
from squibwise.numerics.troubleshoot.planner import FIXED, NOT_FIXED

_ALWAYS = "maker-first"
_MARKS = {"[off] ": "off", "[on] ": "on", "[drive] ": "on"}
_LOAD_OHM = "2.1"
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
    access = [a for a in access_of(bench, context) if a not in standing.opened]
    opens = tuple(catalog.loops.access[a].title for a in access)
    down = standing.powered and power in ("off", "through")
    hold = bench.check_wait + (wait if down else 0.0)
    state = "off" if power in ("off", "through") else "any"
    safe = _make_safe(down, state, catalog)
    before = [CardStep(text=t.format(wait=f"{wait:g}"), power="off") for t in safe]
    load = _load_now(context, standing)
    before += [CardStep(text=load, power="off")] if load and state == "off" else []
    before += _calm_first(bench, power)
    before += [CardStep(text=f"Open: {title}.", power=state) for title in opens]
    minutes = sum(catalog.loops.access[a].minutes for a in access) + _powering(power, catalog)
    card = (
        _test_card(bench, before, context, catalog)
        if isinstance(bench, BenchTest)
        else _repair_card(bench, before, context, catalog)
    )
    card = _plugged_in_first(_stay_off_the_road(card, context, catalog), context)
    card = _behind_the_gate(card, context, catalog)
    return msgspec.structs.replace(
        card,
        how=tuple(s.text for s in card.steps),
        opens=opens,
        danger=danger_of(context),
        load=load,
        minutes=card.minutes + minutes,
        hold_minutes=hold,
    )


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
    record = bench.repair if isinstance(bench, BenchRepair) else bench.test
    if power == record.power or record.power == "on":
        return []
    return [CardStep(text=_CALM_OFF, power="off")]


def _plugged_in_first(card: BenchCard, context: Context) -> BenchCard:
    """Return a card that reads, held until the circuit's connector is together again."""
    if not context.apart or not any(s.power == "on" for s in card.steps):
        return card
    text = (
        f"Not before the connector of {context.name.id} is plugged in and locked: it is apart "
        f"({context.apart}), and what is read without it is not this circuit."
    )
    return msgspec.structs.replace(card, steps=(CardStep(text=text, power="any"), *card.steps))


def _behind_the_gate(card: BenchCard, context: Context, catalog: Catalog) -> BenchCard:
    """Return a card with power on behind the key-on gate, where nobody has signed it as safe."""
    first = next((n for n, s in enumerate(card.steps) if s.power == "on"), None)
    if first is None or any(is_signed(context.history, word) for word in _KEY_ON_GATES):
        return card
    number = catalog.tasks.steps["key-on-gate"].number
    text = f"Not before the key-on gate is signed as safe, no. {number} of the order of work."
    gate = CardStep(text=text, power="any")
    return msgspec.structs.replace(card, steps=(*card.steps[:first], gate, *card.steps[first:]))


_KEY_ON_GATES = ("key-on-safe", "power-safe")


def danger_of(context: Context) -> str:
    """Return what can hurt on this very circuit: its own danger, then what was found in the car."""
    found = [context.chain.danger]
    if context.twin_fired >= _LIKELY:
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


def _load_now(context: Context, standing: Standing) -> str:
    """Return where a substitute load now is; empty when none is known to be in."""
    serials = {e.serial: e.id for e in context.case.evidence if isinstance(e, SubstituteLoad)}
    out = [serial for serial, i in serials.items() if i in context.load_out]
    if not out and not standing.load_at:
        return ""
    named = (
        f"load {', '.join(s.removeprefix('load ') for s in out)}" if out else "a substitute load"
    )
    titles = {e.id: e.title for e in context.chain.element}
    where = titles.get(standing.load_at, "this circuit, at a point that is not entered")
    return f"In the circuit now: {named}, at {where}. Take it out, or move it where this card asks."


def _test_card(
    bench: BenchTest, before: list[CardStep], context: Context, catalog: Catalog
) -> BenchCard:
    test, title, power = bench.test, bench.point.title, power_of(bench)
    how = [s.format(element=title) for s in test.how]
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
        needs=test.needs,
        cautions=cautions_of((_ALWAYS, *test.cautions), catalog),
        because=(
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
    hands = "on" if power_of(bench) == "on" else "off"
    how = [_step(s.format(element=title), hands) for s in repair.how]
    on = [CardStep(text=t, power="on") for t in book.steps_on]
    check = [_step(t, "on") for t in book.steps_check]
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
            FIXED: _FIXED_SO_FAR if context.reported.may_hide else _FIXED,
            NOT_FIXED: "The fault is still there: the plan goes on from here.",
        },
        minutes=repair.minutes + repair.check_minutes,
        cautions=cautions_of((_ALWAYS, *repair.cautions), catalog),
        because=(
            Because(text="Minutes of the repair.", sources=(repair.source,), weak="judgement"),
        ),
    )


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


# What is said beside the answer: findings, and what it leans on.

_LEANS_ON = (
    ("isolation.step", "Causes are ranked by judgement; no public base rates were found."),
    ("isolation.power-up", "Minutes of tests and repairs are judgement."),
    ("isolation.pair", "How often two faults come together is judgement."),
)


_LIKELY, _SURE = 0.5, 0.99


def findings_of(
    case: Case, context: Context, standing: Standing, catalog: Catalog
) -> tuple[Finding, ...]:
    """Return what a mechanic must know before trusting the answer."""
    found = [*_about_report(context), *_about_record(case, context)]
    found += _about_voltage(context, catalog)
    found += [*_about_work(context), *_about_times(case, context), *_about_apart(context)]
    if context.load_out:
        found.append(_load_out(context))
    if context.twin_fired >= _LIKELY and (context.fired or 0.0) < _SURE:
        found.append(_may_be_live(context))
    return tuple(found)


def _about_report(context: Context) -> list[Finding]:
    reported = context.reported
    if not reported.is_told:
        return [
            Finding(
                code="loop-no-fault",
                severity="note",
                message=f"No fault is recorded on {context.loop}; the causes below are general.",
                remedy="Read a complete scan first, or name the loop that the report names.",
            )
        ]
    if reported.gone_since and reported.report is not None:
        return [
            Finding(
                code="loop-clean-since",
                severity="note",
                message=f"{reported.gone_since} no longer names {context.loop}; it may be cured.",
                remedy="Drive and read a complete scan whose tests have all run.",
                origin=reported.report.origin,
            )
        ]
    return []


def _about_record(case: Case, context: Context) -> list[Finding]:
    reports = [e for e in case.evidence if isinstance(e, Report)]
    if not reports or context.chain.circuit == "unit":
        return []
    lines = [x for x in reports[-1].reading.lines if x.fault == "event-recorded"]
    if not lines:
        return []
    return [
        Finding(
            code="record-hides-faults",
            severity="warning",
            message="A crash record is stored; the unit may not test or report its loops.",
            remedy="Plan a second scan with the unit replaced or lawfully cleared.",
            origin=lines[0].origin,
        )
    ]


def _about_voltage(context: Context, catalog: Catalog) -> list[Finding]:
    report = context.reported.report
    volts = report.reading.coverage.unit_volts if report else None
    low, high = (catalog.fact(f"unit-volts.{end}").number() for end in ("low", "high"))
    if report is None or volts is None or low <= volts <= high:
        return []
    return [
        Finding(
            code="voltage-out-of-range",
            severity="warning",
            message=f"The unit had {volts:g} V; tests run between {low:g} and {high:g} V.",
            remedy="Charge the battery and scan again before any test.",
            origin=report.origin,
        )
    ]


def _about_work(context: Context) -> list[Finding]:
    if not context.unverified:
        return []
    return [
        Finding(
            code="work-since-scan",
            severity="note",
            message=f"Work was done on this loop after the fault was last read: "
            f"{', '.join(context.unverified)}.",
            remedy="Scan again: the fault may be cured.",
        )
    ]


def _about_times(case: Case, context: Context) -> list[Finding]:
    """Return that an outcome needs a time where entries have them: its order depends on it."""
    if all(e.time is None for e in case.evidence):
        return []
    own = split_loop(context.loop)
    outcomes = [e for e in case.evidence if isinstance(e, TestOutcome) and e.time is None]
    untimed = [e for e in outcomes if split_loop(e.loop) == own]
    if not untimed:
        return []
    return [
        Finding(
            code="outcome-no-time",
            severity="note",
            message=f"{', '.join(e.test for e in untimed)} of {context.loop}: the outcome has no "
            "time, so it counts as done when the entry written before it was.",
            remedy="Add a line `time = ...` to it; only then is it sure what came before what.",
            origin=untimed[0].origin,
        )
    ]


def _about_apart(context: Context) -> list[Finding]:
    if not context.apart:
        return []
    return [
        Finding(
            code="circuit-apart",
            severity="warning",
            message=f"The connector of {context.name.id} is apart now: {context.apart} was opened.",
            remedy="Plug it in and lock it before anything is read; the list of work has the line.",
        )
    ]


def _may_be_live(context: Context) -> Finding:
    return Finding(
        code="stage-may-be-live",
        severity="warning",
        message=f"Another stage of {context.name.id} has probably fired, stage {context.stage} "
        "perhaps not: it may be live.",
        remedy="Handle, carry and dispose of the whole device as live until every charge is "
        "confirmed spent.",
    )


def _load_out(context: Context) -> Finding:
    return Finding(
        code="load-not-returned",
        severity="warning",
        message=f"A substitute load issued to {context.loop} was not returned: "
        f"{', '.join(context.load_out)}.",
        remedy="Take it out and count it back before release.",
    )


def assumptions_of(
    case: Case, context: Context, left_out: float, catalog: Catalog
) -> tuple[Assumption, ...]:
    """Return what the plan leans on that is judgement or a default.

    Args:
        case: The case.
        context: What it knows of the loop.
        left_out: Probability of the rare causes that the plan's times leave out.
        catalog: The facts leaned on.
    """
    out = [_leaning(fact, text, catalog) for fact, text in _LEANS_ON]
    if case.profile.wait_minutes is None:
        text = (
            "The maker's wait after power-down is not entered: the longest published is used. "
            "Enter it with its source in [profile]."
        )
        out.append(_leaning("isolation.longest-wait", text, catalog))
    if not case.prices:
        out.append(
            Assumption(text="Parts count as minutes of labour by judgement; enter your prices.")
        )
    if left_out > 0.0:
        text = f"Rare causes, together {left_out:.0%}, are listed but left out of the times."
        out.append(Assumption(text=text))
    if case.car.assumed:
        out.append(Assumption(text="The car's equipment was guessed from its model year."))
    return tuple(out)


def _leaning(fact_id: str, text: str, catalog: Catalog) -> Assumption:
    fact = catalog.fact(fact_id)
    return Assumption(text=text, fact=fact_id, source=fact.source, basis=fact.basis)
