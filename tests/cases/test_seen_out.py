"""A curtain that hangs out has fired, whatever reads good beside it: the first screen says so.

The eye outranks the circuit: DESIGN section 6. A car of our own.
"""

import squibwise
from squibwise.case import make_case, overview
from squibwise.model.case import Case
from squibwise.present.tell_brief import make_brief, tell_brief

CATALOG = squibwise.load_catalog()
HANGS = {"kind": "look", "component": "left.curtain", "seen": "hanging"}
GOOD = {
    "kind": "reading",
    "component": "left.curtain/1",
    "quantity": "loop-resistance",
    "value": 2.2,
    "unit": "ohm",
    "method": "live-data",
}
SLOW = {"kind": "recorder", "delta_v_long_kmh": -3, "delta_v_lat_kmh": 0, "record": "none"}
RENEWED = {"kind": "done", "what": "replaced", "component": "left.curtain"}


def car(*told: dict[str, object]) -> Case:
    tables = {
        "case": {"id": "seen-out"},
        "car": {"model_year": 2016, "equipment": "full-modern-set"},
        "evidence": list(told),
    }
    return make_case(tables, CATALOG)


def test_what_hangs_out_is_said_to_be_seen_so_and_is_ordered() -> None:
    case = car(HANGS, SLOW, GOOD)
    brief = make_brief(case, overview(case, CATALOG), CATALOG)
    assert "left.curtain" in (*brief.seen, *brief.fired)
    assert "left.curtain" in {c for o in brief.order_now for c in o.contains}
    assert "by eye; a good reading does not undo it" in repr(tell_brief(case, brief, "x", CATALOG))


def test_a_part_renewed_since_is_not_seen_out() -> None:
    case = car(HANGS, RENEWED, SLOW, GOOD)
    assert make_brief(case, overview(case, CATALOG), CATALOG).seen == ()
