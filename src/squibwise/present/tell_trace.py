"""Where a circuit is at fault: the bench card of the next test first, then the tree."""

from squibwise.catalog.load import Catalog
from squibwise.model.case import Case
from squibwise.model.trace import BenchCard, Hypothesis, PlanNode, Trace
from squibwise.present.figures import minutes, percent
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


def tell_trace(case: Case, trace: Trace, catalog: Catalog) -> Telling:
    """Return the next test, what may be wrong, and the plan behind it."""
    return Telling(
        title=case.id,
        subtitle=case.title,
        about=(*tell_car(case), f"circuit {trace.loop}"),
        sections=filled(
            (
                tell_trace_shortly(trace),
                *_card(trace.next_test),
                _enter(trace),
                _causes(trace.hypotheses),
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
    rows += [("next", f"{card.title} ({_time(card)})")]
    rows += [("until it is fixed", f"{minutes(trace.expected_minutes)} to be expected")]
    if card.cautions:
        rows.append(("danger", card.cautions[0].text))
    return section("In short", Table(rows=tuple(rows)))


def _time(card: BenchCard) -> str:
    hold = f", and {minutes(card.hold_minutes)} of waiting" if card.hold_minutes else ""
    return f"{minutes(card.minutes)}{hold}"


def _card(card: BenchCard) -> tuple[Section | None, ...]:
    blocks: list[Block] = []
    if card.cautions:
        cautions = tuple(c.text for c in card.cautions)
        blocks.append(Bullets(items=cautions, mark="!", tone="alarm"))
    blocks.append(Table(rows=tuple((f"{n}.", step) for n, step in enumerate(card.how, start=1))))
    if card.needs:
        blocks.append(Text(text=f"Needs: {', '.join(card.needs)}."))
    outcomes = Table(rows=tuple(card.outcomes.items()), tone="strong")
    because = Bullets(items=tuple(b.text for b in card.because))
    return (
        section(f"Next: {card.title}", *blocks, note=f"{card.id}, {_time(card)}"),
        section("What it tells", outcomes) if card.outcomes else None,
        section("Why this one", because) if card.because else None,
    )


def _enter(trace: Trace) -> Section | None:
    card = trace.next_test
    if not card.outcomes:
        return None
    first, *others = card.outcomes
    lines = (
        "[[evidence]]",
        'kind = "test-outcome"',
        f'loop = "{trace.loop}"',
        f'test = "{card.id}"',
        f'outcome = "{first}"' + (f"    # or {', '.join(others)}" if others else ""),
    )
    return section("Write the outcome into case.toml", Entry(lines=lines), note="and trace again")


def _causes(found: tuple[Hypothesis, ...]) -> Section:
    ranked = sorted(found, key=lambda h: -h.p)
    rows = [(percent(h.p), h.id, h.title) for h in ranked[:CAUSES_SHOWN]]
    if len(ranked) > CAUSES_SHOWN:
        rest = sum(h.p for h in ranked[CAUSES_SHOWN:])
        rows.append((percent(rest), f"{len(ranked) - CAUSES_SHOWN} others", ""))
    return section("What may be wrong", Table(rows=tuple(rows), right=(0,)))


def _plan(trace: Trace) -> Section:
    rows = (
        ("expected", minutes(trace.expected_minutes)),
        ("no plan can expect less than", minutes(trace.lower_bound)),
        ("always taking the test that tells most per minute", minutes(trace.greedy_minutes)),
    )
    tree = Tree(root=_branch(trace.plan))
    return section("The plan", Table(rows=rows), tree, note="until fixed and verified")


def _branch(node: PlanNode, outcome: str = "") -> Branch:
    """Return the plan as a tree; branches under 2% are folded."""
    branches = [_branch(child, word) for word, child in node.branches.items()]
    if node.folded > 0.0:
        branches.append(Branch(text="", note=f"(others, {percent(node.folded)}, folded)"))
    return Branch(
        word=outcome,
        text=node.title or node.action,
        note=f"{percent(node.p)}, {minutes(node.minutes)} to go",
        branches=tuple(branches),
    )
