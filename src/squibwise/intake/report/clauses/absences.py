"""Why a code is not there now: by its own words, those of its line, or a negation near it."""

from itertools import pairwise

from squibwise.intake.patterns import pattern
from squibwise.intake.report.claims.asides import why_absent
from squibwise.intake.report.claims.assertions import (
    denies_strangely,
    is_doubted,
    only_denies,
    sort_words,
)
from squibwise.intake.report.clauses.code_clauses import is_joint
from squibwise.intake.report.clauses.other_clauses import clauses_of, denies_other
from squibwise.intake.report.language.code_forms import Code
from squibwise.intake.report.language.features import NO
from squibwise.intake.report.language.lexicon import Lexicon, tokenise
from squibwise.intake.report.language.phrases import find_claims, find_hits
from squibwise.intake.report.language.words import FAULTS, Words, has_fault, has_part
from squibwise.intake.report.line_words import without_codes, words_in
from squibwise.intake.report.sheet import Line
from squibwise.model.report import UNSURE

_ANSWER = pattern(
    r"(?i)\W*(?:no|nope|nah|nein|nee|nö|non|n[aã]o|nie|n)(?:\s{3,}|\t|,\s|\s\w{1,5}\.\s)"
)
_SHORT_FOR_NUMBER = frozenset({"no", "n", "ne"})  # and other words of another language
_SAID_OF_CODE = 8  # words behind a code that speak of the code itself
_DENYING = frozenset({"not", "gone", "away"})
_PRAISE = frozenset({"good", "fine"})
_NEAR = 3  # words before a code in which a negation may speak of it


def why_gone(
    words: Words, line: Line, code: Code, text: str, language: str | None, lexicon: Lexicon
) -> str:
    """Why a code is not there now: by its own words, or by what the line says of all its codes.

    A lone ``no`` in front answers somebody, or stands in a column: it denies nothing.
    """
    own = why_absent(words, is_coded=True)
    if own in ("denied", "gone"):
        answer = _ANSWER.match(line.text)
        if answer is not None:
            rest = line.text[answer.end() :]
            return why_absent(words_in(rest, lexicon, language), is_coded=True)
        if len(line.codes) == 1 and denies_other(line, lexicon, language):
            return ""
    if not own and len(line.codes) == 1 and _is_fine_again(line, lexicon, language):
        return "gone"
    is_led = len(line.codes) > 1 and line.words.voices & {"past", "mine"}
    if own or not (words.says_nothing or is_led):
        return own
    if _stays(line, code, text, lexicon, language):
        return ""
    return why_absent(line.words, is_coded=True)


def _stays(line: Line, code: Code, text: str, lexicon: Lexicon, language: str | None) -> bool:
    """``B1001 gone, B1002 stays``, ``..., B1002 not``: what ended another code did not end it."""
    following = next((c.start for c in line.codes if c.start >= code.end), len(line.text))
    behind = line.text[code.end : following]
    is_led = is_joint(behind, lexicon) and following < len(line.text)
    is_led = is_led or line.text[: line.codes[0].start].rstrip().endswith(":")
    if len(line.codes) == 1 or is_led or not line.words.voices & _DENYING:
        return False
    texts = {t.text for t in tokenise(text)}
    is_unlike = "gone" in line.words.voices and only_denies(text, lexicon)
    is_own = any(sort_words(text, lexicon, language)[1:]) or behind.rstrip()[-1:] in (",", ".", ";")
    is_own = is_own and bool(texts)
    return is_unlike or (is_own and not words_in(text, lexicon, language).voices & _DENYING)


def denied_by_name(
    line: Line, code: Code, text: str, words: Words, lexicon: Lexicon, language: str | None
) -> str:
    """``not B1001``, ``B1001: none``: a negation is all that stands before or behind a code."""
    if code.style == "flash" and _says_all_good(text, words, lexicon):
        return "found good"
    before = [t.text for t in tokenise(line.text[: code.start])[-1:]]
    denying = lexicon.denying - _SHORT_FOR_NUMBER
    behind = {t.text for t in tokenise(text)}
    is_denied = denying.intersection(before) or (behind and behind <= denying)
    is_list = len(line.codes) > 1 and not has_part(line.words)
    is_away = "away" in line.words.voices and "present" not in words.statuses
    is_denied = is_denied or (is_list and is_away)  # "B1, B2: absent"
    is_denied = is_denied or only_denies(line.text[code.end :], lexicon)  # "B1, now not"
    if words.says_nothing and _stays(line, code, text, lexicon, language):
        return ""
    if is_denied and not has_fault(line.words):
        return "denied"
    is_bare = not (words.features - {"skip"} or words.statuses)
    if is_bare and (
        _is_unseen(line, words, denying, lexicon)
        or denies_strangely(line, lexicon)
        or _denied_near(line, code, denying)
    ):
        return UNSURE
    if line.unit != "other" and is_doubted(line, lexicon, language):
        return UNSURE
    said = [t.text for t in tokenise(text)[:_SAID_OF_CODE]]
    is_over = any(  # "B1001 non si vede più"
        one in said and two in said[said.index(one) :] for one, two in lexicon.small.no_longer
    )
    return "gone" if is_over and words.says_nothing else ""


def _is_fine_again(line: Line, lexicon: Lexicon, language: str | None) -> bool:
    """``left curtain open (no, it's fine now)``: a clause that only says that all is well again."""
    again = lexicon.small.again
    if {"was", "worked"} <= line.words.voices:
        last = {t.text for t in tokenise(clauses_of(without_codes(line), lexicon, language)[-1])}
        return bool(last) and last <= lexicon.small.clears | again
    if again.isdisjoint(t.text for t in line.tokens) or not has_fault(line.words):
        return False
    for clause in clauses_of(without_codes(line), lexicon, language)[1:]:
        tokens = tokenise(clause)
        tokens = tokens[1:] if tokens[:1] and tokens[0].text in NO else tokens
        hits = find_hits(lexicon, tokens, language)
        good = {n for h in hits if not _PRAISE.isdisjoint(h.means) for n in range(h.first, h.last)}
        rest = [t.text for n, t in enumerate(tokens) if n not in good]
        if good and rest and again.issuperset(rest):
            return True
    return False


def _is_unseen(line: Line, words: Words, denying: set[str], lexicon: Lexicon) -> bool:
    """``codes B2144 and B2145 not seen this time``: a denial beside bare codes is of them.

    One of their text, ``22 and 25, no list``, is not.
    """
    voices = words.voices | (line.words.voices if len(line.codes) > 1 else set())
    texts = [t.text for t in line.tokens]
    if voices.isdisjoint(_DENYING) or has_part(line.words):
        return False
    is_said = not denying.isdisjoint(texts) or any(
        one in _SHORT_FOR_NUMBER and two.isalpha() for one, two in pairwise(texts)
    )
    return is_said and lexicon.small.descriptions.isdisjoint(texts)


def _says_all_good(text: str, words: Words, lexicon: Lexicon) -> bool:
    """``flash 12, system normal``: a lamp blinks a count for no fault too."""
    if has_part(words) or words.features & (FAULTS - {"defect"}):
        return False
    is_denied = "not" in words.voices and "defect" in words.features
    is_good = words.voices & {"good", "fine"} or "clean" in find_claims(text, lexicon)
    return bool(is_good or is_denied)


def _denied_near(line: Line, code: Code, denying: set[str]) -> bool:
    """``pas de B1230``, ``never saw B1230``: a negation a few words before a code."""
    near: list[str] = []
    for token in reversed(tokenise(line.text[: code.start])[-_NEAR:]):
        near.append(token.text)
        if token.apart:
            break
    words = [far for close, far in pairwise(near) if not close.isdecimal()]  # "no hay", not "no. 4"
    return not denying.isdisjoint(near) or not _SHORT_FOR_NUMBER.isdisjoint(words)
