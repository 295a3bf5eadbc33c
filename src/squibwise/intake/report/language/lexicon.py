"""Text folded to plain words, and the vocabulary filed by the words that its phrases begin with."""

import re
import unicodedata
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from pathlib import Path

import msgspec

from squibwise.catalog import vocabulary
from squibwise.catalog.load import DATA, Catalog
from squibwise.catalog.prepared import keep_prepared
from squibwise.catalog.small_words import SmallWords
from squibwise.catalog.vocabulary import LAYOUT, spell
from squibwise.intake.patterns import pattern

PATTERNS = (
    "flash",
    "example",
    "had",
    "holds",
    "kin",
    "label",
    "plain",
    "restraint",
    "supposed",
)  # looked for in the text of a line, before there are words
_SMALL_WORDS = frozenset({"plain", "holds", "supposed", "kin"})  # what sentences are made of
BASE = ("en", "ja-en")  # always read beside the report's own language
_TOKEN = pattern(r"[1-4](?:st|nd|rd|th)\b|b\+|[^\W\d_]+|\d+(?:v\b)?")
_JOINED_LETTERS = pattern(r"\b([a-z])[/.]([a-z])(?:[/.]([a-z]))?\b(?!\w)\.?")
_SHORT_PLUS = pattern(
    r"(circuit|schluss|short|corto|curto|zwarcie|sluiting|\bks|\bzw\.?|\bs[./]?c\.?\s?)\s?\+(?=\s*$|\s{2}|[,;.)|\t])"
)
_TO_PLUS = pattern(r"\b(au|do|to|a|nach|n|al|ao|cc|verso|zu|gegen|z|con|com)[./]?\s*\+(?!\s?\d)")
_CC_MINUS = pattern(r"\bcc\s?-(?=\s|$)")
_TWELVE = pattern(r"\b12 v(?:olts?)?\b")
_B_PLUS = pattern(r"\b(u?b|ubatt?|vbatt?)\s?\+|\+\s?(?:ub|b)\b|\+\s?(?=12 ?v\b)")
_ORDINAL = pattern(
    r"\b([1-4])(?:\.(?=\s?[a-z])(?![oa]\b)|°|\.?(?:st|nd|rd|th|er|re|ere|e|eme|o|a|os)\b)"
)
_ROW_SIDE = pattern(
    r"(?<![\w.,-])(?:([23])(l|r)h?|r([123])(l|r))\b(?![-./])"
)  # "2R retractor", "R2R retractor": the second row
_COMPARED = pattern(
    r"\b(?:r|re[sz]\w*|wid\w*|weerst\w*|opor\w*)\.?\s?([<>])\s?(?=[a-z])"
)  # "R > max"
_BRACKET_SIDE = pattern(r"\(\s?(l|r)\s?\)")
_FOLDED = {"ß": "ss", "ł": "l", "ø": "o", "æ": "ae", "’": "'", "´": "'", "`": "'"}
_FOLDS = str.maketrans(_FOLDED)
_ORDINAL_SIGNS = {"°": "o", "º": "o", "ª": "a"}
_LETTERS_OR_DIGITS = pattern(r"[^\W\d_]+|\d+")
_GAP = pattern(r"\.?\s+")
_POSSESSIVE = pattern(r"'s\b|s'(?=\s)|'")
_ELISION = pattern(r"\b(?:d|l|dell|all|dall|nell|qu|un)'(?=[a-z])")
_AREAS = frozenset({"area", "othermodule"})
_PATTERN_MEANING = pattern(rf"\t({'|'.join(PATTERNS)})(?:\n|\Z)")
_ODD_ROW = pattern(r"(?m)^([a-z ]*+[^\t\n][^\t\n]*)\t(.*)$")
_APART = pattern(r"[;:,()\[\]|\t=]|\s-\s| {3}")
_WITH = pattern(r"\bw/(o\b)?")
_AIR_BAG = pattern(r"\bair[ -]bag")
_SIDES = {"l": "left", "r": "right"}
_LEVELS = {">": "high", "<": "low"}
_BETWEEN = "\0"  # no word, no gap: no pattern reaches over it
_CUT_PLAIN = 3  # letters up to which an article or the like may be another word cut short
_INFLECTED = 5  # letters of a name from which on it may have another ending
_BEGINNING = 4  # letters of a name by which it is filed
_AREA_PREFIX = 5  # letters of the shortest part of the car that a compound is known by


class Token(msgspec.Struct, frozen=True, cache_hash=True):
    """One word, folded.

    Attributes:
        text: The word.
        apart: A comma, bracket, column or the like stands before it: no phrase reaches over that.
        is_cut: A full stop stands right behind it: it may be cut short.
    """

    text: str
    apart: bool = False
    is_cut: bool = False


class Opened(msgspec.Struct):
    """The phrases that begin with one word.

    Attributes:
        phrases: Meanings by phrase and language.
        layout: Meanings for the layout of a line by phrase, of all languages.
        reach: Words of the longest phrase that goes on with a word; empty for a phrase of one.
    """

    phrases: dict[tuple[str, ...], dict[str, tuple[str, ...]]] = msgspec.field(default_factory=dict)
    layout: dict[tuple[str, ...], tuple[str, ...]] = msgspec.field(default_factory=dict)
    reach: dict[str, int] = msgspec.field(default_factory=dict)

    def take(self, language: str, row: str) -> None:
        """Add a row of the vocabulary; the first of several equal phrases counts."""
        phrase, _, meanings = row.partition("\t")
        words, means = tuple(phrase.split()), tuple(meanings.split())
        second = words[1] if len(words) > 1 else ""
        self.reach[second] = max(self.reach.get(second, 0), len(words))
        if means[0] in LAYOUT:
            self.layout[words] = (*self.layout.get(words, ()), *means)
        else:
            self.phrases.setdefault(words, {}).setdefault(language, means)

    def longest(self, words: Sequence[str], at: int, end: int) -> int:
        """Return of how many words a phrase may be that begins at one of some, and ends by one."""
        second = words[at + 1] if at + 1 < end else ""
        return min(self.reach.get(second, 1), end - at)


_NOTHING = Opened()


class Filed(msgspec.Struct):
    """The vocabulary of all languages, taken apart as far as every text needs it.

    Attributes:
        rows: By language and first word: the rows of phrases that begin with it, a line each.
        words: Of each language, whatever they mean.
        singles: Words of each language that mean something alone.
        asking: Words that ask.
        denying: Words that deny.
        named: Phrases that are looked for in the text of a line, by what they mean.
        told: Small words by meaning and language.
        areas: Words for other parts of the car, by their first letters.
    """

    rows: dict[str, dict[str, str]] = msgspec.field(default_factory=dict)
    words: dict[str, set[str]] = msgspec.field(default_factory=dict)
    singles: dict[str, set[str]] = msgspec.field(default_factory=dict)
    asking: set[str] = msgspec.field(default_factory=set)
    denying: set[str] = msgspec.field(default_factory=set)
    named: dict[str, list[str]] = msgspec.field(default_factory=dict)
    told: dict[tuple[str, str], set[str]] = msgspec.field(default_factory=dict)
    areas: dict[str, set[str]] = msgspec.field(default_factory=dict)


def file_words(texts: Mapping[str, str]) -> Filed:
    """Return the vocabulary taken apart."""
    filed = Filed()
    for language, text in texts.items():
        _file(filed, language, _plain_rows(_take_patterns(filed, language, text)))
    return filed


def _take_patterns(filed: Filed, language: str, text: str) -> str:
    """Return the rows of a language without those that are looked for in the text of a line."""
    kept, end = [], 0
    for found in _PATTERN_MEANING.finditer(text):
        start = text.rfind("\n", 0, found.start()) + 1
        names = spell(text[start : found.start()])
        filed.named.setdefault(found[1], []).extend(names)
        if found[1] in _SMALL_WORDS:
            filed.told.setdefault((found[1], language), set()).update(map(_words_in, names))
        kept.append(text[end:start])
        end = found.end()
    return "".join((*kept, text[end:]))


def _file(filed: Filed, language: str, text: str) -> None:
    """File the rows of a language by their first words."""
    rows: defaultdict[str, list[str]] = defaultdict(list)
    alone: defaultdict[str, list[str]] = defaultdict(list)
    phrases = []
    for row in text.split("\n"):
        phrase, _, told = row.partition("\t")
        first, _, more = phrase.partition(" ")
        rows[first].append(row)
        phrases.append(phrase)
        if not more:
            alone[told].append(first)
    alone.pop("", None)  # of empty rows
    filed.rows[language] = {first: "\n".join(same) for first, same in rows.items()}
    words = set(" ".join(phrases).split())
    filed.words[language] = {w for w in words if not w.isdecimal()}
    _file_singles(filed, language, alone)


def _file_singles(filed: Filed, language: str, alone: dict[str, list[str]]) -> None:
    """File the words of a language that mean something alone, by their meanings."""
    singles = filed.singles[language] = set()
    for told, words in alone.items():
        meanings = told.split()
        if meanings[0] not in LAYOUT:
            singles.update(words)
        if meanings[0] == "not":
            filed.denying.update(words)
        elif meanings[0] == "asked":
            filed.asking.update(words)
        if not _AREAS.isdisjoint(meanings):
            for word in (w for w in words if len(w) >= _AREA_PREFIX):
                filed.areas.setdefault(word[:_AREA_PREFIX], set()).add(word)


class Lexicon:
    """All phrases ready for look-up. A class because rows are taken apart where a text has them.

    Args:
        filed: The vocabulary taken apart.
        small: Its small words.
    """

    def __init__(self, filed: Filed, small: SmallWords) -> None:
        self.small = small
        self.words, self.singles = filed.words, filed.singles
        self.asking, self.denying = filed.asking, filed.denying
        self._filed = filed
        self._kin: dict[tuple[str, ...], re.Pattern[str]] = {}
        self._heads: dict[str, dict[str, list[tuple[str, ...]]]] = {}
        self._beginnings: dict[str, tuple[str, ...]] = {}
        self._opened: dict[str, Opened] = {}
        self.known = set().union(*self.words.values())
        self.base = set().union(*(self.words.get(name, set()) for name in BASE))

    def open(self, first: str) -> Opened:
        """Return the phrases that begin with a word."""
        opened = self._opened.get(first)
        if opened is None:
            is_strange = first.isalpha() and first not in self.known
            each = () if is_strange or not first else self._filed.rows.items()
            found = [(name, rows[first]) for name, rows in each if first in rows]
            if not found:
                return _NOTHING  # not kept: texts bring new words without end
            opened = self._opened[first] = Opened()
            for language, told in found:
                for row in told.split("\n"):
                    opened.take(language, row)
        return opened

    def meaning(self, language: str, phrase: tuple[str, ...]) -> tuple[str, ...] | None:
        """Return what a phrase means in one language; None when it is none there."""
        return self.open(phrase[0]).phrases.get(phrase, {}).get(language)

    def phrases_of(self, language: str) -> Iterator[tuple[tuple[str, ...], tuple[str, ...]]]:
        """Yield the phrases of two words or more of a language with what they mean."""
        for rows in self._filed.rows[language].values():
            for row in rows.split("\n"):
                phrase, _, told = row.partition("\t")
                means = tuple(told.split())
                if " " in phrase and means[0] not in LAYOUT:
                    yield tuple(phrase.split()), means

    def is_of_area(self, word: str) -> bool:
        """Tell whether a compound begins with a part of the car that is none of the restraints."""
        is_one = len(word) > _AREA_PREFIX and any(
            word.startswith(a) for a in self._filed.areas.get(word[:_AREA_PREFIX], ())
        )
        return is_one and not self.is_state(word)  # "stored" is of no "store"

    def means_alone(self, word: str) -> bool:
        """Tell whether a word, folded, means something by itself in any language."""
        key, opened = (word,), self.open(word)
        told = opened.phrases.get(key, {}).values()
        return key in opened.layout or any(means != ("skip",) for means in told)

    def is_state(self, word: str) -> bool:
        """Tell whether a word alone is a status, a fault or none, in any language."""
        states = {"not", "good", "defect"}
        return any(m.startswith("status:") or m in states for m in self.first_meanings(word))

    def first_meanings(self, word: str) -> set[str]:
        """Return what a word alone means first, in all languages."""
        key = tuple(t.text for t in tokenise(word))
        found = self.open(key[0]).phrases.get(key, {}).values() if key else ()
        return {means[0] for means in found}

    def is_praise(self, word: str) -> bool:
        """Tell whether a word, folded, calls something good in any language."""
        found = self.open(word).phrases.get((word,), {}).values()
        return any("good" in means for means in found)

    def is_earlier(self, word: str) -> bool:
        """Tell whether a word alone says that something was so before, in any language."""
        key = tuple(t.text for t in tokenise(word))
        return bool(key) and "earlier" in self.open(key[0]).layout.get(key, ())

    def is_told(self, word: str, meaning: str, languages: Iterable[str]) -> bool:
        """Tell whether a word of one of some languages is ``plain``, or says that something holds.

        Args:
            word: Folded.
            meaning: ``plain`` for articles and their like, ``holds`` for verbs such as ``is``.
            languages: Their names.
        """
        return any(word in self._filed.told.get((meaning, name), ()) for name in languages)

    def may_be_cut(self, token: Token, languages: Iterable[str]) -> bool:
        """Tell whether a full stop behind a word may cut it short; behind ``code`` it ends all."""
        is_whole = len(token.text) > _CUT_PLAIN and self.is_told(token.text, "plain", languages)
        return token.is_cut and not is_whole

    def names_kin(self, text: str, languages: Iterable[str]) -> bool:
        """Tell whether a text names somebody else, such as a neighbour or one's old car."""
        key = tuple(languages)
        if key not in self._kin:
            names = (n for name in key for n in sorted(self._filed.told.get(("kin", name), ())))
            self._kin[key] = _word_pattern(tuple(names))
        return bool(self._kin[key].search(flat(text)))

    def may_name(self, meaning: str, text: str) -> bool:
        """Tell whether all words of a phrase of a layout meaning stand in a flat text.

        Where they do not, no pattern of these phrases needs to be compiled.
        """
        if meaning not in self._heads:
            heads: dict[str, list[tuple[str, ...]]] = {}
            for name in {
                tuple(_LETTERS_OR_DIGITS.findall(flat(n))) for n in self._filed.named[meaning]
            }:
                heads.setdefault(name[0][:_BEGINNING], []).append(tuple(f" {w}" for w in name))
            self._heads[meaning] = heads
        told, heads = _LETTERS_OR_DIGITS.findall(text), self._heads[meaning]
        words = f" {' '.join(told)}"
        begun = {word[:n] for word in told for n in range(1, _BEGINNING + 1)}
        return any(all(w in words for w in name) for b in begun for name in heads.get(b, ()))

    def has_name(self, meaning: str, text: str) -> bool:
        """Tell whether a flat text holds a phrase of a layout meaning, or a word begins with it."""
        if meaning not in self._beginnings:
            self._beginnings[meaning] = tuple({flat(n) for n in self._filed.named[meaning]})
        plain = _GAP.sub(" ", text)
        starts = (m.start() for m in _LETTERS_OR_DIGITS.finditer(plain))
        return any(plain.startswith(self._beginnings[meaning], at) for at in starts)

    def names_of(self, meaning: str) -> str:
        """Return the phrases of a layout meaning as one pattern for flat text, longest first."""
        names = sorted({flat(n) for n in self._filed.named.get(meaning, ())}, key=len, reverse=True)
        return "|".join(re.escape(n).replace(r"\ ", r"\.?\s+") for n in names)


@lru_cache(maxsize=16)
def _word_pattern(names: tuple[str, ...]) -> re.Pattern[str]:
    """A pattern for whole words; long ones may be inflected."""
    ends = (re.escape(n) + (r"\w{0,2}" if len(n) >= _INFLECTED else "") for n in names)
    return re.compile(rf"(?<![^\W_])(?:{'|'.join(ends)})(?![^\W_])")


@lru_cache(maxsize=4)
def lexicon_of(catalog: Catalog) -> Lexicon:
    """Return the lexicon of a catalogue, built once; the shipped one from what was kept of it."""
    texts = catalog.vocabulary.texts()
    if catalog.root != DATA:
        return Lexicon(file_words(texts), catalog.vocabulary.small)
    made_by = (Path(__file__), Path(vocabulary.__file__))
    filed = keep_prepared(Filed, lambda: file_words(texts), made_by, texts.values())
    return Lexicon(filed, catalog.vocabulary.small)


def _plain_rows(text: str) -> str:
    """Rows of the vocabulary with phrases folded to plain words, alternatives in rows of their own.

    They are folded all at once, and so are those in odd spellings, such as ``12 V``.
    """
    plain = text.casefold()
    for letter, other in (_FOLDED | _ORDINAL_SIGNS).items():
        plain = plain.replace(letter, other)
    plain = unicodedata.normalize("NFD", plain).encode("ascii", "ignore").decode()
    plain = plain.replace("air bag", "airbag")
    odd = list(_ODD_ROW.finditer(plain))
    told = words_of_each(s for row in odd for s in spell(row[1]))
    kept, end = [], 0
    for row in odd:
        # a row for each spelling; a mere sign makes none
        spelled = [f"{told[s]}\t{row[2]}" for s in spell(row[1]) if told[s]]
        kept += [plain[end : row.start()], "\n".join(spelled)]
        end = row.end()
    return "".join((*kept, plain[end:]))


def words_of_each(phrases: Iterable[str]) -> dict[str, str]:
    """Return the plain words of phrases; odd ones are folded all at once, a sign between them."""
    told = {p: p for p in phrases}
    odd = [p for p in told if not p.replace(" ", "").isalpha()]
    folded = fold(_BETWEEN.join(odd)).split(_BETWEEN)
    return told | {p: " ".join(_TOKEN.findall(f)) for p, f in zip(odd, folded, strict=False)}


def _words_in(phrase: str) -> str:
    if phrase.isascii() and phrase.isalpha():
        return phrase.lower()
    return " ".join(t.text for t in tokenise(phrase))


def flat(text: str) -> str:
    """Return text in lower case without accents, each character where it stood."""
    if text.isascii():
        return text.lower()
    return _flat_letters(text)


@lru_cache(maxsize=512)
def _flat_letters(text: str) -> str:
    return "".join(map(_flat_letter, text))  # asked of a line some thirty times


@lru_cache(maxsize=1024)
def _flat_letter(letter: str) -> str:
    plain = unicodedata.normalize("NFD", letter.lower())[:1].translate(_FOLDS)[:1]
    return plain or letter


def _joined_letters(match: re.Match[str]) -> str:
    if set(match.groups()) == {"l", "r", None}:
        return "left right "  # left and right, or left rear: the side stays open
    stop = "." if match[0].endswith(".") else ""  # "c.a." is no word such as "ca"
    return "".join(part for part in match.groups() if part) + f"{stop} "


def _ordinal(match: re.Match[str]) -> str:
    return {"1": "1st", "2": "2nd", "3": "3rd", "4": "4th"}[match.group(1)] + " "


_SPELLINGS: tuple[tuple[str, re.Pattern[str], str | Callable[[re.Match[str]], str]], ...] = (
    ("'", _ELISION, ""),
    ("'", _POSSESSIVE, ""),
    ("w/", _WITH, lambda m: "without " if m[1] else "with "),
    ("air", _AIR_BAG, "airbag"),
    ("&", pattern("&"), " and "),
    ("(", _BRACKET_SIDE, r" \1h "),
    ("", _ROW_SIDE, lambda m: f"row {m[1] or m[3]} {_SIDES[m[2] or m[4]]}"),
    ("", _COMPARED, lambda m: f"resistance {_LEVELS[m[1]]} "),
    ("+", _B_PLUS, " b+ "),
    ("", _JOINED_LETTERS, _joined_letters),
    ("+", _SHORT_PLUS, r"\1 b+ "),
    ("12 v", _TWELVE, "12v"),
    ("+", _TO_PLUS, r"\1 b+ "),
    ("-", _CC_MINUS, "cc gnd"),
    ("", _ORDINAL, _ordinal),
)  # a sign without which nothing is found, what is evened out, and how; in this order


def fold(text: str) -> str:
    """Return text in lower case without accents, with odd spellings of signs evened out."""
    plain = unicodedata.normalize("NFKC", text)[: 2 * len(text)]  # one sign can become eighteen
    text = plain.casefold().translate(_FOLDS)
    if not text.isascii():
        text = _without_accents(text)
    if text.replace(" ", "").isalpha():  # most pieces of a line
        return _AIR_BAG.sub("airbag", text) if "air" in text else text
    for sign, spelled, put in _SPELLINGS:
        if sign in text:
            text = spelled.sub(put, text)
    return text


@lru_cache(maxsize=2048)
def tokenise(text: str) -> tuple[Token, ...]:
    """Return the words of a line, folded; positions count in the folded text."""
    folded = fold(text)
    found: list[Token] = []
    end = 0
    for match in _TOKEN.finditer(folded):
        between = folded[end : match.start()]
        apart = bool(found) and between != " " and bool(_APART.search(between))
        found.append(Token(match.group(), apart, folded.startswith(".", match.end())))
        end = match.end()
    return tuple(found)


def _without_accents(text: str) -> str:
    return "".join(c for c in unicodedata.normalize("NFD", text) if not unicodedata.combining(c))
