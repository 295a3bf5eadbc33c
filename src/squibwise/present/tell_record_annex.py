"""The annex of a record: everything that it states, in order."""

from squibwise.model.belief import Because, SpeedChange
from squibwise.model.evidence import Circumstance, Evidence, Impact, Occupant, Passed, Recorder
from squibwise.model.proof import Gate, ProofRecord
from squibwise.model.report import CodeLine, Report
from squibwise.present.figures import counted, listed, moment, percent
from squibwise.present.phrases import (
    LIKELY,
    in_words,
    tell_from,
    tell_origin,
    tell_stage,
    tell_states,
)
from squibwise.present.record_content import (
    Content,
    StatedComponent,
    StatedEvent,
    StatedPaper,
    StatedWeak,
)
from squibwise.present.tell_event import RECORD, rank_causes, tell_speed
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
    Text,
    filled,
    section,
)

MOST_DOUBTFUL, MOST_MISSING, MOST_LINES, MOST_WEAK = 12, 8, 200, 60


def tell_signature(content: Content, word: str) -> str:
    """Return what was last signed for under a word, with the name; empty when nothing was."""
    rows = [e for e in content.evidence if isinstance(e, Passed) and e.what == word]
    if not rows or rows[-1].result != "passed":
        return ""
    last = rows[-1]
    return ", ".join(part for part in (last.note, last.by, moment(last.time)) if part)


def tell_annex(record: ProofRecord, content: Content) -> tuple[Section, ...]:
    """Return everything that a record states, in order: for who asks for the annex."""
    return filled(
        (
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
    rows = (
        ("VIN", car.vin or "not given"),
        ("Model year", str(car.model_year or "not known")),
        ("Driver sits on the", car.drive_hand),
        ("Equipment", tell_equipment(content)),
        ("Region", content.region or "not stated"),
        ("Rules followed", rules_followed(content)),
    )
    return Section(heading="The car", blocks=(Table(rows=rows),), level=2, half=True)


def tell_equipment(content: Content) -> str:
    """Return what the car has, and that it is a guess where it is one."""
    guessed = " (guessed from the year; nobody stated it)" if content.car.assumed else ""
    return f"{in_words(content.car.equipment)}{guessed}"


def rules_followed(content: Content) -> str:
    """Return whose rules the work follows."""
    if content.work.profile != "unknown":
        return in_words(content.work.profile)
    typed = len(content.profile.rules)
    if typed:
        rules = counted(typed, "rule")
        return f"{rules} typed in as the maker's, for all else the strictest of every kind of rules"
    return "the maker's are not entered: the strictest of every kind of rules"


def _event(content: Content) -> Section:
    """Return what is believed of the crash: a figure only where some entry speaks of it."""
    event, heading = content.event, "What happened"
    if event is None:
        left_out = Text(text="This copy leaves out crash data and what it tells.")
        return Section(heading=heading, blocks=(left_out,), level=2, half=True)
    none = ("No crash at all", percent(event.no_crash))
    crash = [*_struck(event, content), *_people(event, content)]
    rows = [none] if event.no_crash >= LIKELY else [*crash, none]
    table = Table(rows=(*rows, *_causes(event.causes)))
    return Section(heading=heading, blocks=(table,), level=2, half=True)


def _struck(event: StatedEvent, content: Content) -> list[tuple[str, str]]:
    least = tell_from("record-from")
    zones = sorted(event.zones.items(), key=lambda z: (-z[1], z[0]))
    struck = [f"{in_words(z)} {percent(p)}" for z, p in zones if p >= least]
    measured = any(isinstance(e, Recorder | Impact) for e in content.evidence)
    rows = [("Struck", listed(struck) or "nothing that is known")]
    return rows + (
        [("Change of speed", _speed(event.delta_v_kmh, content.region))] if measured else []
    )


def _people(event: StatedEvent, content: Content) -> list[tuple[str, str]]:
    """Return what is believed of people and of a rollover, where an entry speaks of it."""
    recorders = [e for e in content.evidence if isinstance(e, Recorder)]
    seats = [e for e in content.evidence if isinstance(e, Occupant)]
    rolled = [e for e in content.evidence if isinstance(e, Circumstance) and e.what == "rollover"]
    belted = {e.seat for e in seats if e.belt is not None}
    front = [e for e in seats if e.seat == "passenger"]
    spoken = {
        "Driver belted": "driver" in belted or any(r.driver_belt for r in recorders),
        "Front passenger": bool(front) or any(r.passenger_class for r in recorders),
        "Passenger belted": "passenger" in belted or any(r.passenger_belt for r in recorders),
        "Rollover": bool(rolled) or any(r.rollover is not None for r in recorders),
    }
    told = {
        "Driver belted": percent(event.driver_belted),
        "Front passenger": tell_states(event.front_passenger, least=0.0),
        "Passenger belted": percent(event.passenger_belted),
        "Rollover": percent(event.rollover),
    }
    return [(row, told[row] if spoken[row] else "no entry speaks of it") for row in told]


def _causes(causes: dict[str, float]) -> list[tuple[str, str]]:
    """Return the crash record, and what may stand behind several codes; a place once."""
    least = tell_from("record-from")
    named = [f"{_cause(c)} {percent(p)}" for c, p in rank_causes(causes, least)]
    recorded = causes.get(RECORD, 0.0)
    rows = [("Crash record in the unit", percent(recorded))] if recorded >= least else []
    return rows + ([("Shared causes", listed(named))] if named else [])


def _cause(key: str) -> str:
    word, _, place = key.partition(":")
    return f"{in_words(word)}, {in_words(place)}" if place else in_words(word)


def _speed(speed: dict[str, float] | None, region: str | None) -> str:
    if speed is None:
        return "no crash, or not known"
    return tell_speed(SpeedChange(**speed), region)


def _fired(content: Content) -> tuple[Section, ...]:
    surely, perhaps = (_list_fired(content, word) for word in ("fired", "perhaps"))
    block: Block = Text(text="Nothing is held to have fired.")
    if surely:
        block = Bullets(items=tuple(surely))
    more = (Text(text=f"Perhaps: {', '.join(perhaps)}."),) if perhaps else ()
    return (Section(heading="What fired in the crash", blocks=(block, *more), level=2),)


def _list_fired(content: Content, word: str) -> list[str]:
    """Return the parts whose word for the crash is ``fired`` or ``perhaps``, likeliest first."""
    rows = [c for c in content.components if c.fired_in_crash == word]
    rows.sort(key=lambda c: -c.after_crash["fired"])
    return [f"{c.title}, {percent(c.after_crash['fired'])}" for c in rows]


def _doubtful(content: Content) -> Section | None:
    found = list_doubtful(content)
    rows = [(c.title, tell_states(c.now), c.look) for c in found[:MOST_DOUBTFUL]]
    if len(found) > len(rows):
        rows.append((f"and {len(found) - len(rows)} more", "", "see Open gates and Components"))
    table = Table(
        rows=tuple(rows), head=("Component", "State now", "Look or test"), widths=(3, 3, 5)
    )
    heading = "In doubt, and the look that settles it"
    return Section(heading=heading, blocks=(table,), level=2) if rows else None


def list_doubtful(content: Content) -> list[StatedComponent]:
    """Return what is in doubt: what a look pays for first, then inflators, then the least sure."""
    order = {look.component: n for n, look in enumerate(content.next_looks)}
    found = [c for c in content.components if c.doubtful]
    found.sort(key=lambda c: (order.get(c.id, len(order)), not c.stages, c.now["sound"]))
    return found


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
    explained = tell_signature(content, "contradictions")
    more = (Text(text=f"Explained: {explained}."),) if explained else ()
    return section("Evidence that contradicts", Bullets(items=told), *more) if told else None


def _verdicts(content: Content) -> Section | None:
    rows = tuple((v.what, v.outcome, f"{v.text} {v.decide}".strip()) for v in content.verdicts)
    head = ("What", "Verdict", "Figures, and what would decide")
    table = Table(rows=rows, head=head, widths=(3, 0, 6))
    return section("Measured and checked", table) if rows else None


def _components(content: Content) -> Section:
    rows = tuple(_component(c, content.reasons.get(c.id, ())) for c in content.components)
    head = ("Component", "After the crash", "Now", "Reasons, strongest first")
    table = Table(rows=rows, head=head, widths=(8, 7, 6, 14))
    words = (
        "In brackets: the weight of a reason in decibans, alone / with everything else known. "
        "10 dB multiplies the odds by ten."
    )
    return section("Components and reasons", Text(text=words, tone="quiet"), table)


def _component(stated: StatedComponent, because: tuple[Because, ...]) -> tuple[str, str, str, str]:
    after, now = tell_states(stated.after_crash), tell_states(stated.now)
    stages = "; ".join(
        tell_stage(n, s["fired"], s["live"], s["faulty"]) for n, s in stated.stages.items()
    )
    title = f"{stated.title}\n{stages}" if stages else stated.title
    reasons = "\n".join(tell_because(b, weighed=True) for b in because[:2])
    return title, after, "the same" if now == after else now, reasons


def _evidence(content: Content) -> Section:
    rows = tuple(row for e in content.evidence for row in _evidence_rows(e, content.region))
    head = ("Id", "Time", "What was recorded", "By", "Stands in")
    return section("Evidence", Table(rows=rows, head=head, widths=(0, 0, 6, 2, 3), data=(4,)))


def _evidence_rows(one: Evidence, region: str | None) -> list[tuple[str, ...]]:
    """Return one row for a piece of evidence, and one for each line of a scan."""
    by = getattr(one, "by", None) or one.origin.person or ""
    row = (one.id, moment(one.time), tell_evidence(one, region), by, tell_origin(one.origin))
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
