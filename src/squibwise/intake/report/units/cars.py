"""Cars named by colour and body, ``blue hatch``: whose fault a line tells, and no unit of a car."""

from functools import lru_cache

from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.lexicon import Lexicon, flat
from squibwise.intake.report.sheet import Line
from squibwise.intake.report.units.line_units import name_unit

_LABEL = pattern(r"\s*(?P<car>[^\W\d_][^:|;\t]{1,30}?)(?:\s{2,}|\t|\s*[|;]\s*|\s?:\s+)(?=\S)")
_WORD = pattern(r"[^\W_]+(?:-[^\W\d_]+)?")
_ENDING = 3  # letters that a colour or a body may have behind its beginning
_SHORTEST = 3  # letters of the shortest colour that another may stand before
_MOST = 5  # words of a car's name
_SEVERAL = 2  # lines that begin with a body alone, which show that it names a car


def take_cars(lines: list[Line], lexicon: Lexicon) -> None:
    """Take the name of a car off lines that begin with one, and let it head no unit.

    A body alone, such as ``break``, names one only beside others, or where it stands twice.
    """
    labels = [(ln, _LABEL.match(ln.text)) for ln in lines if ln.role != "blank"]
    named = [(ln, m, _names_car(m["car"], lexicon)) for ln, m in labels if m is not None]
    told = [(m["car"], name) for _, m, name in named if name]
    bare = [text for text, name in told if name == "body"]
    is_alone = len(bare) >= _SEVERAL and all(name_unit(t, lexicon)[0] == "unknown" for t in bare)
    has_cars = is_alone or len(bare) < len(told)
    for line, match, name in named:
        if name == "car" or (name == "body" and has_cars):
            line.text, line.is_of_car = line.text[match.end("car") :].lstrip(" \t|;"), True
    for line in lines:
        if line.role != "blank" and _names_car(line.text.strip(" :=*-#\t"), lexicon) == "car":
            line.role = "meta"


def _names_car(text: str, lexicon: Lexicon) -> str:
    """What a text names: a ``car``, a ``body`` alone, or nothing of the kind."""
    words = _WORD.findall(flat(text))
    if not 0 < len(words) <= _MOST or not text[:1].isalpha():
        return ""
    small = lexicon.small
    if flat(text) in small.bodies:
        return "body"
    if not small.others.isdisjoint(words):
        return ""  # another car than the one that is read
    bodies = [w for w in words if begins(w, small.bodies)]
    colours = [w for w in words if colour_of(w, small.colours | small.shades)]
    beside = [w for w in words if begins(w, small.ages) or w[0].isdecimal()]
    if not bodies or set(words) - {*bodies, *colours, *beside}:
        return ""
    return "car" if colours or beside else "body"


def begins(word: str, stems: frozenset[str]) -> bool:
    """Tell whether a word is one of some beginnings with an ending, or both halves of one are."""
    first, _, last = word.partition("-")
    ends = range(min(_ENDING, len(first) - 1) + 1)
    is_one = any(first[: len(first) - n] in stems for n in ends)
    return is_one and (not last or word in stems or len(last) <= _ENDING or begins(last, stems))


@lru_cache(maxsize=2048)
def colour_of(word: str, colours: frozenset[str]) -> str:
    """The colour that a word names, with an ending or with another before it, as its beginning."""
    ends = range(min(_ENDING, len(word) - 1) + 1)
    own = next((w for n in ends if (w := word[: len(word) - n]) in colours), "")
    if own:
        return own
    heads = (word[:n] for n in range(_SHORTEST, len(word) - 2))
    is_two = any(head in colours and begins(word[len(head) :], colours) for head in heads)
    return word if is_two else ""
