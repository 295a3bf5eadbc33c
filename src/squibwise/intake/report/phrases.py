"""Words of a line to what they mean: tokens, longest phrases, compounds, misspellings."""

import re
import unicodedata
from functools import lru_cache

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.vocabulary import LAYOUT, Term

PATTERNS = (
    "flash",
    "label",
    "restraint",
    "supposed",
)  # looked for in the text of a line, before there are words
BASE = ("en", "ja-en")  # always read beside the report's own language
MAX_PHRASE = 7
_TOKEN = re.compile(r"[1-4](?:st|nd|rd|th)\b|b\+|[^\W\d_]+|\d+(?:v\b)?")
_JOINED_LETTERS = re.compile(r"\b([a-z])[/.]([a-z])(?:[/.]([a-z]))?\b(?!\w)\.?")
_TO_PLUS = re.compile(r"\b(au|do|to|a|nach|n|al|ao|cc|verso|zu|gegen|z|con|com)[./]?\s?\+(?!\s?\d)")
_CC_MINUS = re.compile(r"\bcc\s?-(?=\s|$)")
_TWELVE = re.compile(r"\b12 v(?:olts?)?\b")
_B_PLUS = re.compile(r"\b(u?b|ubatt?|vbatt?)\s?\+|\+\s?(?:ub|b)\b|\+\s?(?=12 ?v\b)")
_ORDINAL = re.compile(
    r"\b([1-4])(?:\.(?=\s?[a-z])(?![oa]\b)|°|\.?(?:st|nd|rd|th|er|re|ere|e|eme|o|a|os)\b)"
)
_BRACKET_SIDE = re.compile(r"\(\s?(l|r)\s?\)")
_FOLDS = str.maketrans({"ß": "ss", "ł": "l", "ø": "o", "æ": "ae", "’": "'", "´": "'", "`": "'"})
_POSSESSIVE = re.compile(r"'s\b|s'(?=\s)|'")
_ELISION = re.compile(r"\b(?:d|l|dell|all|dall|nell|qu|un)'(?=[a-z])")
_APART = re.compile(r"[;:,()\[\]|\t]|\s-\s| {3}")
_AIR_BAG = re.compile(r"\bair[ -]bag")
_AREAS = frozenset({"area", "othermodule"})
_AREA_PREFIX = 5  # letters of the shortest part of the car that a compound is known by
_WHOLE = 4  # abbreviations that one word outweighs
_SHORT = 2  # letters of abbreviations that many languages share
_STEM, _ENDING = 5, 3  # letters of a stem and of an ending that it may have
_NEVER_GUESSED = frozenset({"wondered", "mine", "elsewhere"})  # they set a whole line aside
_MIN_FUZZY, _MAX_FUZZY = 5, 60  # letters of a word that may be misspelt or compound


class Token(msgspec.Struct, frozen=True):
    """One word, folded.

    Attributes:
        text: The word.
        apart: A comma, bracket, column or the like stands before it: no phrase reaches over that.
    """

    text: str
    apart: bool = False


class Hit(msgspec.Struct, frozen=True):
    """A phrase found: its meanings and the tokens ``first`` up to but without ``last``."""

    means: tuple[str, ...]
    first: int
    last: int
    language: str
    guessed: bool = False


class Lexicon:
    """All phrases ready for look-up. A class because it is built once for a catalogue.

    Args:
        terms: The vocabulary's terms.
    """

    def __init__(self, terms: tuple[Term, ...]) -> None:
        self.phrases: dict[str, dict[tuple[str, ...], tuple[str, ...]]] = {}
        self.layout: dict[tuple[str, ...], tuple[str, ...]] = {}
        self.words: dict[str, set[str]] = {}
        self.longest: dict[str, int] = {}
        self.longest_layout: dict[str, int] = {}
        self.named: dict[str, list[str]] = {}
        self.areas: dict[str, set[str]] = {}
        self.asking: set[str] = set()
        self.denying: set[str] = set()
        for term in terms:
            self._add(term)
        for name, words in self.words.items():
            self.words[name] = {w for w in words if not w.isdecimal()}
        self.known = set().union(*self.words.values())
        self.base = set().union(*(self.words.get(name, set()) for name in BASE))

    def _add(self, term: Term) -> None:
        phrases = self.phrases.setdefault(term.language, {})
        words = self.words.setdefault(term.language, set())
        if term.means[0] in PATTERNS:
            self.named.setdefault(term.means[0], []).extend(term.spellings())
            return
        if term.means[0] == "asked":
            self.asking.update(fold(s) for s in term.spellings())
        if term.means[0] == "not":
            self.denying.update(fold(s) for s in term.spellings() if " " not in s)
        for spelling in term.spellings():
            tokens = _tokens_of(spelling)
            long = len(tokens) == 1 and len(tokens[0]) >= _AREA_PREFIX
            if long and not _AREAS.isdisjoint(term.means):
                self.areas.setdefault(tokens[0][:_AREA_PREFIX], set()).add(tokens[0])
            if term.means[0] in LAYOUT:
                self.layout[tokens] = (*self.layout.get(tokens, ()), *term.means)
                _reach(self.longest_layout, tokens)
            else:
                phrases.setdefault(tokens, term.means)
                _reach(self.longest, tokens)
            words.update(tokens)

    def is_of_area(self, word: str) -> bool:
        """Tell whether a compound begins with a part of the car that is none of the restraints."""
        return len(word) > _AREA_PREFIX and any(
            word.startswith(a) for a in self.areas.get(word[:_AREA_PREFIX], ())
        )

    def means_alone(self, word: str) -> bool:
        """Tell whether a word, folded, means something by itself in any language."""
        key = (word,)
        told = (phrases.get(key, ("skip",)) for phrases in self.phrases.values())
        return key in self.layout or any(means != ("skip",) for means in told)

    def is_state(self, word: str) -> bool:
        """Tell whether a word alone is a status, a fault or none, in any language."""
        key = _tokens_of(word)
        found = (phrases.get(key, ()) for phrases in self.phrases.values())
        states = {"not", "good", "defect"}
        return any(m and (m[0].startswith("status:") or m[0] in states) for m in found)

    def names_of(self, meaning: str) -> str:
        """Return the phrases of a layout meaning as one pattern for flat text, longest first."""
        names = sorted({flat(n) for n in self.named.get(meaning, ())}, key=len, reverse=True)
        return "|".join(re.escape(n).replace(r"\ ", r"\s+") for n in names)


def _reach(longest: dict[str, int], tokens: tuple[str, ...]) -> None:
    if len(tokens) > longest.get(tokens[0], 0):
        longest[tokens[0]] = len(tokens)


def flat(text: str) -> str:
    """Return text in lower case without accents, each character where it stood."""
    if text.isascii():
        return text.lower()
    return "".join(map(_flat_letter, text))


@lru_cache(maxsize=1024)
def _folded_letter(letter: str) -> str:
    return _without_accents(letter.casefold().translate(_FOLDS))


@lru_cache(maxsize=1024)
def _flat_letter(letter: str) -> str:
    plain = unicodedata.normalize("NFD", letter.lower())[:1].translate(_FOLDS)[:1]
    return plain or letter


@lru_cache(maxsize=4)
def lexicon_of(catalog: Catalog) -> Lexicon:
    """Return the lexicon of a catalogue, built once."""
    return Lexicon(catalog.vocabulary.terms)


def fold(text: str) -> str:
    """Return text in lower case without accents, with odd spellings of signs evened out."""
    plain = unicodedata.normalize("NFKC", text)[: 2 * len(text)]  # one sign can become eighteen
    text = plain.casefold().translate(_FOLDS)
    if not text.isascii():
        text = _without_accents(text)
    text = _POSSESSIVE.sub("", _ELISION.sub("", text))
    text = _AIR_BAG.sub("airbag", text).replace("&", " and ")
    text = _BRACKET_SIDE.sub(r" \1h ", text)
    text = _B_PLUS.sub(" b+ ", text)
    text = _JOINED_LETTERS.sub(_joined_letters, text)
    text = _CC_MINUS.sub("cc gnd", _TO_PLUS.sub(r"\1 b+ ", _TWELVE.sub("12v", text)))
    return _ORDINAL.sub(_ordinal, text)


def tokenise(text: str) -> tuple[Token, ...]:
    """Return the words of a line, folded; positions count in the folded text."""
    folded = fold(text)
    found: list[Token] = []
    end = 0
    for match in _TOKEN.finditer(folded):
        between = folded[end : match.start()]
        found.append(Token(match.group(), bool(found) and bool(_APART.search(between))))
        end = match.end()
    return tuple(found)


def _tokens_of(phrase: str) -> tuple[str, ...]:
    """The words of a phrase; most need no folding, which saves start-up time."""
    if phrase.replace(" ", "").isalpha() and "air bag" not in phrase:
        if phrase.isascii():
            return tuple(phrase.lower().split())
        return tuple("".join(map(_folded_letter, phrase)).split())
    return tuple(t.text for t in tokenise(phrase))


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


def find_hits(lexicon: Lexicon, tokens: tuple[Token, ...], language: str | None) -> tuple[Hit, ...]:
    """Return the phrases of a line: as many words covered as can be, by as few phrases.

    Where two ways are as good, the longer phrase comes first.
    """
    words = [t.text for t in tokens]
    ends = _ends(tokens)
    names = [n for n in (language, *BASE) if n and n in lexicon.phrases]
    choice: list[Hit | None] = [None] * len(words)
    cost: list[tuple[int, int]] = [(0, 0)] * (len(words) + 1)
    for at in range(len(words) - 1, -1, -1):
        bare, phrases = cost[at + 1]
        cost[at] = (bare + 1, phrases)
        for hit in _phrases_at(lexicon, words[: ends[at]], at, names):
            reached = (cost[hit.last][0], cost[hit.last][1] + 1)
            if reached < cost[at]:
                choice[at], cost[at] = hit, reached
    return _chosen(choice)


def _chosen(choice: list[Hit | None]) -> tuple[Hit, ...]:
    found = []
    at = 0
    while at < len(choice):
        hit = choice[at]
        if hit is not None:
            found.append(hit)
        at = hit.last if hit is not None else at + 1
    return tuple(found)


def _phrases_at(lexicon: Lexicon, words: list[str], at: int, names: list[str]) -> tuple[Hit, ...]:
    """Every phrase that begins at a word, the longest first."""
    return _known_at(lexicon, words, at, names) or _split_or_guess(lexicon, words, at, names)


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
    reach = lexicon.longest_layout.get(words[at], 0) if at < len(words) else 0
    for length in range(min(reach, MAX_PHRASE, len(words) - at), 0, -1):
        means = lexicon.layout.get(words[at : at + length])
        if means:
            return means, length
    return (), 0


def _known_at(lexicon: Lexicon, words: list[str], at: int, names: list[str]) -> tuple[Hit, ...]:
    found = []
    reach = min(lexicon.longest.get(words[at], 0), len(words) - at)
    for length in range(reach, 0, -1):
        key = tuple(words[at : at + length])
        name = next((n for n in names if key in lexicon.phrases[n]), None)
        is_letter = length > 1 and len(key[0]) == 1 and key[:1] in lexicon.phrases[names[0]]
        if is_letter and name in BASE and names[0] not in BASE:
            continue  # a letter of the report's own language, such as D for droit
        if name is not None:
            found.append(Hit(lexicon.phrases[name][key], at, at + length, name))
    return tuple(found)


def _split_or_guess(
    lexicon: Lexicon, words: list[str], at: int, names: list[str]
) -> tuple[Hit, ...]:
    word = words[at]
    if word in lexicon.known or not word.isalpha() or not _MIN_FUZZY <= len(word) <= _MAX_FUZZY:
        return ()
    pieces = _compound(lexicon, word, names)
    if pieces:
        means = tuple(m for piece in pieces for m in piece)
        return (Hit(means, at, at + 1, names[0]),)
    return _guess(lexicon, words, at, names)


def _guess(lexicon: Lexicon, words: list[str], at: int, names: list[str]) -> tuple[Hit, ...]:
    """Read a misspelt word as the one known word it is near to, and look the phrase up again."""
    meant = _nearest(lexicon, words[at], tuple(names))
    if meant is None:
        return ()
    repaired = [*words[:at], meant, *words[at + 1 :]]
    hits = [h for h in _known_at(lexicon, repaired, at, names) if not _NEVER_GUESSED & {*h.means}]
    return tuple(msgspec.structs.replace(h, guessed=True) for h in hits)


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
    return best if best[0] == word[0] or near[0][1] == 1 else None


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
    for phrase in sorted(p for p in lexicon.phrases[name] if len(p) == 1):
        found[phrase[0][:_STEM]] = (*found.get(phrase[0][:_STEM], ()), phrase[0])
    return found


def _mean_the_same(lexicon: Lexicon, words: list[str], names: tuple[str, ...]) -> bool:
    means = {lexicon.phrases[n].get((w,)) for w in words for n in names if n in lexicon.phrases}
    return len(means - {None}) == 1


def _compound(lexicon: Lexicon, word: str, names: list[str]) -> tuple[tuple[str, ...], ...] | None:
    """Meanings of the parts of a compound word; None when it does not part completely."""
    for name in names:
        parts = _parts(lexicon.phrases[name], word)
        if parts:
            return tuple(lexicon.phrases[name][(p,)] for p in parts)
    return None


def _parts(phrases: dict[tuple[str, ...], tuple[str, ...]], word: str) -> tuple[str, ...] | None:
    """Cut a word into known words of four letters or more, with a joining s or n between."""
    best: list[tuple[str, ...] | None] = [None] * (len(word) + 1)
    best[0] = ()
    for start in range(len(word) - 3):
        before = best[start]
        if before is None:
            continue
        for end in range(start + 4, min(start + 24, len(word)) + 1):
            piece, known = word[start:end], best[end]
            if _is_piece(phrases, piece) and (known is None or len(before) + 1 < len(known)):
                best[end] = (*before, piece if (piece,) in phrases else piece[:-1])
    found = best[len(word)]
    return found if found and len(found) > 1 else None


def _is_piece(phrases: dict[tuple[str, ...], tuple[str, ...]], piece: str) -> bool:
    if (piece,) in phrases:
        return True
    return len(piece) > 4 and piece[-1] in "sn" and (piece[:-1],) in phrases


def _joined_letters(match: re.Match[str]) -> str:
    if set(match.groups()) == {"l", "r", None}:
        return "left right "  # left and right, or left rear: the side stays open
    return "".join(part for part in match.groups() if part) + " "


def _ordinal(match: re.Match[str]) -> str:
    return {"1": "1st", "2": "2nd", "3": "3rd", "4": "4th"}[match.group(1)] + " "


def _without_accents(text: str) -> str:
    return "".join(c for c in unicodedata.normalize("NFD", text) if not unicodedata.combining(c))
