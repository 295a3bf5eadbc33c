"""The pages of a record: one that a buyer must know, one of parts and checks, one for a reader."""

from typing import Literal

import msgspec

from squibwise.model.evidence import Passed
from squibwise.model.names import split_component
from squibwise.model.proof import ProofRecord
from squibwise.present.figures import cut, listed, moment, paper_size
from squibwise.present.record_content import (
    Content,
    StatedAnswer,
    StatedPart,
    StatedPhoto,
    read_content,
)
from squibwise.present.record_words import list_notes, tell_word
from squibwise.present.tell_record_annex import tell_annex, tell_signature
from squibwise.present.tell_record_front import (
    LEGEND,
    MOST_MARKS,
    in_columns,
    list_shown,
    state_of,
    tell_car_of,
    tell_first_page,
)
from squibwise.present.tell_to_know import tell_to_know
from squibwise.present.telling import (
    Section,
    Table,
    Telling,
    Text,
    filled,
    section,
)
from squibwise.prove.sealing import fingerprint, in_quotes

Form = Literal["record", "annex", "inspector", "insurer", "buyer"]
FORMS: tuple[Form, ...] = ("record", "annex", "inspector", "insurer", "buyer")
READERS: tuple[Form, ...] = ("inspector", "insurer", "buyer")
LONGEST_TITLE, LONGEST_HEADER, LONGEST_ANSWER = 90, 48, 260
MOST_ABOUT = 3


class Mark(msgspec.Struct, frozen=True, kw_only=True):
    """One component on the drawing of the car.

    Attributes:
        number: What the list beside the drawing calls it by.
        place: Where it sits: a seat, a side or a zone.
        state: ``mended`` (fired and replaced), ``fired`` (and not replaced), ``perhaps`` (may have
            fired) or ``replaced`` (and is not held to have fired).
    """

    number: int
    place: str
    state: str


class Picture(msgspec.Struct, frozen=True, kw_only=True):
    """One photograph with what is said below it."""

    file: str
    caption: str


class Sheet(msgspec.Struct, frozen=True, kw_only=True):
    """The pages of a record: the telling, and what stands around it on paper.

    Attributes:
        telling: What is told, in order.
        name: Title of the document.
        issued: Day of issue, ISO.
        paper: Size of the paper.
        mark: What stands across every page; empty when nothing does.
        header: Left and right at the top of every page.
        footer: At the bottom of every page: the notice, then the day and the digest.
        page: Words around the number of the page and their count.
        marks: Components on the drawing of the car.
        legend: What the four marks mean, in the order of ``Mark.state``.
        drive_hand: Side the driver sits on, for the drawing.
        lead: So many sections stand before the drawing.
        beside: Sections up to this one stand beside the drawing.
        front: So many of the first sections are set small, before the annex.
        breaks: Sections that begin a new page, by index.
        signing: The box that ends the first page: its first line, names of the lines to sign on.
        checking: How to check it, in that box.
        digest: What the digest is over, and the digest.
        code: What the square code in the box holds.
        sign_after: The box stands after so many sections.
        pictures: Photographs, and their heading.
        pictured: Heading of the photographs.
    """

    telling: Telling
    name: str
    issued: str
    paper: str
    mark: str
    header: tuple[str, str]
    footer: tuple[str, str]
    page: tuple[str, str]
    marks: tuple[Mark, ...] = ()
    legend: tuple[str, str, str, str]
    drive_hand: str
    lead: int = 0
    beside: int = 0
    front: int
    breaks: tuple[int, ...] = ()
    signing: tuple[str, ...]
    checking: tuple[str, ...]
    digest: tuple[str, str]
    code: str
    sign_after: int
    pictures: tuple[Picture, ...] = ()
    pictured: str = "Photographs"


_SIGNABLE = ("No open gate. Signed by:", "Name and signature", "Place and day")
_UNSIGNABLE = ("Draft. Not to be signed while a gate is open.",)
_DIGEST = "Digest: head of the tree (RFC 6962) over the parts of the attached record.json:"


def tell_record(record: ProofRecord, form: Form = "record") -> Sheet:
    """Return the pages of a record; the same record always gives the same pages.

    Args:
        record: The record.
        form: ``record`` for the two pages, ``annex`` with everything behind them, or the reader
            whose questions are answered on one page.

    Raises:
        InputError: Its content is not laid out as that of a record.
    """
    content = read_content(record)
    if form in READERS:
        return _reader_sheet(record, content, form)
    shown = list_shown(content)
    first = tell_first_page(record, content, shown)
    second = _second_page(record, content)
    annex = tell_annex(record, content) if form == "annex" else ()
    front = len(first) + len(second)
    sheet = _sheet(record, content, (*first, *second, *annex))
    return msgspec.structs.replace(
        sheet,
        marks=tuple(
            Mark(number=n, place=split_component(c.id).place, state=state_of(c, content))
            for n, c in enumerate(shown[:MOST_MARKS], start=1)
        ),
        lead=len(first) - 5,
        beside=len(first) - 2,
        front=front,
        breaks=(len(first), *((front,) if annex else ())),
        sign_after=len(first),
        pictures=tuple(
            Picture(file=p.file, caption=_caption(n, _about(p, content), p))
            for n, p in enumerate(content.photos, start=1)
        ),
    )


def _about(photo: StatedPhoto, content: Content) -> str:
    """Return what a photograph is of, in words where it is a part of the car."""
    return next((c.title for c in content.components if c.id == photo.about), photo.about)


def _caption(number: int, about: str, photo: StatedPhoto) -> str:
    empty = "" if photo.shows else "nothing can be read on it"
    again = f"the same picture as {photo.same_as}" if photo.same_as else ""
    parts = (about, photo.note, photo.by, photo.time[:10], empty, again)
    told = ", ".join(part for part in parts if part)
    return f"{number}: {told}" if told else f"{number}"


def _sheet(record: ProofRecord, content: Content, sections: tuple[Section, ...]) -> Sheet:
    title = content.title or record.case_id
    case, short = cut(record.case_id, LONGEST_HEADER), cut(title, LONGEST_HEADER)
    signature = record.signature
    key = fingerprint(signature.public_key) if signature else ""
    return Sheet(
        telling=Telling(
            title=_title_of(record, content),
            about=_standing_of(record, content, case),
            sections=sections,
            tone="alarm" if record.draft else "strong",
        ),
        name=f"{cut(title, LONGEST_TITLE)} - restraint record {case}",
        issued=record.issued_on,
        paper=paper_size(content.region),
        mark="DRAFT" if record.draft else "",
        header=(short if short == case else f"{in_quotes(short)}, {case}", _header(record)),
        footer=(
            content.texts.footer,
            f"Issued {record.issued_on}, digest {record.digest[:24]} ...",
        ),
        page=("Page", "of"),
        legend=LEGEND,
        drive_hand=content.car.drive_hand,
        front=len(sections),
        signing=_UNSIGNABLE if record.draft else _SIGNABLE,
        checking=_checking(record, key),
        digest=(_DIGEST, record.digest),
        code=f"squibwise-record {record.case_id[:40]} {record.digest} {key}".strip(),
        sign_after=len(sections),
    )


def _title_of(record: ProofRecord, content: Content) -> str:
    """Return the head of the paper: the owner's words in quotes, so that they speak for nobody."""
    own = in_quotes(cut(content.title, LONGEST_TITLE)) if content.title else ""
    return own or f"Restraint record {record.case_id}"


def _open(record: ProofRecord) -> int:
    return sum(1 for g in record.gates if g.open)


def _header(record: ProofRecord) -> str:
    if record.draft:
        return f"DRAFT: {_open(record)} of {len(record.gates)} gates open, not signed"
    return f"{len(record.gates)} gates, none open"


def _standing_of(record: ProofRecord, content: Content, case: str) -> tuple[str, ...]:
    """Return the lines below the title: what the paper is, and who stands for it."""
    told = [
        f"Restraint system record of case {case}, issued {record.issued_on}; "
        "the head is its owner's."
    ]
    if record.draft:
        told.append(
            f"This is a draft: {_open(record)} of {len(record.gates)} gates are open. "
            "It may not be signed."
        )
    else:
        by = (
            f"Signed by {in_quotes(record.signature.by)}."
            if record.signature
            else "Not signed yet."
        )
        told.append(f"No gate is open. {by}")
        answers = tell_signature(content, "release")
        told += [f"Answers for it, as typed: {answers}."] if answers else []
    procedure = tell_signature(content, "maker-procedure")
    return (*told, *([f"Procedure followed: {procedure}."] if procedure else []))


def _checking(record: ProofRecord, key: str) -> tuple[str, ...]:
    """Return how a stranger checks this paper."""
    how = (
        "To check it: open this file in the program's page for checking, in any browser and "
        "without a network, or `squibwise verify FILE`. Paper alone proves nothing."
    )
    if record.signature is None:
        return (how, "Nobody has signed it: anybody can compute a digest.")
    who = (
        f"Signed in the name of {in_quotes(record.signature.by)} with the key {key}. The name is "
        "what the signer wrote: compare the key with its owner by another route."
    )
    return who, how


def _second_page(record: ProofRecord, content: Content) -> tuple[Section, ...]:
    return (_parts(content), *filled((_checks(content), _calibrations(content), _papers(content))))


def _parts(content: Content) -> Section:
    rows = tuple(
        (p.title, _number(p), _origin_of(p), _recall(p), _fitted_on(p), p.grade)
        for p in content.parts
    )
    if not rows:
        return section("Parts that were fitted", Text(text="No part is on record as fitted."))
    head = ("Part", "Number, serial, made", "Where it comes from", "Recalls", "Fitted", "Label")
    return section("Parts that were fitted", Table(rows=rows, head=head, widths=(6, 4, 4, 2, 3, 0)))


def _number(part: StatedPart) -> str:
    told = ", ".join(x for x in (part.number, part.serial, part.made_on) if x)
    return told or (_unasked(part, "none of its own") if part.grade == "not asked" else "no label")


def _unasked(part: StatedPart, inside: str) -> str:
    """Return what is told of a part without a label: another part's assembly speaks for its own."""
    return inside if part.with_assembly else "not stated"


def _origin_of(part: StatedPart) -> str:
    donor = f"donor {part.donor_vin}" if part.donor_vin else ""
    told = ", ".join(x for x in (part.provenance, part.seller, donor) if x)
    if told:
        return told
    is_unasked = part.grade == "not asked"
    return _unasked(part, "with its assembly") if is_unasked else "not on record"


def _recall(part: StatedPart) -> str:
    if part.grade == "not asked":
        return _unasked(part, "with its assembly")
    words = {True: "checked", False: "NOT checked", None: "not stated"}
    return words[part.recall_checked]


def _fitted_on(part: StatedPart) -> str:
    return ", ".join(x for x in (part.by, part.fitted_on) if x) or "not on record"


def _checks(content: Content) -> Section | None:
    rows = tuple(
        (tell_word(v.what, content), v.outcome, f"{v.text} {v.decide}".strip())
        for v in content.verdicts
        if not v.what.startswith(("label:", "recall:"))
    )
    head = ("What", "Verdict", "Figures, and what would decide")
    table = Table(rows=rows, head=head, widths=(5, 0, 8))
    return section("Measured, tried, last lamp check and last scan", table) if rows else None


def _calibrations(content: Content) -> Section | None:
    """Return what had to be calibrated, with who signed for it."""
    signed = {e.what: e for e in content.evidence if isinstance(e, Passed)}
    rows = []
    for item in content.work.items:
        if item.action != "calibrate" or item.strict == "advice":
            continue
        entry = signed.get(item.id)
        told = (entry.note, entry.by or "", moment(entry.time)) if entry else ()
        by = ", ".join(x for x in told if x)
        rows.append((item.title, "done" if item.done else "OPEN", by or "nobody signed for it"))
    head = ("What", "Stands", "How, by whom, when")
    table = Table(rows=tuple(rows), head=head, widths=(4, 0, 6))
    return section("Programmed, zeroed, aimed, centred", table) if rows else None


def _papers(content: Content) -> Section | None:
    by = {g: [p.text.rstrip(".") for p in content.papers if p.grade == g] for g in _PAPERS}
    rows = tuple(
        ("" if at else _PAPERS[g], "; ".join(texts[at : at + _IN_A_ROW]))
        for g, texts in by.items()
        for at in range(0, len(texts), _IN_A_ROW)
    )
    notes = _notes(content)
    rows += tuple(
        ("" if at else "Noted", "; ".join(notes[at : at + _NOTES_IN_A_ROW]))
        for at in range(0, len(notes), _NOTES_IN_A_ROW)
    )
    return section("Papers that are asked for", Table(rows=rows)) if rows else None


def _notes(content: Content) -> list[str]:
    """Return what people noted beside what they signed, as typed: page one has the rest."""
    about: dict[tuple[str, str], list[str]] = {}
    for what, note, by in list_notes(content, front=False):
        about.setdefault((note, by), []).append(what)
    return [
        f'{listed(whats, MOST_ABOUT)}: "{cut(note, LONGEST_ANSWER)}" ({by})'
        for (note, by), whats in about.items()
    ]


_IN_A_ROW, _NOTES_IN_A_ROW = 8, 4
_PAPERS = {"shown": "Shown", "stated": "Only stated", "open": "Not there"}


def _reader_sheet(record: ProofRecord, content: Content, reader: Form) -> Sheet:
    rows = tuple((a.question, _answered(a)) for a in content.answers if reader in a.readers)
    told = section(
        f"What {_ARTICLE[reader]} asks",
        Table(rows=rows, head=("Question", "Answer"), widths=(2, 3)),
    )
    limits = section("What this page cannot show", in_columns(content.texts.limits))

    sections = (tell_car_of(content), told, tell_to_know(record, content), limits)
    sheet = _sheet(record, content, sections)

    return msgspec.structs.replace(sheet, name=f"{sheet.name}, for {_ARTICLE[reader]}")


_ARTICLE = {"inspector": "an inspector", "insurer": "an insurer", "buyer": "a buyer"}


def _answered(answer: StatedAnswer) -> str:
    """Return the answer with its grade; where nothing shows or states one, that."""
    if answer.grade == "open":
        return "Not answered."
    grade = "shown" if answer.grade == "shown" else "stated, not shown"
    return f"{cut(answer.text, LONGEST_ANSWER)} ({grade})"
