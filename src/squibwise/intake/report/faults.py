"""Lines of a report gathered into faults: codes, the words around them, module headings."""

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.intake.importers.base import refuse_many
from squibwise.intake.patterns import pattern
from squibwise.intake.report.absences import denied_by_name, why_gone
from squibwise.intake.report.again import is_again, other_notations
from squibwise.intake.report.asides import excepts_a_part, hear_neither, hear_untested, why_absent
from squibwise.intake.report.assertions import (
    DENYING,
    ONCE,
    begins_with_only,
    find_asserted,
    is_asserted,
    is_seen,
    speaks_of_paper,
)
from squibwise.intake.report.clauses import (
    MOSTLY,
    completes,
    find_labels_above,
    is_next_row,
    is_sentence,
    is_whole,
    join_lamp_code,
    repeat_part,
    segments,
    take_share,
    take_status,
    take_type,
    take_wrapped,
    words_precede,
    words_without_denied,
)
from squibwise.intake.report.headings import heading_name
from squibwise.intake.report.lexicon import Lexicon, lexicon_of
from squibwise.intake.report.likenesses import compare
from squibwise.intake.report.line_codes import MAX_FAULTS
from squibwise.intake.report.line_words import without_codes, words_of
from squibwise.intake.report.other_clauses import names_lamp_apart, part_records, without_others
from squibwise.intake.report.own_rows import begins_own_row, begins_row, is_of_others
from squibwise.intake.report.part_lists import is_bare_part
from squibwise.intake.report.plain_clauses import add_statuses, is_place, list_clauses
from squibwise.intake.report.sheet import Fault, Line, Sheet
from squibwise.intake.report.side_labels import is_of_place
from squibwise.intake.report.told_together import leaves_out
from squibwise.intake.report.words import (
    FAULT_WORDS,
    HEADS,
    KERB,
    OWN_PARTS,
    PARTS,
    TELLS,
    Words,
    add_status,
    differs,
    has_fault,
    has_part,
    heads_of,
    lacks_part,
    names_another,
    stands_alone,
    tells_stage_only,
    tells_supply,
)
from squibwise.model.report import UNSURE, Unit

_FLASHES = pattern(r"(?i)\b(?:flash|blink)")
_SAID_SHORTLY = 16  # words of a line that reports a crash record without a code
_ROW = pattern(r"[^\W\d].{0,40}?\S\s{3,}\S")
_NEARLY = 0.8  # share of known words
_ONE_OF = frozenset(
    """clockspring occupant offlamp offswitch lamp unit crashrecord batterycut hvcut
    columncharge""".split()
)
_SEEN_ONLY = frozenset("bag curtain knee pretension".split())  # no unit knows how these look
_NAMED = PARTS - {"switch", "sensor"}  # which every unit has
_MOST_ALIKE = 8  # words of a sentence that says no more than "so is the right one"
_GAP = 1  # blank lines that a description may be away from its code


class _State(msgspec.Struct, kw_only=True):
    section: int = 0
    current: Fault | None = None
    waiting: list[Line] = msgspec.field(default_factory=list)
    blanks: int = 0


def gather(sheet: Sheet, catalog: Catalog) -> None:
    """Set the faults of a report; every line with text ends up somewhere."""
    state = _State()
    precede = words_precede(sheet.lines)
    labelled = find_labels_above(sheet.lines)
    for at, line in enumerate(sheet.lines):
        if line.role == "blank":
            state.blanks += 1
            continue
        if at in labelled:
            state.waiting.append(line)
        else:
            _take(line, state, sheet, catalog, precede)
        state.blanks = 0
    _flush(state, sheet)
    sheet.unread.sort(key=lambda ln: ln.number)


def _take(line: Line, state: _State, sheet: Sheet, catalog: Catalog, precede: bool) -> None:
    if line.role == "code":
        _take_codes(line, state, sheet, catalog)
    elif any(takes(line, state, sheet, lexicon_of(catalog)) for takes in (_says_of_line, _repeats)):
        return
    elif line.role == "words" or (sheet.lists_parts and is_bare_part(line)):
        _take_words(line, state, sheet, catalog, precede)
    elif line.role in ("heading", "count", "clean", "group"):
        _flush(state, sheet)
        _take_heading(line, state, sheet)
        if line.role == "clean" and has_part(line.words):
            sheet.unread.append(line)
    elif line.role == "aside" and not _goes_on(line, state, sheet, catalog):
        _doubt(line, state, sheet, catalog)
        if has_part(line.words) or _is_placed(line.words):
            state.current = None  # it speaks of something else, and so does what follows
    elif line.role == "meta":
        _take_measure(line, state)
    elif line.role == "header":
        _fills_column(line, state, sheet, catalog)
    elif line.role == "unread" and not _fills_column(line, state, sheet, catalog):
        sheet.unread.append(line)


def _take_heading(line: Line, state: _State, sheet: Sheet) -> None:
    """End the fault above a heading; the label of its own unit, which may stand below it, does not.

    A heading that announces faults, or names a unit, begins a section.
    """
    is_label = line.is_keyed and line.count is None
    name = heading_name(line.text)
    is_own = state.current is not None and state.current.first.module in (None, name)
    if not (is_label and is_own) or line.role == "group":
        state.current = None
    if line.is_module:
        sheet.modules[name] = None
    if line.count is not None:
        state.section += 1
        sheet.counts[state.section] = line
    elif line.is_module:
        state.section += 1


def _take_measure(line: Line, state: _State) -> None:
    """A status byte on a line of measures belongs to the fault above."""
    if state.current is not None:
        take_status(line, state.current)


def _take_words(line: Line, state: _State, sheet: Sheet, catalog: Catalog, precede: bool) -> None:
    if precede:
        state.waiting.append(line)
        return
    if sheet.lists_parts and is_bare_part(line):
        state.current = None
        sheet.faults.append(_words_entry(line, line.words, state))
        return
    is_next = begins_row(line) or is_of_place(line, catalog, sheet.language)
    if is_next or (state.current and begins_own_row(line, state.current, sheet.lines)):
        state.current = None
    lexicon = lexicon_of(catalog)
    is_told = not (line.why or is_seen(line, lexicon))
    is_told = is_told and (
        excepts_a_part(line, lexicon) or is_asserted(line, catalog, sheet.language)
    )
    is_sure = not stands_alone(line.words) or is_told
    current = state.current if is_sure else None  # a story goes on with no row
    if current is not None and stands_alone(line.words) and is_of_others(current):
        current = None  # no part of restraint describes what is told of theirs
    if current is not None and _is_status(line) and state.blanks <= _GAP:
        _attach(line, current)
        return
    follows = current is not None and state.blanks == 0 and not line.is_keyed
    if current is not None and follows and take_wrapped(line, current, sheet, catalog):
        return
    gap = 0 if current is not None and _has_all(current, line) and not line.is_keyed else _GAP
    if current is not None and state.blanks <= gap and _belongs(line, current):
        if line.is_keyed or line.known_share >= MOSTLY:
            _attach(line, current)
        else:
            sheet.unread.append(line)
        return
    is_supply = tells_supply(line.words) and line.known_share >= MOSTLY
    if is_supply or (stands_alone(line.words) and _is_report(line, sheet.is_coded)):
        said = list_clauses(line, catalog, sheet.language)
        sheet.unread += [line] if leaves_out(line, said, lexicon, sheet.language) else []
        fresh = [_words_entry(line, s, state) for s in said]
        for fault in fresh:
            fault.absent = "" if is_sure else UNSURE
        sheet.faults.extend(fresh)
        state.current = fresh[-1]
    else:
        sheet.unread.append(line)


def _doubt(line: Line, state: _State, sheet: Sheet, catalog: Catalog) -> None:
    """Keep a line that denies as unread; a clause of it that asserts a fault is asked about."""
    clause = find_asserted(line, catalog, sheet.language)
    if not clause:
        sheet.unread.append(line)
        return
    fault = _words_entry(line, words_of(clause, catalog, sheet.language), state)
    fault.absent = "" if begins_with_only(clause, lexicon_of(catalog)) else UNSURE
    sheet.faults.append(fault)


def _is_status(line: Line) -> bool:
    """Tell whether a line is a status and nothing more."""
    words = line.words
    told = words.features - {"skip"} or words.seats or words.sides or words.ends
    return bool(words.statuses) and not told and line.known_share >= MOSTLY


def _has_all(current: Fault, line: Line) -> bool:
    """Tell whether a fault waits for nothing more, or for no part such as the line's own."""
    return is_whole(current) or (has_part(current.words) and has_part(line.words))


def _fills_column(line: Line, state: _State, sheet: Sheet, catalog: Catalog) -> bool:
    """Tell whether indented words, which mean nothing alone, go on with the description above."""
    current = state.current
    if current is None or state.blanks or line.is_keyed or line.text[:1] not in (" ", "\t"):
        return False
    is_open = not is_whole(current) or completes(line.words, current.words)
    return is_open and take_wrapped(line, current, sheet, catalog)


def _goes_on(line: Line, state: _State, sheet: Sheet, catalog: Catalog) -> bool:
    """Tell whether words that seem to deny go on with the description above them."""
    return line.why == "denied" and _fills_column(line, state, sheet, catalog)


def _says_of_line(line: Line, state: _State, sheet: Sheet, lexicon: Lexicon) -> bool:
    """``B1712 door sensor silent. Gone since the fuse.``: a sentence of the same line ends it.

    ``All three are gone`` ends every fault of the line, ``both current`` gives each its status.
    """
    current, words = state.current, line.words
    if current is None or current.code is None or current.first.number != line.number:
        return False
    if line.role not in ("words", "unread", "aside") or heads_of(words) - heads_of(current.words):
        return False
    alike = [f for f in sheet.faults if f.first.number == line.number]
    is_of_all = not lexicon.small.all.isdisjoint(t.text for t in line.tokens)
    if words.voices & {"gone", "away"}:
        for fault in alike if is_of_all else [current]:
            fault.absent = "gone"
    elif words.voices == {"worked"} and "present" not in current.words.statuses:
        current.absent = current.absent or UNSURE  # "Replaced buckle."
    elif is_of_all and words.statuses and not words.features - {"both", "skip"}:
        for fault in alike:
            add_statuses(fault.words, words)
    else:
        return False
    current.raws.append(line.raw)
    return True


def _repeats(line: Line, state: _State, sheet: Sheet, lexicon: Lexicon) -> bool:
    """``The left curtain is open. So is the right one.``: a place like the one before it."""
    current, words = state.current, line.words
    if hear_neither(line.text, words, lexicon):
        line.role = "words"
    told = words.features - {"skip", "same", "also", "side", "byside", *KERB}
    is_alike = bool(words.features & {"same", "also"}) and not (told or words.voices)
    if not (is_alike and words.is_sided and line.role in ("words", "unread")) or "?" in line.text:
        return False
    if current is None or current.absent or state.blanks or len(line.tokens) > _MOST_ALIKE:
        return False
    if current.words.seats & words.seats or current.words.sides & words.sides:
        return False
    repeat_part(words, current.words)
    add_statuses(words, current.words)
    state.current = _words_entry(line, words, state)
    sheet.faults.append(state.current)
    return True


def _is_report(line: Line, is_coded: bool) -> bool:
    """Words that report a fault, rather than ask or talk about one.

    Beside codes a line of words must say where and what, in words that are mostly known.
    """
    if "?" in line.text or _FLASHES.search(line.text):
        return False
    tells = line.words.features & (TELLS - {"defect"})
    heads = line.words.features & HEADS
    if (
        tells == {"communication"}
        and heads <= {"unit", "airbagmodule", "bag"}
        and not (line.words.seats or line.words.sides)
    ):
        return False  # nobody could reach the unit: no fault that it stores
    is_seen = is_coded and "mechanical" in tells and line.words.features & _SEEN_ONLY
    is_talk = tells == {"crashrecord"} and len(line.tokens) > _SAID_SHORTLY
    if is_talk or (is_seen and tells <= {"mechanical", "high"}):
        return False  # of crash data, or of a cover that somebody saw torn
    if not tells and line.text.rstrip().endswith(":"):
        return False  # the title of a list
    if not is_coded:
        return bool(tells) or bool(line.words.features & OWN_PARTS) or line.known_share >= _NEARLY
    if not line.words.features & (OWN_PARTS - {"lamp"}):
        tells = tells or {s for s in line.words.statuses if s == "locked"}
    else:
        tells = tells or set(line.words.statuses)
    return bool(tells) and _is_placed(line.words) and line.known_share >= MOSTLY


def _is_placed(words: Words) -> bool:
    """Words that say where, or name a part of which a car has one."""
    single = _ONE_OF | KERB | {"both"}
    return bool(words.seats or words.sides or words.features & single)


def _take_codes(line: Line, state: _State, sheet: Sheet, catalog: Catalog) -> None:
    if len(line.codes) == 1 and _continues(line, state):
        return
    pieces = join_lamp_code(
        segments(line, lexicon_of(catalog), sheet.language), catalog, sheet.language
    )
    for at, (code, said) in enumerate(pieces):
        text, records = part_records(said, line.words, catalog, sheet.language)
        is_voiced = line.words.voices & (DENYING | ONCE)
        own = without_others(text, catalog, sheet.language) if is_voiced else text
        if len(pieces) > 1 or own != said:
            words = words_of(own, catalog, sheet.language)
        else:
            words = words_without_denied(line, catalog, sheet.language)
        if speaks_of_paper(text, words, lexicon_of(catalog), sheet.language):
            words.features -= {"mechanical", "defect"}
        is_messenger = words.features & (OWN_PARTS - {"lamp"}) or not has_fault(words)
        is_apart = len(pieces) == 1 and names_lamp_apart(line, words, catalog, sheet.language)
        if (code.style == "flash" and is_messenger) or is_apart:
            words.features.discard("lamp")  # it told the code
        words = compare(text, words, sheet.faults, catalog, sheet.language)
        take_share(words, at, [t for _, t in pieces], catalog, sheet.language)
        if len(pieces) > 1 and words.says_nothing:
            _take_lead(words, line, catalog, sheet.language)
        hear_neither(text, words, lexicon_of(catalog))
        is_share = tells_stage_only(words) or (at and lacks_part(words))
        is_like = bool(words.features & {"same", "otherside"}) or _is_placed_also(words)
        is_like = is_like or (at > 0 and is_place(words))  # "left curtain open, right one (B1002)"
        if state.current is not None and (is_share or is_like):
            repeat_part(words, state.current.words)
        fault = Fault(
            first=line,
            raws=[line.raw],
            texts=[text],
            code=code,
            words=words,
            unit=_unit_of(words, line, len(pieces)),
            absent=why_gone(words, line, sheet.language, catalog)
            or denied_by_name(line, code, text, words, catalog, sheet.language)
            or line.why,
            section=state.section,
        )
        if "same" in words.features and state.current is not None and not fault.absent:
            add_statuses(words, state.current.words)
            fault.absent = state.current.absent
        take_status(line, fault)
        _take_waiting(fault, state, sheet)
        sheet.faults += [fault, *(_words_entry(line, w, state) for w in records)]
        state.current = fault
    refuse_many(sheet.name, len(sheet.faults), MAX_FAULTS, "codes")
    if len(line.codes) == 1 and state.current is not None:
        take_type(line, state.current)


def _unit_of(words: Words, line: Line, pieces: int) -> Unit:
    """``B1280 clock spring open; B1281 horn, not SRS``: one code of several may be of another."""
    is_other = pieces > 1 and "elsewhere" in words.voices and not words.features & _NAMED
    return "other" if is_other else line.unit


def _is_placed_also(words: Words) -> bool:
    """``and n/s/f as well``: a place, or a part, of which the same holds."""
    placed = words.is_sided or bool(words.stages)
    return "also" in words.features and (placed or has_part(words))


def _take_lead(words: Words, line: Line, catalog: Catalog, language: str | None) -> None:
    """``Codes cleared before: B1490, B1491``: what is told before a list is told of each."""
    lead = words_of(line.text[: line.codes[0].start], catalog, language)
    add_statuses(words, lead)
    if stands_alone(lead) and not lead.voices - {"exists"}:
        words.features |= lead.features
        words.stages |= lead.stages
        words.ends |= lead.ends


def _continues(line: Line, state: _State) -> bool:
    """The same code again in another notation, on the line after its own."""
    current, code = state.current, line.codes[0]
    if current is None or current.code is None or state.blanks > _GAP or begins_row(line):
        return False
    if not is_again(code, line, current, current.code):
        return False
    is_gone = bool(why_absent(line.words, is_coded=True))
    is_told_anew = current.absent and has_part(line.words) and bool(line.words.statuses)
    is_other = (is_gone and not current.absent) or (is_told_anew and not is_gone)
    if line.unit != current.unit or is_other:
        return False
    best = code if code.style == "sae" and current.code.style != "sae" else current.code
    current.code = msgspec.structs.replace(
        best,
        failure_type=best.failure_type or code.failure_type or current.code.failure_type,
        status_byte=code.status_byte if best.status_byte is None else best.status_byte,
        also=other_notations(best, code, current.code),
    )
    _attach(line, current)
    return True


def _belongs(line: Line, current: Fault) -> bool:
    """Words under a fault are its own unless they tell of another part or begin another row."""
    heads = heads_of(current.words)
    may_begin = not line.is_keyed or bool(heads_of(line.words))  # "Fault:  open    State: stored"
    begins_row = heads and may_begin and _ROW.match(line.text) and _ROW.match(current.first.text)
    is_other = is_whole(current) and names_another(line.words, current.words)
    is_good = line.words.voices & {"good", "fine"} and not has_fault(line.words)
    is_denial = "not" in line.words.voices and line.words.statuses and not line.is_keyed
    if is_denial or is_next_row(line.text, current.first.text):
        return False
    if is_whole(current) and not line.is_keyed and not line.words.statuses:
        return False  # nothing is missing
    if begins_row or is_other or is_good or (heads and heads_of(line.words) - heads):
        return False
    is_prose = is_sentence(current)
    if not stands_alone(line.words) or not (current.is_told or is_prose):
        return True
    return current.code is not None and not is_prose and not differs(line.words, current.words)


def _words_entry(line: Line, words: Words, state: _State) -> Fault:
    hear_untested(words)
    return Fault(first=line, raws=[line.raw], words=words, unit=line.unit, section=state.section)


def _attach(line: Line, fault: Fault) -> None:
    fault.raws.append(line.raw)
    if fault.texts:
        fault.texts.append(without_codes(line).strip())
    _merge(fault.words, line.words)
    take_status(line, fault)
    take_type(line, fault)


def _merge(words: Words, other: Words) -> None:
    """Add what other words say; part, fault and place already told are not widened."""
    has_part = bool(words.features & OWN_PARTS)
    has_fault = bool(words.features & (TELLS - {"defect"}))
    added = other.features
    if not has_part and added & OWN_PARTS:
        words.features -= {"unit", "airbagmodule"}  # they named the report's unit
    if has_part:
        added = added & FAULT_WORDS if not has_fault else set()
    words.features |= added
    for name in ("seats", "sides", "ends", "rows", "stages", "numbers"):
        mine: set[object] = getattr(words, name)
        if not mine and not (has_part and has_fault and words.seats | words.sides):
            mine |= getattr(other, name)
    for status in other.statuses:
        add_status(words, status)
    words.is_driver_doubtful = words.is_driver_doubtful or other.is_driver_doubtful


def _take_waiting(fault: Fault, state: _State, sheet: Sheet) -> None:
    """Give a code the words above it, from the last that tell part and fault on.

    What stands above these is of no code, and a part of restraint is of no code of other units.
    """
    own = [at for at, line in enumerate(state.waiting) if stands_alone(line.words)]
    start = own[-1] + is_of_others(fault) if own else 0
    waiting, state.waiting = state.waiting, state.waiting[:start]
    _flush(state, sheet)
    for line in waiting[start:]:
        _attach(line, fault)


def _flush(state: _State, sheet: Sheet) -> None:
    """Words that waited for a code which never came."""
    for line in state.waiting:
        if stands_alone(line.words):
            sheet.faults.append(_words_entry(line, line.words, state))
        else:
            sheet.unread.append(line)
    state.waiting.clear()
