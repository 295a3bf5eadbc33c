"""Lines of a report gathered into faults: codes, the words around them, module headings."""

import re

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.intake.importers.base import refuse_many
from squibwise.intake.report.lines import (
    Line,
    is_bare_part,
    segments,
    why_absent,
    without_codes,
    words_of,
)
from squibwise.intake.report.notation import CodeToken, find_status_byte
from squibwise.intake.report.sense import (
    FAULT_WORDS,
    OWN_PARTS,
    TELLS,
    Sense,
    differs,
    has_part,
    heads_of,
    names_another,
    stands_alone,
)
from squibwise.intake.report.sheet import Sheet
from squibwise.intake.report.units import heading_name
from squibwise.model.report import Unit
from squibwise.model.words import Status

_CLAUSE = re.compile(r"[,;.]\s|\s(?:and|und|et|y|e|i|also|plus)\s|\s[+&]\s")
MAX_FAULTS = 5_000  # a wrecked car with every unit read lists some hundred
_FLASHES = re.compile(r"(?i)\b(?:flash|blink)")
_NEARLY, _MOSTLY = 0.8, 0.7
_ENDS_BROKEN = re.compile(r"\w-(?:\s{2}|\t|\s*$)")
_HYPHEN = re.compile(r"(\w)- (?=\w)")
_CELL = re.compile(r"\S(?:.*?\S)?(?= {3,}|\t|$)")
_ONE_OF = frozenset(
    """clockspring occupant offlamp offswitch lamp unit crashrecord batterycut hvcut
    columncharge""".split()
)
_AT = 2  # characters that the lines of a column may be out of line
_MOST_WRAPS = 6  # lines that one description may run over
_GAP = 1  # blank lines that a description may be away from its code


class Entry(msgspec.Struct, kw_only=True):
    """One fault in the making.

    Attributes:
        line: Where it begins.
        text: The line that it begins on.
        raws: Lines of text that belong to it, as they stood.
        words: The same without codes, as far as they are read as one text.
        token: Its code; None when it has only words.
        sense: What all its words say.
        module: Heading it stands under.
        unit: Which unit that is.
        group: What a heading of many faults says of it, such as a side; None for nothing.
        absent: Why it is not there now, such as ``gone``; empty when it may be.
        section: Number of the counted heading it stands under; 0 before the first.
    """

    line: int
    text: str
    raws: list[str]
    words: list[str] = msgspec.field(default_factory=list)
    token: CodeToken | None = None
    sense: Sense
    module: str | None = None
    unit: Unit = "unknown"
    group: Sense | None = None
    absent: str = ""
    section: int = 0

    @property
    def is_told(self) -> bool:
        """True when its words name a part or a fault already."""
        return bool(self.sense.features - {"skip", "stagehead"})


class Count(msgspec.Struct, frozen=True, kw_only=True):
    """A number of faults that the report announces."""

    line: int
    raw: str
    section: int
    count: int


class Gathered(msgspec.Struct, kw_only=True):
    """A report as entries, counts and lines that nobody understood."""

    entries: list[Entry] = msgspec.field(default_factory=list)
    counts: list[Count] = msgspec.field(default_factory=list)
    modules: dict[str, None] = msgspec.field(default_factory=dict)
    unread: list[Line] = msgspec.field(default_factory=list)
    volts: float | None = None


class _State(msgspec.Struct, kw_only=True):
    section: int = 0
    current: Entry | None = None
    waiting: list[Line] = msgspec.field(default_factory=list)
    blanks: int = 0


def gather(sheet: Sheet, catalog: Catalog) -> Gathered:
    """Return the faults of a report; every line with text ends up somewhere."""
    found = Gathered()
    state = _State()
    precede = _words_precede(sheet.lines)
    for line in sheet.lines:
        if line.role == "blank":
            state.blanks += 1
            continue
        _take(line, state, found, sheet, catalog, precede)
        state.blanks = 0
    _flush(state, found)
    found.unread.sort(key=lambda ln: ln.number)
    return found


def _take(
    line: Line, state: _State, found: Gathered, sheet: Sheet, catalog: Catalog, precede: bool
) -> None:
    if line.volts is not None and found.volts is None:
        found.volts = line.volts
    if line.role == "code":
        _take_codes(line, state, found, sheet, catalog)
    elif line.role == "words" or (sheet.lists_parts and is_bare_part(line)):
        _take_words(line, state, found, sheet, catalog, precede)
    elif line.role in ("heading", "count", "clean", "group"):
        _flush(state, found)
        _take_heading(line, state, found)
        if line.role == "clean" and has_part(line.sense):
            found.unread.append(line)
    elif line.role == "aside" and not _goes_on(line, state, sheet, catalog):
        found.unread.append(line)
    elif line.role == "meta":
        _take_measure(line, state)
    elif line.role == "unread" and not _fills_column(line, state, sheet, catalog):
        found.unread.append(line)


def _take_heading(line: Line, state: _State, found: Gathered) -> None:
    is_label = line.is_keyed and line.count is None  # below its fault, or above the next
    name = heading_name(line.text)
    if not (is_label and state.current is not None and state.current.module in (None, name)):
        state.current = None
    if line.is_module:
        found.modules[name] = None
    if line.count is not None:
        state.section += 1
        found.counts.append(
            Count(line=line.number, raw=line.raw, section=state.section, count=line.count)
        )
    elif line.is_module:
        state.section += 1


def _take_measure(line: Line, state: _State) -> None:
    """A status byte on a line of measures belongs to the fault above."""
    status = find_status_byte(line.text)
    if status is not None and state.current is not None and state.current.token is not None:
        state.current.token = _with_status(state.current.token, status)


def _with_status(token: CodeToken, status: int) -> CodeToken:
    if token.status_byte is not None:
        return token
    return msgspec.structs.replace(token, status_byte=status)


def _take_words(
    line: Line, state: _State, found: Gathered, sheet: Sheet, catalog: Catalog, precede: bool
) -> None:
    if precede:
        state.waiting.append(line)
        return
    if sheet.lists_parts and is_bare_part(line):
        state.current = None
        found.entries.append(_words_entry(line, line.sense, state))
        return
    current = state.current
    if current is not None and _is_status(line) and state.blanks <= _GAP:
        _attach(line, current)
        return
    follows = current is not None and state.blanks == 0 and not line.is_keyed
    if current is not None and follows and _wrap(line, current, sheet, catalog):
        return
    gap = 0 if current is not None and _is_whole(current) and not line.is_keyed else _GAP
    if current is not None and state.blanks <= gap and _belongs(line, current):
        if line.is_keyed or line.known_share >= _MOSTLY:
            _attach(line, current)
        else:
            found.unread.append(line)
        return
    if stands_alone(line.sense) and _is_report(line, sheet.is_coded):
        fresh = [_words_entry(line, s, state) for s in _clauses(line, catalog, sheet.language)]
        found.entries.extend(fresh)
        state.current = fresh[-1]
    else:
        found.unread.append(line)


def _is_status(line: Line) -> bool:
    """Tell whether a line is a status and nothing more."""
    sense = line.sense
    told = sense.features - {"skip"} or sense.seats or sense.sides or sense.ends
    return bool(sense.statuses) and not told and line.known_share >= _MOSTLY


def _is_whole(entry: Entry) -> bool:
    """Tell whether an entry names part and fault, so that nothing is missing."""
    features = entry.sense.features
    return bool(features & OWN_PARTS) and bool(features & (TELLS - {"defect"}))


def _fills_column(line: Line, state: _State, sheet: Sheet, catalog: Catalog) -> bool:
    """Tell whether indented words, which mean nothing alone, go on with the description above."""
    current = state.current
    if current is None or state.blanks or line.is_keyed or line.text[:1] not in (" ", "\t"):
        return False
    return not _is_whole(current) and _wrap(line, current, sheet, catalog)


def _goes_on(line: Line, state: _State, sheet: Sheet, catalog: Catalog) -> bool:
    """Tell whether words that seem to deny go on with the description above them."""
    return line.why == "denied" and _fills_column(line, state, sheet, catalog)


def _in_column(entry: Entry, line: Line) -> str:
    """The words so far with the line put behind those of the column that it stands in."""
    indent = len(line.text) - len(line.text.lstrip())
    above = next(
        (c.group() for c in _CELL.finditer(entry.text) if abs(c.start() - indent) <= _AT), ""
    )
    texts = [c.group() for c in _CELL.finditer(entry.words[0])]
    at = next((i for i, t in enumerate(texts) if above.endswith(t)), len(texts) - 1)
    own = " ".join([*texts[: at + 1], *entry.words[1:], line.text.strip()])
    own = _HYPHEN.sub(r"\1", own)
    return "   ".join([own, *texts[at + 1 :]])


def _wrap(line: Line, entry: Entry, sheet: Sheet, catalog: Catalog) -> bool:
    """Read a line together with the code's own words, as a description broken in two.

    It is one when the words so far tell no fault yet, or when the line adds no part of its own.
    """
    if entry.token is None or not entry.words or len(entry.words) > _MOST_WRAPS:
        return False
    is_broken = _ENDS_BROKEN.search(entry.words[-1]) or _ENDS_BROKEN.search(entry.words[0])
    if "?" in line.text or (line.known_share < _MOSTLY and not is_broken):
        return False
    told = bool(entry.sense.features & (TELLS - {"defect"}))
    joined = words_of(_in_column(entry, line), catalog, sheet.language)
    parts, more = entry.sense.features & OWN_PARTS, joined.features & OWN_PARTS
    is_other = bool(parts) and bool(heads_of(line.sense) - heads_of(entry.sense))
    if told and (stands_alone(line.sense) or is_other or (parts and more != parts)):
        return False
    entry.sense = _joined_sense(entry.sense, joined)
    entry.absent = why_absent(joined, is_coded=True)
    entry.words.append(line.text.strip())
    entry.raws.append(line.raw)
    status = find_status_byte(line.text)
    if status is not None and entry.token is not None:
        entry.token = _with_status(entry.token, status)
    if line.failure_type:
        _type(entry, line.failure_type)
    return True


def _joined_sense(before: Sense, joined: Sense) -> Sense:
    """The joined words' sense with statuses that stood outside them."""
    for status in before.statuses:
        _add_status(joined, status)
    return joined


def _is_report(line: Line, is_coded: bool) -> bool:
    """Words that report a fault, rather than ask or talk about one.

    Beside codes a line of words must say where and what, in words that are mostly known.
    """
    if "?" in line.text or _FLASHES.search(line.text):
        return False
    tells = line.sense.features & (TELLS - {"defect"})
    if not tells and line.text.rstrip().endswith(":"):
        return False  # the title of a list
    if not is_coded:
        return bool(tells) or bool(line.sense.features & OWN_PARTS) or line.known_share >= _NEARLY
    if not line.sense.features & (OWN_PARTS - {"lamp"}):
        tells = tells or {s for s in line.sense.statuses if s == "locked"}
    else:
        tells = tells or set(line.sense.statuses)
    return bool(tells) and _is_placed(line.sense) and line.known_share >= _MOSTLY


def _is_placed(sense: Sense) -> bool:
    """Words that say where, or name a part of which a car has one."""
    single = _ONE_OF | {"nearside", "offside"}
    return bool(sense.seats or sense.sides or sense.features & single)


def _clauses(line: Line, catalog: Catalog, language: str | None) -> list[Sense]:
    """The faults that a line without a code tells of: one for each clause and each stage."""
    pieces = [words_of(text, catalog, language) for text in _CLAUSE.split(line.text)]
    own = [p for p in pieces if stands_alone(p)]
    senses = own if len(own) > 1 else [line.sense]
    return [single for sense in senses for single in _stages(sense)]


def _stages(sense: Sense) -> list[Sense]:
    if len(sense.stages) <= 1 or "cross" in sense.features:
        return [sense]
    return [msgspec.structs.replace(sense, stages={stage}) for stage in sorted(sense.stages)]


def _take_codes(line: Line, state: _State, found: Gathered, sheet: Sheet, catalog: Catalog) -> None:
    if len(line.codes) == 1 and _continues(line, state):
        return
    for token, text in segments(line):
        sense = words_of(text, catalog, sheet.language) if len(line.codes) > 1 else line.sense
        if "same" in sense.features and state.current is not None:
            _repeat_part(sense, state.current.sense)
        entry = Entry(
            line=line.number,
            text=line.text,
            raws=[line.raw],
            words=[text],
            token=token,
            sense=sense,
            module=line.module,
            unit=line.unit,
            group=line.group,
            absent=_absent(sense, line),
            section=state.section,
        )
        if token.status_byte is None and (status := find_status_byte(line.text)) is not None:
            entry.token = _with_status(token, status)
        for before in state.waiting:
            _attach(before, entry)
        state.waiting.clear()
        found.entries.append(entry)
        state.current = entry
    refuse_many(sheet.name, len(found.entries), MAX_FAULTS, "codes")
    if line.failure_type and len(line.codes) == 1 and state.current is not None:
        _type(state.current, line.failure_type)


def _repeat_part(sense: Sense, before: Sense) -> None:
    """``same thing, right side``: the part of the fault before, and its fault if none is told."""
    if not sense.features & OWN_PARTS:
        sense.features |= before.features - TELLS
    if not sense.features & TELLS:
        sense.features |= before.features & FAULT_WORDS


def _absent(sense: Sense, line: Line) -> str:
    """Why a code is not there now: by its own words, or by what the line says of all its codes."""
    own = why_absent(sense, is_coded=True)
    if own or not (sense.says_nothing or line.sense.voices & {"past", "mine"}):
        return own
    return why_absent(line.sense, is_coded=True)


def _continues(line: Line, state: _State) -> bool:
    """The same code again in another notation, on the line after its own."""
    current, token = state.current, line.codes[0]
    if current is None or current.token is None or state.blanks > _GAP:
        return False
    if not _is_again(token, line, current, current.token):
        return False
    best = token if token.style == "sae" and current.token.style != "sae" else current.token
    current.token = msgspec.structs.replace(
        best,
        failure_type=best.failure_type or token.failure_type or current.token.failure_type,
        status_byte=token.status_byte if best.status_byte is None else best.status_byte,
        also=_also(best, token, current.token),
    )
    _attach(line, current)
    return True


def _is_again(token: CodeToken, line: Line, current: Entry, before: CodeToken) -> bool:
    """The same code once more, or the public code under a maker's number."""
    types = {before.failure_type, token.failure_type} - {None}
    names = {before.code, *before.readings} & {token.code, *token.readings}
    bare = not line.sense.features & OWN_PARTS
    if names and len(types) <= 1:
        return token.style != before.style or bare or not current.sense.features & OWN_PARTS
    return bare and not before.is_exact and before.style != "cut" and token.style == "sae"


def _also(best: CodeToken, token: CodeToken, before: CodeToken) -> tuple[str, ...]:
    if token.style == before.style:
        return best.also
    return (*best.also, before.printed if best is token else token.printed)


def _belongs(line: Line, current: Entry) -> bool:
    """Words under a fault are its own unless they tell of another part."""
    if _is_whole(current) and names_another(line.sense, current.sense):
        return False
    if heads_of(current.sense) and heads_of(line.sense) - heads_of(current.sense):
        return False
    if not stands_alone(line.sense):
        return True
    if not current.is_told:
        return True
    if current.token is None:
        return False
    return not differs(line.sense, current.sense)


def _words_entry(line: Line, sense: Sense, state: _State) -> Entry:
    return Entry(
        line=line.number,
        text=line.text,
        raws=[line.raw],
        sense=sense,
        module=line.module,
        unit=line.unit,
        group=line.group,
        section=state.section,
    )


def _attach(line: Line, entry: Entry) -> None:
    entry.raws.append(line.raw)
    if entry.words:
        entry.words.append(without_codes(line).strip())
    entry.line = min(entry.line, line.number) if entry.token is None else entry.line
    _merge(entry.sense, line.sense)
    status = find_status_byte(line.text)
    if status is not None and entry.token is not None:
        entry.token = _with_status(entry.token, status)
    if line.failure_type:
        _type(entry, line.failure_type)


def _type(entry: Entry, failure_type: str) -> None:
    if entry.token is not None and entry.token.failure_type is None:
        entry.token = msgspec.structs.replace(entry.token, failure_type=failure_type)


def _merge(sense: Sense, other: Sense) -> None:
    """Add what other words say; part, fault and place already told are not widened."""
    has_part = bool(sense.features & OWN_PARTS)
    has_fault = bool(sense.features & (TELLS - {"defect"}))
    added = other.features
    if not has_part and added & OWN_PARTS:
        sense.features -= {"unit", "airbagmodule"}  # they named the report's unit
    if has_part:
        added = added & FAULT_WORDS if not has_fault else set()
    sense.features |= added
    for name in ("seats", "sides", "ends", "rows", "stages", "numbers"):
        mine: set[object] = getattr(sense, name)
        if not mine and not (has_part and has_fault and sense.seats | sense.sides):
            mine |= getattr(other, name)
    for status in other.statuses:
        _add_status(sense, status)
    sense.is_driver_doubtful = sense.is_driver_doubtful or other.is_driver_doubtful


def _add_status(sense: Sense, status: Status) -> None:
    if status not in sense.statuses:
        sense.statuses.append(status)


def _flush(state: _State, found: Gathered) -> None:
    """Words that waited for a code which never came."""
    for line in state.waiting:
        if stands_alone(line.sense):
            found.entries.append(_words_entry(line, line.sense, state))
        else:
            found.unread.append(line)
    state.waiting.clear()


def _words_precede(lines: list[Line]) -> bool:
    """Tell whether codes on lines of their own stand below their words rather than above."""
    rows = [ln for ln in lines if ln.role in ("code", "words")]
    bare = [i for i, ln in enumerate(rows) if ln.role == "code" and ln.sense.says_nothing]
    above = sum(i > 0 and rows[i - 1].role == "words" for i in bare)
    below = sum(i + 1 < len(rows) and rows[i + 1].role == "words" for i in bare)
    is_usual = 2 * len(bare) > sum(ln.role == "code" for ln in rows)
    return is_usual and above == len(bare) and above > below
