"""What the clauses of a line say of something else than the fault that the line is of."""

import re
from functools import lru_cache

from squibwise.intake.report.claims.asides import excepts
from squibwise.intake.report.claims.assertions import (
    DENYING,
    NAMED_FAULTS,
    ONCE,
    is_new,
    piece_end,
    sort_tokens,
    sort_words,
)
from squibwise.intake.report.claims.closings import names_rest
from squibwise.intake.report.clauses.plain_clauses import add_statuses, names_other_part
from squibwise.intake.report.language.joints import Span, spans_of
from squibwise.intake.report.language.lexicon import Lexicon, flat, tokenise
from squibwise.intake.report.language.phrases import find_hits
from squibwise.intake.report.language.words import (
    FAULTS,
    HEADS,
    KERB,
    PARTS,
    Words,
    has_fault,
    has_part,
    heads_of,
    stands_alone,
)
from squibwise.intake.report.line_words import language_of, without_codes, words_in
from squibwise.intake.report.sheet import Line

_STRONG = re.compile(r"[;/.]\s")  # between clauses that are no enumeration
_RECORDING = frozenset({"unit", "airbagmodule", "crashrecord"})  # what holds a crash record


@lru_cache(maxsize=32)
def _other_end(lexicon: Lexicon, language: str | None) -> re.Pattern[str]:
    """What parts a clause that may deny something else; a colon leads to what is said of it."""
    ends = piece_end(lexicon, language).pattern.replace("[,;:]", "[,;]")
    return re.compile(rf"{ends}|\s[+&/]\s|\s(?=\()")


@lru_cache(maxsize=4)
def _last_stop(lexicon: Lexicon) -> re.Pattern[str]:
    """``none. B1001``, ``not much, just B1001``: where what was said before the code ends."""
    only = "|".join(sorted(lexicon.small.only))
    return re.compile(rf".*(?:[^\W\d_]{{3}}[.;]|\b(?:{only}))\s")


def denies_other(line: Line, lexicon: Lexicon, usual: str | None) -> bool:
    """Tell whether what denies on the line of a code is said of something else.

    ``right pretensioner open, left one nil``, ``loose, its bolt is missing``: a clause without
    the fault denies another part, something that nobody knows, or says what is missing; so does
    a sentence before that of the code.
    """
    stop = _last_stop(lexicon).match(flat(line.text[: line.codes[0].start]))
    if stop is not None and not words_in(line.text[stop.end() :], lexicon, usual).voices & DENYING:
        return True
    language = language_of(line, lexicon, usual)
    pieces = piece_end(lexicon, language).split(without_codes(line))
    said = [(c, words_in(c, lexicon, language)) for c in pieces]
    own = [w for _, w in said if has_fault(w) and not w.voices & DENYING]
    voiced = [(c, w) for c, w in said if w.voices & DENYING]
    if not own or not voiced:
        return False
    return all(_is_of_other(c, w, own[0], lexicon, language) for c, w in voiced)


def without_others(text: str, lexicon: Lexicon, usual: str | None) -> str:
    """Return a text less the clauses behind its fault that deny something else.

    ``driver airbag open, nothing else``, ``..., no crash stored``, ``..., cause not found``.
    """
    spans = _spans(text, lexicon, usual)
    said = [words_in(text[a:b], lexicon, usual) for a, b in spans]
    told = (n for n, w in enumerate(said) if has_fault(w) and not w.voices & DENYING)
    first = next(told, None)
    if first is None:
        return text
    others, small, before = [], lexicon.small, frozenset[str]()
    for span, words in list(zip(spans, said, strict=True))[first + 1 :]:
        clause = text[slice(*span)]
        texts = [t.text for t in tokenise(clause)]
        is_of_other = words.voices & (DENYING | ONCE) and not _denies_verb(clause, lexicon, usual)
        is_sought = not (small.blamed.isdisjoint(before) or small.finding.isdisjoint(texts))
        if (
            (not has_fault(words) and _is_of_rest(texts, lexicon))
            or (is_sought and not _is_over(texts, lexicon))  # "looked for the plug, not found"
            or names_rest(texts, lexicon)
            or is_new(clause, lexicon, words)
            or (is_of_other and _is_of_other(clause, words, said[first], lexicon, usual))
        ):
            others.append(span)
        before = frozenset(texts)
    return _cut(text, others)


def part_records(
    text: str, line: Words, lexicon: Lexicon, usual: str | None
) -> tuple[str, list[Words]]:
    """Return a text less its clauses of a crash record or of another part, and what those say.

    ``left curtain open / crash logged``: a record that is no part's stands beside its fault; so
    does ``; right pretensioner shorted``, where both clauses tell a part and its fault.
    """
    if not ("crashrecord" in line.features or _STRONG.search(text) or ", " in text):
        return text, []  # most lines
    spans = _spans(text, lexicon, usual)
    said = [words_in(text[a:b], lexicon, usual) for a, b in spans] if len(spans) > 1 else []
    apart = [n for n in range(1, len(said)) if _is_apart(text, spans, said, n)]
    has_placed = any(_is_placed_fault(w) for w in said)
    records = [n for n, w in enumerate(said) if has_placed and (n in apart or _is_record(w))]
    if not records:
        return text, []
    told = [said[n] for n in records if not (said[n].voices & (DENYING | ONCE))]
    return _cut(text, [spans[n] for n in records]), told


def _is_apart(text: str, spans: list[Span], said: list[Words], at: int) -> bool:
    """Tell whether a clause tells another part's fault than the first.

    Behind a comma, which may only enumerate, both must be told whole.
    """
    own = said[at]
    first = next((w for w in said[:at] if not w.says_nothing), own)
    is_strong = bool(_STRONG.search(text[spans[at - 1][1] : spans[at][0]]))
    is_whole = _is_placed_fault(own) and stands_alone(own) and not own.voices & (DENYING | ONCE)
    heads = heads_of(own)
    is_other = bool(heads) and not heads & heads_of(first)
    is_strong = is_strong or (stands_alone(first) and names_other_part(own, first))
    return is_strong and is_whole and is_other and _is_placed_fault(first)


def of_code(line: Line, words: Words, lexicon: Lexicon, usual: str | None) -> Words:
    """Return what the clause of a code says, or what stands behind it, without a part before that.

    ``The bag light went out, B1410 seat bag open``, ``with a new clock spring still B1410 ...``.
    """
    code = line.codes[0]
    behind = words_in(line.text[code.end :], lexicon, usual)
    if stands_alone(behind) and excepts(line.text[: code.start], lexicon):
        return behind  # "all cleared except B1001 left curtain open"
    lead = words_in(line.text[: code.start], lexicon, usual)
    if not (has_part(lead) or "lamp" in lead.features):
        return words
    starts = (
        start for start, end in _spans(line.text, lexicon, usual) if start <= code.start < end
    )
    for start in (next(starts, 0), code.start):
        own = words_in(f"{line.text[start : code.start]} {line.text[code.end :]}", lexicon, usual)
        before = words_in(line.text[:start], lexicon, usual)
        if stands_alone(own) and _is_lead(before, own):
            add_statuses(own, words)
            return own
    return words


def _is_lead(before: Words, own: Words) -> bool:
    """Tell whether words before those of a code name a part of their own that has no fault."""
    if "lamp" in before.features:
        return "lamp" not in own.features
    is_other = bool(before.voices and before.features & HEADS - own.features)
    is_other = is_other or names_other_part(own, before)
    return is_other and not has_fault(before)


def _is_record(words: Words) -> bool:
    is_free = not (words.seats or words.sides or words.features & HEADS - _RECORDING)
    return words.features & FAULTS == {"crashrecord"} and is_free


def _is_placed_fault(words: Words) -> bool:
    is_placed = bool(words.seats or words.sides or words.features & (KERB | HEADS - _RECORDING))
    return is_placed and bool(words.features & NAMED_FAULTS - {"crashrecord", "deployed"})


def clauses_of(text: str, lexicon: Lexicon, usual: str | None) -> list[str]:
    """Return the clauses of a text, those in brackets too."""
    return _other_end(lexicon, usual).split(text)


def _spans(text: str, lexicon: Lexicon, usual: str | None) -> list[Span]:
    """Where the clauses of a text begin and end."""
    return spans_of(text, _other_end(lexicon, usual))


def _cut(text: str, spans: list[Span]) -> str:
    for start, end in reversed(spans):
        text = text[:start] + text[end:]
    return text


def _is_of_other(
    clause: str, words: Words, own: Words, lexicon: Lexicon, language: str | None
) -> bool:
    texts = [t.text for t in tokenise(clause)]
    small = lexicon.small
    is_found = not (small.finding.isdisjoint(texts) or _is_over(texts, lexicon))
    is_found = is_found and (small.since | small.after).isdisjoint(texts)
    may_blame = ("gone" not in words.voices or is_found) and not has_fault(words)
    if (
        is_new(clause, lexicon, words)
        or (may_blame and not small.blamed.isdisjoint(texts))
        or (has_fault(words) and not small.yet.isdisjoint(texts))  # "break not found yet"
        or not small.beside.isdisjoint(texts)
        or names_rest(texts, lexicon)
        or _is_of_rest(texts, lexicon)
        or _is_of_impact(words)
    ):
        return True  # "never had that before", "not the plug", "cause not found", "nothing else"
    told = words.features & FAULTS
    if told - {"defect"} or told & own.features or (told and "gone" not in words.voices):
        return not told & own.features  # "open, not shorted", "no crash data"
    if words.statuses == ["intermittent"] and "not" in words.voices:
        return True  # "it's not intermittent": it is there all the time
    places = (words.seats - own.seats) | (words.sides - own.sides) | (words.features & KERB)
    parts = words.features & HEADS - own.features if "not" in words.voices else set()
    if parts or (places and words.voices <= DENYING):
        return True  # "not the clock spring"
    if words.voices & {"gone", "past"}:
        return _has_strange_subject(clause, lexicon, language)
    return not small.lacks.isdisjoint(texts) or sort_words(clause, lexicon, language)[2] > 0


def _is_of_rest(texts: list[str], lexicon: Lexicon) -> bool:
    """``the others are gone``; none that only tell when or how: ``gone with the others``."""
    small = lexicon.small
    at = next((n for n, text in enumerate(texts) if text in small.rest), None)
    beside = small.after | small.as_ | small.together
    return at is not None and beside.isdisjoint(texts[max(0, at - 2) : at])


def _is_of_impact(words: Words) -> bool:
    """``no stored impact in the module``: what is denied is a record of a crash."""
    return "impact" in words.features and not words.features & PARTS


def _denies_verb(clause: str, lexicon: Lexicon, language: str | None) -> bool:
    """``gewist en niet teruggekomen``: a strange verb behind a negation, and no word before it."""
    tokens = tokenise(clause)
    texts = [t.text for t in tokens]
    if _is_over(texts, lexicon):
        return not names_rest(texts, lexicon)
    adverbs = lexicon.small.denies | ({"no"} if language else set())
    at = next((n for n, t in enumerate(tokens) if t.text in adverbs), None)
    if at is None or sort_tokens(tokens[:at], lexicon, language)[2]:
        return False
    hits = find_hits(lexicon, tokens, language)
    is_named = any((HEADS | FAULTS) & {*h.means} or h.means[0].startswith("side:") for h in hits)
    is_other = names_rest(texts, lexicon) or is_new(clause, lexicon)
    return not (is_named or is_other) and sort_tokens(tokens[at:], lexicon, language)[2] > 0


def _has_strange_subject(clause: str, lexicon: Lexicon, language: str | None) -> bool:
    """``Ursache nicht gefunden``: a word that nobody knows leads up to what is said to be gone."""
    tokens = tokenise(clause)
    if _is_over([t.text for t in tokens], lexicon):
        return False
    hits = find_hits(lexicon, tokens, language)
    lead = tokens[: hits[0].first] if hits else ()
    then = lexicon.small.again | lexicon.small.days | lexicon.small.since | lexicon.small.managed
    lead = tuple(t for t in lead if t.text not in then)  # "ya reparado"
    if lead and lead[0].text in lexicon.small.after:
        return False  # "nach der Reinigung verschwunden"
    return sort_tokens(lead, lexicon, language)[2] > 0


def _is_over(texts: list[str], lexicon: Lexicon) -> bool:
    return any(one in texts and two in texts for one, two in lexicon.small.no_longer)
