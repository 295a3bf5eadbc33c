"""Whether to bid and up to what, in the order a person asks; and how it came out."""

from collections.abc import Iterable, Mapping, Sequence

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.model.bid import (
    COMEBACKS,
    GATE_PRICE,
    BidLimit,
    BidPoint,
    CameBack,
    Comeback,
    Gate,
    LookWorth,
    Settled,
    SettledLine,
)
from squibwise.model.case import Case
from squibwise.model.cost import Driver, Money
from squibwise.model.origin import Finding
from squibwise.present.figures import bare_sum, listed, money, percent
from squibwise.present.phrases import name, standing, tell_car, tell_findings, tell_from
from squibwise.present.telling import (
    Bullets,
    Section,
    Table,
    Telling,
    Text,
    Tone,
    filled,
    section,
    text,
)

_QUANTILES = (
    (0.1, "1 in 10 below"),
    (0.5, "half below"),
    (0.8, "4 in 5 below"),
    (0.95, "19 in 20"),
)
_SHOWN, BAR, _MOST_MISSING = 6, 30, 9
_MISSING = {
    "labour-hour": "what an hour of work costs",
    "resale": "the resale",
    "fees": "what the venue charges the buyer",
}
_LEFT_OUT = {
    "tax": "tax",
    "transport": "transport",
    "inspection": "inspection",
    "title": "title",
    "selling": "selling",
    "reserve": "reserve for hidden damage",
    "days": "days until the money is back",
    "day": "what a day costs",
}
_NO_PRICE = ("bid-work-free", "bid-unpriced")
_VERDICTS = {
    "bid-up-to": "Bid up to {limit}, not a step more.",
    "do-not-bid": "Do not bid.",
    "ask-first": "Ask first: while a question below is open there is no limit.",
    "restraint-share-only": "Restraint share only, no limit: not stated is {missing}.",
}


def tell_bid(case: Case, answer: BidLimit, catalog: Catalog) -> Telling:
    """Return the verdict, what it hangs on, the restraint share and what is worth knowing."""
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=tell_car(case),
        sections=filled(
            (
                _verdict(answer),
                _gates(answer.gates),
                _unstated(answer),
                _curve(answer),
                _lines(answer),
                _cost(answer),
                _drivers(answer),
                *_worths(answer, catalog),
                _learned(answer),
                tell_findings((*case.findings, *_others(answer))),
            )
        ),
        closing=standing(catalog),
    )


def _verdict(answer: BidLimit) -> Section:
    lacking = [_MISSING.get(w, w) for w in (*answer.unstated, *answer.unpriced)]
    words = _VERDICTS[answer.verdict].format(
        limit=money(answer.limit), missing=listed(lacking, _MOST_MISSING)
    )
    tone: Tone = "strong" if answer.verdict == "bid-up-to" else "check"
    blocks: list[Text | Bullets] = [Text(text=words, tone=tone)]
    if answer.limit is not None and answer.chance_of_loss is not None:
        fees = ", ".join(f"{n} {bare_sum(m)}" for n, m in answer.fees.items())
        told = [
            f"laid out in the end: {money(answer.outlay)}" + (f" (fees: {fees})" if fees else ""),
            f"chance of a loss there: {percent(answer.chance_of_loss)}" + _counted(answer.target),
            f"expected profit there: {money(answer.expected_profit)}",
        ]
        blocks.append(Bullets(items=tuple(told)))
    elif answer.verdict == "do-not-bid" and answer.chance_of_loss is not None:
        words = (
            f"Even the least bid of {bare_sum(answer.curve[0].bid)}, {money(answer.outlay)} in the "
            f"end, loses in {percent(answer.chance_of_loss)} of cases: more often than you accept."
        )
        blocks.append(text(words, "quiet"))
    elif answer.is_hopeless:
        words = (
            "Whatever the answers, with these figures even the least bid loses more often than "
            "you accept."
        )
        blocks.append(text(words, "check"))
    blocks += [*_as_parts(answer), *_unpriced(answer), *_left_out(answer)]
    if answer.going is not None:
        words = (
            f"At the going price of {money(answer.going.bid)}: {money(answer.going.outlay)} in the "
            f"end, a loss in {percent(answer.going.chance_of_loss)} of cases, "
            f"{money(answer.going.expected_profit)} expected."
        )
        blocks.append(text(words, "quiet"))
    if answer.winning is not None and answer.winning.minor > 0:
        taken = (
            f"{money(answer.winning)} is taken off because winning is news: the others bid less."
        )
        blocks.append(text(taken, "quiet"))
    return section("The bid", *blocks)


def _counted(target: Money | None) -> str:
    return f" (a profit below {money(target)} counts as one)" if target else ""


def _gates(gates: Sequence[Gate]) -> Section:
    items = tuple(f"{g.go.upper()}: {g.text} {_answered(g)}" for g in gates)
    return section("Before any limit", Bullets(items=items))


def _answered(gate: Gate) -> str:
    answer = gate.answer
    if answer.answer == "unknown":
        return "(open)"
    told = [answer.answer, answer.by, answer.source or "no source named"]
    day = answer.on.isoformat() if answer.on else "no date named"
    return f"({', '.join(w for w in (*told, day) if w)})"


def _unstated(answer: BidLimit) -> Section | None:
    if not answer.unstated:
        return None
    figures = [w for w in answer.unstated if w != "fees"]
    blocks = []
    if figures:
        words = f"Not stated: {', '.join(figures)}. Give low, likely and high"
        words += ", or nil = true." if figures != ["resale"] else "."
        blocks.append(text(words, "check"))
    if "fees" in answer.unstated:
        words = (
            "Not stated: the fees of the venue. Give each with its bands, or fees = [] where "
            "nothing is charged."
        )
        blocks.append(text(words, "check"))
    return section("The rest of the car", *blocks)


def _others(answer: BidLimit) -> Iterable[Finding]:
    return (f for f in answer.findings if f.code not in _NO_PRICE)


def _as_parts(answer: BidLimit) -> list[Text]:
    """Return how often the car is worth more in parts than repaired, which no limit may hide."""
    if answer.part_out is None or answer.parted < tell_from("parts-from"):
        return []
    words = (
        f"In {percent(answer.parted)} of cases the car brings more in parts "
        f"({money(answer.part_out)} once transport, title and days are paid) than repaired: there "
        "it is worth that, and no more."
    )
    return [text(words, "check")]


def _unpriced(answer: BidLimit) -> list[Text]:
    """Return what is in no sum, told beside the verdict: a limit without it would be too high."""
    mine = (f for f in answer.findings if f.code in _NO_PRICE)
    return [text(f"{f.message} {f.remedy}", "check") for f in mine]


def _left_out(answer: BidLimit) -> list[Text]:
    """Return what else of the sale was not stated: the limit knows nothing of it."""
    if not answer.left_out:
        return []
    named = listed([_LEFT_OUT.get(w, w) for w in answer.left_out], _MOST_MISSING)
    return [
        text(
            f"Not stated, and counted as nothing: {named}. State each, as 0 where it is so.",
            "check",
        )
    ]


def _cost(answer: BidLimit) -> Section:
    mean = Money(minor=round(answer.cost.mean), currency=answer.cost.currency)
    rows = tuple((words, bare_sum(answer.cost.quantile(q))) for q, words in _QUANTILES)
    rows = (("expected", bare_sum(mean)), *rows)
    note = f"{answer.cost.currency}, over every size of crash and kind of rules"
    return section("Restraint share", Table(rows=rows, right=(1,)), note=note)


def name_drivers(drivers: Sequence[Driver]) -> tuple[Driver, ...]:
    """Return what drives the spread under the names that a person is told."""
    return tuple(msgspec.structs.replace(d, what=_LINES.get(d.what, d.what)) for d in drivers)


def _drivers(answer: BidLimit) -> Section | None:
    shown = [d for d in name_drivers(answer.drivers) if d.share > 0.0][:_SHOWN]
    if not shown:
        return None
    most = shown[0].share
    rows = tuple(
        (
            d.what,
            "#" * max(1, round(BAR * d.share / most)),
            percent(d.share),
            bare_sum(d.mean),
        )
        for d in shown
    )
    table = Table(rows=rows, head=("", "", "of the spread", "expected"), right=(2, 3))
    return section("What drives it", table)


def _worths(answer: BidLimit, catalog: Catalog) -> list[Section]:
    """Return the walk-round, the worthiest look first, and what can be known otherwise."""
    worthy = [w for w in answer.worths if w.worth.minor > 0]
    if answer.worths and not worthy:
        words = "No single look changes whether to buy at this price."
        return [section("Worth knowing before the bid", text(words, "quiet"))]
    seen = [w for w in worthy if w.in_yard][:_SHOWN]
    rest = [w for w in worthy if not w.in_yard]
    note = "at the going price, each by itself"
    found = []
    if seen:
        table = Table(rows=tuple(_worth(w, catalog) for w in seen), head=_WORTHS, right=(0,))
        minutes = sum(w.minutes for w in seen)
        found.append(section("Walk-round, in this order", table, note=f"{minutes:.0f} min; {note}"))
    if rest:
        table = Table(rows=tuple(_worth(w, catalog) for w in rest), head=_WORTHS, right=(0,))
        found.append(section("Worth knowing before the bid", table, note=note))
    return found


_WORTHS = ("worth", "takes", "knowing")


def _worth(worth: LookWorth, catalog: Catalog) -> tuple[str, str, str]:
    takes = f"{worth.minutes:.0f} min" if worth.minutes else "a call"
    told = f"whether the {name(worth.what, catalog)} fired" if worth.in_yard else worth.what
    return bare_sum(worth.worth), takes, f"{told}: {worth.how}" if worth.how else told


def _curve(answer: BidLimit) -> Section | None:
    """Return what a few bids come to, the jumps of the fees among them."""
    if not answer.curve:
        return None
    rows = tuple(
        (
            bare_sum(p.bid),
            bare_sum(p.outlay),
            percent(p.chance_of_loss),
            bare_sum(p.expected_profit),
            "<- the limit" if p.bid == answer.limit else _dearer(p, answer.curve),
        )
        for p in answer.curve
    )
    head = ("bid", "in the end", "loss", "expected", "")
    return section("What each bid comes to", Table(rows=rows, head=head, right=(0, 1, 2, 3)))


def _dearer(point: BidPoint, curve: Sequence[BidPoint]) -> str:
    """Return which higher bid costs less in the end, because a fee falls there."""
    higher = [p for p in curve if p.bid.minor > point.bid.minor]
    less = min(higher, key=lambda p: p.outlay.minor, default=point)
    saved = less.outlay.minor < point.outlay.minor
    return f"never: {bare_sum(less.bid)} costs less" if saved else ""


def _lines(answer: BidLimit) -> Section | None:
    """Return the expected resale and what comes off it; their sum is left for the bid."""
    if not answer.lines:
        return None
    rows = [(_line(x.what), bare_sum(x.mean), _corrected(x.what, answer)) for x in answer.lines]
    left = Money(minor=sum(x.mean.minor for x in answer.lines), currency=answer.cost.currency)
    rows.append(("left for bid, fees and tax", bare_sum(left), ""))
    lacking = {*answer.unstated} - {"fees", "resale"}
    note = "expected; the trades that are not stated are missing" if lacking else "expected"
    table = Table(rows=tuple(rows), right=(1,))
    return section("What is left for the bid", table, note=note)


def _corrected(what: str, answer: BidLimit) -> str:
    """Return by how much settled cars moved a line; empty where they taught nothing of it."""
    if what == COMEBACKS:
        return _counted_back(answer.came_back) if answer.came_back.cars else ""
    factors = answer.corrected
    words = {"parts": ("restraint",), "labour": ("hours", "restraint")}.get(what, ())
    factor = next((factors[w] for w in (what, *words) if w in factors), None)
    return "" if factor is None else f"x {factor:.2f}, your settled cars"


def _counted_back(came_back: CameBack) -> str:
    back, cars = len(came_back.costs), came_back.cars
    words = f"{back} of your {cars} settled cars came back"
    return f"{words}, at {sum(came_back.costs) / back:,.0f} each" if back else words


def _line(what: str) -> str:
    if what.startswith(GATE_PRICE):
        return f"what the question '{what.removeprefix(GATE_PRICE)}' costs"
    return _LINES.get(what, what)


_LINES = {
    "resale": "resale with a clean title",
    "parts": "restraint parts and services",
    "labour": "restraint labour",
    "labour-hour": "restraint labour",
    "days": "days until the money is back",
    "reserve": "reserve for hidden damage",
    "part-out": "more in parts than repaired",
    COMEBACKS: "what comes back after the sale",
}


def _settled_line(what: str) -> str:
    """Return what a line of a settled car is called: it was sold under its brand."""
    return "resale under its brand" if what == "resale" else _line(what)


def _learned(answer: BidLimit) -> Section | None:
    if not (answer.corrected or answer.came_back.cars):
        return None
    rows = tuple((_settled_line(n), f"x {f:.2f}") for n, f in answer.corrected.items())
    if answer.came_back.cars:
        rows = (*rows, (_line(COMEBACKS), _counted_back(answer.came_back)))
    table = Table(rows=rows, head=("line", "corrected by"))
    return section("What your settled cars taught", table)


def tell_settled(
    case: Case,
    settled: Settled,
    lines: Sequence[SettledLine],
    factors: Mapping[str, float],
    doubts: Sequence[Finding] = (),
) -> Telling:
    """Return bid against outcome, line by line, and what this car alone would correct."""
    rows = tuple(
        (
            _settled_line(x.what),
            f"{x.expected:,.0f}",
            "open" if x.actual is None else f"{x.actual:,.0f}",
            _off(x.expected, x.actual),
            _lesson(x, factors),
        )
        for x in lines
    )
    head = ("line", "expected", "came out", "off by", "corrects the next bid")
    table = Table(rows=rows, head=head, right=(1, 2, 3, 4))
    note = "the correction if this were the only settled car: two more count as they were expected"
    how = text(
        "`squibwise bid CASE --settled FOLDER` takes every settled car of a folder.", "quiet"
    )
    return Telling(
        title=case.id,
        subtitle=case.title,
        sections=filled(
            (
                section("Bid against outcome", table, how, note=note),
                section("What came back", _returns(settled)),
                tell_findings(doubts),
            )
        ),
    )


def _lesson(line: SettledLine, factors: Mapping[str, float]) -> str:
    """Return what one settled car corrects of a line."""
    if line.adds is not None:
        return f"+{line.adds:,.0f} a car: {line.actual or 0.0:,.0f} / 3 cars"
    return f"x {factors[line.what]:.2f}" if line.what in factors else "-"


def _returns(settled: Settled) -> Bullets | Text:
    if settled.comebacks is None:
        return text(
            "Not known yet: write `comebacks` when it is, [] if nothing came back.", "quiet"
        )
    if not settled.returns:
        return text("nothing", "quiet")
    return Bullets(items=tuple(_return(c) for c in settled.returns))


def _return(back: Comeback) -> str:
    day = "" if back.day is None else f", day {back.day}"
    cost = "at no stated cost" if back.cost is None else f"{back.cost:,.0f}"
    return f"{back.what}{day}: {cost}"


def _off(expected: float, actual: float | None) -> str:
    if actual is None or expected <= 0.0:
        return "-"
    return f"{100.0 * (actual / expected - 1.0):+.0f} %"


def tell_screened(done: Mapping[str, object], doubts: Sequence[Finding] = ()) -> Telling:
    """Return how many lots were screened and where the answers and the bad rows are.

    Args:
        done: What was done.
        doubts: What is doubtful of the settled cars that corrected the lots.
    """
    lines = [f"{done['rows']:,} lots read, {done['patterns']:,} distinct ones worked out"]
    lines.append(f"written to {done['out']}")
    corrects = done.get("corrects")
    if done.get("settled_cars") and isinstance(corrects, Mapping):
        moved = [f"{_settled_line(w)} x {corrects[w]:.2f}" for w in ("parts", "labour", "resale")]
        back = f"{corrects['comes_back']:,.0f} off for what comes back"
        cars = (
            "1 settled car" if done["settled_cars"] == 1 else f"{done['settled_cars']} settled cars"
        )
        lines.append(f"corrected by {cars}: {listed([*moved, back])}")
    if costs := done.get("sale_costs"):
        told_off = "transport, inspection, title, selling, reserve, days and what comes back"
        lines.append(f"off every limit by the sheet of the sale: {costs:,.0f} for {told_off}")
    trades = done.get("trades_left_out")
    if isinstance(trades, Sequence) and trades:
        lines.append(
            f"not taken from the sheet: {listed([str(t) for t in trades])}; each lot's other costs "
            "stand for them"
        )
    if done["resumed"]:
        lines.append(f"{done['resumed']} pieces were there from an earlier run")
    guessed, unused = done["guessed"], done["unused"]
    if isinstance(guessed, Mapping) and guessed:
        told = listed([f"'{h}' for '{c}'" for h, c in guessed.items()])
        lines.append(f"headings taken by likeness: {told}")
    if isinstance(unused, Sequence) and unused:
        lines.append(f"columns not used: {listed([str(u) for u in unused])}")
    foreign = done["foreign"]
    if isinstance(foreign, Sequence) and foreign:
        named = listed([f"'{f}'" for f in foreign])
        lines.append(
            f"{named} is in another currency than the prices of parts, and not used: convert the "
            "column and head it with USD, or no limit can be told"
        )
    blocks: list[Bullets | Text] = [Bullets(items=tuple(lines))]
    if done["bad"]:
        words = f"{done['bad']:,} bad rows were skipped; {done['bad_file']} tells line and remedy."
        blocks.append(text(words, "check"))
    return Telling(
        title="Screening", sections=filled((section("", *blocks), tell_findings(doubts)))
    )
