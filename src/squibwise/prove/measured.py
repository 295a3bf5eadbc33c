"""Verdicts on readings."""

import re

import msgspec

from squibwise.catalog.load import Catalog, holds_charge
from squibwise.history.order import History
from squibwise.history.returned import is_mended
from squibwise.model.belief import Because
from squibwise.model.case import Case
from squibwise.model.evidence import Reading
from squibwise.model.names import split_loop
from squibwise.model.proof import Verdict
from squibwise.model.words import Outcome
from squibwise.prove.limits import Limits, because_of, judged, makers_loop, published

_SCALE = {
    ("ohm", "ohm"): 1.0,
    ("mohm", "ohm"): 1e-3,
    ("kohm", "ohm"): 1e3,
    ("Mohm", "Mohm"): 1.0,
    ("kohm", "Mohm"): 1e-3,
    ("ohm", "Mohm"): 1e-6,
    ("V", "V"): 1.0,
    ("mV", "V"): 1e-3,
}


class Quantity(msgspec.Struct, frozen=True, kw_only=True):
    """A quantity that has limits.

    Attributes:
        unit: Unit of the limits.
        low: Fact of the lower limit; None for none.
        high: Fact of the upper limit; None for none.
        u: Fact of the standard uncertainty when none is stated.
        relative: Is that uncertainty a share of the value.
    """

    unit: str
    low: str | None
    high: str | None
    u: str
    relative: bool = False


_LOOP = "loop-resistance"
_QUANTITIES = {
    _LOOP: Quantity(
        unit="ohm",
        low="loop.low-cautious",
        high="loop.high-cautious",
        u="measurement.u-reading",
    ),
    "insulation": Quantity(
        unit="Mohm",
        low="insulation.least",
        high=None,
        u="measurement.u-insulation",
        relative=True,
    ),
    "continuity": Quantity(unit="ohm", low=None, high="continuity.most", u="measurement.u-reading"),
    "unit-supply": Quantity(
        unit="V", low="unit-volts.low", high="unit-volts.high", u="measurement.u-volts"
    ),
}


def reading_verdicts(history: History, case: Case, catalog: Catalog) -> list[Verdict]:
    """Return a verdict on the newest reading of every quantity at every point.

    What is refused says nothing of the circuit: it takes no earlier reading's place, a later one
    that is not refused takes its.
    """
    newest: dict[tuple[str, str, str], Reading] = {}
    refused: dict[tuple[str, str, str], Reading] = {}
    for place, item in history.all_of(Reading):
        if not _is_outdated(item, place, history):
            at = (item.component, item.quantity, item.where)
            if is_across_igniter(item, catalog):
                refused[at] = item
            else:
                newest[at] = item
                refused.pop(at, None)
    told = (*newest.values(), *refused.values())
    return [_verdict(reading, case, catalog) for reading in told]


def list_better(history: History, case: Case, catalog: Catalog) -> dict[str, Reading]:
    """Return the parts whose circuit was read out of range and later in it, with nothing mended.

    Each with its last bad reading. What was put across an igniter is refused and tells of no fault.
    """
    bad: dict[tuple[str, str, str], Reading] = {}
    better: dict[str, Reading] = {}
    for _, item in history.all_of(Reading):
        if item.quantity not in _OF_A_CIRCUIT or is_across_igniter(item, catalog):
            continue
        at, component = (item.component, item.quantity, item.where), split_loop(item.component)[0]
        outcome = _verdict(item, case, catalog).outcome
        if outcome == "not met":
            bad[at] = item
        elif at in bad and not is_mended(component, history.place_of(bad[at].id), history, catalog):
            better[component] = bad[at]
    return {c: r for c, r in better.items() if c in case.car.components}


_OF_A_CIRCUIT = (_LOOP, "insulation", "continuity")


def _is_outdated(reading: Reading, place: int, history: History) -> bool:
    """Return whether the part was replaced or repaired after it was measured."""
    works = history.works_on(frozenset({split_loop(reading.component)[0]}))
    return any(n > place and w.what in ("replaced", "repaired") for n, w in works)


def _verdict(reading: Reading, case: Case, catalog: Catalog) -> Verdict:
    if is_across_igniter(reading, catalog):
        return _refused(reading, catalog)
    if (reading.low, reading.high) != (None, None):
        return _by_maker(reading, catalog)
    quantity = _QUANTITIES.get(reading.quantity)
    if quantity is None:
        return _without_limit(reading)
    scale = _SCALE.get((reading.unit, quantity.unit))
    if scale is None:
        return _wrong_unit(reading, quantity)
    if reading.value < 0.0:
        return _below_zero(reading)
    return _by_published(reading, quantity, scale, case, catalog)


def _by_published(
    reading: Reading, quantity: Quantity, scale: float, case: Case, catalog: Catalog
) -> Verdict:
    """Return the verdict by published limits, or by the maker's window of a loop."""
    value, u, lean = reading.value * scale, *_uncertainty(reading, quantity, scale, catalog)
    if reading.quantity == _LOOP:
        return _loop(reading, value, u, lean, case, catalog)
    limits = published(catalog, quantity.low, quantity.high, "published")
    outcome, p_met = judged(value, u, limits, catalog)
    return Verdict(
        what=f"reading:{reading.id}",
        outcome=outcome,
        text=f"{_named(reading)}: {_figure(value, u, quantity.unit)}; "
        f"{limits.source}: {limits.text(quantity.unit)}.",
        decide="" if outcome != "undecided" else _sharper(quantity.unit, u),
        p_met=p_met,
        because=(*because_of(limits.facts, (reading.id,)), *lean),
        origin=reading.origin,
    )


def _loop(
    reading: Reading,
    value: float,
    u: float,
    lean: tuple[Because, ...],
    case: Case,
    catalog: Catalog,
) -> Verdict:
    """Return the verdict on a loop's resistance: the maker's window, else every published one."""
    limits = makers_loop(case)
    if limits is None:
        return _loop_published(reading, value, u, lean, catalog)
    outcome, p_met = judged(value, u, limits, catalog)
    return Verdict(
        what=f"reading:{reading.id}",
        outcome=outcome,
        text=f"{_named(reading)}: {_figure(value, u, 'ohm')}; the maker allows "
        f"{limits.text('ohm')} ({limits.source}).",
        decide="" if outcome != "undecided" else _sharper("ohm", u),
        p_met=p_met,
        because=lean,
        origin=reading.origin,
    )


def _loop_published(
    reading: Reading, value: float, u: float, lean: tuple[Because, ...], catalog: Catalog
) -> Verdict:
    inner = published(catalog, "loop.low-cautious", "loop.high-cautious", "every published window")
    outer = published(catalog, "loop.low-widest", "loop.high-widest", "the widest of them")
    inside, p_met = judged(value, u, inner, catalog)
    outside, _ = judged(value, u, outer, catalog)
    outcome = "met" if inside == "met" else ("not met" if outside == "not met" else "undecided")
    text = (
        f"{_named(reading)}: {_figure(value, u, 'ohm')}. The maker's window is not entered; "
        f"{inner.text('ohm')} lies inside every published one, {outer.text('ohm')} is the widest."
    )
    return Verdict(
        what=f"reading:{reading.id}",
        outcome=outcome,  # type: ignore[arg-type]
        text=text,
        decide=""
        if outcome != "undecided"
        else "Enter the maker's window under [profile]: loop_low_ohm and loop_high_ohm.",
        p_met=p_met,
        because=(*because_of((*inner.facts, *outer.facts), (reading.id,)), *lean),
        origin=reading.origin,
    )


def _by_maker(reading: Reading, catalog: Catalog) -> Verdict:
    """Return the verdict by limits that the user entered from the maker's procedure."""
    limits = Limits(low=reading.low, high=reading.high, source=reading.source)
    figure = f"{reading.value:.4g} {reading.unit}"
    told = f"{_named(reading)}: {figure}; the maker asks for {limits.text(reading.unit)}"
    verdict = Verdict(
        what=f"reading:{reading.id}",
        outcome="undecided",
        text=f"{told} ({reading.source}).",
        origin=reading.origin,
    )
    if not reading.source.strip():
        remedy = "Write down where these limits stand, as source."
        text = f"{told}, it is not written down where."
        return msgspec.structs.replace(verdict, text=text, decide=remedy)
    if reading.u is None:
        inside = _within(reading.value, limits)
        text = f"{told} ({reading.source}); its uncertainty is not stated."
        return msgspec.structs.replace(verdict, outcome=inside, text=text)
    outcome, p_met = judged(reading.value, reading.u, limits, catalog)
    decide = "" if outcome != "undecided" else _sharper(reading.unit, reading.u)
    return msgspec.structs.replace(verdict, outcome=outcome, decide=decide, p_met=p_met)


def _within(value: float, limits: Limits) -> Outcome:
    above = limits.low is None or value >= limits.low
    return "met" if above and (limits.high is None or value <= limits.high) else "not met"


def _uncertainty(
    reading: Reading, quantity: Quantity, scale: float, catalog: Catalog
) -> tuple[float, tuple[Because, ...]]:
    if reading.u is not None:
        return reading.u * scale, ()
    fact = catalog.fact(quantity.u)
    u = fact.number() * (abs(reading.value) * scale if quantity.relative else 1.0)
    text = "The reading's uncertainty is not stated; a usual one is taken."
    lean = Because(text=text, evidence=(reading.id,), sources=(fact.source,), weak="judgement")
    return u, (lean,)


def _named(reading: Reading) -> str:
    where = f" at {reading.where}" if reading.where else ""
    return f"{reading.quantity.replace('-', ' ')} of {reading.component}{where}"


def _figure(value: float, u: float, unit: str) -> str:
    return f"{value:.4g} {unit}, standard uncertainty {u:.2g} {unit}"


def _sharper(unit: str, u: float) -> str:
    how = "repeat it with a better meter" if unit == "V" else "null the leads, repeat it"
    return f"Read again with an uncertainty below {u / 2.0:.1g} {unit}: {how}."


def _without_limit(reading: Reading) -> Verdict:
    return Verdict(
        what=f"reading:{reading.id}",
        outcome="undecided",
        text=f"{_named(reading)}: {reading.value:g} {reading.unit}; no limit of it is known here.",
        decide="Compare it with the maker's figure and record passed "
        f"'reading:{reading.id}' with the document in its note and who compared it.",
        origin=reading.origin,
    )


def _wrong_unit(reading: Reading, quantity: Quantity) -> Verdict:
    return Verdict(
        what=f"reading:{reading.id}",
        outcome="undecided",
        text=f"{_named(reading)} is written in {reading.unit}, which is no unit of it.",
        decide=f"Write it in {quantity.unit}.",
        origin=reading.origin,
    )


def _below_zero(reading: Reading) -> Verdict:
    return Verdict(
        what=f"reading:{reading.id}",
        outcome="undecided",
        text=f"{_named(reading)}: {reading.value:g} {reading.unit} lies below zero, which no "
        "reading of it can.",
        decide="Check sign and leads (nulled while they were open?), and read again.",
        origin=reading.origin,
    )


def is_across_igniter(reading: Reading, catalog: Catalog) -> bool:
    """Return whether an entry tells of an ohm reading with the igniter in the circuit.

    Whatever the quantity, the unit and the method are called: only a unit's own live value and a
    substitute load in its place are known to leave the igniter alone. Current and conductance are
    put through it like a resistance.
    """
    told = f"{reading.where} {reading.quantity} {reading.method}".casefold()
    if reading.method in _SAFE_METHODS and not _METER.search(told):
        return False
    if not (reading.unit.casefold().endswith(_THROUGH) or _RESISTANCE.search(told)):
        return False
    return holds_charge(reading.component, catalog) or bool(_IGNITER.search(told))


_SAFE_METHODS = ("scan-live-value", "substitute-load")
_THROUGH = ("ohm", "ohms", "\u03c9", "\u2126", "ma", "siemens")
_METER = re.compile(r"multi-?met|ohm-?met|\bdmm\b|\bdvm\b|test[ -]?lamp|megger|continuity test")
_RESISTANCE = re.compile(
    r"resist|\bohms?\b|continu|conduct|impedan|megger|widerst|durchgang|"
    r"voltage drop|spannungsabfall|\bcurrent\b|\d ?ma\b"
)
_IGNITER = re.compile(r"squib|ignit|inflator|initiator|pyro|charge|z[u\u00fc]nd")


def _refused(reading: Reading, catalog: Catalog) -> Verdict:
    how = f"by '{reading.method}'" if reading.method else "in a way that is not written down"
    return Verdict(
        what=f"reading:{reading.id}",
        outcome="not met",
        text=f"{_named(reading)} was read {how}: refused. {catalog.cautions['no-meter'].text}",
        decide="Read the unit's live value, or a substitute load in place of the igniter, and "
        "enter that with method = 'scan-live-value' or 'substitute-load'.",
        origin=reading.origin,
    )
