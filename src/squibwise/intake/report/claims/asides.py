"""Why a line tells of no fault that is there now: it asks, supposes, denies, speaks of another."""

import re
from functools import lru_cache

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.joints import one_of
from squibwise.intake.report.language.lexicon import BASE, Lexicon, Token, flat, tokenise
from squibwise.intake.report.language.phrases import Hit, find_claims, find_hits
from squibwise.intake.report.language.words import (
    FAULTS,
    HEADS,
    TELLS,
    Words,
    add_status,
    has_fault,
    has_part,
    stands_alone,
)
from squibwise.intake.report.line_words import language_of, words_in
from squibwise.intake.report.sheet import Line
from squibwise.model.report import ASKED

_NOT_TICKED = pattern(r"\s*(?:\[\s?\]|\(\s?\)|☐|✓|✔|✅|☑)\s*\S")
_IF = pattern(r"(?:^|\W)(?:if|wenn|falls|si|se|jesli|jezeli)\s+$")  # "if B1001 comes back"
_BEGINS_IF = pattern(r"\W*(?:if|wenn|falls|si|se|jesli|jezeli|als|gdy|quando)\s")
_SEEN = pattern(  # the last cell of a row of looks, beside rows of codes
    r"(?i)(?:\s{3,}|\t)(?:seen|visual(?:ly)?|by eye|gesehen|sichtpr[uü]fung|vu|visuel|visto|"
    r"widziane)\s*$"
)
_GAVE = pattern("threw|gave|showed|gab|zeigte|dio|diede|deu")
_ANSWERED_NO = pattern(r"(?i)\S(?:\s{3,}|\t|\.{3,}\s?|:\s)(?:n|no|nein|non|n[aã]o|nie|nee)\s*$")
_AFTER = 3  # words in which a word such as "after" stands before some work
_NEAR = 6  # words behind a code that say what it is in general
GOOD = frozenset({"good", "fine", "tested", "exists"})  # what is said of circuits found good
_OF_A_TEST = frozenset({"not", "tested", "asked", "was"})  # "has not been tested"
_IGNITED = frozenset("bag curtain knee cushion pretension charge".split())  # these answer nobody
_SENSED = frozenset("sensor unit electronics buckle occupant switch link".split())
_UNITS_NAME = frozenset("bag system communication skip".split())
_LONE_SIGN = pattern(r"(?:\t|\s{2,}|[;|])\s*\?+\s*(?=$|\t|\s{2}|[;|])")  # in a cell of its own
_UNTOLD = pattern(r"\s+[-(]?\s?\?{2,}\)?\s*")
_MONEY = pattern(
    r"(?i)[$€£]\s?\d|\d(?:[.,]\d\d?)?\s?(?:[$€£]|(?:eur|euros?|usd|gbp|chf|pln|zł|zl|reais)\b)"
)
_PRICED = pattern(r"[^\W\d_]{2}\S*\s+\d{1,4}[.,]\d{2}\W*$")  # "AIRBAG 498.00"


def why_no_code(line: Line, lexicon: Lexicon) -> str:
    """Why a line with a code reports none; empty when it may report one."""
    if is_question(line) or _is_supposed(line, lexicon):
        return ASKED
    if _is_of_another(flat(line.text), lexicon):
        return "another car"
    if _example(lexicon).search(flat(line.text[: line.codes[0].start])):
        return "an example"
    told = has_fault(line.words) or line.words.statuses
    is_priced = _MONEY.search(line.text) or _PRICED.search(line.text)
    return "a price" if is_priced and not told else ""


@lru_cache(maxsize=4)
def _example(lexicon: Lexicon) -> re.Pattern[str]:
    names = lexicon.names_of("example")
    return re.compile(rf"(?<![^\W_])(?:{names})(?![^\W_])\W*(?:[^\W\d_]+\W+)?$")


def _is_supposed(line: Line, lexicon: Lexicon) -> bool:
    """``if B1001 comes back``, ``the forum says B1001 means``: what may be, not what is."""
    if "wondered" in line.words.voices and not _wonders_after(line, lexicon):
        return True
    head = flat(line.text[: line.codes[0].start])
    if _is_ruled(line, head, lexicon):
        return True
    told = line.words.features & (TELLS - {"defect"})
    behind = line.text[line.codes[0].end :]
    if _IF.search(head) or (not line.words.statuses and _is_usual(behind, lexicon)):
        return True
    supposed = None if told else _supposing(lexicon).search(head)
    if supposed is None:
        return False
    language = language_of(line, lexicon, None)  # "si" is no "if" in an Italian line
    is_other = language is not None and bool(lexicon.meaning(language, (supposed[1],)))
    return not is_other or lexicon.is_told(supposed[1], "supposed", (language or "", *BASE))


def _is_usual(behind: str, lexicon: Lexicon) -> bool:
    """``B1001 usually means``, ``can be``: what a code is in general, before a part or fault."""
    tokens = tokenise(behind)[:_NEAR]
    if not _says_usual(tokens, lexicon):
        return False
    hits = find_hits(lexicon, tokens, None)
    told = (h.first for h in hits if (HEADS | FAULTS) & {*h.means})
    return _says_usual(tokens[: next(told, _NEAR)], lexicon)


def _says_usual(tokens: tuple[Token, ...], lexicon: Lexicon) -> bool:
    said = f" {' '.join(t.text for t in tokens)} "
    return any(f" {word} " in said for word in lexicon.small.usual)


def _is_ruled(line: Line, head: str, lexicon: Lexicon) -> bool:
    """``if the driver airbag is open the light flashes 2-1``: what a fault would show."""
    if not _BEGINS_IF.match(head) or line.words.statuses:
        return False
    language = language_of(line, lexicon, None)
    behind = words_in(line.text[line.codes[-1].end :], lexicon, language)
    return has_fault(words_in(head, lexicon, language)) and behind.says_nothing


def _wonders_after(line: Line, lexicon: Lexicon) -> bool:
    """``B1490 stuck, stored, might be crumbs``: a fault with its status, and what may cause it."""
    head, comma, tail = line.text.rpartition(", ")
    if not comma or len(head) < line.codes[-1].end or not line.words.statuses:
        return False
    language = language_of(line, lexicon, None)
    said, guessed = (words_in(text, lexicon, language) for text in (head, tail))
    is_told = (
        bool(said.statuses)
        and (has_fault(said) or "locked" in said.statuses)
        and "wondered" not in said.voices
    )
    return is_told and not (guessed.statuses or has_part(guessed))


@lru_cache(maxsize=4)
def _supposing(lexicon: Lexicon) -> re.Pattern[str]:
    names = lexicon.names_of("supposed")
    return re.compile(rf"(?<![^\W_])({names})\s+(?:[^\W\d_][\w-]*\s+){{0,4}}$")


def _is_of_another(plain: str, lexicon: Lexicon) -> bool:
    is_told = lexicon.may_name("had", plain) or bool(_GAVE.search(plain))
    return is_told and bool(_of_another(lexicon).search(plain))


@lru_cache(maxsize=4)
def _of_another(lexicon: Lexicon) -> re.Pattern[str]:
    """``my nephew's van had B1001``: somebody else, and a verb of the past before the code."""
    kin, had = lexicon.names_of("kin"), lexicon.names_of("had")
    right = "|".join(sorted(lexicon.small.right))  # "my colleague had it right, B1001"
    his = "(?!owner|customer|client)[a-z]+s (?:van|car|truck|wagon)|his|hers|theirs|seiner|seins|"
    his += "la sienne|le sien|el suyo|la suya|il suo|la sua|o dele|jego"
    return re.compile(
        rf"(?<![^\W_])(?:(?:{kin})(?:'?s)?(?:[^\w.;!?]{{1,3}}[^\W\d_]+){{0,5}}[^\w.;!?]{{1,3}}(?:{had})(?!\s(?:{right})\b)|"
        rf"(?:{his}) (?:{had}|{_GAVE.pattern}))\s"
    )


def why_aside(line: Line, lexicon: Lexicon) -> str:
    """Why a line of words tells of no present fault; empty when it may."""
    voices, told = line.words.voices, has_fault(line.words)
    if has_part(line.words) and excepts_a_part(line, lexicon):
        return ""
    asks = is_question(line) or bool(voices & {"sure", "wondered"})
    reasons = (
        ("amends" in voices, "a correction"),
        (_NOT_TICKED.match(line.text) and not told, "not marked"),
        (_SEEN.search(line.text), "a look"),
        (asks, ASKED),
    )
    why = next((reason for holds, reason in reasons if holds), "")
    told = told or "locked" in line.words.statuses
    told = told or ("not" in voices and stands_alone(line.words))  # "front bag, nothing logged"
    if why or line.role == "heading" or not (has_part(line.words) or told):
        return why
    is_told = told or line.words.statuses
    if _asks_for_any(line, lexicon):
        return ASKED
    if not is_told and _is_of_trade(line, lexicon):
        return "a price"
    if _ANSWERED_NO.search(line.text) and not voices & GOOD:
        return "denied"
    why = why_absent(line.words, is_coded=False)
    is_time = why == "work done" and bool(told) and _is_dated(line, lexicon)
    is_of_rest = why in ("found good", "denied") and _names_a_fault(line, lexicon)
    return "" if is_time or is_of_rest else why


def _is_dated(line: Line, lexicon: Lexicon) -> bool:
    """``never zeroed after the seat swap``: the work tells only when."""
    hits = find_hits(lexicon, line.tokens, language_of(line, lexicon, None))
    works = [h for h in hits if "worked" in h.means]
    before = ({t.text for t in line.tokens[max(0, h.first - _AFTER) : h.first]} for h in works)
    return all(not texts.isdisjoint(lexicon.small.after) for texts in before)


def _is_of_trade(line: Line, lexicon: Lexicon) -> bool:
    """``wanted: driver airbag``, ``used retractor off a 2017``, ``left curtain 140.00``."""
    trades = not lexicon.small.trade.isdisjoint(t.text for t in line.tokens)
    return trades or bool(_MONEY.search(line.text) or _PRICED.search(line.text))


def _names_a_fault(line: Line, lexicon: Lexicon) -> bool:
    """``driver side airbag open, all other circuits ok``: praise of the rest is none of it.

    One stretch names a part and its fault, another speaks of a part, or of all, of its own.
    """
    language = language_of(line, lexicon, None)
    pieces = [t for t in _stretches(lexicon).split(line.text) if t.strip()]
    said = [words_in(text, lexicon, language) for text in pieces]
    bad = [_tells_bad(w) for w in said]
    return any(bad) and any(
        has_part(w) or _is_of_all(text, lexicon)
        for text, w, is_bad in zip(pieces, said, bad, strict=True)
        if not is_bad
    )


def _tells_bad(words: Words) -> bool:
    """Tell whether words name a part with its fault, or a part that was not tested."""
    hear_untested(words)
    told = has_fault(words) or "not-tested" in words.statuses
    return has_part(words) and told and not why_absent(words, is_coded=False)


def excepts_a_part(line: Line, lexicon: Lexicon) -> bool:
    """``all in order except passenger airbag, open``: praise takes a part out, faulty or not."""
    parts = _excepting(lexicon).split(_spelled(line.text), maxsplit=1)
    if len(parts) == 1 or is_question(line):
        return False
    language = language_of(line, lexicon, None)
    if _is_within(lexicon.small.except_, line, find_hits(lexicon, line.tokens, language)):
        return False
    before, words = (words_in(text, lexicon, language) for text in parts)
    is_praised = bool(before.voices & (GOOD | {"not"})) or _is_of_all(parts[0], lexicon)
    return (
        is_praised and has_part(words) and why_absent(words, is_coded=False) in ("", "found good")
    )


def hear_neither(text: str, words: Words, lexicon: Lexicon) -> bool:
    """``the right one neither``: of this place holds what was said of the part before.

    Set in its words that it is the same and denies nothing; tell whether it is.
    """
    is_place = words.is_sided and not words.features & (TELLS | HEADS)
    if not is_place or _neither(lexicon).search(flat(text)) is None:
        return False
    words.features.add("same")
    words.voices.discard("not")
    return True


@lru_cache(maxsize=4)
def _neither(lexicon: Lexicon) -> re.Pattern[str]:
    return re.compile(rf"\b{one_of(lexicon.small.neither)}\b")


def _is_within(words: frozenset[str], line: Line, hits: tuple[Hit, ...]) -> bool:
    """``poza zakresem``, out of range: a word that a phrase holds does nothing of its own."""
    held = (t.text for h in hits for t in line.tokens[h.first + 1 : h.last])
    return not words.isdisjoint(held)


def excepts(text: str, lexicon: Lexicon) -> bool:
    """Tell whether a text takes something out of its praise: ``all ok except``."""
    return _excepting(lexicon).search(f"{_spelled(text)} ") is not None


def before_exception(text: str, lexicon: Lexicon) -> str:
    """Return what is said of all others before a last ``except``; nothing where no such word is."""
    found = _at_last(lexicon).search(_spelled(text))
    head = _spelled(text)[: found.start()] if found is not None else ""
    is_of_all = not lexicon.small.all.isdisjoint(t.text for t in tokenise(head))
    return head if is_of_all or _is_of_all(head, lexicon) else ""


@lru_cache(maxsize=4)
def _at_last(lexicon: Lexicon) -> re.Pattern[str]:
    """An ``except``, and one short word such as ``code``, where a code follows."""
    words = one_of(lexicon.small.except_ | {"but"})
    return re.compile(rf"[\s,;(]+{words}\s(?:[^\W\d_]+\s)?$")


def _spelled(text: str) -> str:
    return flat(text.replace("ß", "ss"))


@lru_cache(maxsize=4)
def _excepting(lexicon: Lexicon) -> re.Pattern[str]:
    return re.compile(rf"[\s,;(]+{one_of(lexicon.small.except_)}\s")


def _is_of_all(text: str, lexicon: Lexicon) -> bool:
    texts = {t.text for t in tokenise(text)}
    of_all = lexicon.small.rest | lexicon.small.everything
    return bool(find_claims(text, lexicon) & {"whole", "clean"} or texts & of_all)


@lru_cache(maxsize=4)
def _stretches(lexicon: Lexicon) -> re.Pattern[str]:
    but = "|".join(sorted(lexicon.small.but | lexicon.small.except_))
    return re.compile(rf"[.,;]\s+|\s+[-\u2013]\s+|\s(?:{but})\s", re.IGNORECASE)


def _asks_for_any(line: Line, lexicon: Lexicon) -> bool:
    """``any crash code``: a question without its sign, behind the name of who asks or not."""
    lead = line.tokens[1:2] if line.tokens[1:2] and line.tokens[1].apart else line.tokens[:1]
    return any(t.text in lexicon.small.any for t in lead) and not line.words.statuses


def is_question(line: Line) -> bool:
    """Tell whether a line asks, or doubts what it reads."""
    if line.codes and _leads_untold(line):
        return False  # "B1411 ???": what it means is asked, not whether it is there
    if any(line.text[code.end :].lstrip(" )").startswith("?") for code in line.codes):
        return True
    if line.cells and line.codes:
        return False  # a remark such as "plug loose?" beside a fault
    text = _LONE_SIGN.sub("", line.text).strip()
    told = has_part(line.words) or has_fault(line.words)
    return text.endswith("?") or ("?" in text and (text[:1] == "¿" or not told))


def _leads_untold(line: Line) -> bool:
    is_first = not any(sign.isalpha() for sign in line.text[: line.codes[0].start])
    return is_first and bool(_UNTOLD.fullmatch(line.text, line.codes[-1].end))


def hear_untested(words: Words) -> None:
    """``passenger airbag not responding``, ``was not measured``: nobody read its circuit.

    No igniter ever speaks, so none can fall silent. Not for words of a code. ``Airbag: no
    communication``, of no place, is a list of units: the unit itself did not answer.
    """
    told = words.features
    is_mute = told & FAULTS == {"communication"} and not told & _SENSED
    is_undone = {"not", "tested"} <= words.voices <= _OF_A_TEST and not told & FAULTS
    is_placed = words.is_placed or words.stages
    if is_mute and told <= _UNITS_NAME and not is_placed:
        return
    if is_mute and told & _IGNITED:
        told.discard("communication")
        add_status(words, "not-tested")
    elif is_undone and has_part(words):
        words.voices.clear()
        add_status(words, "not-tested")


def why_absent(words: Words, *, is_coded: bool) -> str:
    """Return why words say that there is no fault now; empty when they do not say so.

    Args:
        words: What they say.
        is_coded: They stand beside a code: a lone negation may then be part of its description.
    """
    voices, told = words.voices, has_fault(words) or "battery" in words.features
    is_told = told or words.statuses
    reasons = (
        ("elsewhere" in voices and not is_coded, "another system"),
        ("sought" in voices and not is_coded and not words.statuses, "a check without a result"),
        ("mine" in voices or {"own", "was"} <= voices, "another car"),
        ("past" in voices, "past"),
        ("gone" in voices, "gone"),
        ("not" in voices and (told or not is_coded), "denied"),
        ("away" in voices and told and not is_coded, "denied"),
        ("was" in voices and told and not is_coded and not words.statuses, "past"),
        ("worked" in voices and not is_coded, "work done"),
        ("fine" in voices or ("good" in voices and not (is_coded and is_told)), "found good"),
    )
    return next((reason for holds, reason in reasons if holds), "")
