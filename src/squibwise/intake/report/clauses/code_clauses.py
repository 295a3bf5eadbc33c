"""Which words belong to which code, on its line and on others, and what clauses tell of.

A line may hold several codes, several clauses without a code, and words that many codes share.
"""

import re
from functools import lru_cache

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.claims.asides import why_absent
from squibwise.intake.report.clauses.own_places import blanked
from squibwise.intake.report.clauses.plain_clauses import (
    OF_ALL,
    clause_end,
    is_only_place,
    names_other_part,
)
from squibwise.intake.report.language.code_forms import Code
from squibwise.intake.report.language.features import read_words, without_denied_places
from squibwise.intake.report.language.joints import choosing, joining, spans_of
from squibwise.intake.report.language.lexicon import Lexicon, tokenise
from squibwise.intake.report.language.phrases import find_hits
from squibwise.intake.report.language.words import (
    FAULT_WORDS,
    KERB,
    OWN_PARTS,
    TELLS,
    Words,
    add_status,
    has_fault,
    has_part,
    heads_of,
    opposite,
    stands_alone,
)
from squibwise.intake.report.line_words import language_of, without_codes, words_in
from squibwise.intake.report.sheet import Fault, Line, Sheet

_JOINING_SIGNS = frozenset({"", "/", "-", "&", "+", ","})
_ENDS_WITH_LABEL = pattern(r"[:=]\s*$")
_WORD = pattern(r"\S+")
_WORDY = pattern(r"[^\W\d_]{3}")
_SEVERAL = 2
_MOST_ALIKE = 40  # codes that share one text and a list of parts
_ONE_AND_TWO = pattern(r"\b1\s?(?:[/&+,]|and|und|et|y|e|i)\s?2\b")
_DENYING = frozenset({"not", "gone"})
_FULL_STOP = pattern(r"(?<=[^\W\d_]{4})\.\s+(?=[A-ZÀ-Ý])")
MOSTLY = 0.7  # share of known words
_ENDS_BROKEN = pattern(r"\w-(?:\s{2}|\t|\s*$)")
_HYPHEN = pattern(r"(\w)- (?=\w)")
_CELL = pattern(r"\S(?:.*?\S)?(?= {3,}|\t|$)")
_AT = 2  # characters that the lines of a column may be out of line
_MOST_WRAPS = 6  # lines that one description may run over
_SENTENCE = 10  # words with a code in them that wait for no description below
_END = Line(number=0, raw="", text="", role="blank")


def segments(line: Line, lexicon: Lexicon, usual: str | None) -> list[tuple[Code, str]]:
    """Return each code of a line with the words that are its own."""
    codes = line.codes
    if len(codes) == 1:
        return [(codes[0], without_codes(line))]
    language = language_of(line, lexicon, usual)
    line = msgspec.structs.replace(line, text=blanked(line.text, codes, " "))
    clauses = _own_clauses(line, lexicon, language) or _led_clauses(line, lexicon, language)
    if clauses:
        return clauses
    head = line.text[: codes[0].start]
    bounds = [c.start for c in codes] + [len(line.text)]
    after = [line.text[c.end : bounds[i + 1]] for i, c in enumerate(codes)]
    if all(is_only_place(words_in(text, lexicon, language)) for text in after):
        return [(c, f"{head} {t}") for c, t in zip(codes, after, strict=True)]  # "B1 (lh), B2 (rh)"
    is_before = (
        codes[0].style != "flash"
        and bool(re.search(r"[^\W\d_]{3}", head))
        and not is_joint(head, lexicon)
        and not _ENDS_WITH_LABEL.search(head)
    )
    if is_before and not re.search(r"[^\W\d_]{3}.*\s[^\W\d_]{3}", after[-1]):
        told = [head, *after[:-1]]
        for at in range(1, len(told)):
            told[at] = told[at - 1] if is_joint(told[at], lexicon) else told[at]
        return list(zip(codes, told, strict=True))
    return list(zip(codes, _shared(after, lexicon), strict=True))


def join_lamp_code(
    pieces: list[tuple[Code, str]], lexicon: Lexicon, language: str | None
) -> list[tuple[Code, str]]:
    """``the lamp blinks 3-4 and the reader shows B1338``: two numbers for one fault are one."""
    if [c.style == "flash" for c, _ in pieces] != [True, False] or not pieces[1][0].is_exact:
        return pieces
    (lamp, between), (code, text) = pieces
    said = [words_in(t, lexicon, language) for t in (between, text)]
    own = [bool(w.features & (OWN_PARTS - {"lamp"} | TELLS) or w.seats or w.sides) for w in said]
    if all(own):
        return pieces
    words = between if own[0] else text  # "41 left curtain open, B1D20 on the tool"
    return [(msgspec.structs.replace(code, also=(*code.also, lamp.printed)), words)]


def _own_clauses(line: Line, lexicon: Lexicon, language: str | None) -> list[tuple[Code, str]]:
    """Codes with their own clauses, before or behind each; nothing where they do not part so."""
    found: list[tuple[Code, str]] = []
    before = ""
    for start, end in spans_of(line.text, clause_end(lexicon, language)):
        own = [c for c in line.codes if start <= c.start and c.end <= end]
        text = line.text[start:end]
        if len(own) > 1 or (own and (is_joint(text, lexicon) or not _WORDY.search(text))):
            return []
        if own:
            found.append((own[0], f"{before} {text}".strip()))
            before = ""
        elif found:
            found[-1] = (found[-1][0], f"{found[-1][1]}, {text}")
        else:
            before += text
    if len(found) != len(line.codes):
        return []
    everyone = OF_ALL.search(line.text)
    if everyone is not None:
        found = [(c, t if everyone.group() in t else f"{t} {everyone.group()}") for c, t in found]
    return found


def _led_clauses(line: Line, lexicon: Lexicon, language: str | None) -> list[tuple[Code, str]]:
    """``left B1A07 curtain open right B1A08 curtain shorted``: each place leads up to its code.

    A code between them that no place leads up to has none.
    """
    bounds = [c.start for c in line.codes] + [len(line.text)]
    lead, is_led, found = line.text[: bounds[0]], False, []
    if not _may_lead(words_in(lead, lexicon, language)):
        return []
    for code, end in zip(line.codes, bounds[1:], strict=True):
        behind = line.text[code.end : end]
        starts = [m.start() for m in _WORD.finditer(behind)] if end < bounds[-1] else []
        tails = ((at, words_in(behind[at:], lexicon, language)) for at in starts[1:])
        cut = next((at for at, words in tails if _may_lead(words)), None)
        found.append((code, f"{lead} {behind[:cut]}"))
        lead = behind[cut:] if cut is not None else ""
        is_led = is_led or cut is not None
    return found if is_led else []


def _may_lead(words: Words) -> bool:
    return words.is_sided and not (words.features & TELLS or words.statuses or words.voices)


def is_joint(text: str, lexicon: Lexicon) -> bool:
    """Tell whether a text between two codes only joins them: a sign, or ``and``, ``then``."""
    small, word = lexicon.small, text.strip().casefold().rstrip(".")
    joining = small.listing | small.any_or | small.then
    return word in _JOINING_SIGNS or word in joining


def _shared(texts: list[str], lexicon: Lexicon) -> list[str]:
    """Codes with nothing but signs between them share the words that follow the last of them."""
    shared = list(texts)
    for at in range(len(shared) - 2, -1, -1):
        if is_joint(shared[at], lexicon):
            shared[at] = shared[at + 1]
    return shared


def words_without_denied(line: Line, lexicon: Lexicon, language: str | None) -> Words:
    """Return the words of a line with a code, less a clause that denies a fault of another place.

    ``B1020 driver pretensioner open, nothing for the passenger belt``.
    """
    if not line.words.voices & _DENYING:
        return _words_of_sentence(line, lexicon, language)
    pieces = clause_end(lexicon, language).split(without_codes(line))
    said = [(p, words_in(p, lexicon, language)) for p in pieces]
    own = next((w for _, w in said if stands_alone(w) and not w.voices & _DENYING), None)
    if own is None:
        tokens = tokenise(without_codes(line))
        hits = without_denied_places(find_hits(lexicon, tokens, language), tokens)
        return read_words(tokens, hits, lexicon.denying)
    here = own.seats | own.sides
    kept = [p for p, w in said if not (w.voices & _DENYING and (w.seats | w.sides) - here)]
    return words_in(", ".join(kept), lexicon, language) if len(kept) < len(said) else line.words


def _words_of_sentence(line: Line, lexicon: Lexicon, language: str | None) -> Words:
    """``Airbag lamp. Found B1A60 buckle switch``: what stands a sentence before is apart."""
    stops = [m.end() for m in _FULL_STOP.finditer(line.text, 0, line.codes[0].start)]
    if not stops:
        return line.words
    own = words_in(without_codes(line)[-len(line.text) + stops[-1] :], lexicon, language)
    return own if stands_alone(own) or has_part(own) else line.words


@lru_cache(maxsize=32)
def _joint(lexicon: Lexicon, language: str | None) -> re.Pattern[str]:
    """What joins the places of a row of codes."""
    words = f"{joining(lexicon, language)}|{choosing(lexicon, language)}"
    return re.compile(rf"\s*[/&+,;]\s*|\s(?:{words})\s")


def take_share(
    words: Words, at: int, texts: list[str], lexicon: Lexicon, language: str | None
) -> None:
    """``B1220/B1221 stage 1 / stage 2``: what codes in a row share is dealt out in that order."""
    first = texts.index(texts[at])
    alike = texts.count(texts[at])
    if not _SEVERAL <= alike <= _MOST_ALIKE:
        return
    kerb = words.features & KERB
    values = (words.stages, words.sides, words.seats, kerb)
    is_dealt = any(len(v) == alike for v in values)
    parting = clause_end(lexicon, language)
    pieces = [words_in(t, lexicon, language) for t in parting.split(texts[at])]
    listed = [p for p in pieces if p.features & OWN_PARTS or p.seats or p.sides or p.stages]
    has_parts = all(p.features & (OWN_PARTS - {"charge"}) for p in listed)
    if not (is_dealt or len(listed) == alike):
        return
    if len(listed) == alike and (has_parts or not is_dealt):
        _take_listed(words, listed, at - first)
        return
    named = [words_in(t, lexicon, language) for t in _joint(lexicon, language).split(texts[at])]
    for name in ("stages", "sides", "seats"):
        told = [v for piece in named for v in sorted(getattr(piece, name))]
        if name == "stages" and _ONE_AND_TWO.search(texts[at]):
            told = sorted(words.stages)
        if len(getattr(words, name)) == alike == len(told):
            setattr(words, name, {told[at - first]})
    told = [v for piece in named for v in sorted(piece.features & KERB)]
    if len(kerb) == alike == len(told):  # "offside and nearside, in that order"
        words.features = (words.features - KERB) | {told[at - first]}


def _take_listed(words: Words, listed: list[Words], at: int) -> None:
    """``B1A10 to B1A12: driver stage 1, driver stage 2, passenger``: each code its own part."""
    own = listed[at]
    before = next((p for p in reversed(listed[:at]) if p.seats or p.sides), own)
    parts = next((p for each in reversed(listed[: at + 1]) if (p := each.features & OWN_PARTS)), ())
    told = own.features & FAULT_WORDS or words.features & FAULT_WORDS
    words.features = own.features.union(parts, told)
    for name in ("seats", "sides", "stages", "ends", "rows", "numbers"):
        setattr(words, name, set(getattr(own, name)))
    if own.features & (OWN_PARTS - {"charge"}):
        return
    if not (own.seats or own.sides):
        words.seats, words.sides = set(before.seats), set(before.sides)
    if not (own.ends or own.rows):
        words.ends, words.rows = set(before.ends), set(before.rows)


def repeat_part(words: Words, before: Words) -> None:
    """``same thing, right side``: the part of the fault before, and its fault if none is told."""
    if "otherside" in words.features and not (words.sides or words.seats):
        other = opposite(before)
        words.sides, words.seats = other.sides, other.seats
        words.features |= other.features & KERB
    own = words.features & OWN_PARTS
    if own <= {"charge"}:
        placed = words.is_sided
        words.features |= before.features - TELLS - (KERB if placed else set())
        if not placed:
            words.seats |= before.seats
            words.sides |= before.sides
        if not words.ends:
            words.ends |= before.ends
        if not words.rows:
            words.rows |= before.rows
    if not words.features & TELLS:
        words.features |= before.features & FAULT_WORDS


def find_labels_above(lines: list[Line]) -> set[int]:
    """Return the labelled lines that stand above the only code of their own block."""
    found: set[int] = set()
    block: list[int] = []
    for at, line in enumerate([*lines, _END]):
        is_gap = bool(block) and line.number > lines[block[-1]].number + 1
        if line.role == "blank" or is_gap:
            coded = [i for i in block if lines[i].codes]
            if len(coded) == 1 and all(lines[i].is_keyed for i in block):
                words = (i for i in block if lines[i].role in ("words", "unread"))
                found |= {i for i in words if i < coded[0]}
            block = []
        if line.role != "blank":
            block.append(at)
    return found


def words_precede(lines: list[Line]) -> bool:
    """Tell whether codes on lines of their own stand below their words rather than above."""
    rows = [ln for ln in lines if ln.role in ("code", "words")]
    bare = [i for i, ln in enumerate(rows) if ln.role == "code" and ln.words.says_nothing]
    above = sum(i > 0 and rows[i - 1].role == "words" for i in bare)
    below = sum(i + 1 < len(rows) and rows[i + 1].role == "words" for i in bare)
    is_usual = 2 * len(bare) > sum(ln.role == "code" for ln in rows)
    return is_usual and above == len(bare) and above > below


def is_whole(fault: Fault) -> bool:
    """Tell whether an entry names part and fault, so that nothing is missing."""
    features = fault.words.features
    return bool(features & OWN_PARTS) and bool(features & (TELLS - {"defect"}))


def is_sentence(fault: Fault) -> bool:
    """Tell whether blinks are counted in running text, so that no description of them follows."""
    is_flash = fault.code is not None and fault.code.style == "flash"
    is_prose = is_flash and "  " not in fault.first.text.strip() and "|" not in fault.first.text
    return is_prose and len(fault.first.text.split()) >= _SENTENCE and not has_fault(fault.words)


def _in_column(fault: Fault, line: Line) -> str:
    """The words so far with the line put behind those of the column that it stands in."""
    indent = len(line.text) - len(line.text.lstrip())
    above = next(
        (c.group() for c in _CELL.finditer(fault.first.text) if abs(c.start() - indent) <= _AT), ""
    )
    texts = [c.group() for c in _CELL.finditer(fault.texts[0])]
    at = next((i for i, t in enumerate(texts) if above.endswith(t)), len(texts) - 1)
    own = " ".join([*texts[: at + 1], *fault.texts[1:], line.text.strip()])
    own = _HYPHEN.sub(r"\1", own)
    return "   ".join([own, *texts[at + 1 :]])


def take_wrapped(line: Line, fault: Fault, sheet: Sheet, lexicon: Lexicon) -> bool:
    """Read a line together with the code's own words, as a description broken in two.

    It is one when the words so far tell no fault yet, or when the line adds no part of its own.
    """
    if fault.code is None or not fault.texts or len(fault.texts) > _MOST_WRAPS:
        return False
    is_broken = _ENDS_BROKEN.search(fault.texts[-1]) or _ENDS_BROKEN.search(fault.texts[0])
    is_next = is_sentence(fault) and stands_alone(line.words)
    is_good = line.words.voices & {"good", "fine"} and not has_fault(line.words)
    is_told_of = len(fault.first.text.split()) >= _SENTENCE  # "the black one had B1214 too"
    is_own = is_good or (fault.absent and (line.text[:1].isupper() or is_told_of))
    is_next = is_next or bool(is_own and not is_broken)
    if is_next:
        return False
    is_cut = line.text[:1] in (" ", "\t") and _ENDS_BROKEN.search(line.text)
    if "?" in line.text or (line.known_share < MOSTLY and not (is_broken or is_cut)):
        return False
    told = bool(fault.words.features & (TELLS - {"defect"}))
    is_out = line.text[:1] not in (" ", "\t") and not is_broken
    is_new = is_out and stands_alone(line.words) and names_other_part(line.words, fault.words)
    is_more = is_whole(fault) and is_out and not completes(line.words, fault.words)
    if is_new or is_more:
        return False  # "left seat bag", and below it "passenger pretensioner open"
    joined = words_in(_in_column(fault, line), lexicon, sheet.language)
    if (
        fault.code is not None
        and fault.code.style == "flash"
        and joined.features & OWN_PARTS > {"lamp"}
    ):
        joined.features.discard("lamp")  # it told the code
    parts, more = fault.words.features & OWN_PARTS, joined.features & OWN_PARTS
    is_other = bool(parts) and bool(heads_of(line.words) - heads_of(fault.words))
    if told and (stands_alone(line.words) or is_other or (parts and more != parts)):
        return False
    fault.words = _joined_words(fault.words, joined)
    if fault.absent in ("", "denied", "found good"):  # what the whole text may say otherwise
        fault.absent = why_absent(joined, is_coded=True)
    fault.texts.append(line.text.strip())
    fault.raws.append(line.raw)
    take_status(line, fault)
    take_type(line, fault)
    return True


def completes(more: Words, words: Words) -> bool:
    """Tell whether words add what a whole fault may still lack: ``to ground``, ``no longer``."""
    target = frozenset({"ground", "battery", "cross"})
    is_short = "short" in words.features and not words.features & target
    return bool(is_short and more.features & target) or (more.says_nothing and bool(more.voices))


def _joined_words(before: Words, joined: Words) -> Words:
    """The joined words with statuses that stood outside them."""
    for status in before.statuses:
        add_status(joined, status)
    return joined


def take_status(line: Line, fault: Fault) -> None:
    """Give a code without a status byte the one that a line labels as such."""
    if fault.code is None or fault.code.status_byte is not None:
        return
    if line.status_byte is not None:
        fault.code = msgspec.structs.replace(fault.code, status_byte=line.status_byte)


def take_type(line: Line, fault: Fault) -> None:
    """Give a code without a failure type the one that a line labels as such."""
    if fault.code is not None and fault.code.failure_type is None:
        fault.code = msgspec.structs.replace(fault.code, failure_type=line.failure_type)
