"""Lines that begin with a place before a colon, and parts above lines that tell only a place."""

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.clauses.lines import label_of
from squibwise.intake.report.clauses.own_places import cut_out
from squibwise.intake.report.clauses.plain_clauses import clause_end, is_only_place, is_praised
from squibwise.intake.report.language.joints import spans_of
from squibwise.intake.report.language.lexicon import Lexicon, tokenise
from squibwise.intake.report.language.words import HEADS, TELLS, Words, has_fault, stands_alone
from squibwise.intake.report.line_words import language_of, words_in
from squibwise.intake.report.sheet import Line

_LABEL = pattern(r"(?:^\W{0,4}|[;.,]\s+)([^\W_](?:[^:;.]|\.(?=\S|\s[^\W\d])){0,24}?)\s?:\s(?=\S)")
_TOPIC = pattern(r"\W{0,4}([^\W\d]\S*(?:\s\S+){0,2})\?\s+(?=\S)")
_BULLET = pattern(r"^\s*[-*•·>]\s*")
_SIGNS = pattern(r"^[\W_]+|[\W_]+$")
_NAME_WORDS, _FEW_WORDS = 4, 6  # of the parts that head lines, of a line that tells no place
_HEADING = HEADS - {"unit", "airbagmodule", "electronics", "harness", "lamp"}
_SUPPOSING = {"exists", "asked", "wondered", "sure"}
_LEAD = 2  # words of a clause that say that it only supposes
_STRETCH = pattern(r"[,;(]\s*[^,;()]{3,80}\)?")


class _Label(msgspec.Struct, kw_only=True):
    """A place that stands before parts: where it begins, where its words end, and its sign."""

    first: int
    last: int
    end: int
    place: Words


def share_label(line: Line, lexicon: Lexicon, usual: str | None) -> list[Line]:
    """Return a line as one line for each of its parts; else the line.

    ``left: seat bag open, curtain open``: both are on the left.
    """
    language = language_of(line, lexicon, usual)
    labels = [] if line.cells else _labels(line, lexicon, language)
    ends = [*(label.first for label in labels[1:]), len(line.text)]
    parting, found = clause_end(lexicon, language), list[Line]()
    for label, end in zip(labels, ends, strict=False):
        for piece in spans_of(line.text[:end], parting, label.end):
            text = line.text[slice(*piece)]
            own, words = _piece_of(line, label, piece), words_in(text, lexicon, language)
            is_told = bool(own.codes or words.features & TELLS)
            if not (is_told or is_praised(words, text, lexicon)):
                return [line]
            if not _may_be_at(label.place, words):
                return [line]
            found.append(own)
    return found if len(found) > 1 else [line]


def _labels(line: Line, lexicon: Lexicon, language: str | None) -> list[_Label]:
    """The places before the colons of a line, from its beginning; ``hinten B1001 ..., B1002``."""
    code = next(iter(line.codes), None)
    spans = [(m.start(), m.end(1), m.end()) for m in _LABEL.finditer(line.text)]
    if code is not None and (not spans or spans[0][0] > code.start):
        spans = [(0, len(line.text[: code.start].rstrip(" -,")), code.start)]
    found = [
        _Label(first=first, last=last, end=end, place=place)
        for first, last, end in spans
        if not any(first < c.end and c.start < end for c in line.codes)
        and is_only_place(place := words_in(line.text[first:last], lexicon, language))
        and (line.text[last:end].strip() or place.rows or place.ends)
    ]
    return found if found and found[0].first == 0 else []


def head_parts(lines: list[Line], lexicon: Lexicon, usual: str | None) -> None:
    """Put the name of a part before lines below it that tell only a place, a stage and a fault.

    ``Pretensioners`` above ``driver open circuit``, ``- passenger: fine``.
    """
    head: tuple[Line, Words] | None = None
    is_used = False
    for line in lines:
        if not line.text.strip():
            head = None if is_used else head
            continue
        words = words_in(line.text, lexicon, language_of(line, lexicon, usual))
        if head is not None and _lacks_its_part(line, words, head[1], lexicon):
            is_used, head[0].role = True, "meta"
            line.text = f"{_SIGNS.sub('', head[0].text)} {_BULLET.sub('', line.text)}"
            line.tokens = tokenise(line.text)
        elif not has_fault(words):
            head, is_used = ((line, words) if _names_parts(line, words) else None), False


def _names_parts(line: Line, words: Words) -> bool:
    told = words.statuses or words.voices
    is_name = len(line.tokens) <= _NAME_WORDS and not line.text.rstrip().endswith((".", ",", "?"))
    return is_name and not told and bool(words.features & _HEADING)


def _lacks_its_part(line: Line, words: Words, head: Words, lexicon: Lexicon) -> bool:
    part = msgspec.structs.replace(words, features=words.features | head.features)
    told = words.features & TELLS or is_praised(part, line.text, lexicon)
    named = words.features & (HEADS | {"belt"}) or (
        "foreign" in words.features and not words.stages
    )
    is_place = words.is_placed or words.stages or (head.is_sided and len(line.tokens) <= _FEW_WORDS)
    is_heading = line.text.rstrip().endswith(":")
    return bool(told and is_place) and not (
        is_heading or named or (words.is_sided and head.is_sided)
    )


def name_topic(line: Line, lexicon: Lexicon, usual: str | None) -> None:
    """Take what is asked for before a code as a label: ``Seat bags? left one B1F31 open``."""
    topic = _TOPIC.match(line.text) if line.codes and not line.cells else None
    if topic is None or line.codes[0].start < topic.end():
        return
    words = words_in(topic[1], lexicon, language_of(line, lexicon, usual))
    if words.features & HEADS and not words.features & TELLS:
        line.text = f"{line.text[: topic.end(1)]}:{line.text[topic.end(1) + 1 :]}"


def drop_plugs(line: Line, lexicon: Lexicon, usual: str | None) -> list[Line]:
    """Return a line without where a connector is, or what somebody supposes to be the cause.

    ``driver belt open, plug behind the seat``; ``driver airbag open, perhaps the clock spring``.
    """
    small, gone = lexicon.small, []
    for stretch in _STRETCH.finditer(line.text) if not line.cells else ():
        texts = [t.text for t in tokenise(stretch[0])]
        is_plug = bool(line.codes) and not small.blamed.isdisjoint(texts)
        is_guess = not (small.perhaps | small.thinks).isdisjoint(texts[:_LEAD])
        if not (is_plug or is_guess):
            continue
        language = language_of(line, lexicon, usual)
        words = words_in(stretch[0], lexicon, language)
        before = words_in(line.text[: stretch.start()], lexicon, language)
        is_said = stands_alone(before) and not before.voices - {"exists", "asked"}
        is_verdict = has_fault(words) or words.statuses or words.voices - _SUPPOSING
        if is_guess and is_said and not is_verdict:  # "could not be read" is one
            gone.append(stretch.span())
            continue
        parts = words.features & (HEADS - {"harness"})
        told = parts or has_fault(words) or words.statuses or words.voices
        if words.is_placed and not told and all(c.end <= stretch.start() for c in line.codes):
            gone.append(stretch.span())
    return [cut_out(line, gone)] if gone else [line]


def is_of_place(line: Line, lexicon: Lexicon, language: str | None) -> bool:
    """Tell whether a line is of a place before its colon: ``right: nothing``.

    It begins something else than the fault above it.
    """
    return line.is_keyed and is_only_place(words_in(label_of(line), lexicon, language))


def _may_be_at(place: Words, words: Words) -> bool:
    """Tell whether words name a part, and no place of the kind of another one."""
    sides, more = place.seats | place.sides, words.seats | words.sides
    is_apart = bool(sides and more)
    is_apart = is_apart or bool((place.ends or place.rows) and (words.ends or words.rows))
    return bool(words.features & HEADS) and not is_apart


def _piece_of(line: Line, label: _Label, span: tuple[int, int]) -> Line:
    """The label of a piece of a line, and the piece."""
    start, end = span
    codes = tuple(c for c in line.codes if start <= c.start and c.end <= end)
    own = msgspec.structs.replace(line, codes=codes, role=line.role if codes else "unread")
    gaps = ((0, label.first), (label.last + 1, start), (end, len(line.text)))
    return cut_out(own, [s for s in gaps if s[0] < s[1]])
