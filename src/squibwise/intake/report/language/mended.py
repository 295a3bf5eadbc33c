"""Whether what seems to end or deny a fault does: no work to come, no other part's denial."""

from squibwise.catalog.small_words import SmallWords
from squibwise.catalog.vocabulary import VOICES
from squibwise.intake.report.language.lexicon import BASE, Lexicon, Token
from squibwise.intake.report.language.phrases import Hit, find_hits
from squibwise.intake.report.language.words import FAULTS, PARTS

_ENDS = frozenset({"gone", "status:cleared"})
_CLEARS = frozenset({"lacking:locked", "status:cleared"})
_LINKS = (("skip",), ("asked",))
_WELL = frozenset({"gone", "not", "away", "good", "fine"})
_SAID = ("status:", "lacking:")
_BEFORE, _BEHIND = 4, 3  # words beside a verb that make it one of the future


def without_unmended(
    hits: tuple[Hit, ...], tokens: tuple[Token, ...], lexicon: Lexicon
) -> tuple[Hit, ...]:
    """Return phrases without work to come; a fault that outlived the work is present.

    ``must be repaired``, ``until it is fixed``, ``fixed but came back``.
    """
    small = lexicon.small
    hits = tuple(_as_stubborn(h, hits, tokens, small) for h in hits)
    works = [h for h in hits if _ENDS & {*h.means} and _is_work(h, tokens, small)]
    if not works:
        return hits
    nots = [h for h in hits if h.means == ("not",)]
    denied = {w: h for w in works for h in nots if _denies(h, w, tokens)}
    due = [h for h in works if h in denied or _is_due(h, tokens, small)]
    undone = [h for h in works if h not in due and _is_back(h, hits, tokens, lexicon)]
    if undone:  # "repaired last month, back again"
        hits = tuple(h for h in hits if "past" not in h.means or h.first < undone[0].first)
    return tuple(
        Hit(("status:present",), h.first, h.last, h.language) if h in undone else h
        for h in hits
        if h not in due and h not in denied.values()
    )


def _as_stubborn(
    hit: Hit, hits: tuple[Hit, ...], tokens: tuple[Token, ...], small: SmallWords
) -> Hit:
    """``no longer clears``, ``geht nicht mehr weg``: what is over is the clearing."""
    if hit.means != ("gone",):
        return hit
    texts = {t.text for t in tokens[hit.first : hit.last]}
    behind = (h for h in hits if h.first >= hit.last and h.means not in _LINKS)
    clears = next(behind, hit)
    between = tokens[hit.last : clears.first + 1]
    is_near = not any(t.apart or t.text in small.dating for t in between)
    is_near = is_near and len(between) - 1 == sum(hit.last <= h.first < clears.first for h in hits)
    is_clear = is_near and (_CLEARS & {*clears.means} or clears.means == ("gone",))
    if is_clear and clears is not hit and any({*pair} <= texts for pair in small.no_longer):
        return Hit(("not",), hit.first, hit.last, hit.language)
    return hit


def without_contrasts(
    hits: tuple[Hit, ...], tokens: tuple[Token, ...], lexicon: Lexicon, language: str | None
) -> tuple[Hit, ...]:
    """Return phrases without what a fault is said not to be of, or not to need.

    ``stage 2 (not 1) open``, ``seat bag, not the curtain, is open``, ``open without load``.
    """
    faults = [h.first for h in hits if FAULTS & {*h.means}]
    nots = [h for h in hits if h.means == ("not",)] if faults else []
    gone: set[Hit] = set()
    for no in nots:
        first = next((n for n in range(no.first, 0, -1) if tokens[n].apart), 0)
        behind = range(no.last, len(tokens))
        last = next((n for n in behind if tokens[n].apart), len(tokens))
        own = [h for h in hits if first <= h.first < last and h is not no]
        named = any(_names(h) for h in hits if h.first < first)
        rest = [n for n in range(first, last) if not no.first <= n < no.last]
        is_edge = first == no.first or last == no.last
        if _is_without(no, tokens, lexicon.small) and faults[0] < no.first < last - 1:
            own = [h for h in own if h.first > no.first]
            whole = find_hits(lexicon, tokens[: no.first] + tokens[no.last :], language)
            is_inside = any(h.first < no.first < h.last for h in whole)  # of a fault's own words
            if not (is_inside or any(FAULTS & {*h.means} for h in own)):
                gone |= {no, *(h for h in own if not h.means[0].startswith("status:"))}
        elif named and is_edge and rest and tokens[no.first].text in lexicon.small.ellipses:
            covered = {n for h in own if _names(h) for n in range(h.first, h.last)}
            names = [n for n in (language, *BASE) if n]
            others = [tokens[n].text for n in rest if n not in covered]
            is_known = (t.isdecimal() or lexicon.is_told(t, "plain", names) for t in others)
            if (covered or any(t.isdecimal() for t in others)) and all(is_known):
                gone |= {no, *own}
    return tuple(h for h in hits if h not in gone)


def _names(hit: Hit) -> bool:
    """Tell whether a phrase names a part, a place or a stage, and says nothing of it."""
    means = {*hit.means}
    is_said = means & (FAULTS | VOICES | {"battery"}) or hit.means[0].startswith(_SAID)
    return not is_said and means != {"skip"}


def _is_without(no: Hit, tokens: tuple[Token, ...], small: SmallWords) -> bool:
    """``without``, ``with no``."""
    text, before = tokens[no.first].text, tokens[no.first - 1].text if no.first else ""
    is_noun = text == "no" or text not in small.ellipses  # what is denied is a noun
    return text in small.without or (is_noun and before in small.together)


def _is_work(hit: Hit, tokens: tuple[Token, ...], small: SmallWords) -> bool:
    stems = tuple(small.mending)
    return any(t.text.startswith(stems) for t in tokens[hit.first : hit.last])


def _denies(no: Hit, work: Hit, tokens: tuple[Token, ...]) -> bool:
    """``has not been properly fixed``, ``cannot be repaired``."""
    is_near = 0 <= work.first - no.last < _BEFORE
    return is_near and not any(t.apart for t in tokens[no.last : work.first + 1])


def _is_due(hit: Hit, tokens: tuple[Token, ...], small: SmallWords) -> bool:
    """``will be repaired Monday``, ``repariert werden muss``; ``could be cleared`` was done."""
    first = max(0, hit.first - _BEFORE)
    first = max((n for n in range(first, hit.first + 1) if tokens[n].apart), default=first)
    last = min(len(tokens), hit.last + _BEHIND)
    last = next((n for n in range(hit.last, last) if tokens[n].apart), last)
    texts = [t.text for t in tokens[first:last]]
    behind = {t.text for t in tokens[hit.last : last]}
    lead = {*texts} - behind
    is_due = bool(lead & small.due or behind & small.due_behind)
    return is_due and small.managed.isdisjoint(texts)


def _is_back(hit: Hit, hits: tuple[Hit, ...], tokens: tuple[Token, ...], lexicon: Lexicon) -> bool:
    """``repaired twice, still comes``: what is said last holds, if it is said of the same part."""
    later = [h for h in hits if h.first >= hit.last]
    others = (h.first for h in later if _names_another(h))
    last = min(others, default=len(tokens))
    later = [h for h in later if h.last <= last]
    behind = {t.text for t in tokens[hit.last : last]}
    if any(_WELL & {*h.means} for h in later) or behind & (lexicon.denying | lexicon.small.never):
        return False
    phrases = (tokens[h.first : h.last] for h in later if "exists" in h.means)
    returns = lexicon.small.returns
    is_told = any(len(p) > 1 and not returns.isdisjoint(t.text for t in p) for p in phrases)
    return is_told or not behind.isdisjoint(lexicon.small.comes_back)


def _names_another(hit: Hit) -> bool:
    return bool(PARTS & {*hit.means}) or any(m.startswith(("seat:", "side:")) for m in hit.means)
