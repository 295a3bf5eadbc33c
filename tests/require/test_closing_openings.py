"""What was closed stays closed, though something goes in after the loads."""

import pytest

from squibwise import case as line
from squibwise.catalog.load import load_catalog

CATALOG = load_catalog()


# A knee airbag goes in from below, once the loads are out: an instrument panel that was closed
# before the first power is not opened for it once more. One of the pieces behind it is another
# matter.
@pytest.mark.parametrize(("renewed", "is_open_again"), [(True, False), (False, True)])
def test_a_closed_panel_is_not_opened_for_what_goes_in_after_the_loads(
    renewed: bool, is_open_again: bool
) -> None:
    bags = ("driver.front-bag", "passenger.front-bag", "driver.knee-bag")
    looks = [{"kind": "look", "component": c, "seen": "deployed"} for c in bags]
    unit = {"kind": "look", "component": "centre.control-unit", "seen": "damaged"}
    behind = ("centre.control-unit", "passenger.front-bag", "driver.clock-spring")
    done = [{"kind": "done", "what": "replaced", "component": c} for c in behind]
    panel = [{"kind": "passed", "what": "fit:instrument-panel@centre", "result": "passed"}]
    done += [{"kind": "done", "what": "replaced", "component": "centre.instrument-panel"}]
    ways = [
        {"kind": "passed", "what": f"{w}:panel", "result": "passed"}
        for w in ("open", "join", "close")
    ]
    tables = {
        "case": {"id": "x", "region": "US-OH"},
        "car": {"model_year": 2019, "equipment": "full-modern-set"},
        "profile": {"name": "any-fire-strict"},
        "evidence": [*looks, unit, ways[0], *(done + panel if renewed else []), *ways[1:]],
    }
    todo = line.overview(line.make_case(tables, CATALOG), CATALOG).todo
    by_id = {o.id: o for o in todo.operations}
    assert not by_id["fit:knee-bag@driver"].done
    assert by_id["open:panel"].done is not is_open_again
    assert by_id["close:panel"].done is not is_open_again
