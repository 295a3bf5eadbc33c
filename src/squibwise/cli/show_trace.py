"""Show where a circuit is at fault: the bench card of the next test first, then the tree."""

from rich.console import RenderableType
from rich.padding import Padding
from rich.text import Text
from rich.tree import Tree

from squibwise.cli import page
from squibwise.model.case import Case
from squibwise.model.trace import BenchCard, Hypothesis, PlanNode, Trace

_SHOWN = 8


def blocks(case: Case, trace: Trace) -> list[RenderableType]:
    """Return the next test, what may be wrong, and the plan behind it."""
    shown = [*page.title(case), page.para(f"circuit {trace.loop}")]
    shown += _card(trace.next_test)
    shown += _enter(trace)
    shown += _hypotheses(trace.hypotheses)
    shown += [page.heading("The plan", "until fixed and verified"), page.rows(_bracket(trace))]
    shown.append(Padding(tree(trace.plan), (0, 0, 0, page.INDENT)))
    return shown + page.findings((*case.findings, *trace.findings)) + page.standing()


def _card(card: BenchCard) -> list[RenderableType]:
    hold = f", and {page.minutes(card.hold_minutes)} of waiting" if card.hold_minutes else ""
    note = f"{card.id}, {page.minutes(card.minutes)}{hold}"
    shown: list[RenderableType] = [page.heading(f"Next: {card.title}", note)]
    shown += [page.bullets((c.text for c in card.cautions), mark="!", style="bold red")]
    shown += [page.rows((f"{n}.", step) for n, step in enumerate(card.how, start=1))]
    if card.needs:
        shown.append(page.para(f"Needs: {', '.join(card.needs)}."))
    if card.outcomes:
        shown += [page.heading("What it tells"), page.rows(card.outcomes.items(), style="bold")]
    if card.because:
        shown += [page.heading("Why this one"), page.bullets(b.text for b in card.because)]
    return shown


def _enter(trace: Trace) -> list[RenderableType]:
    card = trace.next_test
    if not card.outcomes:
        return []
    first, *others = card.outcomes
    lines = [
        "[[evidence]]",
        'kind = "test-outcome"',
        f'loop = "{trace.loop}"',
        f'test = "{card.id}"',
        f'outcome = "{first}"' + (f"    # or {', '.join(others)}" if others else ""),
    ]
    head = page.heading("Write the outcome into case.toml", "and trace again")
    return [head, page.para("\n".join(lines), indent=4)]


def _hypotheses(found: tuple[Hypothesis, ...]) -> list[RenderableType]:
    ranked = sorted(found, key=lambda h: -h.p)
    table = [(page.percent(h.p), h.id, h.title) for h in ranked[:_SHOWN]]
    rest = sum(h.p for h in ranked[_SHOWN:])
    if len(ranked) > _SHOWN:
        table.append((page.percent(rest), f"{len(ranked) - _SHOWN} others", ""))
    return [page.heading("What may be wrong"), page.rows(table, right=(0,))]


def _bracket(trace: Trace) -> list[tuple[str, str]]:
    return [
        ("expected", f"{page.minutes(trace.expected_minutes)} ({trace.method})"),
        ("no plan can expect less than", page.minutes(trace.lower_bound)),
        ("always taking the greedy test", page.minutes(trace.greedy_minutes)),
    ]


def tree(node: PlanNode, outcome: str = "") -> Tree:
    """Return the plan as a tree; branches under 2% are folded."""
    label = Text(f"{outcome}: " if outcome else "", style="bold")
    label.append(node.title or node.action, style="not bold")
    label.append(f"  {page.percent(node.p)}, {page.minutes(node.minutes)} to go", style="dim")
    branch = Tree(label)
    for word, child in node.branches.items():
        branch.add(tree(child, word))
    if node.folded > 0.0:
        branch.add(Text(f"(others, {page.percent(node.folded)}, folded)", style="dim"))
    return branch
