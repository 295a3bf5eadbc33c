"""What the bench shows of a car at a glance: its picture, the line of the job, the evidence."""

from collections.abc import Iterable, Sequence
from itertools import groupby

import msgspec

from squibwise.catalog.load import Catalog, holds_charge
from squibwise.model.belief import Assessment, ComponentBelief, NextLook
from squibwise.model.case import Case
from squibwise.model.evidence import DoneWork, Evidence, Impact, Look, Passed, Photo, TestOutcome
from squibwise.model.names import Side, split_component, split_loop
from squibwise.model.proof import Overview
from squibwise.model.report import Report
from squibwise.present.figures import counted, moment, percent
from squibwise.present.phrases import LIKELY, in_words, name, tell_states
from squibwise.present.tell_assessment import (
    doubtful_parts,
    is_settled,
    likeliest,
)
from squibwise.present.tell_brief import Brief
from squibwise.present.tell_evidence import tell_evidence
from squibwise.present.tell_orders import group_orders, may_be_added, open_questions, order_now
from squibwise.present.tell_trouble import by_state
from squibwise.present.tell_visits import is_left_closed

LIVE = "live"
LETTERS = {
    "sound": "",
    LIVE: "L",
    "fired": "F",
    "faulty": "E",
    "damaged": "D",
    "missing": "M",
    "unfit": "U",
}
"""Letter of each state on the picture; a live part is a sound one that holds a charge."""


class Mark(msgspec.Struct, frozen=True, kw_only=True):
    """One component on the picture of a car.

    Attributes:
        component: Its id.
        place: Where it is.
        kind: What it is.
        title: In words.
        state: Its likeliest state now, or ``live`` for a sound part that holds a charge.
        letter: Of the state; empty for a sound part.
        is_settled: No doubt is left about it.
        watched: It sets codes, so that it is always drawn; others only when there is something.
        told: Its states with their chances.
    """

    component: str
    place: str
    kind: str
    title: str
    state: str
    letter: str
    is_settled: bool
    watched: bool
    told: str


class Strike(msgspec.Struct, frozen=True, kw_only=True):
    """Where the car was likely struck.

    Attributes:
        zone: The zone.
        clock: Direction of the force, 12 = from the front; None when nobody judged it.
        told: In words, with the chance.
    """

    zone: str
    clock: int | None
    told: str


class CarPicture(msgspec.Struct, frozen=True, kw_only=True):
    """A car seen from above."""

    drive_hand: Side
    marks: tuple[Mark, ...]
    strikes: tuple[Strike, ...]


class JobStep(msgspec.Struct, frozen=True, kw_only=True):
    """One step on the line of the job, with how much of it is open and what that is.

    Attributes:
        id: Of the step.
        title: In a word.
        open: How much of it; None = not yet worked out.
        told: What that is.
    """

    id: str
    title: str
    open: int | None
    told: str


class EvidenceCard(msgspec.Struct, frozen=True, kw_only=True):
    """One piece of evidence, as it came.

    Attributes:
        id: Its id.
        kind: What it is, in a word.
        when: To the minute; empty when not stated.
        by: Who; empty when nobody is named.
        told: In a sentence.
        component: What it is about; empty for the car as a whole.
        file: Path of its file in the case; empty when it has none.
    """

    id: str
    kind: str
    when: str
    by: str
    told: str
    component: str = ""
    file: str = ""


def make_picture(case: Case, states: Assessment, catalog: Catalog) -> CarPicture:
    """Return what a car seen from above shows."""
    settled = catalog.fact("present.settled").number()
    marks = tuple(make_mark(c, settled, catalog) for c in states.components)
    if not case.evidence:
        marks = tuple(_untold(m, catalog) for m in marks)
    struck = [z for z, p in states.event.zones.items() if p >= LIKELY]
    strikes = tuple(
        Strike(
            zone=zone,
            clock=next((e.clock for e in _impacts(case) if e.zone == zone and e.clock), None),
            told=f"struck {in_words(zone)} ({percent(states.event.zones[zone])})",
        )
        for zone in struck
    )
    return CarPicture(drive_hand=case.car.drive_hand, marks=marks, strikes=strikes)


def _untold(mark: Mark, catalog: Catalog) -> Mark:
    """Return a mark of a car of which nothing is known: live, and in doubt."""
    shown = LIVE if catalog.kinds[mark.kind].fires else "sound"
    return msgspec.structs.replace(mark, state=shown, letter=LETTERS[shown], is_settled=False)


def _impacts(case: Case) -> Iterable[Impact]:
    return (e for e in case.evidence if isinstance(e, Impact))


def make_mark(belief: ComponentBelief, settled: float, catalog: Catalog) -> Mark:
    """Return one component as the picture shows it."""
    split = split_component(belief.id)
    kind = catalog.kinds[split.kind]
    state, _ = likeliest(belief.now)
    shown = LIVE if state == "sound" and kind.fires else state
    return Mark(
        component=belief.id,
        place=split.place,
        kind=split.kind,
        title=name(belief.id, catalog),
        state=shown,
        letter=LETTERS[shown],
        is_settled=is_settled(belief, settled),
        watched=kind.circuit and split.kind != "wiring",
        told=tell_states(by_state(belief.now)),
    )


STEPS = ("look", "trace", "ask", "order", "work", "prove")
"""The line of the job."""


_HANGING = ("trace", "order")
"""Steps that hang on what is known of the car."""


def make_job(whole: Overview, catalog: Catalog, *, is_known: bool = True) -> tuple[JobStep, ...]:
    """Return the line of the job: what each of its steps has open.

    Args:
        whole: Everything that is answered about the car.
        catalog: Names.
        is_known: Anything is known of it; else nobody can say that no circuit or order is open.
    """
    doubtful = len(doubtful_parts(whole.states, catalog))
    faults = len(open_circuits(whole))
    asked = len(open_questions(whole.todo))
    now, added = len(group_orders(order_now(whole.todo))), len(may_be_added(whole.todo))
    due = sum(not o.done and not is_left_closed(o) for o in whole.todo.operations)
    gates = sum(g.open for g in whole.gates)
    counts = (
        (doubtful, f"{counted(doubtful, 'part')} in doubt"),
        (faults, f"{counted(faults, 'circuit')} at fault"),
        (asked, f"{counted(asked, 'question')} open"),
        (now, f"{counted(now, 'line')} to order, {added} perhaps"),
        (due, f"{counted(due, 'operation')} to do"),
        (gates, f"{counted(gates, 'gate')} open"),
    )
    return tuple(
        JobStep(
            id=step,
            title=step.capitalize(),
            open=count if is_known or step not in _HANGING else None,
            told=told,
        )
        for step, (count, told) in zip(STEPS, counts, strict=True)
    )


def wait_for_job() -> tuple[JobStep, ...]:
    """Return the line of the job before it is known what is open."""
    return tuple(JobStep(id=step, title=step.capitalize(), open=None, told="") for step in STEPS)


def open_circuits(whole: Overview) -> tuple[str, ...]:
    """Return the components whose circuits are still to be traced."""
    items = (i for i in whole.todo.items if i.action == "trace" and not i.done)
    return tuple(i.component for i in items if i.component)


def page_of_look(look: NextLook) -> str:
    """Return the page of a car on which a look is written down.

    A scan is handed in; a load in place of the device is a card of its circuit.
    """
    pages = {"second-scan": "add", "substitute-load": f"trace/{look.component}"}
    return pages.get(look.look, f"part/{look.component}")


def tell_nexts(brief: Brief, whole: Overview) -> list[tuple[str, str, str]]:
    """Return what to do next: in a word, in a sentence, and on which page of the car."""
    looks, circuits = whole.states.next_looks, brief.circuits
    first = circuits[0] if circuits else None
    titles = {"trace": first.title, "renew": first.located} if first else {}
    card = f"trace/{first.loop}" if first else "trace"
    pages = {
        "ask": "ask",
        "trace": card,
        "renew": card,
        "look": page_of_look(looks[0]) if looks else "look",
        "do": "work",
    }
    told = (one.partition(": ") for one in brief.next)
    return [(word, titles.get(word, text), pages[word]) for word, _, text in told]


def may_hurt(component: str, states: Assessment, catalog: Catalog) -> bool:
    """Return whether a part holds a charge that is not known to be gone."""
    belief = states.get(component)
    return belief is not None and holds_charge(component, catalog) and belief.now.missing < LIKELY


def make_cards(case: Case, catalog: Catalog) -> tuple[EvidenceCard, ...]:
    """Return the evidence in the order it came, a card each."""
    found: list[EvidenceCard] = []
    for ticks, group in groupby(case.evidence, lambda e: _is_tick(e, catalog)):
        entries = list(group)
        found += (
            [_tell_ticks(entries)] if ticks else [_card(e, case.measures, catalog) for e in entries]
        )
    return tuple(found)


def _is_tick(one: Evidence, catalog: Catalog) -> bool:
    """Tell whether an entry is a tick of the work list: the history and the work tell those."""
    if isinstance(one, DoneWork):
        return one.item is not None
    if not isinstance(one, Passed) or one.result != "passed" or ":" not in one.what:
        return False
    return one.what.removeprefix("step:") not in catalog.tasks.gates


def _tell_ticks(entries: Sequence[Evidence]) -> EvidenceCard:
    """Return one card for operations that were ticked one after the other."""
    last = entries[-1]
    return EvidenceCard(
        id="",
        kind="work",
        when=moment(last.time),
        by=getattr(last, "by", None) or "",
        told=f"{counted(len(entries), 'operation')} ticked",
        component="",
        file="",
    )


def _card(one: Evidence, region: str | None, catalog: Catalog) -> EvidenceCard:
    tag = str(one.__struct_config__.tag)
    file = one.origin.file if isinstance(one, Report) else getattr(one, "file", None)
    return EvidenceCard(
        id=one.id,
        kind=in_words(tag),
        when=moment(one.time),
        by=getattr(one, "by", None) or one.origin.person or "",
        told=_tell_card(one, region, catalog),
        component=getattr(one, "component", None) or "",
        file=file or "",
    )


def _tell_card(one: Evidence, region: str | None, catalog: Catalog) -> str:
    """Return a piece of evidence in a sentence; looks and tests by what they are called."""
    if isinstance(one, Look):
        word = catalog.looks(split_component(split_loop(one.component)[0]).kind).get(one.seen)
        note = f". {one.note}" if one.note else ""
        return f"{one.component}: seen: {word.text}{note}" if word else tell_evidence(one, region)
    if isinstance(one, TestOutcome):
        return f"{one.loop}: {_test_title(one, catalog)}: {in_words(one.outcome)}"
    if isinstance(one, Passed):
        note = f". {one.note}" if one.note else ""
        return f"{_signed_title(one.what, catalog)}. {one.result.capitalize()}{note}"
    if isinstance(one, DoneWork) and one.component and (one.item or "").startswith(one.component):
        return f"{one.component} {one.what}"
    if isinstance(one, Photo):
        note = f". {one.note}" if one.note else ""
        return f"photograph of {one.component or one.operation or 'the car'}{note}"
    return tell_evidence(one, region)


def _signed_title(word: str, catalog: Catalog) -> str:
    """Return what a signature is under: a step of the work by its title, else in words."""
    step = catalog.tasks.steps.get(word.removeprefix("step:"))
    if step is not None and word.startswith("step:"):
        return step.title
    return word if ":" in word else in_words(word)


def _test_title(one: TestOutcome, catalog: Catalog) -> str:
    """Return what a test or repair of a circuit is called on its bench card."""
    split = split_component(split_loop(one.loop)[0])
    chain = catalog.loops.chain(split.kind, split.place)
    kind = catalog.kinds[split.kind].title
    titles = {e.id: e.title.format(kind=kind) for e in chain.element} if chain else {}
    point = one.test.partition(":")[2]
    book = catalog.loops
    for id, title in (
        *((t.id, t.title) for t in book.tests),
        *((r.id, r.title) for r in book.repairs),
    ):
        if id.replace("{point}", point) == one.test:
            return title.format(element=titles.get(point or "device", "the part"))
    return in_words(one.test)
