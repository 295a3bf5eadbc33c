"""Bench cards: a test or repair written so that it can be done."""

from squibwise.catalog.load import Catalog
from squibwise.isolate.bench import BenchRepair, BenchTest, access_of
from squibwise.isolate.context import Context
from squibwise.model.belief import Because
from squibwise.model.trace import BenchCard
from squibwise.model.work import Caution
from squibwise.numerics.troubleshoot.planner import FIXED, NOT_FIXED

_ALWAYS = "maker-first"


def card_of(
    bench: BenchTest | BenchRepair,
    context: Context,
    opened: frozenset[str],
    powered: bool,
    wait: float,
    catalog: Catalog,
) -> BenchCard:
    """Return the card of a test or a repair at this point of the search."""
    hands = isinstance(bench, BenchRepair) or bench.test.power != "on"
    access = [a for a in access_of(bench, context) if a not in opened]
    off = [s.format(wait=f"{wait:g}") for s in catalog.loops.steps_off] if hands and powered else []
    opening = [f"Open: {catalog.loops.access[a].title}." for a in access]
    minutes = sum(catalog.loops.access[a].minutes for a in access)
    if isinstance(bench, BenchTest):
        return _test_card(bench, [*off, *opening], minutes, wait if off else 0.0, catalog)
    return _repair_card(bench, [*off, *opening], minutes, wait if off else 0.0, catalog)


def _test_card(
    bench: BenchTest, before: list[str], access: float, hold: float, catalog: Catalog
) -> BenchCard:
    test, title = bench.test, bench.point.title
    on = list(catalog.loops.steps_on) if test.power != "off" else []
    how = [s.format(element=title) for s in test.how]
    steps = [*before, how[0], *on, *how[1:]] if test.power == "through" else [*before, *on, *how]
    return BenchCard(
        id=bench.id,
        kind="test",
        title=test.title.format(element=title),
        how=tuple(steps),
        outcomes=dict(test.means),
        minutes=test.minutes + access + _powering(test.power, catalog),
        hold_minutes=hold,
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


def _powering(power: str, catalog: Catalog) -> float:
    return 0.0 if power == "off" else catalog.fact("isolation.power-up").number()


def _repair_card(
    bench: BenchRepair, before: list[str], access: float, hold: float, catalog: Catalog
) -> BenchCard:
    repair, title = bench.repair, bench.point.title
    how = [s.format(element=title) for s in repair.how]
    return BenchCard(
        id=bench.id,
        kind="repair",
        title=repair.title.format(element=title),
        how=(*before, *how, *catalog.loops.steps_on, *catalog.loops.steps_check),
        outcomes={
            FIXED: "The fault is gone after clearing and on the drive: fixed and verified.",
            NOT_FIXED: "The fault is still there: the plan goes on from here.",
        },
        minutes=repair.minutes + access + repair.check_minutes + _powering("through", catalog),
        hold_minutes=hold,
        cautions=cautions_of((_ALWAYS, *repair.cautions), catalog),
        because=(
            Because(text="Minutes of the repair.", sources=(repair.source,), weak="judgement"),
        ),
    )


def stop_card(title: str, text: str, catalog: Catalog) -> BenchCard:
    """Return the card that ends the search."""
    return BenchCard(
        id="stop",
        kind="stop",
        title=title,
        how=(
            text,
            "Count every substitute load back and read a last complete scan before release.",
        ),
        cautions=cautions_of((_ALWAYS, "loads-out"), catalog),
    )


def cautions_of(ids: tuple[str, ...], catalog: Catalog) -> tuple[Caution, ...]:
    """Return cautions by id, each once."""
    texts = [catalog.cautions[i] for i in dict.fromkeys(ids)]
    return tuple(Caution(id=t.id, text=t.text, source=t.source) for t in texts)
