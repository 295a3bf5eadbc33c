"""What each line of a report is: code, words, heading, count, measure, or not understood."""

import re
from collections.abc import Sequence

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.grammar import CodeToken, find_codes, find_flash_list
from squibwise.intake.report.sense import Sense, read_sense
from squibwise.intake.report.words import (
    Lexicon,
    Token,
    find_hits,
    find_layout,
    languages,
    lexicon_of,
    tokenise,
)
from squibwise.intake.vin import find_vin
from squibwise.model.origin import Finding, Origin

MAX_LINE = 2000
_HEADING_WORDS = 12
_STATUS_WORDS = 2  # a line of so few words is a status rather than the names of columns
_VOLTS = re.compile(r"(?<![\d.,])(\d{1,2}(?:[.,]\d{1,3})?)\s?(?:[vV]\b|[vV]olts?\b)")
_KEY_ON = re.compile(r"(?i)\b(?:ignition|key|ign|zündung|contact|contacto|quadro|zapłon)\b")
_BULLET = re.compile(r"^\s*(?:[-*>•·#]\s*)?(?:\(?\d{1,3}[.)]\s+)?")
_KEYED = re.compile(r"^[^:=\t|]{1,40}(?:[:=\t|]|\.{3})")
_TYPE_LABEL = re.compile(
    r"(?i)\b(?:failure type|fault type|ftb|symptom|sub ?type|type|fehlerart|type de d[ée]faut|"
    r"failure)\s*(?:byte|code)?\s*[:=#]\s*(?:0x)?([0-9A-F]{2})(?![0-9A-Za-z.:/])"
)
_HANDS = (
    (re.compile(r"(?i)\b(?:lhd|left[- ]hand drive|linkslenker|conduite [àa] gauche)\b"), "left"),
    (re.compile(r"(?i)\b(?:rhd|right[- ]hand drive|rechtslenker|conduite [àa] droite)\b"), "right"),
)
_RECORDER = re.compile(
    r"(?i)delta-?\s?v\b|time to (?:first|second|nth|deploy|maximum)|"
    r"ignition cycles?,? (?:crash|download)|"
    r"vehicle indicated speed|complete file recorded|multi-?event|service brake|accelerator pedal|"
    r"belt status|time from event"
)
_ELEMENTS = 3  # so many names of recorder elements make a file recorder data
_ANY_TEXT = re.compile(r"[^\W_]")


class Line(msgspec.Struct, kw_only=True):
    """One line of a report, taken apart.

    Attributes:
        number: In the file, from 1.
        text: As it stood, without the rest of an overlong line.
        role: ``blank``, ``code``, ``words``, ``heading``, ``count``, ``clean``, ``header``,
            ``meta`` or ``unread``.
        codes: Codes on it.
        tokens: Its words without its codes.
        sense: What its words say.
        count: Faults it announces.
        volts: Supply voltage it states. [V]
        failure_type: Failure type that it labels as such.
        is_module: It names a module of the car.
        is_keyed: It begins with a label and a colon.
        is_foreign: The module is not the restraint unit.
        known_share: Share of its words that are known.
        is_cut: It was longer than can be read.
    """

    number: int
    text: str
    role: str = "unread"
    codes: tuple[CodeToken, ...] = ()
    tokens: tuple[Token, ...] = ()
    sense: Sense = msgspec.field(default_factory=Sense)
    count: int | None = None
    volts: float | None = None
    failure_type: str | None = None
    is_module: bool = False
    is_keyed: bool = False
    is_foreign: bool = False
    known_share: float = 0.0
    is_cut: bool = False


class Sheet(msgspec.Struct, kw_only=True):
    """All lines of a report, with what is known of the report as a whole."""

    name: str
    lines: list[Line]
    vin: str | None = None
    hand: str | None = None
    is_coded: bool = False
    is_recorder: bool = False
    language: str | None = None
    findings: list[Finding] = msgspec.field(default_factory=list)


def sort_lines(raws: Sequence[RawLine], name: str, catalog: Catalog) -> Sheet:
    """Return every line with its role.

    Args:
        raws: Numbered lines.
        name: Of the file, for origins.
        catalog: For the vocabulary and the VIN tables.
    """
    lexicon = lexicon_of(catalog)
    sheet = Sheet(name=name, lines=[_cut(raw, name) for raw in raws])
    for line in sheet.lines:
        _read_codes(line)
    _settle_flash(sheet.lines)
    sheet.is_coded = any(code.is_exact for line in sheet.lines for code in line.codes)
    sheet.is_recorder = not sheet.is_coded and _is_recorder(sheet.lines)
    if sheet.is_recorder:
        return sheet
    for line in sheet.lines:
        line.tokens = tokenise(without_codes(line))
    sheet.language = _language(lexicon, sheet.lines)
    for line in sheet.lines:
        _read_line(line, sheet, lexicon, catalog, name)
    return sheet


def _is_recorder(lines: list[Line]) -> bool:
    """Tell whether lines hold elements of a crash recorder rather than faults.

    Source: cfr-49-563, names of the elements of tables I and II.
    """
    return sum(bool(_RECORDER.search(line.text)) for line in lines) >= _ELEMENTS


def words_of(text: str, catalog: Catalog, language: str | None) -> Sense:
    """Return what a piece of text says, codes aside."""
    tokens = tokenise(text)
    return read_sense(tokens, find_hits(lexicon_of(catalog), tokens, language))


def language_of(line: Line, lexicon: Lexicon, usual: str | None) -> str | None:
    """Return the language a line is read in beside English: its own, or the report's."""
    scores = languages(lexicon, [t.text for t in line.tokens])
    best = max(scores, key=lambda n: 2 * scores[n] + (n == usual), default=None)
    return best if best is not None and scores[best] > 0 else usual


def _cut(raw: RawLine, name: str) -> Line:
    text = raw.text.replace("–", "-").replace("—", "-").replace("\u00a0", " ").replace("−", "-")
    return Line(number=raw.number, text=text[:MAX_LINE], is_cut=len(text) > MAX_LINE)


def _read_codes(line: Line) -> None:
    if not _ANY_TEXT.search(line.text):
        line.role = "blank"
        return
    line.codes = find_codes(line.text) or find_flash_list(line.text)


def _settle_flash(lines: list[Line]) -> None:
    """Numbers at the start of lines are flash codes only where nothing speaks against it."""
    exact = any(c.style in ("sae", "hex24", "decimal24") for ln in lines for c in ln.codes)
    maker = any(c.style == "decimal" for ln in lines for c in ln.codes)
    numbered = maker or any(re.match(r"\s*[1-9]\s+\D", ln.text) for ln in lines)
    for line in lines:
        flash = find_flash_list(line.text)
        if flash and not exact:
            line.codes = flash
        labelled = re.search(r"(?i)code|flash|blink|dtc", line.text[:20])
        if exact or (numbered and not labelled):
            line.codes = tuple(c for c in line.codes if c.style != "flash")


def without_codes(line: Line) -> str:
    """Return the text of a line with blanks in place of its codes, and without its bullet."""
    text = line.text
    for code in line.codes:
        for start, end in ((code.start, code.end), *code.elsewhere):
            text = text[:start] + " " * (end - start) + text[end:]
    return _BULLET.sub("", text, count=1)


def _language(lexicon: Lexicon, lines: list[Line]) -> str | None:
    scores = languages(lexicon, [t.text for ln in lines for t in ln.tokens])
    best = max(scores, key=lambda n: scores[n], default=None)
    return best if best is not None and scores[best] > 0 else None


def _read_line(line: Line, sheet: Sheet, lexicon: Lexicon, catalog: Catalog, name: str) -> None:
    if line.role == "blank":
        return
    _read_hand(line, sheet)
    if _read_vin(line, sheet, catalog, name):
        return
    language = language_of(line, lexicon, sheet.language)
    line.sense = read_sense(line.tokens, find_hits(lexicon, line.tokens, language))
    line.is_keyed = bool(_KEYED.match(line.text))
    labelled = _TYPE_LABEL.search(line.text)
    line.failure_type = labelled.group(1).upper() if labelled else None
    line.volts = _volts(line, lexicon)
    _give_role(line, lexicon, _is_clean(line, lexicon, language))


def _read_hand(line: Line, sheet: Sheet) -> None:
    for pattern, hand in _HANDS:
        if sheet.hand is None and pattern.search(line.text):
            sheet.hand = hand


def _read_vin(line: Line, sheet: Sheet, catalog: Catalog, name: str) -> bool:
    origin = Origin(file=name, line=line.number, raw=line.text)
    vin, findings = find_vin(line.text, catalog, origin)
    if vin is None and not findings:
        return False
    if vin is not None and sheet.vin not in (None, vin):
        sheet.findings.append(
            Finding(
                code="two-vins",
                severity="warning",
                message=f"The report names VIN {sheet.vin} and VIN {vin}.",
                remedy="Make sure that it belongs to this car.",
                origin=origin,
            )
        )
    if vin is None or vin != sheet.vin:
        sheet.findings.extend(findings)
    sheet.vin = sheet.vin or vin
    line.role = "meta"
    return True


def _volts(line: Line, lexicon: Lexicon) -> float | None:
    """Supply voltage of a line that names a supply, not a fault."""
    found = _VOLTS.search(line.text)
    if found is None or line.codes or line.sense.features & (_PARTS | {"short", "open", "bag"}):
        return None
    words = tuple(t.text for t in line.tokens)
    named = any("supplyvolts" in find_layout(lexicon, words, at)[0] for at in range(len(words)))
    named = named or bool(_KEY_ON.search(line.text))
    return float(found.group(1).replace(",", ".")) if named else None


def _is_clean(line: Line, lexicon: Lexicon, language: str | None) -> bool:
    """Tell whether a line says that there is no fault, and no more than that."""
    words = tuple(t.text for t in line.tokens)
    for at in range(len(words)):
        means, length = find_layout(lexicon, words, at)
        if "clean" in means:
            rest = line.tokens[:at] + line.tokens[at + length :]
            return not _has_fault(read_sense(rest, find_hits(lexicon, rest, language)))
    return False


def _give_role(line: Line, lexicon: Lexicon, is_clean: bool) -> None:
    words = tuple(t.text for t in line.tokens)
    if line.codes:
        line.role = "code"
        return
    known = sum(w in lexicon.known or w.isdecimal() for w in words)
    line.known_share = known / len(words) if words else 0.0
    line.count = _count(words, lexicon)
    if line.volts is not None:
        line.role = "meta"
    elif is_clean:
        line.role = "clean"
        line.count = None if line.sense.features & _PARTS else 0
    elif line.count is not None:
        line.role = "count"
    else:
        line.role = _role(line, words, lexicon)
    headed = line.role in ("count", "clean")
    line.is_module = line.role == "heading" or (headed and _names_module(words, lexicon, line))
    line.is_foreign = line.is_module and _is_foreign(words, lexicon, line)


def _role(line: Line, words: tuple[str, ...], lexicon: Lexicon) -> str:
    """The role of a line without code, count or voltage."""
    first, length = find_layout(lexicon, words)
    label = set(first) if line.is_keyed else set()
    tells = _tells(line) or bool(line.failure_type)
    named = bool(words) and all_header(words, lexicon)
    is_header = named and (len(words) > _STATUS_WORDS or not line.sense.statuses)
    is_key = "key" in first and (line.is_keyed or bool(line.failure_type))
    roles = (
        ("advice" in first, "unread"),
        (is_header, "header"),
        (
            bool({"key", "meta", "module"} & label)
            and _is_number(words[length:])
            and not line.failure_type,
            "meta",
        ),
        (is_key, "words" if tells or _names_place(line) else "meta"),
        ("meta" in first and _is_meta(line, words, length, first), "meta"),
        (_is_heading(line, words, lexicon) or "module" in label, "heading"),
        (tells or (line.known_share == 1.0 and _names_place(line)), "words"),
    )
    return next((role for holds, role in roles if holds), "unread")


def _names_place(line: Line) -> bool:
    sense = line.sense
    return bool(sense.seats or sense.sides or sense.stages or sense.ends)


def _is_number(words: tuple[str, ...]) -> bool:
    return bool(words) and all(w[0].isdecimal() for w in words)


def _tells(line: Line) -> bool:
    return _has_part(line.sense) or _has_fault(line.sense) or bool(line.sense.statuses)


def all_header(words: tuple[str, ...], lexicon: Lexicon) -> bool:
    """Tell whether a line holds nothing but the names of columns."""
    at = 0
    while at < len(words):
        means, length = find_layout(lexicon, words, at)
        if not {"header", "key", "meta"} & set(means) or "othermodule" in means:
            return False
        at += length
    return bool(words)


def _count(words: tuple[str, ...], lexicon: Lexicon) -> int | None:
    """How many faults a line announces: ``3 faults``, ``Faults: 3``."""
    for at, word in enumerate(words):
        if word.isdecimal() and len(word) <= 3:
            after, _ = find_layout(lexicon, words, at + 1)
            if "count" in after:
                return int(word)
        means, length = find_layout(lexicon, words, at)
        rest = words[at + length :]
        if "total" in means and len(rest) == 1 and rest[0].isdecimal() and len(rest[0]) <= 3:
            return int(rest[0])
    return None


def _is_meta(line: Line, words: tuple[str, ...], length: int, means: tuple[str, ...]) -> bool:
    if "othermodule" in means and not line.is_keyed and len(words) <= length:
        return False
    is_label = line.is_keyed and _label_length(line) == length
    if (line.sense.statuses and not line.is_keyed) or (_tells(line) and not is_label):
        return False
    return line.is_keyed or len(words) <= length or any(c.isdecimal() for c in line.text)


def _label_length(line: Line) -> int:
    """How many words stand before the colon of a label."""
    label = _KEYED.match(line.text)
    return len(tokenise(_BULLET.sub("", label.group(), count=1))) if label else 0


def _is_heading(line: Line, words: tuple[str, ...], lexicon: Lexicon) -> bool:
    counts = any("count" in find_layout(lexicon, words, at)[0] for at in range(len(words)))
    told = (line.sense.features & _FAULTS) - ({"defect"} if counts else set())
    if len(words) > _HEADING_WORDS or told or (line.sense.statuses and not counts):
        return False
    return _names_module(words, lexicon, line) and not _has_part(line.sense)


def _names_module(words: tuple[str, ...], lexicon: Lexicon, line: Line) -> bool:
    if line.sense.features & {"unit", "system", "airbagmodule"}:
        return True
    if line.sense.features - {"skip"} == {"bag"} and len(words) <= 3 and not line.sense.seats:
        return True
    return _is_foreign(words, lexicon, line)


def _is_foreign(words: tuple[str, ...], lexicon: Lexicon, line: Line) -> bool:
    if line.sense.features & {"unit", "system", "airbagmodule", "bag"} - {"unit"}:
        return False
    return any("othermodule" in find_layout(lexicon, words, at)[0] for at in range(len(words)))


_PARTS = frozenset(
    """charge pretension curtain knee middle cushion inflatablebelt motorbelt loadlimiter buckle
    sensor occupant seatposition offswitch offlamp clockspring columncharge headcharge rollbar
    bonnet
    batterycut hvcut ventcharge switch belttension""".split()
)
_FAULTS = frozenset(
    """open high low short cross voltage communication configuration identity calibration internal
    performance mechanical defect crashrecord deployed resistance range ground crashsignal
    """.split()
)


def _has_part(sense: Sense) -> bool:
    if sense.features & _PARTS:
        return True
    return "bag" in sense.features and bool(sense.seats or sense.sides or "side" in sense.features)


def _has_fault(sense: Sense) -> bool:
    return bool(sense.features & _FAULTS)
