"""Circuits at fault: the bench card of the next test, its outcome, and the clock of the wait."""

from starlette.requests import Request
from starlette.responses import Response

from squibwise import case as line
from squibwise.entering.saying import refuse_strange, refuse_unsigned
from squibwise.errors import InputError
from squibwise.model.evidence import TestOutcome
from squibwise.model.names import split_component, split_loop
from squibwise.model.trace import Trace
from squibwise.present.figures import percent
from squibwise.present.phrases import in_words, name
from squibwise.present.tell_bench import open_circuits
from squibwise.present.tell_trace import tell_ahead, tell_time, tell_trace
from squibwise.web.bench import Bench, Opened
from squibwise.web.car_pages import find_part
from squibwise.web.guarding import go
from squibwise.web.layout import bench_of, car_page, opened_for
from squibwise.web.sending import Sent, common, enter, refuse_stale, refuse_unnamed, sends
from squibwise.web.work_pages import note_power_on, seconds_off

CAUSES_SHOWN = 5


def circuits(request: Request) -> Response:
    """The circuits that are still to be traced."""
    opened, bench = opened_for(request), bench_of(request)
    whole = bench.whole(opened)
    found = [(c, name(c, bench.catalog)) for c in open_circuits(whole)]
    watched = [
        (c, name(c, bench.catalog))
        for c in opened.case.car.components
        if bench.catalog.kinds[split_component(c).kind].circuit and c not in dict(found)
    ]
    return car_page(
        request,
        "circuits.html",
        opened,
        step="trace",
        circuits=found,
        others=watched,
    )


def card(request: Request) -> Response:
    """The bench card of the next test on a circuit."""
    opened, bench = opened_for(request), bench_of(request)
    loop = _loop(request, opened, bench)
    found = _traced(bench, opened, loop)
    ranked = sorted(found.hypotheses, key=lambda h: -h.p)
    full = tell_trace(opened.case, found, bench.catalog)
    return car_page(
        request,
        "card.html",
        opened,
        step="trace",
        loop=loop,
        title=name(split_loop(loop)[0], bench.catalog),
        stage=_tell_stage(loop),
        card=found.next_test,
        time=tell_time(found.next_test),
        hold=round(found.next_test.hold_minutes),
        clock_minutes=_clock(found),
        gone=seconds_off(opened, bench),
        ahead=tell_ahead(found),
        causes=[(h.title or h.id, h.p, percent(h.p)) for h in ranked[:CAUSES_SHOWN]],
        plan=[s for s in full.sections if s.heading == "The plan"],
    )


def _tell_stage(loop: str) -> str:
    """Return the stage that a circuit fires; nothing for the first."""
    stage = split_loop(loop)[1]
    return "" if stage == 1 else f"stage {stage}"


def _traced(bench: Bench, opened: Opened, loop: str) -> Trace:
    key = ("trace", opened.id, opened.seen, loop)
    return bench.keep(key, lambda: line.trace(opened.case, loop, bench.catalog, opened.own))


def _loop(request: Request, opened: Opened, bench: Bench) -> str:
    component, stage = split_loop(request.path_params["loop"])
    find_part(opened, bench, component)
    return f"{component}/{stage}"


@sends
def outcome(request: Request, sent: Sent) -> Response:
    """Write down how a test came out."""
    opened, bench = opened_for(request), bench_of(request)
    loop = _loop(request, opened, bench)
    word, test = sent.get("outcome", 80), sent.get("test", 120)
    if not word or not test:
        raise InputError("No outcome was chosen.", remedy="Press what you saw.")
    refuse_unnamed(sent, "Say who tested it.")
    refuse_stale(opened, sent)
    tried = TestOutcome(id="now", loop=loop, test=test, outcome=word)
    _refuse_foreign(tried, opened, bench)
    found = _traced(bench, opened, loop)
    card = found.next_test
    hold, running = (card.hold_minutes, _clock(found)) if card.id == test else (0, 0)
    if card.id == test and card.kind == "repair" and not sent.get("carried_out"):
        told = "Nobody says that it was carried out and the circuit read again."
        raise InputError(told, remedy="Do what the card says, mark it, and press what you saw.")
    _refuse_haste(hold, running, seconds_off(opened, bench), sent)
    refuse_unsigned(tried, found, opened.case, bench.catalog)
    entry = {"kind": "test-outcome", "loop": loop, "test": test, "outcome": word} | common(sent)
    enter(request, opened, sent, f"tested {loop}: {in_words(word)}", lambda _: (entry,))
    if card.id == test and any(step.power == "on" for step in card.steps):
        note_power_on(opened, bench)
    return go(f"/car/{opened.id}/trace/{loop}")


def _clock(found: Trace) -> int:
    """Return the wait that a card's hands stand behind; 0 where none go in with the power off."""
    has_hands = any(step.power == "off" for step in found.next_test.steps)
    return round(found.wait_minutes) if has_hands else 0


def _refuse_haste(hold: float, running: int, gone: int | None, sent: Sent) -> None:
    """Stop what was done by hands that did not wait.

    Args:
        hold: The wait that the card asks for. [min]
        running: How long its clock runs once somebody started it. [min]
        gone: For how long the power has been off; None = nobody started the clock. [s]
        sent: What came from the page.

    Raises:
        InputError: The clock still runs; or the card asks for a wait, and nobody says it was over.
    """
    left = running - (gone or 0) // 60
    if gone is not None and left > 0:
        told = f"The wait is not over: {left} min are left on the clock."
        remedy = "Keep hands off until the clock is at 0:00, then press what you saw."
        raise InputError(told, remedy=remedy)
    if hold * 60 > (gone or 0) and not sent.get("waited"):
        remedy = "Start the wait on the card; or mark that it was waited out."
        raise InputError("Nobody says that the wait was over.", remedy=remedy)


def _refuse_foreign(tried: TestOutcome, opened: Opened, bench: Bench) -> None:
    """Stop what came of a test that its circuit does not have.

    Raises:
        InputError: The card does not ask for it, and no other test of the circuit ends so.
    """
    asked = _traced(bench, opened, tried.loop).next_test
    if tried.test == asked.id and tried.outcome in asked.outcomes:
        return
    try:
        refuse_strange(tried, opened.case, bench.catalog)
    except InputError as error:
        told = "This test, or what came of it, is none of this circuit."
        remedy = "Open the card of the circuit and press what you saw."
        raise InputError(told, remedy=remedy) from error
