"""The page of a car: picture, brief, evidence, one part with its reasons."""

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from squibwise import case as line
from squibwise.catalog.load import Catalog, holds_charge
from squibwise.model.belief import ComponentBelief
from squibwise.model.names import split_component
from squibwise.present.figures import percent
from squibwise.present.phrases import name, say_state, tell_grouped
from squibwise.present.tell_assessment import tell_belief, tell_look
from squibwise.present.tell_bench import (
    LETTERS,
    EvidenceCard,
    make_cards,
    make_mark,
    make_picture,
    may_hurt,
    open_circuits,
    page_of_look,
    tell_nexts,
    wait_for_job,
)
from squibwise.present.tell_brief import (
    Brief,
    make_brief,
    tell_labour,
    tell_parts,
    tell_seen,
    tell_silent,
    tell_unpriced,
)
from squibwise.present.tell_orders import group_orders, tell_price, tell_titled, tell_why
from squibwise.present.tell_trouble import by_state
from squibwise.web.bench import Bench, NotThereError, Opened
from squibwise.web.drawing import frame, layout, place_arrows, place_marks, seat_of
from squibwise.web.layout import bench_of, car_page, opened_for, page

FRESH = "fresh"
"""In an address: something was just written, what is believed now comes first."""
SCALE = "occupant-sensor"
LEAST_SHOWN = 0.005
LEGEND = (
    ("live", LETTERS["live"], "live inflator or pretensioner"),
    ("fired", LETTERS["fired"], "fired"),
    ("faulty", LETTERS["faulty"], "electrical fault"),
    ("damaged", LETTERS["damaged"], "damaged"),
    ("missing", LETTERS["missing"], "missing"),
    ("unfit", LETTERS["unfit"], say_state("unfit")),
    ("doubt", "?", "in doubt: look"),
    ("sound", "", "sound"),
)


def car(request: Request) -> Response:
    """The page of a car."""
    opened = opened_for(request)
    return _car_page(request, opened, part="", **_brief(bench_of(request), opened))


def part(request: Request) -> Response:
    """One part of a car: its state, its reasons, and a form to write down what is seen."""
    opened, bench = opened_for(request), bench_of(request)
    if FRESH in request.query_params and not bench.knows(opened):
        return _belief_first(request, opened, request.path_params["part"])
    belief = find_part(opened, bench, request.path_params["part"])
    return _car_page(request, opened, part=belief.id, **_part(bench, opened, belief))


def _belief_first(request: Request, opened: Opened, component: str) -> Response:
    """Return what is believed of a part by now; the page asks for its reasons and the rest."""
    bench = bench_of(request)
    beliefs = line.believe(opened.case, bench.catalog, opened.own)
    belief = next((b for b in beliefs if b.id == component), None)
    if belief is None:
        raise _no_part(component)
    return page(
        request,
        "fresh.html",
        opened=opened,
        job=wait_for_job(),
        part=component,
        title=name(component, bench.catalog),
        chances=_chances(belief),
        hurts=holds_charge(component, bench.catalog),
    )


def _no_part(component: str) -> NotThereError:
    return NotThereError(f"'{component}' is no part of this car.", remedy="Touch one of them.")


def find_part(opened: Opened, bench: Bench, component: str) -> ComponentBelief:
    """Return what is believed of a part.

    Raises:
        NotThereError: The car has no such part.
    """
    belief = bench.whole(opened).states.get(component)
    if belief is None:
        raise _no_part(component)
    return belief


def _car_page(request: Request, opened: Opened, part: str, **given: Any) -> Response:  # noqa: ANN401
    bench = bench_of(request)
    whole = bench.whole(opened)
    picture = make_picture(opened.case, whole.states, bench.catalog)
    lay, hand = layout(), picture.drive_hand
    near = request.query_params.get("near", "")
    drawn, arrows = place_marks(picture), place_arrows(picture)
    return car_page(
        request,
        "car.html",
        opened,
        brief=brief_of(bench, opened),
        drawn=drawn,
        near=near if near in lay.views else "",
        view=lay.views.get(near) or frame(arrows),
        arrows=arrows,
        lay=lay,
        wheel=lay.seats[0] if hand == "left" else lay.seats[1],
        seats=_seats(picture.marks, hand),
        legend_words=LEGEND,
        chosen=part,
        part=part,
        **given,
    )


def _seats(marks: Any, hand: str) -> list[tuple[float, float]]:  # noqa: ANN401 - marks of a picture
    """Return the middle of every seat that a mark belongs to."""
    lay = layout()
    places = {m.place for m in marks if m.place in ("driver", "passenger") or "row" in m.place}
    sides = {"left": lay.seats[0], "right": lay.seats[1], "centre": lay.width / 2}
    found = (seat_of(p, hand) for p in sorted(places))
    return [(sides[side], lay.rows[row]) for side, row in found]


def brief_of(bench: Bench, opened: Opened) -> Brief:
    """Return the one screen of a car, made once for each standing."""
    key = ("brief", opened.id, opened.seen, opened.case.units)
    return bench.keep(key, lambda: make_brief(opened.case, bench.whole(opened), bench.catalog))


def _brief(bench: Bench, opened: Opened) -> dict[str, Any]:
    brief, whole = brief_of(bench, opened), bench.whole(opened)
    return {
        "fired": tell_grouped(brief.fired, bench.catalog),
        "silent": tell_silent(brief),
        "seen": tell_seen(brief, bench.catalog),
        "parts": (*tell_parts(brief), *tell_unpriced(brief)),
        "labour": tell_labour(brief),
        "nexts": tell_nexts(brief, whole),
        "orders": [_order(g) for g in group_orders(brief.order_now)],
        "added": group_orders(brief.may_be_added),
        "cards": make_cards(opened.case, bench.catalog),
        "has_parts": {c.id for c in whole.states.components},
    }


def _order(group: Any) -> dict[str, str]:  # noqa: ANN401 - orders of one assembly
    return {"title": tell_titled(group), "price": tell_price(group), "why": tell_why(group[0])}


def _part(bench: Bench, opened: Opened, belief: ComponentBelief) -> dict[str, Any]:
    catalog, whole = bench.catalog, bench.whole(opened)
    words = _look_words(belief.id, catalog)
    settling = (belief.settled_by,) if belief.settled_by else ()
    offers = [x.look for x in (*whole.states.next_looks, *settling) if x.component == belief.id]
    asked = next((look for look in offers if look in {w.word for w in words}), "")
    settled = catalog.fact("present.settled").number()
    return {
        "mark": make_mark(belief, settled, catalog),
        "chances": _chances(belief),
        "hurts": may_hurt(belief.id, whole.states, catalog),
        "stages": list(belief.stages) if len(belief.stages) > 1 else [],
        "words": sorted(words, key=lambda w: w.word != asked),
        "asked": asked,
        "telling": tell_belief(opened.case, belief, whole.states, catalog),
        "weighs": split_component(belief.id).kind == SCALE,
        "traceable": belief.id in open_circuits(whole),
        "seen": [c for c in make_cards(opened.case, catalog) if _is_seen(c, belief.id)],
        "then": next(
            (
                (page_of_look(x), name(x.component, catalog), tell_look(x, catalog))
                for x in whole.states.next_looks
                if x.component != belief.id
            ),
            None,
        ),
    }


def _is_seen(card: EvidenceCard, component: str) -> bool:
    return card.component.partition("/")[0] == component and card.kind in ("look", "photo")


def _chances(belief: ComponentBelief) -> list[tuple[str, float, str]]:
    chances = sorted(by_state(belief.now).items(), key=lambda s: -s[1])
    return [(word, p, percent(p)) for word, p in chances if p >= LEAST_SHOWN]


def _look_words(component: str, catalog: Catalog) -> list[Any]:
    return list(catalog.looks(split_component(component).kind).values())
