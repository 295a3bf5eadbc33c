"""Where a circuit is at fault: the bench card of the next test first, then the tree."""

from collections.abc import Sequence

from squibwise.catalog.load import Catalog
from squibwise.model.case import Case
from squibwise.model.origin import Finding
from squibwise.model.trace import BenchCard, Effort, PlanNode, Trace
from squibwise.present.figures import minutes, money, percent
from squibwise.present.phrases import standing, tell_car, tell_findings
from squibwise.present.telling import (
    Block,
    Branch,
    Bullets,
    Entry,
    Section,
    Table,
    Telling,
    Text,
    Tree,
    filled,
    section,
)

CAUSES_SHOWN = 8
_ABOVE = "See the danger above."
_KEY_ON = "key-on"  # its caution is what holds the card, and is said there
POWER = {"off": "power off", "on": "power on", "any": ""}


def tell_trace(case: Case, trace: Trace, catalog: Catalog) -> Telling:
    """Return the next test, what may be wrong, and the plan behind it."""
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=(*tell_car(case), f"circuit {trace.loop}"),
        sections=filled(
            (
                tell_trace_shortly(trace),
                *tell_card(trace.next_test, (_ABOVE,) if trace.no_power else ()),
                _enter(case, trace),
                _causes(trace),
                _plan(trace),
                tell_findings((*case.findings, *trace.findings)),
            )
        ),
        closing=standing(catalog),
    )


def tell_trace_shortly(trace: Trace) -> Section:
    """Return the few lines that matter most."""
    ranked = sorted(trace.hypotheses, key=lambda h: -h.p)
    card = trace.next_test
    rows = [("most likely", f"{h.title or h.id} ({percent(h.p)})") for h in ranked[:2]]
    whose = [("whose code", f.message) for f in trace.findings if f.code == "code-of-several"]
    rows = [("it is back", f.message) for f in _returns(trace)[-1:]] + whose + rows
    rows += [("next", f"{card.title} ({tell_time(card)})")]
    if trace.comparison:
        rows += [("until it is fixed", f"{tell_ahead(trace)}, to be expected")]
    rows += [("danger", told) for told in (*trace.no_power, card.danger) if told]
    return section("In short", Table(rows=tuple(rows)))


def _returns(trace: Trace) -> list[Finding]:
    """Return what says that a repair did not hold; nothing once the fault is cured again."""
    open_still = trace.next_test.kind != "stop"
    return [f for f in trace.findings if f.code == "repair-did-not-hold" and open_still]


def _is_held(card: BenchCard, no_power: Sequence[str]) -> bool:
    """Is the card held because the car may not be switched on."""
    return bool(no_power) and any(s.power == "on" for s in card.steps)


def tell_time(card: BenchCard) -> str:
    """Return the work of a card, and the wait that comes on top of it."""
    hold = f", and {minutes(card.hold_minutes)} of waiting" if card.hold_minutes else ""
    return f"{minutes(card.minutes)}{hold}"


def tell_card(card: BenchCard, no_power: Sequence[str] = ()) -> tuple[Section | None, ...]:
    """Return a bench card: its steps, what its outcomes mean, why it is the one.

    Args:
        card: The card.
        no_power: Why the car may not be switched on now.
    """
    blocks: list[Block] = []
    held = _is_held(card, no_power)
    if held:
        blocks.append(Text(text="Not yet with the power on. " + " ".join(no_power), tone="alarm"))
    if card.cautions:
        cautions = tuple(c.text for c in card.cautions if not (held and c.id == _KEY_ON))
        blocks.append(Bullets(items=cautions, mark="!", tone="alarm"))
    if card.load:
        blocks.append(Text(text=card.load, tone="alarm"))
    steps = ((f"{n}.", POWER[s.power], s.text) for n, s in enumerate(card.steps, start=1))
    blocks.append(Table(rows=tuple(steps)))
    if card.needs:
        blocks.append(Text(text=f"Needs: {', '.join(card.needs)}."))
    if card.figure:
        blocks.append(Text(text=f"What separates the outcomes: {card.figure}."))
    outcomes = Table(rows=tuple(card.outcomes.items()), tone="strong")
    because = Bullets(items=tuple(b.text for b in card.because))
    return (
        section(f"Next: {card.title}", *blocks, note=f"{card.id}, {tell_time(card)}"),
        section("What it tells", outcomes) if card.outcomes else None,
        section("Why this one", because) if card.because else None,
    )


def _enter(case: Case, trace: Trace) -> Section | None:
    card = trace.next_test
    if not card.entry:
        return None
    words = [word if " " not in word else f"'{word}'" for word in card.outcomes]
    lines = [f"squibwise tried {case.id} {trace.loop} {word}" for word in words]
    if "substitute-load" in card.entry:
        lines += [f"squibwise loaded {case.id} {trace.loop} in --ohm 2.1   # out, when it is out"]
    return section("Write down how it came out", Entry(lines=tuple(lines)), note="and trace again")


def _causes(trace: Trace) -> Section:
    ranked = sorted(trace.hypotheses, key=lambda h: -h.p)
    rows = [(percent(h.p), h.id, h.title) for h in ranked[:CAUSES_SHOWN]]
    if len(ranked) > CAUSES_SHOWN:
        rest = sum(h.p for h in ranked[CAUSES_SHOWN:])
        rows.append((percent(rest), f"{len(ranked) - CAUSES_SHOWN} others", ""))
    causes = Table(rows=tuple(rows), right=(0,))
    unsure = Bullets(items=tuple(a.text for a in trace.not_settled))
    return section("What may be wrong", *((causes, unsure) if unsure.items else (causes,)))


def _plan(trace: Trace) -> Section:
    tree = Tree(root=_branch(trace.plan))
    rows = _all_as_minutes(trace)
    if trace.spent is not None:
        rows.append(("spent so far, by the figures of the cards", tell_effort(trace.spent)))
    if trace.foretold is not None:
        rows.append(("foretold before the first test", tell_effort(trace.foretold)))
        if trace.spent is not None and trace.foretold.minutes > 0.0:
            ratio = trace.spent.minutes / trace.foretold.minutes
            rows.append(("spent to foretold", f"{ratio:.2f}"))
    blocks: list[Block] = []
    if trace.comparison:
        blocks.append(_comparison(trace))
        blocks += _why_not_untested(trace)
    blocks += [Table(rows=tuple(rows)), tree] if rows else [tree]
    return section("The plan", *blocks, note="from here on, until fixed and verified")


def _all_as_minutes(trace: Trace) -> list[tuple[str, str]]:
    """Return what the plan comes to in the one sum that plans are compared by."""
    if not trace.comparison:
        return []
    expected, least = trace.expected_minutes, trace.lower_bound
    rows = [("work, waiting and parts, all counted as minutes", minutes(expected))]
    if minutes(least) != minutes(expected):
        rows.append(("the least that any plan can come to, counted so", minutes(least)))
    return rows


_UNTESTED = (
    "Fitting parts untested comes to less in the sum and is not proposed: no part is renewed "
    "before the fault is located, and one that goes because hands were there is not proved gone."
)
_NEEDLESS = "It would fit more parts that are needless."


def _why_not_untested(trace: Trace) -> list[Block]:
    """Return why fitting parts untested is not proposed where it comes to less."""
    effort = {a.id: a.effort for a in trace.comparison}
    untested, plan = effort.get("fit-parts"), effort.get("plan")
    if untested is None or plan is None or untested.minutes >= plan.minutes:
        return []
    more = f"{untested.needless:.1f}" > f"{plan.needless:.1f}"
    return [Text(text=_UNTESTED), *([Text(text=_NEEDLESS)] if more else [])]


def _comparison(trace: Trace) -> Table:
    head = ("", "work", "waiting", "parts", "fitted", "needless")
    rows = [
        (
            a.title,
            minutes(a.effort.work_minutes),
            minutes(a.effort.wait_minutes),
            money(a.effort.money) if a.effort.money else "not known",
            f"{a.effort.parts:.1f}",
            f"{a.effort.needless:.1f}",
        )
        for a in trace.comparison
    ]
    return Table(rows=tuple(rows), head=head, right=(1, 2, 3, 4, 5))


def tell_ahead(trace: Trace) -> str:
    """Return what the plan is expected to take; nothing once there is none."""
    return tell_effort(trace.comparison[0].effort) if trace.comparison else ""


def tell_effort(effort: Effort) -> str:
    """Return the work, the wait and the money that something takes."""
    time = f"{minutes(effort.work_minutes)} of work, {minutes(effort.wait_minutes)} of waiting"
    return f"{time}, {money(effort.money)} of parts" if effort.money else time


def _branch(node: PlanNode, outcome: str = "") -> Branch:
    """Return the plan as a tree; branches under 2% are folded."""
    branches = [_branch(child, word) for word, child in node.branches.items()]
    if node.folded > 0.0:
        branches.append(Branch(text="", note=f"(others, {percent(node.folded)}, folded)"))
    return Branch(
        word=outcome,
        text=node.title or node.action,
        note=percent(node.p),
        branches=tuple(branches),
    )
