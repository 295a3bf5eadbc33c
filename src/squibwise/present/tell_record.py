"""The pages of a record: what it says to an inspector and to the next owner, in order."""

import msgspec

from squibwise.model.evidence import Evidence, Passed
from squibwise.model.proof import Gate, ProofRecord
from squibwise.model.report import CodeLine, Report
from squibwise.present.figures import cut, listed, moment, percent
from squibwise.present.phrases import LIKELY, in_words, tell_origin, tell_stage, tell_states
from squibwise.present.record_content import (
    Content,
    StatedComponent,
    StatedPaper,
    StatedWeak,
    read_content,
)
from squibwise.present.tell_evidence import tell_evidence
from squibwise.present.tell_record_work import (
    tell_because,
    tell_due,
    tell_ground,
    tell_numbered_cautions,
    tell_ordered,
    tell_payments,
)
from squibwise.present.telling import (
    Block,
    Bullets,
    Section,
    Step,
    Steps,
    Table,
    Telling,
    Text,
    filled,
    section,
)

MOST_DOUBTFUL, MOST_MISSING, MOST_LINES, MOST_WEAK = 12, 8, 200, 60
LONGEST_TITLE, LONGEST_HEADER = 120, 48
WORTH = 0.05  # zones and causes are named from here
RECORD = "crash-record"


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
        signing: The box at the end: its first line, then names of the lines to sign on.
        digest: What the digest is over, and the digest.
    """

    telling: Telling
    name: str
    issued: str
    paper: str
    mark: str
    header: tuple[str, str]
    footer: tuple[str, str]
    page: tuple[str, str]
    signing: tuple[str, ...]
    digest: tuple[str, str]


def tell_record(record: ProofRecord) -> Sheet:
    """Return the pages of a record; the same record always gives the same pages.

    Raises:
        InputError: Its content is not laid out as that of a record.
    """
    content = read_content(record)
    title = content.title or record.case_id
    case = cut(record.case_id, LONGEST_HEADER)
    short = cut(title, LONGEST_HEADER)
    return Sheet(
        telling=Telling(
            title=cut(title, LONGEST_TITLE),
            about=_standing_of(record, content, case),
            sections=filled(_sections(record, content)),
            tone="alarm" if record.draft else "strong",
        ),
        name=f"{title} - restraint record {record.case_id}",
        issued=record.issued_on,
        paper="us-letter" if (content.region or "").startswith("US") else "a4",
        mark="DRAFT" if record.draft else "",
        header=(short if short == case else f"{short}, {case}", _header(record)),
        footer=(
            content.texts.footer,
            f"Issued {record.issued_on}, digest {record.digest[:24]} ...",
        ),
        page=("Page", "of"),
        signing=_UNSIGNABLE if record.draft else _SIGNABLE,
        digest=(_DIGEST, record.digest),
    )


_SIGNABLE = ("No open gate. Signed by:", "Name and signature", "Place and day")
_UNSIGNABLE = ("Draft. Not to be signed while a gate is open.",)
_DIGEST = (
    "SHA-256 over the canonical JSON (RFC 8785) of the attached record.json, without its digest "
    "and signature:"
)


def _open(record: ProofRecord) -> int:
    return sum(1 for g in record.gates if g.open)


def _header(record: ProofRecord) -> str:
    if record.draft:
        return f"DRAFT: {_open(record)} of {len(record.gates)} gates open, not signed"
    return f"{len(record.gates)} gates, none open"


def _standing_of(record: ProofRecord, content: Content, case: str) -> tuple[str, ...]:
    """Return the lines below the title: what the paper is, and who stands for it."""
    told = [f"Restraint system record of case {case}, issued {record.issued_on}."]
    if record.draft:
        told.append(
            f"This is a draft: {_open(record)} of {len(record.gates)} gates are open. "
            "It may not be signed."
        )
    else:
        by = f"Signed by {record.signature.by}." if record.signature else "Not signed yet."
        told.append(f"No gate is open. {by}")
        answers = _signed_for(content, "release")
        told += [f"Answers for it: {answers}."] if answers else []
    procedure = _signed_for(content, "maker-procedure")
    return (*told, *([f"Procedure followed: {procedure}."] if procedure else []))


def _signed_for(content: Content, word: str) -> str:
    """Return what was last signed for under a word, with the name; empty when nothing was."""
    rows = [e for e in content.evidence if isinstance(e, Passed) and e.what == word]
    if not rows or rows[-1].result != "passed":
        return ""
    last = rows[-1]
    return ", ".join(part for part in (last.note, last.by, moment(last.time)) if part)


def _sections(record: ProofRecord, content: Content) -> tuple[Section | None, ...]:
    return (
        _hazards(content),
        _car(content),
        _event(content),
        *_fired(content),
        _doubtful(content),
        _open_gates(record),
        _contradictions(content),
        *tell_numbered_cautions(content.work),
        tell_ordered(content.work),
        *tell_due(content.work),
        _verdicts(content),
        *tell_payments(content),
        _components(content),
        _evidence(content),
        _files(record),
        _findings(content),
        _papers(content),
        *_rests_on(content),
        *_limits(record, content),
    )


def _hazards(content: Content) -> Section:
    spent = tuple(
        f"{r.title}: {'stage' if len(r.stages) == 1 else 'stages'} {listed(r.stages)}"
        for r in content.live_charges
        if r.looks_spent
    )
    live = [r.title for r in content.live_charges if not r.looks_spent]
    blocks: list[Block] = [Text(text=content.texts.standing)]
    if spent:
        head = "Fired or likely fired, and not proven spent. Handle as live:"
        blocks += [Text(text=head, tone="strong"), Bullets(items=spent)]
    if live:
        head = f"Live inflators and pretensioners in the car ({len(live)}): {', '.join(live)}."
        blocks.append(Text(text=head))
    return Section(heading="Before hands go in", blocks=tuple(blocks), tone="alarm")


def _car(content: Content) -> Section:
    car = content.car
    guessed = " (guessed from the year; nobody stated it)" if car.assumed else ""
    rows = (
        ("VIN", car.vin or "not given"),
        ("Model year", str(car.model_year or "not known")),
        ("Driver sits on the", car.drive_hand),
        ("Equipment", f"{car.equipment}{guessed}"),
        ("Region", content.region or "not stated"),
        ("Rules followed", _rules(content)),
    )
    return Section(heading="The car", blocks=(Table(rows=rows),), level=2, half=True)


def _rules(content: Content) -> str:
    if content.work.profile == "unknown":
        return "the maker's are not entered: the strictest of every kind of rules"
    return content.work.profile


def _event(content: Content) -> Section:
    event = content.event
    zones = sorted(event.zones.items(), key=lambda z: (-z[1], z[0]))
    struck = [f"{in_words(z)} {percent(p)}" for z, p in zones if p >= WORTH]
    crash = [
        ("Struck", listed(struck) or "nothing that is known"),
        ("Change of speed", _speed(event.delta_v_kmh)),
        ("Driver belted", percent(event.driver_belted)),
        ("Front passenger", tell_states(event.front_passenger, least=0.0)),
        ("Passenger belted", percent(event.passenger_belted)),
        ("Rollover", percent(event.rollover)),
    ]
    none = ("No crash at all", percent(event.no_crash))
    rows = [none] if event.no_crash >= LIKELY else [*crash, none]
    table = Table(rows=(*rows, *_causes(event.causes)))
    return Section(heading="What happened", blocks=(table,), level=2, half=True)


def _causes(causes: dict[str, float]) -> list[tuple[str, str]]:
    """Return the crash record, and what may stand behind several codes; a place once."""
    told = (RECORD, "unread-report")
    shared = {c: p for c, p in causes.items() if p >= WORTH and not c.startswith(told)}
    named = [
        f"{_cause(c)} {percent(p)}"
        for c, p in sorted(shared.items(), key=lambda item: (-item[1], item[0]))
        if not any(other.startswith(f"{c}.") for other in shared)
    ]
    recorded = causes.get(RECORD, 0.0)
    rows = [("Crash record in the unit", percent(recorded))] if recorded >= WORTH else []
    return rows + ([("Shared causes", listed(named))] if named else [])


def _cause(key: str) -> str:
    word, _, place = key.partition(":")
    return f"{in_words(word)}, {in_words(place)}" if place else in_words(word)


def _speed(speed: dict[str, float] | None) -> str:
    if speed is None:
        return "no crash, or not known"
    return f"about {speed['p50']:.0f} km/h ({speed['p10']:.0f} to {speed['p90']:.0f})"


def _fired(content: Content) -> tuple[Section, ...]:
    surely, perhaps = (_fired_as(content, word) for word in ("fired", "perhaps"))
    block: Block = Text(text="Nothing is held to have fired.")
    if surely:
        block = Bullets(items=tuple(surely))
    more = (Text(text=f"Perhaps: {', '.join(perhaps)}."),) if perhaps else ()
    return (Section(heading="What fired in the crash", blocks=(block, *more), level=2),)


def _fired_as(content: Content, word: str) -> list[str]:
    rows = [c for c in content.components if c.fired_in_crash == word]
    rows.sort(key=lambda c: -c.after_crash["fired"])
    return [f"{c.title}, {percent(c.after_crash['fired'])}" for c in rows]


def _doubtful(content: Content) -> Section | None:
    """Return what is in doubt: what a look pays for first, then inflators, then the least sure."""
    order = {look.component: n for n, look in enumerate(content.next_looks)}
    found = [c for c in content.components if c.doubtful]
    found.sort(key=lambda c: (order.get(c.id, len(order)), not c.stages, c.now["sound"]))
    rows = [(c.title, tell_states(c.now), c.look) for c in found[:MOST_DOUBTFUL]]
    if len(found) > len(rows):
        rows.append((f"and {len(found) - len(rows)} more", "", "see Open gates and Components"))
    table = Table(
        rows=tuple(rows), head=("Component", "State now", "Look or test"), widths=(3, 3, 5)
    )
    heading = "In doubt, and the look that settles it"
    return Section(heading=heading, blocks=(table,), level=2) if rows else None


def _open_gates(record: ProofRecord) -> Section | None:
    blocks = [block for g in record.gates if g.open for block in _gate(g)]
    return section("Open gates", *blocks) if blocks else None


def _gate(gate: Gate) -> tuple[Block, ...]:
    """Return an open gate with what is missing, the long tail counted."""
    missing, hidden = gate.missing, len(gate.missing) - MOST_MISSING
    if hidden > 1:
        more = f"and {hidden} more, all in the list of work or the record"
        missing = (*missing[:MOST_MISSING], more)
    notes = (f"{len(gate.missing)} open",) if len(gate.missing) > 1 else ()
    head = Steps(steps=(Step(done=False, title=gate.text, notes=notes),))
    lacks = (Bullets(items=missing),) if missing else ()
    return head, *lacks, Text(text=f"To close: {gate.remedy}", tone="quiet")


def _contradictions(content: Content) -> Section | None:
    told = tuple(f"{c.text} {c.remedy}".strip() for c in content.contradictions)
    explained = _signed_for(content, "contradictions")
    more = (Text(text=f"Explained: {explained}."),) if explained else ()
    return section("Evidence that contradicts", Bullets(items=told), *more) if told else None


def _verdicts(content: Content) -> Section | None:
    rows = tuple((v.what, v.outcome, f"{v.text} {v.decide}".strip()) for v in content.verdicts)
    head = ("What", "Verdict", "Figures, and what would decide")
    table = Table(rows=rows, head=head, widths=(3, 0, 6))
    return section("Measured and checked", table) if rows else None


def _components(content: Content) -> Section:
    rows = tuple(_component(c) for c in content.components)
    head = ("Component", "After the crash", "Now", "Reasons, strongest first")
    table = Table(rows=rows, head=head, widths=(8, 7, 6, 14))
    words = (
        "In brackets: the weight of a reason in decibans, alone / with everything else known. "
        "10 dB multiplies the odds by ten."
    )
    return section("Components and reasons", Text(text=words, tone="quiet"), table)


def _component(stated: StatedComponent) -> tuple[str, str, str, str]:
    after, now = tell_states(stated.after_crash), tell_states(stated.now)
    stages = "; ".join(
        tell_stage(n, s["fired"], s["live"], s["faulty"]) for n, s in stated.stages.items()
    )
    title = f"{stated.title}\n{stages}" if stages else stated.title
    because = "\n".join(tell_because(b, weighed=True) for b in stated.because[:2])
    return title, after, "the same" if now == after else now, because


def _evidence(content: Content) -> Section:
    rows = tuple(row for e in content.evidence for row in _evidence_rows(e))
    head = ("Id", "Time", "What was recorded", "By", "Stands in")
    return section("Evidence", Table(rows=rows, head=head, widths=(0, 0, 6, 2, 3), data=(4,)))


def _evidence_rows(one: Evidence) -> list[tuple[str, ...]]:
    """Return one row for a piece of evidence, and one for each line of a scan."""
    by = getattr(one, "by", None) or one.origin.person or ""
    row = (one.id, moment(one.time), tell_evidence(one), by, tell_origin(one.origin))
    if not isinstance(one, Report):
        return [row]
    lines, unread = one.reading.lines, one.reading.unread
    told = [(f"line {x.line}", _code_line(x)) for x in lines[:MOST_LINES]]
    told += [(f"line {u.line}", f"not understood: {u.raw}") for u in unread[:MOST_LINES]]
    hidden = max(0, len(lines) - MOST_LINES) + max(0, len(unread) - MOST_LINES)
    told += [("", f"and {hidden} more line(s) in the attached record")] if hidden else []
    return [row, *((at, "", text, "", "") for at, text in told)]


def _code_line(line: CodeLine) -> str:
    meant = line.component or line.kind or "part not clear"
    status = f", {' '.join(line.status)}" if line.status else ""
    return f"{line.raw.strip()} -> {meant}: {in_words(line.fault)}{status}"


def _files(record: ProofRecord) -> Section | None:
    rows = tuple(sorted(record.attachments.items()))
    table = Table(rows=rows, head=("File", "SHA-256"), widths=(1, 2), data=(1,))
    return Section(heading="Files and their SHA-256", blocks=(table,), level=2) if rows else None


def _findings(content: Content) -> Section | None:
    rows = tuple(
        (f.severity, f"{f.message} {f.remedy}".strip(), tell_origin(f.origin))
        for f in (*content.findings, *content.work.findings)
    )
    table = Table(rows=rows, head=("Severity", "What, and what to do", "Where"), widths=(0, 1, 0))
    return Section(heading="Findings about the input", blocks=(table,), level=2) if rows else None


def _papers(content: Content) -> Section:
    words = (
        "A mark stands where the evidence shows the paper; tick the others by hand. Not every "
        "place asks for all of them."
    )
    papers = Steps(steps=tuple(_paper(p) for p in content.papers))
    return section("Papers to keep with this record", Text(text=words, tone="quiet"), papers)


def _rests_on(content: Content) -> tuple[Section | None, ...]:
    taken = tuple(f"{a.text} ({in_words(a.basis)})" for a in content.assumptions)
    rows = tuple((s.id, f"{s.title}. {s.by}. {s.note}", s.kind) for s in content.sources)
    sources = Table(rows=rows, head=("Id", "What it is", "Kind"), widths=(0, 1, 0))
    return (
        section("What this rests on"),
        _below("Taken for granted", Bullets(items=taken)) if taken else None,
        _below("Rests on judgement or memory alone", Bullets(items=_weak(content.weak)))
        if content.weak
        else None,
        _below("Sources", sources) if rows else None,
    )


def _below(heading: str, *blocks: Block) -> Section:
    return Section(heading=heading, blocks=blocks, level=2)


def _weak(rows: tuple[StatedWeak, ...]) -> tuple[str, ...]:
    shown = tuple(_weak_row(w) for w in rows[:MOST_WEAK])
    hidden = len(rows) - len(shown)
    return (*shown, f"and {hidden} more in the attached record") if hidden else shown


def _weak_row(fact: StatedWeak) -> str:
    basis = in_words(fact.basis)
    if fact.value is None:
        return f"{fact.id} ({basis})"
    unit = "" if fact.unit == "-" else f" {fact.unit}"
    reach = "" if fact.low is None else f", {_plain(fact.low)} to {_plain(fact.high)}{unit}"
    return f"{fact.id} = {_plain(fact.value)}{unit}{reach} ({basis}). {fact.note}".strip()


def _plain(value: float | str | bool | None) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _paper(paper: StatedPaper) -> Step:
    """Return a paper, ticked only where a file shows it."""
    by = f"stated by {paper.by}" if paper.by else "stated, by nobody named"
    notes = (f"{by}{f', {paper.time}' if paper.time else ''}; not shown",)
    return Step(
        done=paper.grade == "shown",
        title=paper.text,
        notes=notes if paper.grade == "stated" else (),
    )


def _limits(record: ProofRecord, content: Content) -> tuple[Section | None, ...]:
    notices = tuple(Text(text=f"{n.text} {tell_ground(n)}".strip()) for n in content.work.notices)
    closed = tuple(g.text for g in record.gates if not g.open)
    return (
        _below("Law and custom", *notices) if notices else None,
        _below("What this record cannot show", Bullets(items=content.texts.limits)),
        _below("Gates that are closed", Bullets(items=closed)) if closed else None,
    )
