"""What each line of a report is: code, words, heading, count, measure, or not understood."""

import msgspec

from squibwise.intake.importers.base import RawLine
from squibwise.intake.patterns import pattern
from squibwise.intake.report.claims.asides import (
    GOOD,
    excepts_a_part,
    hear_untested,
    is_question,
    why_aside,
    why_no_code,
)
from squibwise.intake.report.claims.closings import part_closing
from squibwise.intake.report.claims.hearsay import why_of_others
from squibwise.intake.report.codes.labels import numbers_a_thing
from squibwise.intake.report.language.features import YES, join_denied
from squibwise.intake.report.language.lexicon import Lexicon, Token, flat, tokenise
from squibwise.intake.report.language.phrases import Hit, claims_of, find_hits, find_layout
from squibwise.intake.report.language.words import FAULTS, HEADS, PARTS, has_fault, has_part
from squibwise.intake.report.layout.boxes import UNMARKED
from squibwise.intake.report.layout.marks import GONE
from squibwise.intake.report.line_words import BULLET, language_of, said_by
from squibwise.intake.report.sheet import Line
from squibwise.model.report import ASKED

MAX_LINE = 2000
_SIGNS = str.maketrans(
    dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2015\u2212", "-")
    | dict.fromkeys("\u00a0\u2007\u2009\u202f", " ")
)
_DOT_INSIDE = pattern(r"(?<=[A-Z\d])·(?=\d)", needs="·")  # "B·1A14·13"
_MARKUP = pattern(r"\s*</?[A-Za-z][^<>]{0,400}>")
_ELEMENT = pattern(  # where one begins that holds others, or has nothing but attributes
    r"(?=<[A-Za-z][^<>]{0,400}(?:/>|>\s{0,9}<[A-Za-z]))"
)
_ATTRIBUTE = pattern(r"""\s[\w:.-]{1,40}=["']([^"'<>]{0,200})["']""")
_TAG = pattern(r"</?[A-Za-z][\w:.-]{0,40}|/?>")
_FORUM_TAG = pattern(
    r"(?i)\[/?(?:b|i|u|s|code|quote|url|img|list|size|colou?r|spoiler)(?:=[^\]]{0,80})?\]"
)
_IN_BRACKETS = pattern(
    r"\(((?i:mehr|longer|plus|pi[uù]|mais|m[aá]s|ju[zż]|meer))\)"
)  # "nicht (mehr)"
_STRUCK = pattern(  # struck out, in a chat or on a page of a forum
    r"(?P<lead>\W{0,4}(?:[\w-]{1,9}\s)?)(?:~~?|\[s\]|\[strike\]|<(?:s|del|strike)>)(?P<said>.{3,}?)"
    r"(?:(?<=\S)~~?|\[/s\]|\[/strike\]|</(?:s|del|strike)>)\W{0,3}",
    needs=("~", "[s", "<"),
)
_QUOTED = pattern(r"^(\s*)(?:>\s?){1,9}")
_SPEAKER = pattern(
    r"^\s*(?:\[?(?:(?:\d[\d./-]{4,9}|[^\W\d_]{2,4}\.?),?\s)?\d{1,2}[:.]\d{2}(?:[:.]\d{2})?\s?(?:[APap]\.?[Mm]\.?)?\]?"
    r"[ ,-]{1,3}(?:<[^\W\d]{2}\w{0,18}>|\S[^:\t|]{0,24}:)\s|[~@]\S[^:\t|]{0,24}:\s"
    r"|(?P<name>[^\W\d_][\w.-]{1,19})>\s|(?:#\d{1,4}|\[#?\d{1,4}\])\s+\S[^:\t|]{0,30}:\s)"
)
_NUMBER = pattern(r"\d{4}.*:\s$")  # of a code, in the place of a name
_STOP = pattern(
    r"(?<!\b\w)([.!?])[)\"']?\s{1,2}(?=[¿¡\"'(]?[A-ZÀ-ÝŁŚŻ](?:[a-zà-ÿłśżźćńęą']|[A-Z]{1,4}\s[a-z]))"
)
_STATED = pattern(r"[^:.]{4,40}:\s[^:.]*[^\W\d_]{5}\.\s[^:.]{4,40}:\s")  # "bag: open. belt: same"
_ANSWER = pattern(  # "Q: any codes? A: B1733"
    r"(?<=\S\?)\s+(?:A|R|O|Ans|Antw|R[ée]p|Resp|Risp|Odp)\.?:\s+(?=.*?\b[A-Z]?\d[\dA-F]{3})"
)
_BARS = 3  # of a row with two cells
_SENTENCE_WORDS = 4  # fewer words before a stop are an abbreviation
NAMED = 0.6  # share of known words that makes a line the name of a part
_YEAR = pattern(r"\W{0,4}(?:19|20)\d{2}\s?:\s")  # "2019: had it repaired"
_ANSWERED = pattern(
    r"(?i)\S(?:\s{3,}|\t)(?:y|yes|no|ja|nein|oui|non|si|sì|sí|sim|não|tak|nie|ok|nok)\s*$"
)
_PASSED = pattern(r"(?i)(?:\s{3,}|\t)pass(?:ed)?\s*$")  # the last cell of a row: its result
_HEADING_WORDS = 12
_COLUMNS = pattern(r"\s{2,}")
_NAMED_COLUMNS = 2  # of a table with a name that is known
_OF_CIRCUITS = GOOD | frozenset(
    "whole clean alone asked charge loop stagehead unit system airbagmodule bag".split()
)  # what a line says that calls every circuit good
_STATUS_WORDS = 2  # a line of so few words is a status rather than the names of columns
_VOLTS = pattern(r"(?<![\d.,])(\d{1,2}(?:[.,]\d{1,3})?)\s?(?:[vV]\b|[vV]olts?\b)")
_KEY_ON = pattern(r"(?i)\b(?:ignition|key|ign|zündung|contact|contacto|quadro|zapłon)\b")
_COUNTER = pattern(  # "Fault 2 of 3", "Nr. 2/3"
    r"[\W_]*(?:[^\W\d_]{1,12}[.:]?\s){0,2}#?\d{1,3}\s?(?:/|[^\W\d_]{1,3}(?: [^\W\d_]{2})?)\s?"
    r"\d{1,3}[\W_]*"
)
_KEYED = pattern(r"^[^:=\t|]{1,40}(?:[:=\t|]|\.{3})")


def split_line(raw: RawLine, lexicon: Lexicon) -> list[Line]:
    """Return the sentences of a line; a table's row and a line that says one thing stay whole."""
    text = _DOT_INSIDE.sub("-", raw.text.translate(_SIGNS))
    elements = [x for x in _ELEMENT.split(text) if x.strip()] if _MARKUP.match(text) else []
    if len(elements) > 1:
        each = (msgspec.structs.replace(raw, text=x, cells=()) for x in elements)
        return [line for x in each for line in split_line(x, lexicon)]
    if elements:
        text = _TAG.sub("  ", _ATTRIBUTE.sub(r"  \1  ", text)).rstrip()
    is_cut = len(text) > MAX_LINE
    text = text[:MAX_LINE]
    said = _FORUM_TAG.sub("  ", text) if "[/" in text or "[quote" in text else text
    said = _without_speaker(_QUOTED.sub(r"\1", said), lexicon)
    if "(" in said:
        said = _IN_BRACKETS.sub(r"\1", said)
    if struck := _STRUCK.fullmatch(text):
        said = f"{struck['lead']}{struck['said']}   {GONE}"
    cells = raw.cells if len(raw.cells) > 1 else _barred(said)
    if len(cells) > 1 and 2 * sum(cell.startswith("~~") for cell in cells) >= len(cells):
        cells = (*(cell.strip("~") for cell in cells), GONE)
        said = "\t".join(cells)
    if len(cells) > 1:
        return [Line(number=raw.number, raw=text, text=said, cells=cells, is_cut=is_cut)]
    parts = [p for s in _sentences(said, lexicon) for p in _without_question(s, lexicon)]
    parts = [p for s in parts for p in part_closing(s, lexicon)]
    if len(parts) == 1:
        return [Line(number=raw.number, raw=text, text=said, is_cut=is_cut)]
    return [Line(number=raw.number, raw=p, text=p, is_cut=is_cut) for p in parts]


def _without_speaker(text: str, lexicon: Lexicon) -> str:
    """A line of a talk without who says it; ``[1] left curtain: open`` names nobody."""
    speaker = _SPEAKER.match(text)
    if speaker is None or _NUMBER.search(speaker.group()):
        return text
    words = [t.text for t in tokenise(speaker.group())]
    if speaker["name"] and any(map(lexicon.means_alone, words)):
        return text  # "Engine> P0301"
    told = {
        m for w in words for means in lexicon.open(w).phrases.get((w,), {}).values() for m in means
    }
    names_part = told & HEADS and not (told & {"unit"} or lexicon.small.computers & {*words})
    return text if names_part and "<" not in speaker.group() else text[speaker.end() :]


def _barred(text: str) -> tuple[str, ...]:
    """The cells of a row that is drawn with bars."""
    row = text.strip()
    if row.count("|") < _BARS or not (row.startswith("|") and row.endswith("|")):
        return ()
    return tuple(cell.strip() for cell in row[1:-1].split("|"))


def _sentences(text: str, lexicon: Lexicon) -> list[str]:
    """The sentences of running text, also behind ``Lamp on.``; abbreviations do not end one."""
    found, start = [], 0
    if answer := _ANSWER.search(text):
        return [text[: answer.start()], *_sentences(text[answer.end() :], lexicon)]
    for match in _STOP.finditer(text):
        asks, words = match.group(1) == "?", text[start : match.start()].split()
        is_whole = len(words) >= _SENTENCE_WORDS or _STATED.match(text, start)
        is_lamp = len(words) > 1 and lexicon.may_name("flash", flat(said := " ".join(words)))
        is_lamp = is_lamp and not any(map(str.isdecimal, said))
        if asks or ((is_whole or is_lamp) and not _abbreviates(words)):
            found.append(text[start : match.end(1)])
            start = match.end()
    return [*found, text[start:]] if text[start:].strip() or not found else found


def _abbreviates(words: list[str]) -> bool:
    """``B1003 Seitenairb. v. li``: every other word but the first is cut short."""
    return 2 * sum(word.endswith(".") for word in words) >= len(words) - 1


def _without_question(text: str, lexicon: Lexicon) -> list[str]:
    """``B1001 is stored, has that to do with it?``: what is told, and what is only asked."""
    head, comma, tail = text.rpartition(", ")
    if not text.rstrip().endswith("?") or not comma or _asks_first(text, lexicon):
        return [text]
    joins = "¿" not in tail and any(t.text in lexicon.small.and_ for t in tokenise(tail)[:1])
    if joins and not _asks_first(tail, lexicon):
        return [text]  # "it says B1001, and 'curtain'?"
    return [head + ",", text[len(head) + 2 :]]


def _asks_first(text: str, lexicon: Lexicon) -> bool:
    texts = tuple(t.text for t in tokenise(text)[:3])
    return any(w in lexicon.asking for w in texts)


def read_line(line: Line, lexicon: Lexicon, usual: str | None) -> None:
    """Read the words of a line and set its role."""
    language = language_of(line, lexicon, usual)
    hits = join_denied(find_hits(lexicon, line.tokens, language), line.tokens)
    line.words = said_by(line.tokens, lexicon, language)
    if not line.codes:
        hear_untested(line.words)
    _hear_unbroken(line, lexicon)
    stored = [line.tokens[h.first : h.last] for h in hits if _stores(h)]
    is_denied = all(any(t.text in lexicon.denying for t in tokens) for tokens in stored)
    if not line.codes and stored and is_denied:
        line.words.voices.add("not")  # "short to ground: not present", where no code has a status
    if _YEAR.match(line.text):
        line.words.voices.add("past")
    if _PASSED.search(line.text) and not has_fault(line.words):
        line.words.voices.add("fine")
    line.is_keyed = bool(_KEYED.match(line.text))
    last = line.tokens[-1].text if line.tokens else ""
    line.is_praised = lexicon.is_praise(last) and not has_fault(line.words)
    _give_role(line, lexicon, language)
    if "whole" in claims_of(tuple(t.text for t in line.tokens), lexicon):
        _hear_whole(line, lexicon, language)


def _hear_whole(line: Line, lexicon: Lexicon, language: str | None) -> None:
    """Set what a line of every circuit is: a good result, else no clean one."""
    line.is_whole = _is_whole(line, lexicon, language)
    if line.is_whole and line.role in ("unread", "aside"):
        line.role, line.why = "meta", ""
    elif line.role == "clean" and not line.is_whole:
        line.role = "unread"  # "most other circuits passed", "... before the crash"
    if line.is_whole and not any(tok.text.isdecimal() for tok in line.tokens):
        line.count = None  # "all other circuits ok" announces no number of faults


def _hear_unbroken(line: Line, lexicon: Lexicon) -> None:
    """``circuit checked, without a break``: which elsewhere means all the time."""
    words, said = line.words, f" {' '.join(t.text for t in line.tokens)} "
    is_tested = "tested" in words.voices or "loop" in words.features
    is_tested = is_tested and not has_fault(words) and words.statuses == ["present"]
    if is_tested and any(f" {text} " in said for text in lexicon.small.unbroken):
        words.statuses.clear()
        words.voices.add("good")


def _is_whole(line: Line, lexicon: Lexicon, language: str | None) -> bool:
    """``all other circuits ok``: a line calls every circuit good, and says nothing else."""
    texts = tuple(t.text for t in line.tokens)
    found = [(at, *find_layout(lexicon, texts, at)) for at in range(len(texts))]
    found += [
        (h.first, h.means, h.last - h.first) for h in find_hits(lexicon, line.tokens, language)
    ]
    said = [f for f in found if {*f[1]} <= _OF_CIRCUITS]
    means = {m for f in said for m in f[1]}
    if line.codes or "whole" not in means or not means & {"good", "fine", "clean"}:
        return False
    if line.why in (ASKED, "denied") or is_question(line):
        return False
    told = {n for at, _, length in said for n in range(at, at + length)}
    rest = (t for n, t in enumerate(texts) if n not in told)
    known = lexicon.small.affirming | YES  # "12.6 V", "yes"
    return all(t in known or not t.strip("0123456789v") for t in rest)


def _stores(hit: Hit) -> bool:
    """Tell whether a phrase says that a fault is in the memory: ``stored, not present``."""
    return hit.means[0] in ("status:stored", "status:pending")


def supply_volts(line: Line, lexicon: Lexicon) -> float | None:
    """Return the voltage, in volts, that a line states of a supply, not of a fault; else None."""
    found = _VOLTS.search(line.text)
    if found is None or line.codes or line.words.features & (PARTS | {"short", "open", "bag"}):
        return None
    texts = tuple(t.text for t in line.tokens)
    named = "supplyvolts" in claims_of(texts, lexicon) or _KEY_ON.search(line.text)
    return float(found.group(1).replace(",", ".")) if named else None


def _is_clean(line: Line, lexicon: Lexicon, language: str | None) -> bool:
    """Tell whether a line says that there is no fault, and no more than that."""
    texts = tuple(t.text for t in line.tokens)
    is_untested = "not-tested" in line.words.statuses
    if has_part(line.words) and (is_untested or excepts_a_part(line, lexicon)):
        return False
    for at in range(len(texts)) if "clean" in claims_of(texts, lexicon) else ():
        means, length = find_layout(lexicon, texts, at)
        if "clean" in means:
            denies = lexicon.denying.intersection
            if denies(texts[:at]) and not denies(texts[at : at + length]):
                return False  # "not all ok"
            rest = line.tokens[:at] + line.tokens[at + length :]
            return not has_fault(said_by(rest, lexicon, language))
    return False


def _give_role(line: Line, lexicon: Lexicon, language: str | None) -> None:
    texts = tuple(t.text for t in line.tokens)
    is_unmarked = line.text.startswith(UNMARKED)
    line.why = why_no_code(line, lexicon) if line.codes else "not marked" if is_unmarked else ""
    if line.why:
        line.codes, line.role = (), "aside"
        return
    if line.codes:
        line.role, line.why = "code", why_of_others(line, lexicon, language)
        return
    is_measure = "meta" in find_layout(lexicon, texts)[0] and not has_part(line.words)
    if is_measure and line.words.statuses == ["not-tested"]:
        line.words.statuses.clear()  # "odometer (not read)"
    known = sum(w in lexicon.known or w.isdecimal() for w in texts)
    line.known_share = known / len(texts) if texts else 0.0
    tells = has_part(line.words) and line.words.features & (FAULTS - {"defect"})
    line.count = None if tells else _count(line.tokens, texts, lexicon)
    level = {"low", "high"} & line.words.features and "voltage" in line.words.features
    if supply_volts(line, lexicon) is not None and not level:
        line.role = "meta"
    elif _is_clean(line, lexicon, language):
        line.role = "clean"
        line.count = None if has_part(line.words) or _names_place(line) else 0
    elif line.count is not None:
        line.role = "count"
    else:
        line.role = _role(line, texts, lexicon)
    headed = line.role in ("count", "clean")
    line.is_module = line.role == "heading" or (headed and _names_module(texts, lexicon, line))
    if line.role in ("words", "unread", "heading", "clean") and line.count is None:
        line.why = why_aside(line, lexicon) or why_of_others(line, lexicon, language)
        if line.why:
            line.role, line.is_module = "aside", False


def _role(line: Line, texts: tuple[str, ...], lexicon: Lexicon) -> str:
    """The role of a line without code, count or voltage."""
    first, length = find_layout(lexicon, texts)
    label = set(first) if line.is_keyed else set()
    is_typed = line.failure_type is not None
    tells, told = _tells(line) or is_typed, line.words.features & (FAULTS - {"defect"})
    named = all_header(texts, lexicon) or _heads_columns(line, lexicon)
    is_header = named and (len(texts) > _STATUS_WORDS or not line.words.statuses)
    is_key = "key" in first and (line.is_keyed or is_typed)
    roles = (
        ("advice" in first, "unread"),
        (is_header, "header"),
        (
            bool({"key", "meta", "module"} & label) and _is_number(texts[length:]) and not is_typed,
            "meta",
        ),
        (is_key, "words" if tells or _names_place(line) else "meta"),
        ("meta" in first and _is_meta(line, texts, length, first), "meta"),
        (bool(_COUNTER.fullmatch(line.text)) and not _names_place(line), "meta"),
        (numbers_a_thing(line.text, lexicon) and not has_part(line.words), "meta"),
        (_is_heading(line, texts, lexicon) or ("module" in label and not told), "heading"),
        (tells or (line.known_share == 1.0 and _names_place(line)), "words"),
    )
    return next((role for holds, role in roles if holds), "unread")


def _names_place(line: Line) -> bool:
    words = line.words
    return bool(words.seats or words.sides or words.stages or words.ends)


def _is_number(texts: tuple[str, ...]) -> bool:
    return bool(texts) and all(w[0].isdecimal() for w in texts)


def _tells(line: Line) -> bool:
    return has_part(line.words) or has_fault(line.words) or bool(line.words.statuses)


def all_header(texts: tuple[str, ...], lexicon: Lexicon) -> bool:
    """Tell whether a line holds nothing but the names of columns."""
    at = 0
    while at < len(texts):
        means, length = find_layout(lexicon, texts, at)
        if not {"header", "key", "meta"} & set(means) or "othermodule" in means:
            return False
        at += length
    return bool(texts)


def _heads_columns(line: Line, lexicon: Lexicon) -> bool:
    """``CODE   ITEM   STATE``: the first column and one more have a name that is known for it."""
    names = [tuple(t.text for t in tokenise(c)) for c in line.cells or _COLUMNS.split(line.text)]
    known = [all_header(name, lexicon) for name in names if name]
    return known[:1] == [True] and sum(known) >= _NAMED_COLUMNS and not _tells(line)


def _count(tokens: tuple[Token, ...], texts: tuple[str, ...], lexicon: Lexicon) -> int | None:
    """How many faults a line announces: ``3 faults``, ``Faults: 3``."""
    for at, word in enumerate(texts) if claims_of(texts, lexicon) & {"count", "total"} else ():
        if word.isdecimal() and len(word) <= 3:
            after, _ = find_layout(lexicon, texts, at + 1)
            if "count" in after and not tokens[at + 1].apart:
                return int(word)
        means, length = find_layout(lexicon, texts, at)
        rest = texts[at + length :]
        if "total" in means and len(rest) == 1 and rest[0].isdecimal() and len(rest[0]) <= 3:
            return int(rest[0])
    return None


def _is_meta(line: Line, texts: tuple[str, ...], length: int, means: tuple[str, ...]) -> bool:
    if {"othermodule", "area"} & set(means) and not line.is_keyed and len(texts) <= length:
        return False
    is_label = line.is_keyed and len(tokenise(label_of(line))) == length  # up to its colon
    if (line.words.statuses and not line.is_keyed) or (_tells(line) and not is_label):
        return False
    return line.is_keyed or len(texts) <= length or any(c.isdecimal() for c in line.text)


def _is_heading(line: Line, texts: tuple[str, ...], lexicon: Lexicon) -> bool:
    counts = "count" in claims_of(texts, lexicon)
    told = (line.words.features & FAULTS) - ({"defect"} if counts else set())
    if (
        _ANSWERED.search(line.text)
        or len(texts) > _HEADING_WORDS
        or told
        or (line.words.statuses and not counts)
    ):
        return False
    return _names_module(texts, lexicon, line) and not has_part(line.words)


def _names_module(texts: tuple[str, ...], lexicon: Lexicon, line: Line) -> bool:
    if line.words.features & {"unit", "system", "airbagmodule"}:
        return True
    placed = line.words.seats or line.words.stages or line.words.sides
    most, beside = (3, {"skip"}) if line.count is None else (5, {"skip", "defect"})
    if line.words.features - beside == {"bag"} and len(texts) <= most and not placed:
        return True
    return _is_foreign(texts, lexicon, line)


def _is_foreign(texts: tuple[str, ...], lexicon: Lexicon, line: Line) -> bool:
    if line.words.features & {"system", "airbagmodule", "bag"} or ">" in line.text:
        return False
    if "othermodule" not in claims_of(texts, lexicon):
        return False
    means = [find_layout(lexicon, texts, at) for at in range(len(texts))]
    named = {i for at, (_, length) in enumerate(means) for i in range(at, at + length)}
    told = [i for i, t in enumerate(texts) if len(t) > 1 and t.isalpha()]
    return len(named.intersection(told)) >= NAMED * len(told)


def label_of(line: Line) -> str:
    """Return the words before the colon of a label, folded; empty where there is none."""
    found = _KEYED.match(line.text)
    return flat(BULLET.sub("", found.group(), count=1)).strip() if found else ""
