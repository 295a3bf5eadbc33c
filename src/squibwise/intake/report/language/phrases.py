"""Words of a line to the phrases they hold: the longest, compounds, misspellings, inflections."""

from bisect import bisect_left
from collections.abc import Iterable, Iterator
from functools import lru_cache
from itertools import islice, takewhile

import msgspec

from squibwise.intake.report.language.cut_phrases import find_cut
from squibwise.intake.report.language.lexicon import BASE, Lexicon, Token, tokenise

MAX_PHRASE = 7
_WHOLE = 4  # abbreviations that one word outweighs
_SHORT = 2  # letters of abbreviations that many languages share
_STEM, _ENDING = 5, 3  # letters of a stem and of an ending that it may have
_NEVER_GUESSED = frozenset({"wondered", "mine", "elsewhere"})  # they set a whole line aside
_JUDGING = frozenset("defect mechanical internal performance good gone not".split())
_CUT, _MOST_ENDINGS = 3, 40  # letters of a word cut short, and words that may go on from it
_CUT_BARE = 6  # the same without a full stop behind it
_CRASH = frozenset({("impact",), ("crashrecord",)})
_LEAD = 3  # words before one for a crash in which one for a time may stand
_YES = frozenset("yes ja oui si tak sim wel is".split())
_TURN = 3  # words behind one for a turn in which what is denied then stands
_MIN_BONES = 3  # letters of a word that stands without its vowels
_VOWELS = frozenset("aeiou")
_MIN_FUZZY, _MAX_FUZZY = 5, 60  # letters of a word that may be misspelt or compound


Span = tuple[int, int]
"""A word, and the end of the stretch that it stands in."""
Meant = dict[int, tuple[tuple[str, ...], ...]]
"""Known words that a strange word may stand for, by its place in the line, the best first."""


class Hit(msgspec.Struct, frozen=True):
    """A phrase found: its meanings and the tokens ``first`` up to but without ``last``.

    Its language is empty where two phrases together mean it, as ``now open, now not`` do.
    """

    means: tuple[str, ...]
    first: int
    last: int
    language: str


def languages(lexicon: Lexicon, words: list[str]) -> dict[str, int]:
    """Return how many distinct words each language but English knows, and English does not.

    Abbreviations that many languages share count little, and nothing alone.
    """
    distinct = set(words) - lexicon.base
    long = {w for w in distinct if len(w) > _SHORT}
    found = {}
    for name, known in lexicon.words.items():
        if name not in BASE:
            whole = sum(w in known for w in long)
            found[name] = whole and _WHOLE * whole + sum(w in known for w in distinct - long)
    return found


def likeliest(lexicon: Lexicon, texts: Iterable[str]) -> str:
    """Return the language but English that texts are in, as far as they tell."""
    scores = languages(lexicon, [t.text for text in texts for t in tokenise(text)])
    return max(scores, key=scores.__getitem__)


@lru_cache(maxsize=1024)  # asked of a line and of its pieces again and again
def find_hits(lexicon: Lexicon, tokens: tuple[Token, ...], language: str | None) -> tuple[Hit, ...]:
    """Return the phrases of a line: as many words covered as can be, by as few phrases.

    Where two ways are as good, the longer phrase comes first.
    """
    words = tuple(t.text for t in tokens)
    ends = _ends(tokens)
    names = tuple(n for n in (language, *BASE) if n and n in lexicon.words)
    meant = {
        at: others
        for at, t in enumerate(tokens)
        if (others := _meant(lexicon, t.text, t.is_cut, names))
    }
    may_cut = any(t.is_cut for t in tokens)
    choice: list[Hit | None] = [None] * len(words)
    cost: list[tuple[int, int]] = [(0, 0)] * (len(words) + 1)
    for at in range(len(words) - 1, -1, -1):
        bare, phrases = cost[at + 1]
        cost[at] = (bare + 1, phrases)
        cut = find_cut(lexicon, tokens, at, ends[at], names[0]) if may_cut else ()
        short = [Hit(means, at, last, names[0]) for means, last in cut]
        for hit in (*short, *_phrases_at(lexicon, words, (at, ends[at]), names, meant)):
            phrases = hit.last - at if hit in short else 1  # a phrase as it is listed comes first
            reached = (cost[hit.last][0], cost[hit.last][1] + phrases)
            if reached < cost[at]:
                choice[at], cost[at] = hit, reached
    hits = _chosen(choice)
    if any(h.means in _CRASH for h in hits):
        hits = [_as_dated(h, hits, lexicon, words) for h in hits]
    if any("not" in h.means for h in hits):
        hits = _by_turns(hits, lexicon, words)
    return tuple(_as_named(h, lexicon, words) for h in hits)


def _by_turns(hits: list[Hit], lexicon: Lexicon, words: tuple[str, ...]) -> list[Hit]:
    """``mal Masseschluss, mal nicht``: what is denied by turns is there by turns."""
    text = f" {' '.join(words)} "
    for first, second in lexicon.small.by_turns:
        one = text.find(f" {first} ")
        two = text.find(f" {second} ", one + len(first) + 1) if one >= 0 else -1
        if two < 0:
            continue
        limit = text.count(" ", 0, two + 1) - 1
        turns = [_turn(text, one, first, hits, limit), _turn(text, two, second, hits, len(words))]
        if all(means == ("skip",) for means, _, _ in turns):
            continue  # nothing is denied
        covered = {n for _, start, end in turns for n in range(start, end)}
        kept = [h for h in hits if covered.isdisjoint(range(h.first, h.last))]
        told = [Hit(*turn, "") for turn in turns]
        return sorted((*kept, *told), key=lambda h: h.first)
    return hits


def _turn(
    text: str, at: int, phrase: str, hits: list[Hit], limit: int
) -> tuple[tuple[str, ...], int, int]:
    """What a phrase for a turn means, with the denial or the yes behind it, and where it stands."""
    start = text.count(" ", 0, at + 1) - 1
    end = start + len(phrase.split())
    denied = (h for h in hits if "not" in h.means and end <= h.first < min(end + _TURN, limit))
    denial = next(denied, None)
    if denial is not None:
        return ("status:intermittent",), start, denial.last
    is_yes = text.split()[end : end + 1] and text.split()[end] in _YES
    return ("skip",), start, end + bool(is_yes)


def _as_dated(hit: Hit, hits: list[Hit], lexicon: Lexicon, words: tuple[str, ...]) -> Hit:
    """``there before the accident``: a crash that tells when, and is no record of one."""
    if hit.means not in _CRASH:
        return hit
    lead = range(hit.first - 1, max(hit.first - _LEAD, 0) - 1, -1)
    at = next((n for n in lead if words[n] in lexicon.small.dating), None)
    names_sensor = any(h.first == hit.last and "sensor" in h.means for h in hits)
    if at is None or names_sensor or (hit.last - hit.first > 1 and at == hit.first - 1):
        return hit
    told = {n for h in hits if h.means != ("skip",) for n in range(h.first, h.last)}
    is_led = all(n not in told or len(words[n]) < _LEAD + 1 for n in range(at + 1, hit.first))
    return Hit(("skip",), hit.first, hit.last, hit.language) if is_led else hit


def _as_named(hit: Hit, lexicon: Lexicon, words: tuple[str, ...]) -> Hit:
    """``ABS control unit``, ``calculateur du moteur``: a unit named for another system is its."""
    if hit.means != ("unit",):
        return hit
    if lexicon.has_name("restraint", " ".join(words[hit.first : hit.last])):
        return hit
    before = range(max(0, hit.first - MAX_PHRASE), hit.first)
    beside = [
        at for at in before if at + find_layout(lexicon, words[: hit.first], at)[1] == hit.first
    ]
    behind = hit.last + (hit.last < len(words) and words[hit.last] in lexicon.small.at)
    means = [find_layout(lexicon, words, at)[0] for at in (*beside[:1], behind)]
    is_other = any({"area", "othermodule"} & set(m) for m in means)
    return Hit(("foreign",), hit.first, hit.last, hit.language) if is_other else hit


def _chosen(choice: list[Hit | None]) -> list[Hit]:
    found = []
    at = 0
    while at < len(choice):
        hit = choice[at]
        if hit is not None:
            found.append(hit)
        at = hit.last if hit is not None else at + 1
    return found


def _phrases_at(
    lexicon: Lexicon, words: tuple[str, ...], span: Span, names: tuple[str, ...], meant: Meant
) -> list[Hit]:
    """Every phrase that begins at a word, as it stands or as a word in it must be meant."""
    at, end = span
    known = _known_at(lexicon, words, span, names) or _split(lexicon, words, at, names)
    for odd in (n for n in meant if at <= n < min(end, at + MAX_PHRASE)):
        for others in meant[odd]:
            known += _known_as(lexicon, words, span, odd, others, names)
    return known


def _known_as(
    lexicon: Lexicon,
    words: tuple[str, ...],
    span: Span,
    odd: int,
    others: tuple[str, ...],
    names: tuple[str, ...],
) -> list[Hit]:
    """The phrases over a strange word that mean one thing, whatever known word it stands for."""
    told: dict[int, list[Hit]] = {}
    for other in others:
        for hit in _known_at(lexicon, (*words[:odd], other, *words[odd + 1 :]), span, names):
            if hit.last > odd and not _NEVER_GUESSED & {*hit.means}:
                told.setdefault(hit.last, []).append(hit)
    alike = [hits for hits in told.values() if len({h.means for h in hits}) == 1]
    is_short = len(words[odd]) <= _CUT  # alone it must mean that in all its endings
    return [h[0] for h in alike if not is_short or h[0].last > span[0] + 1 or len(h) == len(others)]


def _ends(tokens: tuple[Token, ...]) -> list[int]:
    """For each token, the end of the stretch of words that it stands in."""
    ends = [len(tokens)] * len(tokens)
    for at in range(len(tokens) - 2, -1, -1):
        ends[at] = at + 1 if tokens[at + 1].apart else ends[at + 1]
    return ends


def find_layout(
    lexicon: Lexicon, words: tuple[str, ...], at: int = 0
) -> tuple[tuple[str, ...], int]:
    """Return the layout meanings of the longest phrase at a place, and its length."""
    layout = lexicon.open(words[at]).layout if at < len(words) else {}
    longest = lexicon.open(words[at]).longest(words, at, len(words)) if layout else 0
    for length in range(min(longest, MAX_PHRASE), 0, -1):
        means = layout.get(words[at : at + length])
        if means:
            return means, length
    return (), 0


def find_claims(text: str, lexicon: Lexicon) -> frozenset[str]:
    """Return what the layout phrases of a text mean, such as every circuit, or no fault."""
    return claims_of(tuple(t.text for t in tokenise(text)), lexicon)


@lru_cache(maxsize=1024)  # asked of a line again and again
def claims_of(words: tuple[str, ...], lexicon: Lexicon) -> frozenset[str]:
    """Return the same of words, folded."""
    return frozenset(m for at in range(len(words)) for m in find_layout(lexicon, words, at)[0])


def _known_at(
    lexicon: Lexicon, words: tuple[str, ...], span: Span, names: tuple[str, ...]
) -> list[Hit]:
    """The phrases that begin at a word and end within its stretch, the longest first."""
    at, end = span
    found: list[Hit] = []
    opened = lexicon.open(words[at])
    if not opened.phrases:
        return found
    is_letter = len(words[at]) == 1 and words[at] in lexicon.singles[names[0]]
    is_letter = is_letter and names[0] not in BASE
    for length in range(opened.longest(words, at, end), 0, -1):
        told = opened.phrases.get(words[at : at + length])
        name = next((n for n in names if n in told), None) if told else None
        if told is None or name is None or (is_letter and length > 1 and name in BASE):
            continue  # a letter of the report's own language, such as D for droit
        found.append(Hit(told[name], at, at + length, name))
    return found


def _split(lexicon: Lexicon, words: tuple[str, ...], at: int, names: tuple[str, ...]) -> list[Hit]:
    """A compound that nobody listed, as one phrase of what its parts mean."""
    pieces = _compound(lexicon, words[at], names) if _is_strange(lexicon, words[at]) else None
    means = tuple(m for piece in pieces or () for m in piece)
    return [Hit(means, at, at + 1, names[0])] if means else []


def _is_strange(lexicon: Lexicon, word: str) -> bool:
    is_word = word.isalpha() and _MIN_FUZZY <= len(word) <= _MAX_FUZZY
    return is_word and word not in lexicon.known


@lru_cache(maxsize=4096)
def _meant(
    lexicon: Lexicon, word: str, is_cut: bool, names: tuple[str, ...]
) -> tuple[tuple[str, ...], ...]:
    """The known words that a strange word may be cut short from, and the one it is nearest to."""
    is_own = any(word in lexicon.words[n] for n in names)
    if is_cut and len(word) >= _CUT and word.isalpha() and not is_own:
        cut = _beginning(lexicon, word, names)
    else:
        cut = ()
    bones = _with_vowels(lexicon, word, names)
    if not _is_strange(lexicon, word) or _compound(lexicon, word, names):
        return tuple(others for others in (cut, bones) if others)
    near = _nearest(lexicon, word, names)
    cut = cut or (() if near else _going_on(lexicon, word, names))
    return tuple(others for others in (cut, (near,) if near else bones) if others)


def _with_vowels(lexicon: Lexicon, word: str, names: tuple[str, ...]) -> tuple[str, ...]:
    """The known word whose vowels are left out, as in ``opn`` and ``lckd``, where all mean one."""
    is_bare = (
        len(bones_of(word)) >= _MIN_BONES and _VOWELS.isdisjoint(word[1:-1]) and word.isalpha()
    )
    if not is_bare or word in lexicon.known:
        return ()
    alike = [w for n in names for w in _of_bones(lexicon, n).get(bones_of(word), ())]
    return (alike[0],) if alike and _mean_the_same(lexicon, alike, names) else ()


@lru_cache(maxsize=16)
def _of_bones(lexicon: Lexicon, name: str) -> dict[str, tuple[str, ...]]:
    """The words of a language that mean something alone, by what is left without vowels."""
    found: dict[str, tuple[str, ...]] = {}
    for word in sorted(lexicon.singles[name]):
        found[bones_of(word)] = (*found.get(bones_of(word), ()), word)
    return found


def bones_of(word: str) -> str:
    """Return the first letter of a word and its consonants, doubled ones once."""
    bones = word[:1]
    for letter in word[1:].replace("ck", "k"):
        if letter not in _VOWELS and letter != bones[-1]:
            bones += letter
    return bones


@lru_cache(maxsize=1024)
def _beginning(lexicon: Lexicon, word: str, names: tuple[str, ...]) -> tuple[str, ...]:
    """The known words that go on from one cut short; none where too many do."""
    known = {w for n in names for w in _going_on_from(_sorted(lexicon, n), word)} - {word}
    return tuple(sorted(known)) if len(known) <= _MOST_ENDINGS else ()


@lru_cache(maxsize=16)
def _sorted(lexicon: Lexicon, name: str) -> list[str]:
    return sorted(lexicon.words[name])


def _going_on_from(words: list[str], start: str) -> Iterator[str]:
    """The words of a sorted list that begin so."""
    return takewhile(lambda w: w.startswith(start), islice(words, bisect_left(words, start), None))


@lru_cache(maxsize=1024)
def _going_on(lexicon: Lexicon, word: str, names: tuple[str, ...]) -> tuple[str, ...]:
    """The first known word that a long one may be cut short from, where all such mean the same."""
    longer = _beginning(lexicon, word, names) if len(word) >= _CUT_BARE else ()
    alone = [w for w in longer if any(w in lexicon.singles[n] for n in names)]
    return tuple(alone[:1]) if alone and _mean_the_same(lexicon, alone, names) else ()


def without_umlauts(lexicon: Lexicon, word: str) -> str | None:
    """Return a German word that is written with ``ae`` or ``ue`` as it is filed; None for others.

    Args:
        lexicon: All phrases.
        word: In lower case, without accents.
    """
    plain = word.replace("ae", "a").replace("oe", "o").replace("ue", "u")
    if plain == word or word in lexicon.known or not word.isalpha():
        return None
    is_known = plain in lexicon.words.get("de", ())
    return plain if is_known or _compound(lexicon, plain, ("de",)) else None


@lru_cache(maxsize=512)
def _of_length(lexicon: Lexicon, names: tuple[str, ...], length: int) -> tuple[str, ...]:
    """Known words that a word of a length can be near to."""
    slips = _slips(length)
    known = {w for n in names for w in lexicon.words[n] if abs(len(w) - length) <= slips}
    return tuple(sorted(known))


def _slips(length: int) -> int:
    return 2 if length >= 9 else 1


@lru_cache(maxsize=4096)
def _nearest(lexicon: Lexicon, word: str, names: tuple[str, ...]) -> str | None:
    """The only known word within one slip (two in long words); None when two are as near."""
    from rapidfuzz import process
    from rapidfuzz.distance import OSA

    slips = _slips(len(word))
    known = _of_length(lexicon, names, len(word))
    near = process.extract(word, known, scorer=OSA.distance, score_cutoff=slips, limit=3)
    equal = [found for found, slip, _ in near if slip == near[0][1]]
    if not near:
        return _inflected(lexicon, word, names)
    if len(equal) > 1 and not _mean_the_same(lexicon, equal, names):
        return None
    best: str = near[0][0]
    if len(word) == len(best) == _MIN_FUZZY and sorted(word) != sorted(best):
        return None  # another letter makes another word of so few
    if best[0] == word[0]:
        return best
    return best if near[0][1] == 1 and not _judges(lexicon, best, names) else None


def _judges(lexicon: Lexicon, word: str, names: tuple[str, ...]) -> bool:
    """``tangled`` is not ``mangled``, ``tricked`` not ``bricked``: words for what is wrong."""
    means = {m for n in names for m in lexicon.meaning(n, (word,)) or ()}
    return not _JUDGING.isdisjoint(means)


def _inflected(lexicon: Lexicon, word: str, names: tuple[str, ...]) -> str | None:
    """A known word of the report's language that has the same stem, where all such mean one."""
    stem = word[: len(word) - _ENDING]
    if names[0] in BASE or len(stem) < _STEM:
        return None
    alike = _of_stem(lexicon, names[0]).get(stem[:_STEM], ())
    near = [w for w in alike if w.startswith(stem) and len(w) <= len(word) + _ENDING]
    return near[0] if near and _mean_the_same(lexicon, near, names[:1]) else None


@lru_cache(maxsize=16)
def _of_stem(lexicon: Lexicon, name: str) -> dict[str, tuple[str, ...]]:
    """The words of a language that mean something alone, by how they begin."""
    found: dict[str, tuple[str, ...]] = {}
    for word in sorted(lexicon.singles[name]):
        found[word[:_STEM]] = (*found.get(word[:_STEM], ()), word)
    return found


def _mean_the_same(lexicon: Lexicon, words: list[str], names: tuple[str, ...]) -> bool:
    means = {lexicon.meaning(n, (w,)) for w in words for n in names}
    return len(means - {None}) == 1


def _compound(
    lexicon: Lexicon, word: str, names: tuple[str, ...]
) -> tuple[tuple[str, ...], ...] | None:
    """Meanings of the parts of a compound word; None when it does not part completely."""
    for name in names:
        parts = _parts(lexicon.singles[name], word)
        if parts:
            return tuple(m for p in parts if (m := lexicon.meaning(name, (p,))))
    return None


def _parts(known: set[str], word: str) -> tuple[str, ...] | None:
    """Cut a word into known words of four letters or more, with a joining s or n between."""
    best: list[tuple[str, ...] | None] = [None] * (len(word) + 1)
    best[0] = ()
    for start in range(len(word) - 3):
        before = best[start]
        if before is None:
            continue
        for end in range(start + 4, min(start + 24, len(word)) + 1):
            piece, so_far = word[start:end], best[end]
            if _is_piece(known, piece) and (so_far is None or len(before) + 1 < len(so_far)):
                best[end] = (*before, piece if piece in known else piece[:-1])
    found = best[len(word)]
    return found if found and len(found) > 1 else None


def _is_piece(known: set[str], piece: str) -> bool:
    if piece in known:
        return True
    return len(piece) > 4 and piece[-1] in "sn" and piece[:-1] in known
