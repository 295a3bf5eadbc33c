"""An answer as a notebook shows it: a telling laid out in Markdown, nothing decided or worded."""

import re
from collections.abc import Iterator, Sequence

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError
from squibwise.model.belief import Assessment
from squibwise.model.bid import BidLimit
from squibwise.model.case import Case
from squibwise.model.cost import Cost
from squibwise.model.proof import Overview, Verdict
from squibwise.model.trace import Trace
from squibwise.model.work import Work
from squibwise.present.tell_assessment import tell_assessment
from squibwise.present.tell_bid import tell_bid
from squibwise.present.tell_brief import make_brief, tell_brief
from squibwise.present.tell_checks import tell_verdicts
from squibwise.present.tell_cost import tell_cost
from squibwise.present.tell_trace import tell_trace
from squibwise.present.tell_work import tell_work
from squibwise.present.telling import (
    Block,
    Branch,
    Bullets,
    Entry,
    Section,
    Step,
    Steps,
    Table,
    Telling,
    Text,
    Tone,
    Tree,
)

_LOUD: dict[Tone, str] = {"plain": "", "quiet": "", "strong": "**", "check": "**", "alarm": "**"}
_SPECIAL = re.compile(r"([\\*_\[\]<>|#])")
_CODE = re.compile(r"(`[^`]*`)")

Answer = Assessment | Work | Trace | Overview | BidLimit | Sequence[Cost] | Sequence[Verdict]


class Shown(msgspec.Struct, frozen=True):
    """An answer that a notebook shows by itself."""

    telling: Telling

    def _repr_markdown_(self) -> str:
        return write_markdown(self.telling)


def show(case: Case, answer: Answer, catalog: Catalog) -> Shown:
    """Return an answer of ``squibwise.case`` so that a notebook shows it in words.

    Args:
        case: The case it was asked of.
        answer: What a function of ``squibwise.case`` returned.
        catalog: Names of the parts.

    Raises:
        InputError: Nobody tells such an answer.
    """
    return Shown(_tell(case, answer, catalog))


def _tell(case: Case, answer: Answer, catalog: Catalog) -> Telling:
    match answer:
        case Assessment():
            return tell_assessment(case, answer, catalog)
        case Work():
            return tell_work(case, answer, (), catalog)
        case Trace():
            return tell_trace(case, answer, catalog)
        case Overview():
            return tell_brief(case, make_brief(case, answer, catalog), case.id, catalog)
        case BidLimit():
            return tell_bid(case, answer, catalog)
    return _tell_list(case, answer, catalog)


def _tell_list(case: Case, answer: Sequence[Cost] | Sequence[Verdict], catalog: Catalog) -> Telling:
    costs = [one for one in answer if isinstance(one, Cost)]
    verdicts = [one for one in answer if isinstance(one, Verdict)]
    if costs:
        return tell_cost(case, costs, catalog)
    if verdicts:
        return tell_verdicts(case, verdicts, catalog)
    raise InputError("there is nothing to show.", remedy="Show what a function of case returned.")


def write_markdown(telling: Telling) -> str:
    """Return a telling as Markdown."""
    lines = [f"## {_plain(telling.title)}"] if telling.title else []
    lines += [_plain(telling.subtitle)] if telling.subtitle else []
    lines += [f"*{_plain(line)}*" for line in telling.about]
    lines += [part for one in telling.sections for part in _section(one)]
    lines += [_loud(one.text, one.tone) for one in telling.closing]
    return "\n\n".join(lines) + "\n"


def _section(one: Section) -> Iterator[str]:
    if one.heading:
        note = f" *{_plain(one.note)}*" if one.note else ""
        yield f"{'#' * (2 + one.level)} {_plain(one.heading)}{note}"
    for block in one.blocks:
        yield _block(block)


def _block(block: Block) -> str:
    match block:
        case Text():
            return _loud(block.text, block.tone)
        case Bullets():
            return "\n".join(f"- {_loud(item, block.tone)}" for item in block.items)
        case Table():
            return _table(block)
        case Steps():
            return "\n".join(_step(step) for step in block.steps)
        case Entry():
            return "\n".join(("```", *block.lines, "```"))
        case Tree():
            return "\n".join(_branch(block.root, 0))


def _table(table: Table) -> str:
    width = len(table.rows[0]) if table.rows else len(table.head)
    rule = ("---:" if n in table.right else ":---" for n in range(width))
    cells = (
        (_loud(c, table.tone) if n == 0 else _plain(c) for n, c in enumerate(row))
        for row in table.rows
    )
    head = (_plain(word) for word in table.head or ("",) * width)
    return "\n".join(f"| {' | '.join(row)} |" for row in (head, rule, *cells))


def _step(step: Step) -> str:
    number = f"{step.number} " if step.number else ""
    return f"- [{'x' if step.done else ' '}] {number}{_plain('; '.join((step.title, *step.notes)))}"


def _branch(branch: Branch, depth: int) -> Iterator[str]:
    word = f"**{_plain(branch.word)}**: " if branch.word else ""
    note = f" *{_plain(branch.note)}*" if branch.note else ""
    yield f"{'  ' * depth}- {word}{_plain(branch.text)}{note}"
    for one in branch.branches:
        yield from _branch(one, depth + 1)


def _loud(words: str, tone: Tone) -> str:
    mark = _LOUD[tone] if words.strip() else ""
    return f"{mark}{_plain(words)}{mark}"


def _plain(words: str) -> str:
    """Return words that Markdown leaves as they are, commands in their own type."""
    parts = _CODE.split(" ".join(words.split()))
    return "".join(p if p.startswith("`") else _SPECIAL.sub(r"\\\1", p) for p in parts)
