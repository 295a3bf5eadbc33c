"""Whether to bid and up to what, in the order a person asks; and how it came out."""

from collections.abc import Mapping, Sequence

from squibwise.catalog.load import Catalog
from squibwise.model.bid import BidLimit, Gate
from squibwise.model.case import Case
from squibwise.present.figures import bare_sum, money, percent
from squibwise.present.phrases import name, standing, tell_car, tell_findings
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
_SHOWN, _BAR = 6, 30
_VERDICTS = {
    "bid-up-to": "Bid up to {limit}, not a step more.",
    "do-not-bid": "Do not bid.",
    "ask-first": "Ask first: while a question below is open there is no limit.",
    "restraint-share-only": "Restraint share only, no limit: the bid has to cover the whole car.",
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
                _cost(answer),
                _drivers(answer),
                _worths(answer, catalog),
                _learned(answer.corrected),
                tell_findings((*case.findings, *answer.findings)),
            )
        ),
        closing=standing(catalog),
    )


def _verdict(answer: BidLimit) -> Section:
    words = _VERDICTS[answer.verdict].format(limit=money(answer.limit))
    tone: Tone = "strong" if answer.verdict == "bid-up-to" else "check"
    blocks: list[Text | Bullets] = [Text(text=words, tone=tone)]
    if answer.limit is not None and answer.chance_of_loss is not None:
        fees = ", ".join(f"{n} {bare_sum(m)}" for n, m in answer.fees.items())
        blocks.append(
            Bullets(
                items=(
                    f"laid out in the end: {money(answer.outlay)}"
                    + (f" (fees: {fees})" if fees else ""),
                    f"chance of a loss there: {percent(answer.chance_of_loss)}",
                    f"expected profit there: {money(answer.expected_profit)}",
                )
            )
        )
    if answer.verdict == "do-not-bid" and answer.winning is not None:
        blocks.append(text("Even the least bid risks a loss more often than you accept.", "quiet"))
    if answer.winning is not None and answer.winning.minor > 0:
        taken = (
            f"{money(answer.winning)} is taken off because winning is news: the others bid less."
        )
        blocks.append(text(taken, "quiet"))
    return section("The bid", *blocks)


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
    words = f"Not stated: {', '.join(answer.unstated)}. Give low, likely and high, or nil = true."
    return section("The rest of the car", text(words, "check"))


def _cost(answer: BidLimit) -> Section:
    rows = tuple((words, bare_sum(answer.cost.quantile(q))) for q, words in _QUANTILES)
    note = f"{answer.cost.currency}, over every size of crash and kind of rules"
    return section("Restraint share", Table(rows=rows, right=(1,)), note=note)


def _drivers(answer: BidLimit) -> Section | None:
    shown = [d for d in answer.drivers if d.share > 0.0][:_SHOWN]
    if not shown:
        return None
    most = shown[0].share
    rows = tuple(
        (d.what, "#" * max(1, round(_BAR * d.share / most)), percent(d.share), bare_sum(d.mean))
        for d in shown
    )
    table = Table(rows=rows, head=("", "", "of the spread", "expected"), right=(2, 3))
    return section("What drives it", table)


def _worths(answer: BidLimit, catalog: Catalog) -> Section | None:
    shown = [w for w in answer.worths if w.worth.minor > 0][:_SHOWN]
    if not shown:
        return None
    rows = tuple(
        (
            bare_sum(w.worth),
            f"{w.minutes:.0f} min" if w.minutes else "a call",
            _named(w.what, catalog),
        )
        for w in shown
    )
    table = Table(rows=rows, head=("worth", "takes", "knowing"), right=(0,))
    return section("Worth knowing before the bid", table, note="at the going price, each by itself")


def _named(what: str, catalog: Catalog) -> str:
    return f"whether the {name(what, catalog)} fired" if "." in what else what


def _learned(factors: Mapping[str, float]) -> Section | None:
    if not factors:
        return None
    rows = tuple((n, f"x {f:.2f}") for n, f in factors.items())
    table = Table(rows=rows, head=("line", "corrected by"))
    return section("What your settled cars taught", table)


def tell_settled(
    case: Case, lines: Sequence[tuple[str, float, float | None]], comebacks: Sequence[str]
) -> Telling:
    """Return bid against outcome, line by line."""
    rows = tuple(
        (
            what,
            f"{expected:,.0f}",
            "open" if actual is None else f"{actual:,.0f}",
            _off(expected, actual),
        )
        for what, expected, actual in lines
    )
    table = Table(rows=rows, head=("line", "expected", "came out", "off by"), right=(1, 2, 3))
    back = Bullets(items=tuple(comebacks)) if comebacks else text("none entered", "quiet")
    return Telling(
        title=case.id,
        subtitle=case.title,
        sections=(section("Bid against outcome", table), section("What came back", back)),
    )


def _off(expected: float, actual: float | None) -> str:
    if actual is None or expected <= 0.0:
        return "-"
    return f"{100.0 * (actual / expected - 1.0):+.0f} %"


def tell_screened(done: Mapping[str, object]) -> Telling:
    """Return how many lots were screened and where the answers and the bad rows are."""
    lines = [f"{done['rows']:,} lots read, {done['patterns']:,} distinct ones worked out"]
    lines.append(f"written to {done['out']}")
    if done["resumed"]:
        lines.append(f"{done['resumed']} pieces were there from an earlier run")
    blocks: list[Bullets | Text] = [Bullets(items=tuple(lines))]
    if done["bad"]:
        words = f"{done['bad']:,} bad rows were skipped; {done['bad_file']} names each by line."
        blocks.append(text(words, "check"))
    return Telling(title="Screening", sections=(section("", *blocks),))
