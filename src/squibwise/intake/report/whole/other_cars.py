"""Cars of another colour than the one that is read, by which people tell them apart."""

from itertools import pairwise

from squibwise.intake.report.clauses.own_places import keep_only
from squibwise.intake.report.clauses.plain_clauses import clause_end
from squibwise.intake.report.language.joints import spans_of
from squibwise.intake.report.language.lexicon import BASE, Lexicon, tokenise
from squibwise.intake.report.line_words import language_of
from squibwise.intake.report.sheet import Line
from squibwise.intake.report.units.cars import begins, colour_of
from squibwise.intake.report.whole.leads import ANOTHER, set_aside
from squibwise.model.report import UNSURE

_SEVERAL = 2  # cars in one line
_REACH = 6  # words between the colour of a car and the verb that belongs to it


def part_cars(line: Line, lexicon: Lexicon, usual: str | None) -> list[Line]:
    """Return a line as what it tells of each car: ``the blue one has B1001, the red one B1002``."""
    if line.cells or all(not colour_of(t.text, lexicon.small.colours) for t in line.tokens):
        return [line]
    language = language_of(line, lexicon, usual)
    clauses = spans_of(line.text, clause_end(lexicon, language))
    begins = [start for start, end in clauses if _named(line.text[start:end], lexicon, language)]
    if len(begins) < _SEVERAL:
        return [line]
    ends = [0, *begins[1:], len(line.text)]
    return [keep_only(line, [span]) for span in pairwise(ends)]


def follow_cars(lines: list[Line], lexicon: Lexicon, usual: str | None) -> None:
    """Set aside what is told of a car of another colour than the one that is read.

    ``the red one has B1001``: is this one not named by a colour, it is asked about.
    """
    own = _own_colour(lines, lexicon)
    for line in lines:
        if line.why or not (line.codes or line.role == "words"):
            continue
        head = line.text[: line.codes[0].start] if line.codes else line.text
        named = _named(head, lexicon, language_of(line, lexicon, usual))
        if named and named != own:
            set_aside(line, ANOTHER if own else UNSURE)


def _own_colour(lines: list[Line], lexicon: Lexicon) -> str:
    """The colour of the car that is named before the first code; empty where none is."""
    small = lexicon.small
    for line in lines:
        head = line.text[: line.codes[0].start] if line.codes else line.text
        words = [t.text for t in tokenise(head)]
        is_other = "mine" in line.words.voices or not small.others.isdisjoint(words)
        for one, two in () if is_other else pairwise(words):
            for colour, body in ((one, two), (two, one)):
                found = colour_of(colour, small.colours)
                if found and begins(body, small.bodies | small.vehicles):
                    return found
        if line.codes:
            break
    return ""


def _named(text: str, lexicon: Lexicon, language: str | None) -> str:
    """The colour that a text names a car by: ``the red one had``, ``nella verde``; or nothing."""
    tokens, small = tokenise(text), lexicon.small
    names = [n for n in (language, *BASE) if n]

    verbs = small.has | small.pluperfect | {verb for pair in small.is_was for verb in pair}

    def is_verb(word: str) -> bool:
        return word in verbs or lexicon.is_told(word, "holds", names)

    for at, token in enumerate(tokens):
        colour, behind = colour_of(token.text, small.colours), tokens[at + 1 :]
        is_whole = token.text.removeprefix(colour) in {"", *small.colour_ends}
        if not colour or not is_whole or lexicon.means_alone(token.text):
            continue
        is_noun = not behind or behind[0].apart or behind[0].text in small.at | small.ones
        is_noun = is_noun or is_verb(behind[0].text)
        is_at = not small.at.isdisjoint(t.text for t in tokens[max(0, at - 2) : at])
        if is_noun and (is_at or not behind or any(is_verb(t.text) for t in behind[:_REACH])):
            return colour
    return ""
