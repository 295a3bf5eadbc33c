"""Whether words without a code assert a fault that is there now, or only speak of one.

A row of a table and a note of a few terms assert what they name. A sentence asserts it where all
its words are known for terms of the trade, for small words, or for verbs that say that something
holds; a sentence with other words may deny, doubt, remember or suppose it in any of a thousand
ways, and nobody can list them. So it is told, and asked about.
"""

import re
from functools import lru_cache

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.features import YES, read_words
from squibwise.intake.report.language.joints import joining, turning
from squibwise.intake.report.language.lexicon import (
    BASE,
    Lexicon,
    Token,
    flat,
    tokenise,
)
from squibwise.intake.report.language.phrases import Hit, find_hits
from squibwise.intake.report.language.words import FAULTS, HEADS, Words, has_fault, stands_alone
from squibwise.intake.report.line_words import language_of, without_codes, words_in
from squibwise.intake.report.sheet import Line

_COLUMNS = pattern(r"\S\s{3,}\S|\t")
_CLAUSE = pattern(r"[,;:]\s")
_FULL_STOP = pattern(r"[.!]\s")
_PAIR = pattern(r"(?:^|\s{3,})([^:\t]{3,40}):\s([^:\t]{3,40}?)(?=\s{3,}|$)")
_ENDS = pattern(r"[^\W\d_]{4,}[.!]\s*$")  # with a full stop that cuts no word short
_MEASURED = pattern(r"(?i)(?:\d+[.,])?\d+\s?(?:ohm\w*|om[aóiowy]+\b|Ω)")
_SMALL, _STRANGE = 2, 2  # small words of a sentence, strange ones of a note of a few terms
_ADVERB = 6  # letters of the shortest adverb that its end shows
_NEAR = 3  # words before a code
_STORY = 4  # words of a sentence before a count of blinks in it
_SENTENCE = 6  # words of a sentence that ends with a full stop
DENYING = frozenset({"not", "gone"})
PRAISE = frozenset({"good", "fine"})
ONCE = frozenset({"was", "before"})
_AFFIRMING = frozenset({"asked", "exists"})  # "is", which may ask, and "there is"
NAMED_FAULTS = FAULTS - {"defect", "resistance", "ground"}
_OTHERS = frozenset({"denied", "gone", "past"})  # what is said of something else in its own clause


@lru_cache(maxsize=32)
def _clause_end(lexicon: Lexicon, language: str | None) -> re.Pattern[str]:
    """What parts the clauses of a sentence."""
    words = f"{joining(lexicon, language)}|{turning(lexicon, language)}"
    return re.compile(rf"[,;:]\s|(?<!\d)\.\s|\s-\s|\s(?:{words})\s")


@lru_cache(maxsize=32)
def piece_end(lexicon: Lexicon, language: str | None) -> re.Pattern[str]:
    """What parts clauses, or columns."""
    return re.compile(rf"{_clause_end(lexicon, language).pattern}|\s{{3,}}|\t")


def is_asserted(line: Line, lexicon: Lexicon, usual: str | None) -> bool:
    """Tell whether a line without a code asserts the fault that it names."""
    language = language_of(line, lexicon, usual)
    if line.cells or _COLUMNS.search(line.text.strip()):
        return not any(_is_unfilled(pair, lexicon, language) for pair in _PAIR.findall(line.text))
    text = _MEASURED.sub(" ", line.text)
    small, holding, strange = sort_words(text, lexicon, language)
    if strange and text != line.text:
        return False  # "far from being open, it reads 2.2 ohms"
    if _supposes(line.text, lexicon, language) or _buries(line, lexicon, language):
        return False
    if not strange or _is_back(line.words) or _has_status_apart(line.text, lexicon, language):
        return True
    is_sentence = bool(_ENDS.search(line.text)) and len(line.tokens) >= _SENTENCE
    if small + holding < _SMALL and strange <= _STRANGE and not is_sentence:
        return True
    clauses = _clause_end(lexicon, language).split(line.text)
    return any(
        _holds(clause, lexicon, language) or _begins_holding(clause, lexicon, language)
        for clause in clauses
    )


def speaks_of_paper(text: str, words: Words, lexicon: Lexicon, language: str | None) -> bool:
    """``and the sticker is torn there``: what is broken is no part, or nobody knows what it is."""
    faults = words.features & FAULTS
    if not faults or not faults <= {"mechanical", "defect"}:
        return False
    if not lexicon.small.papers.isdisjoint(t.text for t in tokenise(text)):
        return True
    is_placed = words.features & HEADS or words.seats or words.sides
    return not is_placed and sort_words(text, lexicon, language)[2] > 0


def is_seen(line: Line, lexicon: Lexicon) -> bool:
    """Tell whether words name what somebody saw: ``airbags deployed``, ``the label is torn``."""
    is_fired = line.words.features & FAULTS == {"deployed"}
    return is_fired or speaks_of_paper(line.text, line.words, lexicon, None)


def _is_unfilled(pair: tuple[str, str], lexicon: Lexicon, language: str | None) -> bool:
    """``airbags deployed: see below``: a label of a form names a fault, and nothing answers it."""
    label, value = (words_in(text, lexicon, language) for text in pair)
    is_bare = value.says_nothing and not (value.ends or value.rows or value.voices)
    texts = [t.text for t in tokenise(pair[1])]
    is_answer = any(t in YES or t[0].isdecimal() for t in texts)
    return has_fault(label) and is_bare and bool(texts) and not is_answer


def _supposes(text: str, lexicon: Lexicon, language: str | None) -> bool:
    """``if the clock spring were open``: a condition begins a clause; or the line guesses."""
    names = [n for n in (language, *BASE) if n]
    firsts = (tokenise(clause)[:1] for clause in _clause_end(lexicon, language).split(text))
    is_condition = any(lexicon.is_told(t.text, "supposed", names) for f in firsts for t in f)
    return is_condition or _guesses(text, lexicon, language)


def _guesses(text: str, lexicon: Lexicon, language: str | None) -> bool:
    """``left curtain perhaps short``: no clause without such a word tells part and fault."""
    clauses = _clause_end(lexicon, language).split(text)
    sure = [c for c in clauses if lexicon.small.perhaps.isdisjoint(t.text for t in tokenise(c))]
    is_guess = len(sure) < len(clauses)
    return is_guess and not any(stands_alone(words_in(c, lexicon, language)) for c in sure)


def says_surely(line: Line, lexicon: Lexicon) -> bool:
    """Tell whether a line supposes nothing, and holds no word that nobody knows.

    ``tomorrow I swap it and see if the open is gone`` does both.
    """
    language = language_of(line, lexicon, None)
    is_known = not sort_words(_MEASURED.sub(" ", line.text), lexicon, language)[2]
    return is_known and not _supposes(line.text, lexicon, language)


def _is_back(words: Words) -> bool:
    """``cleared it, and it was back after a mile``: nobody returns who is not there."""
    return "exists" in words.voices and "present" in words.statuses


def _holds(clause: str, lexicon: Lexicon, language: str | None) -> bool:
    """``the clock spring is open``, whatever the sentence goes on with."""
    _, holding, strange = sort_words(clause, lexicon, language)
    is_told = holding > 0 or begins_with_only(clause, lexicon)
    return is_told and not strange and stands_alone(words_in(clause, lexicon, language))


def _begins_holding(clause: str, lexicon: Lexicon, language: str | None) -> bool:
    """``the clock spring is open like a barn door``: known words lead to part, verb and fault.

    What is said of a fault itself, ``the open went with the old wheel``, may be anything.
    """
    tokens = tokenise(clause)
    verb = _first_verb(tokens, lexicon, language)
    if verb is None:
        return False
    for hit in find_hits(lexicon, tokens, language):
        if FAULTS.isdisjoint(hit.means) and HEADS.isdisjoint(hit.means):
            continue
        head = tokens[: hit.last]
        if sort_tokens(head, lexicon, language)[2]:
            return False
        hits = find_hits(lexicon, head, language)
        is_told = any(FAULTS & {*h.means} and h.last > verb + 1 for h in hits)
        if is_told and stands_alone(read_words(head, hits, lexicon.denying)):
            return True
    return False


def _first_verb(tokens: tuple[Token, ...], lexicon: Lexicon, language: str | None) -> int | None:
    """Return the place of the first word that says that something holds."""
    names = [n for n in (language, *BASE) if n]
    found = (at for at, t in enumerate(tokens) if lexicon.is_told(t.text, "holds", names))
    return next(found, None)


def _buries(line: Line, lexicon: Lexicon, language: str | None) -> bool:
    """``the short died with the old harness``: what is said to be dead is the fault itself."""
    tokens = tokenise(line.text)
    verb = _first_verb(tokens, lexicon, language)
    if verb is None:
        return False
    hits = find_hits(lexicon, tokens, language)
    named = any(NAMED_FAULTS & {*h.means} and h.first < verb for h in hits)
    return named and any(h.means == ("defect",) and h.last > verb for h in hits)


def begins_with_only(clause: str, lexicon: Lexicon) -> bool:
    """``nothing else, only the right curtain open``: what is left is there."""
    return any(t.text in lexicon.small.only for t in tokenise(clause)[:1])


def find_asserted(line: Line, lexicon: Lexicon, usual: str | None) -> str:
    """Return the clause of a denying line that asserts a fault; empty when there is none.

    ``clock spring open, the horn is not working either`` denies nothing of the clock spring.
    """
    if line.why not in _OTHERS or line.cells or line.codes:
        return ""
    language = language_of(line, lexicon, usual)
    clauses = [c for c in _clause_end(lexicon, language).split(line.text) if c.strip()]
    said = [(c, words_in(c, lexicon, language)) for c in clauses]
    sure = [
        c
        for c, w in said
        if stands_alone(w) and w.voices <= _AFFIRMING and not sort_words(c, lexicon, language)[2]
    ]
    left = next((c for c in sure if begins_with_only(c, lexicon)), "")
    voiced = [(c, w) for c, w in said if w.voices - _AFFIRMING]
    is_other = all(not has_fault(w) and _has_subject(c, lexicon, language) for c, w in voiced)
    return left or (sure[0] if sure and voiced and is_other else "")


def is_new(clause: str, lexicon: Lexicon, words: Words | None = None) -> bool:
    """``never had that before``, ``was not there on Friday``: what was not there is there now.

    So is what nobody ``had noticed``, or what is ``not in my first list``; no ``no longer``.
    What ``was fine before`` is not any more, where its words are given.
    """
    texts, small = {t.text for t in tokenise(clause)}, lexicon.small
    if any(one in texts and two in texts for one, two in small.no_longer):
        return False
    was = texts & small.days and texts & {verb for _, verb in small.is_was}
    then = was or (texts & (small.past_days | small.previous) and not texts & small.since)
    missed = texts & small.noticed and texts & small.pluperfect
    is_of_list = texts & small.lists and texts & small.firsts
    is_told = bool(texts & small.earlier or then or missed or is_of_list)
    is_praise = (words is not None and words.voices & PRAISE) or any(map(lexicon.is_praise, texts))
    is_praise = is_praise and not texts & small.returns
    return is_told and (is_praise or bool(texts & (lexicon.denying | small.never)))


def is_doubted(line: Line, lexicon: Lexicon, usual: str | None) -> bool:
    """Tell whether a sentence with a code may speak of another car, of the past, or take it back.

    Only one that tells no status: a bare code among words that nobody knows, somebody else in
    the sentence, or a clause behind it that says that something was.
    """
    code, words = line.codes[0], line.words
    tells_of_then = (_had, _was_at_first, _is_reason, _is_theory)
    if any(tells(line, lexicon) for tells in tells_of_then):
        return True
    if len(line.codes) > 1 or words.statuses or _COLUMNS.search(line.text):
        return False
    language = language_of(line, lexicon, usual)
    text = without_codes(line)
    is_others = lexicon.names_kin(line.text, [n for n in (language, *BASE) if n])
    if is_others or not (code.is_exact or code.style == "flash"):
        return is_others
    if not code.is_exact:
        return _tells_story(line)
    if words.says_nothing:
        small, holding, strange = sort_words(text, lexicon, language)
        says_little = not lexicon.small.descriptions.isdisjoint(t.text for t in line.tokens)
        is_story = strange > 1 or (strange > 0 and small + holding > 0)
        return is_story and not says_little  # "B1412 see manual"
    return bool(words.voices & ONCE) and _was_once(line, lexicon, language)


def _was_once(line: Line, lexicon: Lexicon, language: str | None) -> bool:
    """Tell whether a clause behind a code says that something was."""
    behind = _FULL_STOP.split(line.text[line.codes[0].end :])[0]
    clauses = piece_end(lexicon, language).split(behind)[1:]
    told = ((c, words_in(c, lexicon, language)) for c in clauses)
    said = (w for c, w in told if not is_new(c, lexicon, w))
    said = (w for w in said if not w.voices & DENYING)  # "it wasn't the plug"
    said = (w for w in said if w.features != {"defect"})  # "was never ok"
    return any(w.voices & ONCE and not stands_alone(w) for w in said)


def _tells_story(line: Line) -> bool:
    """``The first day it did only 1-5 and I figured a clock spring``: blinks in running text."""
    lead, behind = line.text[: line.codes[0].start], line.text[line.codes[0].end :].lstrip()
    is_led = len(lead.split()) >= _STORY and lead.rstrip()[-1:].isalnum()
    return is_led and behind[:1].isalpha() and bool(line.words.features - {"skip"})


def _had(line: Line, lexicon: Lexicon) -> bool:
    """``I had B1E71 plus B1E90``: a verb of the past leads to codes of which nothing is told."""
    lead = flat(line.text[: line.codes[0].start])
    if has_fault(line.words) or line.words.statuses or not lexicon.may_name("had", lead):
        return False
    return bool(_past_verb(lexicon).search(lead))


def _was_at_first(line: Line, lexicon: Lexicon) -> bool:
    """``at first there was B1001 left curtain open``: of what came of it nothing is told."""
    lead = f" {' '.join(t.text for t in tokenise(line.text[: line.codes[0].start]))} "
    return not line.words.statuses and any(f" {w} " in lead for w in lexicon.small.at_first)


def _is_theory(line: Line, lexicon: Lexicon) -> bool:
    """``in theory a wet plug would give B1001``, ``if it had B1001``: what leads to a code."""
    lead = _FULL_STOP.split(line.text[: line.codes[0].start])[-1]
    own = _CLAUSE.split(lead)[-1]
    language = language_of(line, lexicon, None)
    names = [n for n in (language, *BASE) if n]
    first, second = [*tokenise(own)[:2], None, None][:2]
    is_if = first is not None and lexicon.is_told(first.text, "supposed", names)
    is_if = is_if and not (second is not None and second.apart)  # "si, B1001": yes
    behind = _CLAUSE.split(line.text[line.codes[-1].end :])
    is_rule = not has_fault(words_in(behind[0], lexicon, language)) and bool(behind[1:])
    is_once = bool(_past_verb(lexicon).search(flat(own)))
    said = words_in(own, lexicon, language).voices
    return (is_if and (is_once or is_rule)) or "sure" in said


def _is_reason(line: Line, lexicon: Lexicon) -> bool:
    """``replaced the left curtain for B1001``: why some work was done."""
    lead = [t.text for t in tokenise(line.text[: line.codes[0].start])[-_NEAR:]]
    is_bare = not (has_fault(line.words) or "present" in line.words.statuses)
    return is_bare and "worked" in line.words.voices and not lexicon.small.because.isdisjoint(lead)


@lru_cache(maxsize=4)
def _past_verb(lexicon: Lexicon) -> re.Pattern[str]:
    return re.compile(rf"(?<![^\W_])(?:{lexicon.names_of('had')})(?![^\W_])")


def denies_strangely(line: Line, lexicon: Lexicon) -> bool:
    """``NOT SUPPORTED HERE: B1AA0``: words that nobody knows, and a negation, lead to a list."""
    lead = line.text[: line.codes[0].start]
    language = language_of(line, lexicon, None)
    is_denied = any(t.text in lexicon.small.denies for t in tokenise(lead))
    is_lead = lead.rstrip()[-1:] in (":", "-")
    return is_denied and is_lead and sort_words(lead, lexicon, language)[2] > 0


def _has_subject(clause: str, lexicon: Lexicon, language: str | None) -> bool:
    """Tell whether a clause names something that nobody knows, or no restraint part."""
    tokens = tokenise(clause)
    hits = find_hits(lexicon, tokens, language)
    is_foreign = any("foreign" in h.means for h in hits)
    return is_foreign or sort_words(clause, lexicon, language)[2] > 0


def count_strange(
    text: str, lexicon: Lexicon, language: str | None, besides: frozenset[str]
) -> int:
    """Return how many words of a text are strange, other words than some that are known there."""
    tokens = tuple(t for t in tokenise(text) if t.text not in besides)
    return sort_tokens(tokens, lexicon, language)[2]


def only_denies(text: str, lexicon: Lexicon) -> bool:
    """``is not``, ``ne l'est pas``: nothing but what was said before is denied."""
    small = lexicon.small
    left = {t.text for t in tokenise(text)} - small.auxiliaries - small.only
    return bool(left) and left <= small.ellipses


def sort_words(text: str, lexicon: Lexicon, language: str | None) -> tuple[int, int, int]:
    """How many words of a text are small, say that something holds, and are strange."""
    return sort_tokens(tokenise(text), lexicon, language)


def sort_tokens(
    tokens: tuple[Token, ...], lexicon: Lexicon, language: str | None
) -> tuple[int, int, int]:
    """Return how many words are small, say that something holds, and are strange."""
    names = [n for n in (language, *BASE) if n]
    covered = _covered(tokens, find_hits(lexicon, tokens, language), lexicon, names)
    small = holding = strange = 0
    for at, token in enumerate(tokens):
        means = covered.get(at, ())
        if lexicon.is_told(token.text, "holds", names):
            holding += 1
        elif means and means != ("skip",):
            continue  # a term of the trade
        elif lexicon.is_told(token.text, "plain", names):
            small += 1
        elif not means:
            if _is_adverb(token.text, lexicon):
                small += 1
                continue
            is_short_form = token.is_cut and at + 1 < len(tokens)
            strange += not (token.text[0].isdecimal() or is_short_form)
    return small, holding, strange


def _is_adverb(word: str, lexicon: Lexicon) -> bool:
    """``annoyingly``, ``dummerweise``: no adverb that denies, doubts or dates a statement."""
    told = lexicon.small
    is_long = len(word) >= _ADVERB and word.endswith(told.adverb_ends)
    return is_long and word not in told.doubting


def _covered(
    tokens: tuple[Token, ...], hits: tuple[Hit, ...], lexicon: Lexicon, names: list[str]
) -> dict[int, tuple[str, ...]]:
    """What each word means that stands in a phrase; nothing for one that was only guessed."""
    found = {}
    for hit in hits:
        words = tuple(t.text for t in tokens[hit.first : hit.last])
        is_known = not hit.language or any(lexicon.meaning(name, words) for name in names)
        for at in range(hit.first, hit.last):
            found[at] = hit.means if is_known else ()
    return found


def _has_status_apart(text: str, lexicon: Lexicon, language: str | None) -> bool:
    """``..., signal invalid, history``: a status in a stretch of its own, as records have it."""
    tokens = tokenise(text)
    for hit in find_hits(lexicon, tokens, language):
        ends = hit.last == len(tokens) or tokens[hit.last].apart
        if hit.means[0].startswith("status:") and tokens[hit.first].apart and ends:
            return True
    return False
