"""A report as lines that are each taken apart: codes, words, role, unit."""

import re
from collections.abc import Sequence

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.intake.importers.base import RawLine
from squibwise.intake.report.flashes import find_counted, find_flashes, find_list, find_pairs
from squibwise.intake.report.lines import Line, is_bare_part, read_line, without_codes
from squibwise.intake.report.notation import (
    CodeToken,
    find_codes,
    find_maker_number,
    find_mistaken,
    find_numbers,
    merge_twins,
)
from squibwise.intake.report.phrases import Lexicon, flat, languages, lexicon_of, tokenise
from squibwise.intake.report.sense import has_fault, has_part
from squibwise.intake.report.units import assign_units, take_module_column
from squibwise.intake.vin import find_vin
from squibwise.model.origin import Finding, Origin

MAX_LINE = 2000
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
_SIGNS = str.maketrans(
    dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212", "-")
    | dict.fromkeys("\u00a0\u2007\u2009\u202f", " ")
)
_QUOTED = re.compile(r"^\s*(?:>\s?){1,9}")
_SPEAKER = re.compile(
    r"^\s*(?:\[?\d{1,2}[:.]\d{2}(?:[:.]\d{2})?\s?(?:[APap]\.?[Mm]\.?)?\]?[ ,-]{1,3}"
    r"\S[^:\t|]{0,24}:\s"
    r"|#\d{1,4}\s+\S[^:\t|]{0,30}:\s)"
)
_STOP = re.compile(r"([.!?])[)\"']?\s+(?=[¿¡\"'(]?[A-ZÀ-ÝŁŚŻ][a-zà-ÿłśżźćńęą'])")
_SENTENCE_WORDS = 4  # fewer words before a stop are an abbreviation
_LISTED = 3  # names of parts that make a list of parts
_SHAPED = 2  # lines of one shape that make it the shape of the report
_MIXED = re.compile(
    r"(?<![\w-])(?=[A-Za-z015|]*[a-zA-Z]{2})(?=[A-Za-z]*[015])[A-Za-z01]{4,}(?![\w])"
)
_MIXED_WORDS = 2  # words with digits among their letters that show a machine's reading
_AS_LETTERS = str.maketrans("01", "ol")
_WORD = re.compile(r"[^\W\d_]{4,}")
_ALIKE = (("l", "i"), ("i", "l"), ("rn", "m"), ("m", "rn"), ("cl", "d"), ("d", "cl"), ("vv", "w"))
_ONE_ALONE = re.compile(r"(?<=[a-z] )[lI](?= )")


class Sheet(msgspec.Struct, kw_only=True):
    """All lines of a report, with what is known of the report as a whole."""

    name: str
    lines: list[Line]
    vin: str | None = None
    hand: str | None = None
    is_coded: bool = False
    is_recorder: bool = False
    is_machine_read: bool = False
    lists_parts: bool = False
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
    sheet = Sheet(name=name, lines=[line for raw in raws for line in _pieces(raw, lexicon)])
    take_module_column(sheet.lines, lexicon)
    for line in sheet.lines:
        _read_codes(line, lexicon)
    _settle_flash(sheet.lines)
    _follow_shapes(sheet.lines)
    _read_as_camera(sheet, lexicon)
    sheet.is_coded = any(code.is_exact for line in sheet.lines for code in line.codes)
    sheet.is_recorder = not sheet.is_coded and _is_recorder(sheet.lines)
    if sheet.is_recorder:
        return sheet
    for line in sheet.lines:
        line.tokens = tokenise(without_codes(line))
    sheet.language = _language(lexicon, sheet.lines)
    for line in sheet.lines:
        _read_line(line, sheet, lexicon, catalog, name)
    assign_units(sheet.lines, lexicon)
    sheet.lists_parts = not sheet.is_coded and sum(map(is_bare_part, sheet.lines)) >= _LISTED
    return sheet


def _is_recorder(lines: list[Line]) -> bool:
    """Tell whether lines hold elements of a crash recorder rather than faults.

    Source: cfr-49-563, names of the elements of tables I and II.
    """
    return sum(bool(_RECORDER.search(line.text)) for line in lines) >= _ELEMENTS


def _pieces(raw: RawLine, lexicon: Lexicon) -> list[Line]:
    """The sentences of a line; a table's row and a line that says one thing stay whole."""
    text = raw.text.translate(_SIGNS)
    is_cut = len(text) > MAX_LINE
    text = text[:MAX_LINE]
    said = _SPEAKER.sub("", _QUOTED.sub("", text))
    if len(raw.cells) > 1:
        return [Line(number=raw.number, raw=text, text=said, cells=raw.cells, is_cut=is_cut)]
    parts = [p for s in _sentences(said) for p in _without_question(s, lexicon)]
    if len(parts) == 1:
        return [Line(number=raw.number, raw=text, text=said, is_cut=is_cut)]
    return [Line(number=raw.number, raw=p, text=p, is_cut=is_cut) for p in parts]


def _sentences(text: str) -> list[str]:
    """The sentences of running text; abbreviations and lists do not end one."""
    found, start = [], 0
    for match in _STOP.finditer(text):
        asks = match.group(1) == "?"
        if asks or len(text[start : match.start()].split()) >= _SENTENCE_WORDS:
            found.append(text[start : match.end(1)])
            start = match.end()
    return [*found, text[start:]] if text[start:].strip() or not found else found


def _without_question(text: str, lexicon: Lexicon) -> list[str]:
    """``B1001 is stored, has that to do with it?``: what is told, and what is only asked."""
    head, comma, _ = text.rpartition(", ")
    if not text.rstrip().endswith("?") or not comma or _asks_first(text, lexicon):
        return [text]
    return [head + ",", text[len(head) + 2 :]]


def _asks_first(text: str, lexicon: Lexicon) -> bool:
    words = tuple(t.text for t in tokenise(text)[:3])
    return any(w in lexicon.asking for w in words)


def _read_codes(line: Line, lexicon: Lexicon) -> None:
    if not _ANY_TEXT.search(line.text):
        line.role = "blank"
        return
    flashes = list(find_flashes(line.text, lexicon))
    counted = find_counted(line.text)
    if counted is not None and not flashes:
        flashes = [counted]
    codes = [c for c in find_codes(line.text) if not _is_label(line.text, c, lexicon)]
    if flashes:
        codes = [c for c in codes if c.is_exact and not _overlap(c, flashes)]
    line.codes = merge_twins([*codes, *flashes], line.text) or find_list(line.text)


def _overlap(code: CodeToken, others: list[CodeToken]) -> bool:
    return any(code.start < o.end and o.start < code.end for o in others)


def _is_label(text: str, code: CodeToken, lexicon: Lexicon) -> bool:
    """Tell whether what looks like a code is the number of an order, a part, a plug."""
    if lexicon.labels is None:
        names = lexicon.names_of("label")
        lexicon.labels = re.compile(rf"(?<![^\W_])(?:{names})(?: (?:no|nr|number)\b)?[\s.:#=-]*$")
    head = flat(text[: code.start])
    return bool(head.strip()) and bool(lexicon.labels.search(head))


def _settle_flash(lines: list[Line]) -> None:
    """Bare numbers are flash codes only where nothing speaks against it."""
    exact = any(c.style in ("sae", "hex24", "decimal24") for ln in lines for c in ln.codes)
    maker = any(c.style == "decimal" for ln in lines for c in ln.codes)
    numbered = maker or any(re.match(r"\s*[1-9]\s+\D", ln.text) for ln in lines)
    called = [
        ln for ln in lines if any(c.style == "flash" and c.end - c.start > 5 for c in ln.codes)
    ]
    for line in lines:
        only = find_list(line.text)
        if only and not exact:
            line.codes = only
        labelled = re.search(r"(?i)code|flash|blink|dtc", line.text[:20])
        if exact or (numbered and not labelled):
            line.codes = tuple(c for c in line.codes if c.style != "flash" or _is_called(line, c))
        if len(called) > 1 and not line.codes and not line.cells:
            line.codes = find_pairs(line.text)


def _is_called(line: Line, code: CodeToken) -> bool:
    """Tell whether a flash code stands with a word for lamp or blink, or as a count of blinks."""
    flashes = [c for c in line.codes if c.style == "flash"]
    return code.style == "flash" and any(
        re.search(r"[^\W\d_]", line.text[c.start : c.end]) for c in flashes
    )


def _follow_shapes(lines: list[Line]) -> None:
    """Codes anywhere in a line, in the shape that several lines of the report begin with."""
    begun = [c.style for ln in lines for c in ln.codes if not ln.text[: c.start].strip(" -*(#")]
    numbers = sum(begun.count(style) for style in ("decimal", "maker"))
    shown = {"hex16": begun.count("hex16"), "decimal": numbers}
    for shape, count in shown.items():
        for line in lines if count >= _SHAPED else ():
            if not line.codes and line.role != "blank" and not line.cells:
                line.codes = find_numbers(line.text, shape)
    for line in lines:
        if not line.codes and line.role != "blank" and not line.cells:
            line.codes = find_numbers(line.text, "hex16")  # kept only where its words tell a fault
        if not line.codes and line.role != "blank" and len(line.cells) < _SHAPED:
            number = find_maker_number(line.text)
            line.codes = (number,) if number is not None else ()


def _read_as_camera(sheet: Sheet, lexicon: Lexicon) -> None:
    """Codes in which a camera took signs for one another, once some lines show that one did."""
    found = [find_mistaken(ln.text, is_lenient=False) for ln in sheet.lines]
    sheet.is_machine_read = any(found) or _looks_machine_read(sheet.lines)
    if not sheet.is_machine_read:
        return
    for line in sheet.lines:
        line.text = _letters(line.text, lexicon)
        if any(c.style in ("sae", "camera") for c in line.codes):
            continue
        mistaken = find_mistaken(line.text, is_lenient=True)
        if mistaken:
            line.codes = mistaken


def _looks_machine_read(lines: list[Line]) -> bool:
    mixed = sum(len(_MIXED.findall(ln.text)) for ln in lines)
    return mixed >= _MIXED_WORDS


def _letters(text: str, lexicon: Lexicon) -> str:
    """Words with signs that a machine took for one another, put right where that makes a word."""
    text = _ONE_ALONE.sub("1", _MIXED.sub(lambda m: m.group().translate(_AS_LETTERS), text))
    return _WORD.sub(lambda m: _known_word(m.group(), lexicon), text)


def _known_word(word: str, lexicon: Lexicon) -> str:
    plain = flat(word)
    if plain in lexicon.known:
        return word
    tries = (plain.replace(one, two) for one, two in _ALIKE if one in plain)
    return next((t for t in tries if t in lexicon.known), word)


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
    read_line(line, lexicon, sheet.language)
    if line.tokens and line.codes and _is_number_only(line):
        line.codes, line.tokens = (), tokenise(without_codes(line))  # "12 names", "20417 miles"
        read_line(line, lexicon, sheet.language)


def _is_number_only(line: Line) -> bool:
    """Tell whether a code is a plain number of any kind: nothing beside it tells of a fault."""
    first = line.codes[0]
    begins = not re.search(r"[^\W\d_]", line.text[: first.start])
    if first.style == "hex16" and not begins:
        return not (has_part(line.sense) and has_fault(line.sense))
    bare = first.style in ("flash", "decimal", "maker", "hex16") and first.printed.isdecimal()
    is_lone = bare and begins and len(line.codes) == 1 and not _is_called(line, first)
    return is_lone and line.sense.says_nothing


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
