"""What the owner tells in sentences, in four languages, and how a card is read moving for it."""

import re
from collections.abc import Iterator
from functools import cache, lru_cache
from itertools import product, takewhile
from typing import get_args

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.catalog.loops import LoopRepair, LoopTest
from squibwise.catalog.story_words import DEVICE, Sign, StoryWord, plain
from squibwise.catalog.texts import MovedSteps
from squibwise.isolate.context import Context, Told
from squibwise.model.evidence import Story
from squibwise.model.names import split_loop
from squibwise.model.report import Report
from squibwise.model.words import Comes

_DENIAL, _WHEN, _HEARSAY = "denial", "clause-when", "hearsay"  # words of the catalogue
_SENTENCE = re.compile(r"(?<=[.;!?])\s+|\n+|(?<=\w):\s+(?=[A-Z])| - ")
_DENIED_BEFORE, _CLAUSE = 3, 7


_BUT_NOT, _ANSWER_NO, _SEAT_PART = "but-not", "answer-no", "seat-part"  # words of the catalogue
_NOT_COMING, _CLAUSE_WORD, _NO_LAST = "no-coming", "clause", "no-last"  # of the catalogue
_COMES = {*get_args(Comes), "column-moved", "backrest-moved", "consumers-on", "wind"}
_PLACES = ("driver", "passenger")
_NEAR_BEHIND = 5


def told_of(context: Context, catalog: Catalog) -> tuple[Told, ...]:
    """Return the signs that the owner's story and the prose of the case tell of a circuit."""
    if context.told is not None:
        return context.told
    found: dict[str, Told] = {}
    for evidence, text in _prose(context, catalog):
        late = evidence in context.reported.evidence[1:]
        for sentence in _sentences(text, catalog):
            for sign, at in _read(sentence, context, catalog):
                if late and sign.touches:
                    continue  # what was handled since is no cause of what was read before
                found.setdefault(sign.id, Told(sign=sign, evidence=evidence, at=at))
    for story in context.case.evidence:
        if isinstance(story, Story) and _speaks_of(story, context):
            for word in (*story.comes, *story.known):
                sign = catalog.loops.signs[word]
                found[word] = Told(sign=sign, evidence=story.id, at=sign.at)
    return tuple(found.values())


_LAST_WORDS = 5


def _sentences(text: str, catalog: Catalog) -> list[str]:
    """Return the sentences of a text; one that only says to what effect goes with the one before.

    ``New plug under the seat. No change.``
    """
    effects = (catalog.loops.words["no-effect"], catalog.loops.words["effect"])
    answered_no = _pattern(catalog.loops.words[_ANSWER_NO])
    found: list[str] = []
    for sentence in _SENTENCE.split(text):
        short = found and len(sentence.split()) <= _LAST_WORDS
        if short and any(_pattern(e).search(plain(sentence)) for e in effects):
            found[-1] = f"{found[-1].rstrip('. ')}, {sentence}"
        if found and found[-1].endswith("?") and answered_no.match(plain(sentence)):
            found.pop()  # asked, and answered no
            continue
        found.append(sentence)
    return found


def movements_of(context: Context, catalog: Catalog) -> tuple[str, ...]:
    """Return the signs told of a circuit that its fault comes with a movement of seat or wheel."""
    return tuple(t.sign.id for t in told_of(context, catalog) if t.sign.id in catalog.loops.moved)


def _speaks_of(story: Story, context: Context) -> bool:
    return story.loop is None or split_loop(story.loop) == split_loop(context.loop)


def _prose(context: Context, catalog: Catalog) -> Iterator[tuple[str, str]]:
    """Yield what is told in sentences: the title, stories, and what a report says beside codes."""
    yield "", context.case.title
    when = _clause_from(catalog.loops.words[_WHEN])
    for item in context.case.evidence:
        if isinstance(item, Story) and _speaks_of(item, context):
            yield item.id, item.text
        elif isinstance(item, Report) and _may_tell(item, context):
            for line in item.reading.unread:
                yield item.id, line.raw
            for code in item.reading.lines:
                if code.component == context.name.id and (told := when.search(code.raw)):
                    yield item.id, told.group()


@cache
def _clause_from(word: StoryWord) -> re.Pattern[str]:
    """``only when the seat is moved``: a word, and what follows it in its clause."""
    return re.compile(rf"(?i){word.pattern().pattern}[^,;\n]*")


def _may_tell(report: Report, context: Context) -> bool:
    """Return whether the prose of a report may speak of the circuit: it names it, or none does."""
    return report.id in context.reported.evidence or not context.reported.is_told


def _read(sentence: str, context: Context, catalog: Catalog) -> Iterator[tuple[Sign, str]]:
    """Yield the signs that one sentence tells plainly, each with the element it is told of."""
    text = plain(sentence)
    found = _Found(text=text, context=context, catalog=catalog)
    if not text or _of_another(found, context) or found.spans(_HEARSAY):
        return  # what somebody advises, or did on another car
    for sign in catalog.loops.signs.values():
        if any(found.spans(w) for w in sign.unless):
            continue
        told = [found.near(rule.split(), sign.reach) for rule in sign.tells]
        likely = (p for p in sign.phrases if any(a in text for a in letters_of(p)))
        told += [m.span() for p in likely if (m := re.search(p, text))]
        if any(at and _is_meant(sign, at, found) for at in told):
            named = _connector_named(found, context) if sign.placed else ""
            yield sign, named or sign.at


def _is_meant(sign: Sign, at: tuple[int, int], found: "_Found") -> bool:
    """Return whether a sign stands in a sentence as a claim, and not denied."""
    if sign.id in _COMES and (found.shares_clause(_NOT_COMING, at) or found.ends_in_a_no(at)):
        return False
    return sign.negative or not _is_denied(found.text, at, found.catalog)


_CONNECTORS = {
    "coil-device": "column-plug",
    "seat": "seat-plug",
    "door": "jamb-plug",
    "unit": "unit-plug",
    "console": "unit-plug",
}


def _connector_named(found: "_Found", context: Context) -> str:
    """Return the connector of the circuit that a sentence names; empty when it names none."""
    elements = {e.id for e in context.chain.element}
    named = [p for word, p in _CONNECTORS.items() if p in elements and found.spans(word)]
    return named[0] if len(named) == 1 else ""


class _Found:
    """Where the words of the catalogue stand in one sentence. A class because each is found once.

    Args:
        text: The sentence, plain.
        context: What the case knows of the circuit, for the words of its device.
        catalog: The words.
    """

    def __init__(self, text: str, context: Context, catalog: Catalog) -> None:
        self.text, self.words, self.catalog = text, catalog.loops.words, catalog
        self.device = [w.id for w in self.words.values() if context.name.kind in w.kinds]
        self.known: dict[str, list[tuple[int, int]]] = {}

    def spans(self, word: str) -> list[tuple[int, int]]:
        """Return where a word, or the circuit's device, is named."""
        if word == DEVICE:
            return [at for each in self.device for at in self.spans(each)]
        if word not in self.known:
            known = self.words[word]
            told = tuple(w for w, piece in _pieces(known) if piece in self.text)
            found = _pattern_of(known, told).finditer(self.text) if told else ()
            self.known[word] = [m.span() for m in found]
        return self.known[word]

    def near(self, words: list[str], reach: int) -> tuple[int, int] | None:
        """Return the shortest piece of the sentence that names all of the words, if close."""
        found = list(takewhile(bool, map(self.spans, words)))
        if len(found) < len(words):
            return None  # one is not named: the others are not looked for
        pieces = ((min(a for a, _ in at), max(b for _, b in at)) for at in product(*found))
        close = (p for p in pieces if self._is_close(p, reach))
        return min(close, key=lambda p: p[1] - p[0], default=None)

    def shares_clause(self, word: str, at: tuple[int, int]) -> bool:
        """Return whether a word stands in the clause of a piece: ``but`` begins another one."""
        cuts = self.spans(_CLAUSE_WORD)
        start = max((b for _, b in cuts if b <= at[0]), default=0)
        end = min((a for a, _ in cuts if a >= at[1]), default=len(self.text))
        return any(start <= a and b <= end for a, b in self.spans(word))

    def ends_in_a_no(self, at: tuple[int, int]) -> bool:
        """``Die Lampe kommt beim Lenken nicht.``: the denial is the last word behind a piece."""
        end = len(self.text.rstrip(" .!"))
        last = (a for a, b in self.spans(_NO_LAST) if b == end and a >= at[1])
        return any("," not in self.text[at[1] : a] for a in last)

    def _is_close(self, piece: tuple[int, int], reach: int) -> bool:
        """Return whether words stand within reach; a near one reaches into no other clause."""
        clause = reach > _CLAUSE or "," not in self.text[slice(*piece)]
        return clause and self.text.count(" ", *piece) <= reach


@cache
def _pattern(word: StoryWord) -> re.Pattern[str]:
    return word.pattern()


@cache
def _pieces(word: StoryWord) -> tuple[tuple[str, str], ...]:
    """Return each writing of a word with letters that stand in every text that names it so."""
    writings = f"{word.en} {word.de} {word.fr} {word.es}".split()
    return tuple((text, max(text.replace("*", "_").split("_"), key=len)) for text in writings)


@lru_cache(maxsize=1024)
def _pattern_of(word: StoryWord, writings: tuple[str, ...]) -> re.Pattern[str]:
    """Return what finds some writings of a word: those that a text may hold are few."""
    return msgspec.structs.replace(word, en=" ".join(writings), de="", fr="", es="").pattern()


_CLASS, _GROUP = re.compile(r"\[[^\]]*\]|\\."), re.compile(r"\([^()]*\)")
_CHOICE = re.compile(r"\((?!\?)([^()]*)\)(?![?*{])")
_RUN = re.compile(r"[a-z' -]{3,}(?![?*{])")


@cache
def letters_of(phrase: str) -> tuple[str, ...]:
    """Return letters some of which stand in every text a phrase fits: most are never compiled.

    The longest run outside its groups, else one of each alternative of a group. Where neither is
    plain, no letters at all, which stand in every text.
    """
    bare, found = _CLASS.sub("\0", phrase), 1
    outside = bare
    while found:
        outside, found = _GROUP.subn("\0", outside)
    if "|" in outside:
        return ("",)
    longest = max(_RUN.findall(outside), key=len, default="")
    for group in () if longest else _CHOICE.finditer(bare):
        is_within = bare.count("(", 0, group.start()) > bare.count(")", 0, group.start())
        each = [max(_RUN.findall(one), key=len, default="") for one in group[1].split("|")]
        if all(each) and not is_within:
            return tuple(each)
    return (longest,)


def _of_another(found: "_Found", context: Context) -> bool:
    """Return whether a sentence names a seat other than the circuit's own, and not its own."""
    own = context.name.place
    if own not in _PLACES:
        return False
    others = [place for place in _PLACES if place != own]
    return any(_names_seat(place, found) for place in others) and not _names_seat(own, found)


def _names_seat(place: str, found: "_Found") -> bool:
    """Return whether a sentence names a person's seat, or what belongs to it."""
    if found.spans(f"seat-of-{place}"):
        return True
    pairs = product(found.spans(f"place-{place}"), found.spans(_SEAT_PART))
    gaps = (found.text[min(one[1], other[1]) : max(one[0], other[0])] for one, other in pairs)
    return any(len(gap.split()) <= 1 and "," not in gap for gap in gaps)


def _is_denied(text: str, at: tuple[int, int], catalog: Catalog) -> bool:
    """Return whether what a piece of a sentence tells is denied in it or just before it."""
    behind = " ".join(text[at[1] :].split()[: _NEAR_BEHIND + 2])
    if _pattern(catalog.loops.words[_BUT_NOT]).search(behind):
        return True
    before = text[: at[0]].rpartition(",")[2].split()[-_DENIED_BEFORE:]
    denial = _pattern(catalog.loops.words[_DENIAL])
    return denial.search(f"{' '.join(before)} {text[at[0] : at[1]]}") is not None


def read_moving(test: LoopTest, moved: tuple[str, ...], catalog: Catalog) -> LoopTest:
    """Return a test that reads as it is done where the fault came with a movement.

    With loads in, it is read while seat or wheel moves; else they are set, the power off, to where
    the fault came.
    """
    book = [catalog.loops.moved[m] for m in moved]
    if not book or test.moves or not reads_the_circuit(test):
        return test
    minutes = test.minutes + len(book) * catalog.fact("isolation.moving").number()
    if test.power == "on":
        how = (*test.how, *(f"[off] Power off, full wait: {m.set}" for m in book), _ON_AGAIN)
        minutes += catalog.fact("isolation.power-up").number()
        return msgspec.structs.replace(test, how=how, minutes=minutes)
    first, *rest = test.how
    off = next((n for n, text in enumerate(rest) if text.startswith("[off]")), len(rest))
    first = " ".join([first, *(m.loads for m in book)])
    after = _set_back(book, rest[off:]) if test.rule == "split" else (f"[off] {book[-1].back}",)
    return msgspec.structs.replace(
        test,
        how=(first, *rest[:off], *(m.move for m in book), *after),
        minutes=minutes,
        cautions=(*test.cautions, "movement", "loads-out"),
    )


def _set_back(book: list[MovedSteps], ending: list[str]) -> tuple[str, ...]:
    """Return the end of a substitution: every load out, and what moved set to where it came."""
    back = book[-1].back
    sets = "; ".join(m.set.rstrip(".") for m in book)
    out = f"[off] If the fault is gone: {back[0].lower()}{back[1:]} Then {sets}."
    return (out, *ending[1:])


_AT_THE_UNIT = ("unit", "supply")


def reads_the_circuit(test: LoopTest) -> bool:
    """Return whether a test reads, with the power on, what seat or wheel may change."""
    powered = test.power in ("on", "through")
    return powered and not test.steady and test.at not in _AT_THE_UNIT


_ON_AGAIN = "[on] Power on behind the same gate and read once more."


def check_moving(repair: LoopRepair, moved: tuple[str, ...], catalog: Catalog) -> LoopRepair:
    """Return a repair that is verified with the movement that brought the fault, loads in."""
    book = [catalog.loops.moved[m] for m in moved]
    if not book or repair.power == "on":
        return repair
    up, moving = (catalog.fact(f"isolation.{i}").number() for i in ("power-up", "moving"))
    loads = (f"[off] {m.loads}" for m in book)
    moves = (f"[on] {m.move}" for m in book)
    back, how = f"[off] {book[-1].back}", enumerate(repair.how)
    late = next((n for n, text in how if text.startswith("[on]")), len(repair.how))
    return msgspec.structs.replace(
        repair,
        how=(*repair.how[:late], *loads, *moves, back, _ON_AGAIN, *repair.how[late:]),
        check_minutes=repair.check_minutes + len(book) * moving + up,
        cautions=(*repair.cautions, "movement", "loads-out"),
    )
