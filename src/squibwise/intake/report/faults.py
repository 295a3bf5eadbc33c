"""Lines of a report gathered into faults: codes, the words around them, module headings."""

from squibwise.intake.patterns import pattern
from squibwise.intake.report.claims.asides import excepts_a_part, hear_neither
from squibwise.intake.report.claims.assertions import (
    begins_with_only,
    find_asserted,
    is_asserted,
    is_seen,
)
from squibwise.intake.report.claims.closings import names_rest
from squibwise.intake.report.clauses.code_clauses import (
    MOSTLY,
    completes,
    find_labels_above,
    is_sentence,
    is_whole,
    repeat_part,
    take_status,
    take_wrapped,
    words_precede,
)
from squibwise.intake.report.clauses.own_rows import begins_own_row, begins_row, is_of_others
from squibwise.intake.report.clauses.part_lists import is_bare_part
from squibwise.intake.report.clauses.plain_clauses import add_statuses, list_clauses
from squibwise.intake.report.clauses.side_labels import is_of_place
from squibwise.intake.report.coded_faults import take_codes
from squibwise.intake.report.gathering import GAP, State, attach, fault_of, flush
from squibwise.intake.report.language.lexicon import Lexicon, tokenise
from squibwise.intake.report.language.words import (
    HEADS,
    KERB,
    OWN_PARTS,
    TELLS,
    Words,
    differs,
    has_fault,
    has_part,
    heads_of,
    names_another,
    stands_alone,
    tells_damage,
    tells_supply,
)
from squibwise.intake.report.line_words import words_in
from squibwise.intake.report.sheet import Fault, Line, Sheet
from squibwise.intake.report.units.headings import heading_name
from squibwise.model.report import UNSURE

_FLASHES = pattern(r"(?i)\b(?:flash|blink)")
_SAID_SHORTLY = 16  # words of a line that reports a crash record without a code
_ROW = pattern(r"[^\W\d].{0,40}?\S\s{3,}\S")
_NEARLY = 0.8  # share of known words
_ONE_OF = frozenset(
    """clockspring occupant offlamp offswitch lamp unit crashrecord batterycut hvcut
    columncharge""".split()
)
_SEEN_ONLY = frozenset("bag curtain knee pretension".split())  # no unit knows how these look
_MOST_ALIKE = 10  # words of a sentence that says no more than "so is the right one"


def gather(sheet: Sheet, lexicon: Lexicon) -> None:
    """Set the faults of a report; every line with text ends up somewhere."""
    state = State()
    precede = words_precede(sheet.lines)
    labelled = find_labels_above(sheet.lines)
    for at, line in enumerate(sheet.lines):
        if line.role == "blank":
            state.blanks += 1
            continue
        if at in labelled:
            state.waiting.append(line)
        else:
            _take(line, state, sheet, lexicon, precede)
        state.blanks = 0
    flush(state, sheet)
    sheet.unread.sort(key=lambda ln: ln.number)


def _take(line: Line, state: State, sheet: Sheet, lexicon: Lexicon, precede: bool) -> None:
    if line.role == "code":
        take_codes(line, state, sheet, lexicon)
    elif any(takes(line, state, sheet, lexicon) for takes in (_says_of_line, _repeats)):
        return
    elif line.role == "words" or (sheet.lists_parts and is_bare_part(line)):
        _take_words(line, state, sheet, lexicon, precede)
    elif line.role in ("heading", "count", "clean", "group"):
        flush(state, sheet)
        _take_heading(line, state, sheet)
        if line.role == "clean" and has_part(line.words):
            sheet.unread.append(line)
    elif line.role == "aside" and not _goes_on(line, state, sheet, lexicon):
        _doubt(line, state, sheet, lexicon)
        if has_part(line.words) or _is_placed(line.words):
            state.current = None  # it speaks of something else, and so does what follows
    elif line.role == "meta":
        if state.current is not None:
            take_status(line, state.current)  # a byte among the measures below a fault
    elif line.role == "header":
        _fills_column(line, state, sheet, lexicon)
    elif line.role == "unread" and not _fills_column(line, state, sheet, lexicon):
        sheet.unread.append(line)


def _take_heading(line: Line, state: State, sheet: Sheet) -> None:
    """End the fault above a heading; the label of its own unit, which may stand below it, does not.

    A heading that announces faults, or names a unit, begins a section.
    """
    is_label = line.is_keyed and line.count is None
    name = heading_name(line)
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


def _take_words(line: Line, state: State, sheet: Sheet, lexicon: Lexicon, precede: bool) -> None:
    if precede:
        state.waiting.append(line)
        return
    if sheet.lists_parts and is_bare_part(line):
        state.current = None
        sheet.faults.append(fault_of(line, line.words, state))
        return
    is_next = begins_row(line) or is_of_place(line, lexicon, sheet.language)
    if is_next or (state.current and begins_own_row(line, state.current, sheet.lines)):
        state.current = None
    is_told = not (line.why or is_seen(line, lexicon))
    is_told = is_told and (
        excepts_a_part(line, lexicon) or is_asserted(line, lexicon, sheet.language)
    )
    is_sure = not stands_alone(line.words) or is_told
    current = state.current if is_sure else None  # a story goes on with no row
    if current is not None and stands_alone(line.words) and is_of_others(current):
        current = None  # no part of restraint describes what is told of theirs
    if current is not None and _is_status(line) and state.blanks <= GAP:
        attach(line, current)
        return
    follows = current is not None and state.blanks == 0 and not line.is_keyed
    if current is not None and follows and take_wrapped(line, current, sheet, lexicon):
        return
    if current is not None and state.blanks <= GAP and _belongs(line, current):
        if line.is_keyed or line.known_share >= MOSTLY:
            attach(line, current)
        else:
            sheet.unread.append(line)
        return
    is_supply = tells_supply(line.words) and line.known_share >= MOSTLY
    if is_supply or (stands_alone(line.words) and _is_report(line, sheet.is_coded)):
        said = list_clauses(line, lexicon, sheet.language)
        fresh = [fault_of(line, s, state) for s in said]
        for fault in fresh:
            fault.absent = "" if is_sure else UNSURE
        sheet.faults.extend(fresh)
        state.current = fresh[-1]
    else:
        sheet.unread.append(line)


def _doubt(line: Line, state: State, sheet: Sheet, lexicon: Lexicon) -> None:
    """Keep a line that denies as unread; a clause of it that asserts a fault is asked about."""
    clause = find_asserted(line, lexicon, sheet.language)
    if not clause:
        sheet.unread.append(line)
        return
    fault = fault_of(line, words_in(clause, lexicon, sheet.language), state)
    fault.absent = "" if begins_with_only(clause, lexicon) else UNSURE
    sheet.faults.append(fault)


def _is_status(line: Line) -> bool:
    """Tell whether a line is a status and nothing more."""
    words = line.words
    told = words.features - {"skip"} or words.seats or words.sides or words.ends
    is_denied = "not" in words.voices  # "no crash stored"
    return bool(words.statuses) and not (told or is_denied) and line.known_share >= MOSTLY


def _fills_column(line: Line, state: State, sheet: Sheet, lexicon: Lexicon) -> bool:
    """Tell whether words, which mean nothing alone, go on with the description above.

    They are indented, or stand below a line that ends in a word such as ``not``.
    """
    current = state.current
    if current is None or state.blanks or line.is_keyed:
        return False
    last = tokenise(current.texts[-1] if current.texts else "")[-1:]
    is_cut = any(token.text in lexicon.denying for token in last)
    if not (is_cut or line.text[:1] in (" ", "\t")):
        return False
    is_open = is_cut or not is_whole(current) or completes(line.words, current.words)
    return is_open and take_wrapped(line, current, sheet, lexicon)


def _goes_on(line: Line, state: State, sheet: Sheet, lexicon: Lexicon) -> bool:
    """Tell whether words that seem to deny go on with the description above them."""
    return line.why in ("denied", "gone") and _fills_column(line, state, sheet, lexicon)


def _says_of_line(line: Line, state: State, sheet: Sheet, lexicon: Lexicon) -> bool:
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
    if names_rest([t.text for t in line.tokens], lexicon):
        return False
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


def _repeats(line: Line, state: State, sheet: Sheet, lexicon: Lexicon) -> bool:
    """``The left curtain is open. So is the right one.``: a place, or a part, like the one before.

    ``ditto   st. 2   ditto``: its stage, too.
    """
    current, words = state.current, line.words
    if hear_neither(line.text, words, lexicon):
        line.role = "words"
    told = words.features - {"skip", "same", "also", "side", "byside", "stagehead", *KERB}
    is_part = "same" in words.features and line.known_share == 1.0 and told <= OWN_PARTS
    is_other = "otherside" in told and not (words.is_sided or told & HEADS)
    is_alike = bool(words.features & {"same", "also", "otherside"}) and not words.voices
    is_place = is_other or words.is_sided or bool(words.stages)
    is_alike = is_alike and (is_part if told and not is_other else is_place)
    if not (is_alike and line.role in ("words", "unread")) or "?" in line.text:
        return False
    if current is None or current.absent or state.blanks or len(line.tokens) > _MOST_ALIKE:
        return False
    is_there = current.words.seats & words.seats or current.words.sides & words.sides
    if is_there and not told:
        return False
    repeat_part(words, current.words)
    add_statuses(words, current.words)
    state.current = fault_of(line, words, state)
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
    is_other = line.group is None and tells_damage(line.words)
    if is_talk or is_other or (is_seen and tells <= {"mechanical", "high"}):
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


def _belongs(line: Line, current: Fault) -> bool:
    """Words under a fault are its own unless they tell of another part or begin another row."""
    heads = heads_of(current.words)
    may_begin = not line.is_keyed or bool(heads_of(line.words))  # "Fault:  open    State: stored"
    begins_row = heads and may_begin and _ROW.match(line.text) and _ROW.match(current.first.text)
    is_foreign = "foreign" in line.words.features - current.words.features
    is_other = is_whole(current) and (is_foreign or names_another(line.words, current.words))
    is_good = line.words.voices & {"good", "fine"} and not has_fault(line.words)
    is_denial = "not" in line.words.voices and line.words.statuses and not line.is_keyed
    if is_denial or (is_whole(current) and not line.is_keyed and not line.words.statuses):
        return False  # nothing is missing
    if begins_row or is_other or is_good or (heads and heads_of(line.words) - heads):
        return False
    is_prose = is_sentence(current)
    if not stands_alone(line.words) or not (current.is_told or is_prose):
        return True
    return current.code is not None and not is_prose and not differs(line.words, current.words)
