"""Plain words for what a record holds as JSON."""

from collections.abc import Callable
from typing import Any

from squibwise.model.cost import Money

Json = dict[str, Any]
_STATES = ("sound", "fired", "faulty", "damaged", "missing", "unfit")


def percent(p: float) -> str:
    """Return a probability as people write it; what is not certain is never shown as certain.

    Its spaces do not break at the end of a line.
    """
    if 0.0 < p < 0.01:
        return "<\u00a01\u00a0%"
    if 0.99 < p < 1.0:
        return ">\u00a099\u00a0%"
    return f"{100 * p:.0f}\u00a0%"


def states(belief: Json) -> str:
    """Return the states that are not negligible, the likeliest first: ``fired 97 %``."""
    rows = sorted(((belief[s], s) for s in _STATES), reverse=True)
    shown = [f"{s} {percent(p)}" for p, s in rows if p >= 0.02] or [f"{rows[0][1]}"]
    return ", ".join(shown)


def money(value: Json | None) -> str:
    """Return an amount, or that the user has entered none."""
    if value is None:
        return "not priced"
    return Money(minor=int(value["minor"]), currency=value["currency"]).text()


def duration(minutes: int) -> str:
    """Return minutes as hours and minutes: ``2 h 05 min``."""
    hours, rest = divmod(minutes, 60)
    return f"{hours} h {rest:02d} min" if hours else f"{rest} min"


def moment(value: str | None) -> str:
    """Return a time as written in the case, to the minute; empty when it was not stated."""
    return "" if value is None else value.replace("T", " ")[:16]


def cut(text: str, longest: int) -> str:
    """Return a text of at most so many characters, the end of a longer one left out."""
    return text if len(text) <= longest else text[: longest - 4].rstrip() + " ..."


def listed(words: list[str], most: int = 6) -> str:
    """Return a list as a sentence; beyond ``most`` entries the rest is counted."""
    if len(words) > most + 1:
        return f"{', '.join(words[:most])} and {len(words) - most} more"
    return ", ".join(words)


def origin(value: Json) -> str:
    """Return where something stands, as far as known."""
    if not value.get("file"):
        return ""
    return value["file"] if value.get("line") is None else f"{value['file']}:{value['line']}"


def evidence(value: Json) -> str:
    """Return one piece of evidence in a sentence."""
    words = _WORDS.get(value["type"])
    return words(value) if words else value["type"]


def _known(*pairs: tuple[str, Any]) -> str:
    return ", ".join(
        f"{name} {value}".strip() for name, value in pairs if value not in (None, "", {})
    )


def _yes(value: bool | None) -> str | None:
    return None if value is None else ("yes" if value else "no")


def _report(e: Json) -> str:
    reading, cover = e["reading"], e["reading"]["coverage"]
    reach = {True: "all circuits", False: "not all circuits", None: "reach not stated"}
    parts = [f"scan {e['when']}", f"{len(reading['lines'])} fault(s)", reach[cover["complete"]]]
    parts += [f"{len(reading['unread'])} line(s) not understood"] if reading["unread"] else []
    parts += ["the unit was not able to test"] if cover["able"] is False else []
    return ", ".join(parts)


def _impact(e: Json) -> str:
    return _known(
        ("impact at", e["zone"]),
        ("from", _clock(e["clock"])),
        ("", e["extent"]),
        ("no.", e["order"]),
    )


def _clock(hour: int | None) -> str | None:
    return None if hour is None else f"{hour} o'clock"


def _recorder(e: Json) -> str:
    return _known(
        ("crash record", e["record"]),
        ("delta-V along", _with_unit(e["delta_v_long_kmh"], "km/h")),
        ("across", _with_unit(e["delta_v_lat_kmh"], "km/h")),
        ("by", e["method"]),
        ("driver's belt", e["driver_belt"]),
        ("passenger's belt", e["passenger_belt"]),
        ("passenger", e["passenger_class"]),
    )


def _with_unit(value: str | None, unit: str) -> str | None:
    return None if value is None else f"{value} {unit}"


def _reading(e: Json) -> str:
    spread = f" (u {e['u']})" if e["u"] is not None else ""
    where = f" at {e['where']}" if e["where"] else ""
    how = f", by {e['method']}" if e["method"] else ""
    return f"{e['component']}: {e['quantity']} {e['value']} {e['unit']}{spread}{where}{how}"


def _lamp(e: Json) -> str:
    lit = "lit at key-on" if e["lit"] else "did not light"
    out = "not seen to go out" if e["out_after_s"] is None else f"out after {e['out_after_s']} s"
    stay = {True: "stayed out", False: "came on again", None: "not watched on a drive"}
    return f"warning lamp {lit}, {out}, {stay[e['stayed_out']]}"


def _label(e: Json) -> str:
    checked = {
        True: "recalls checked",
        False: "recalls not checked",
        None: "recall check not stated",
    }
    return f"{e['component']}: " + _known(
        ("part", e["number"]),
        ("serial", e["serial"]),
        ("made", e["made_on"]),
        ("", e["provenance"]),
        ("from VIN", e["donor_vin"]),
        ("sold by", e["seller"]),
        ("", checked[e["recall_checked"]]),
    )


def _seat_trial(e: Json) -> str:
    return f"{e['component']}: " + _known(
        ("laid on", _with_unit(e["applied_kg"], "kg")),
        ("read", _with_unit(e["read_kg"], "kg")),
        ("status", e["status"]),
        ("cabin", _with_unit(e["cabin_c"], "degC")),
        ("supply", _with_unit(e["volts"], "V")),
        ("seat", e["seat_position"]),
    )


def _occupant(e: Json) -> str:
    present = {True: "taken", False: "empty", None: "not known"}[e["present"]]
    return f"{e['seat']}: " + _known(
        ("seat", present),
        ("", e["size"]),
        ("belt", e["belt"]),
        ("child seat", _yes(e["child_seat"])),
    )


def _load(e: Json) -> str:
    ohm = f" ({e['ohm']} ohm)" if e["ohm"] is not None else ""
    return f"substitute load {e['serial']}{ohm} {e['move']}, {e['loop']}"


def _done(e: Json) -> str:
    return f"{e['component']} {e['what']}" + (f" (item {e['item']})" if e["item"] else "")


def _passed(e: Json) -> str:
    return f"{e['what']}: {e['result']}" + (f". {e['note']}" if e["note"] else "")


_WORDS: dict[str, Callable[[Json], str]] = {
    "report": _report,
    "look": lambda e: f"{e['component']}: seen {e['seen']}",
    "statement": lambda e: (
        f"{e['component'] or 'the car'}: said to be {e['says']} by {e['from_'] or '?'}"
    ),
    "reading": _reading,
    "recorder": _recorder,
    "impact": _impact,
    "circumstance": lambda e: f"{e['what']}: {_yes(e['present'])}",
    "occupant": _occupant,
    "seat-trial": _seat_trial,
    "lamp-check": _lamp,
    "substitute-load": _load,
    "part-label": _label,
    "test-outcome": lambda e: f"{e['loop']}: test {e['test']}, outcome {e['outcome']}",
    "done": _done,
    "passed": _passed,
}


def cause(key: str) -> str:
    """Return a shared cause, written ``<cause>`` or ``<cause>:<place>``, in words."""
    word, _, place = key.partition(":")
    where = place.replace(".", " ").replace("-", " ")
    return f"{word.replace('-', ' ')}, {where}" if where else word.replace("-", " ")
