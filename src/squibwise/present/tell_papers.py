"""Papers for the bench and for an inspection: tags for parts, cards of tests, the pack."""

from collections.abc import Sequence

import msgspec

from squibwise.catalog.load import Catalog, component_title, holds_charge
from squibwise.model.case import Case
from squibwise.model.proof import ProofRecord
from squibwise.model.trace import Trace
from squibwise.model.work import Operation, Work
from squibwise.present.figures import cut, paper_size
from squibwise.present.phrases import name, tell_car
from squibwise.present.record_content import Content, StatedPaper, StatedPart, read_content
from squibwise.present.tell_record_work import tell_ground
from squibwise.present.tell_trace import tell_card
from squibwise.present.telling import Section, Step, Steps, Table, Telling, Text, filled, section

_LONGEST = 70
_OUT = "out"


class Tag(msgspec.Struct, frozen=True, kw_only=True):
    """A tag for one bag.

    Attributes:
        title: What is in it.
        lines: What else is on it, with room to write.
        alarm: What its hands must know; empty when it holds nothing that burns.
        code: What its square code holds.
    """

    title: str
    lines: tuple[str, ...]
    alarm: str = ""
    code: str


class Paper(msgspec.Struct, frozen=True, kw_only=True):
    """One paper.

    Attributes:
        telling: What it tells.
        paper: Size of the paper.
        notice: At the bottom of every page.
        tags: Tags, before the sections.
        breaks: Sections that begin a new page, by index.
        signing: Lines to sign on at the end.
    """

    telling: Telling
    paper: str
    notice: str
    tags: tuple[Tag, ...] = ()
    breaks: tuple[int, ...] = ()
    signing: tuple[str, ...] = ()


def tell_tags(case: Case, todo: Work, catalog: Catalog) -> Paper:
    """Return a tag for everything that is taken out, bagged and labelled."""
    outs = [o for v in todo.visits for a in v.areas for o in a.operations if o.action == _OUT]
    tags = tuple(_tag(case, o, catalog) for o in outs)
    none = section("", Text(text="Nothing is to be taken out.")) if not tags else None
    telling = Telling(title=f"Tags: {case.id}", about=tell_car(case), sections=filled((none,)))
    return Paper(telling=telling, paper=paper_size(case.region), notice=_notice(catalog), tags=tags)


def _tag(case: Case, operation: Operation, catalog: Catalog) -> Tag:
    burns = any(holds_charge(c, catalog) for c in operation.components)
    held = ", ".join(component_title(c, catalog) for c in operation.components)
    return Tag(
        title=cut(operation.title.rpartition(": ")[2], _LONGEST),
        lines=(
            cut(held, 2 * _LONGEST),
            f"{case.id}, operation {operation.n}",
            "Out on ____________ by ____________",
            "Old number ______________________",
        ),
        alarm="LIVE until each stage is proven spent. Cover up, away from people." if burns else "",
        code=f"{case.id} {operation.n} {operation.id}"[:90],
    )


def tell_cards(case: Case, traces: Sequence[Trace], catalog: Catalog) -> Paper:
    """Return the bench card of the next test of each circuit, a page each, with boxes to tick."""
    cards = [_card_sections(case, t, catalog) for t in traces]
    starts = [sum(len(c) for c in cards[:n]) for n in range(1, len(cards))]
    none = (section("", Text(text="No circuit is to be traced.")),) if not cards else ()
    telling = Telling(
        title=f"Bench cards: {case.id}",
        about=tell_car(case),
        sections=tuple(s for c in cards for s in c) + none,
    )
    return Paper(
        telling=telling,
        paper=paper_size(case.region),
        notice=_notice(catalog),
        breaks=tuple(starts),
    )


def _card_sections(case: Case, trace: Trace, catalog: Catalog) -> tuple[Section, ...]:
    outcomes = Steps(
        steps=tuple(
            Step(done=False, title=f"{word}: {means}")
            for word, means in trace.next_test.outcomes.items()
        )
    )
    danger = trace.next_test.danger
    part = name(trace.loop.partition("/")[0], catalog)
    blocks = [Text(text=danger, tone="alarm")] if danger else []
    head = section(f"Circuit {trace.loop}: {part}", *blocks)
    enter = Text(text=f"To be entered: squibwise tried {case.id} {trace.loop} and the ticked word.")
    signed = Text(text="Done by ______________________   Day and time ______________________")
    told = trace.next_test.outcomes
    ticks = section("What came of it", outcomes, enter, signed) if told else None
    return (head, *filled((*tell_card(trace.next_test, trace.no_power)[:1], ticks)))


def tell_pack(record: ProofRecord, catalog: Catalog) -> Paper:
    """Return the pack for an inspection: what the region asks for, receipts, a declaration."""
    content = read_content(record)
    told = (
        _law(content),
        section("Papers that are asked for", Steps(steps=tuple(map(_paper, content.papers)))),
        _receipts(content.parts),
        _declaration(record, content),
    )
    sections = filled(told)
    telling = Telling(
        title=f"Pack for an inspection: {record.case_id}",
        about=(
            f"{content.car.vin or 'VIN not given'}, region {content.region or 'not stated'}, "
            f"record of {record.issued_on}, digest {record.digest[:24]} ...",
        ),
        sections=sections,
    )
    return Paper(
        telling=telling,
        paper=paper_size(content.region),
        notice=_notice(catalog),
        breaks=(len(sections) - 1,),
        signing=("Name and signature of the owner", "Place and day"),
    )


def _law(content: Content) -> Section | None:
    told = tuple(Text(text=f"{n.text} {tell_ground(n)}".strip()) for n in content.work.notices)
    return (
        section(f"Law and custom: {content.region or 'no region stated'}", *told) if told else None
    )


def _paper(paper: StatedPaper) -> Step:
    stated = f"stated by {paper.by}, not shown" if paper.by else "stated, not shown"
    by = stated if paper.grade == "stated" else ""
    notes = {"shown": "in the record", "stated": by, "open": "to be added"}
    return Step(done=paper.grade == "shown", title=paper.text, notes=(notes[paper.grade],))


def _receipts(parts: Sequence[StatedPart]) -> Section | None:
    rows = tuple(
        (str(n), p.title, p.number or "?", p.seller or "?", p.donor_vin or p.provenance, "")
        for n, p in enumerate(parts, start=1)
    )
    head = ("No.", "Part", "Number", "Seller", "Donor, or origin", "Receipt No.")
    table = Table(rows=rows, head=head, widths=(0, 4, 3, 3, 4, 2))
    words = Text(text="Write the number of the part on its receipt.", tone="quiet")
    return section("Which receipt belongs to which part", words, table) if rows else None


def _declaration(record: ProofRecord, content: Content) -> Section:
    texts = (
        f"I own the car {content.car.vin or '(VIN) ______________________'} and had its restraint "
        f"system restored. The record of case {record.case_id}, issued {record.issued_on} with the "
        f"digest {record.digest}, is the one that belongs to this car.",
        "The parts in the list before were bought as the receipts say. I know of no other part of "
        "the restraint system that was exchanged, and of nothing about it that was left out.",
        "I bought the car on ____________ from ______________________________, title or "
        "certificate number ____________________, odometer ____________.",
    )
    return section("Declaration of the owner", *(Text(text=t) for t in texts))


def _notice(catalog: Catalog) -> str:
    return catalog.record_texts["footer"].text
