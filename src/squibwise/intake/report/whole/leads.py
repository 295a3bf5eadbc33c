"""What a line that leads up to others says of all of them, and whose car a line speaks of.

``Checked for and did not find:``, ``Donor car, airbag unit:``, ``mine is B1345``.
"""

from itertools import pairwise, takewhile

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.claims.asides import excepts, why_absent
from squibwise.intake.report.claims.assertions import count_strange
from squibwise.intake.report.claims.closings import names_rest
from squibwise.intake.report.clauses.part_lists import PARTS_ONLY, is_bare_part
from squibwise.intake.report.language.features import NO
from squibwise.intake.report.language.lexicon import BASE, Lexicon
from squibwise.intake.report.language.phrases import find_claims
from squibwise.intake.report.language.words import FAULTS, Words, has_part, stands_alone
from squibwise.intake.report.line_words import language_of
from squibwise.intake.report.sheet import Line
from squibwise.intake.report.units.headings import DECORATED, heads_next, indent, next_below
from squibwise.intake.report.whole.said_beside import is_only_praise
from squibwise.model.report import UNSURE

ANOTHER = "another car"
_AT_FAULT = "at fault"
_BULLET = pattern(r"\s*([-*>•·+]|\d{1,2}[.)])\s")
_DATE = pattern(r"(?<!\d)\d{1,2}(?:[./-]\d{1,2}(?:[./-]\d{2,4})?|:\d{2})(?!\d)")
_COUNTED = 3  # words of `Three odd things:`
_UNITS = frozenset({"bag", "unit", "system", "airbagmodule"})
_LONGEST = 14  # words of a line that leads up to others
_ASKING = ("en", "de", "nl")  # languages whose questions begin with the verb
_ANSWER_WORDS = 4  # of a line that only says no
_NAMED = 4  # words of one that does without a colon
_NEXT = 2  # lines within which what it leads up to begins
_ALLOWED = frozenset({"cleared", "locked"})  # "not cleared:" denies no fault


def follow_leads(lines: list[Line], lexicon: Lexicon, usual: str | None) -> None:
    """Put what a leading line says of the lines below it onto them."""
    leads = [at for at in range(len(lines)) if _leads(lines, at)]
    has_own = any("own" in lines[at].words.voices for at in leads)
    for at in leads:
        why = _why_below(lines, at, lexicon, usual)
        if not why and has_own and _is_of_somebody(lines[at], lexicon, usual):
            why = UNSURE
        led = _led(lines, at) if why else []
        own = (n for n, ln in enumerate(led) if why == ANOTHER and _names_own(ln, lexicon))
        for below in led[: next(own, len(led))]:
            set_aside(below, why)
    _judge_lists(lines, leads, lexicon, usual)
    _tell_owners(lines)
    _doubt_quoted(lines)
    _doubt_asked(lines, lexicon, usual)


def _judge_lists(lines: list[Line], leads: list[int], lexicon: Lexicon, usual: str | None) -> None:
    """``No fault:``, ``Already bought:`` above bare names of parts: these have no fault."""
    for at, end in pairwise((*leads, len(lines))):
        verdict = _verdict(lines[at], lexicon, usual)
        below = [ln for ln in lines[at + 1 : end] if ln.role != "blank"] if verdict else []
        for line in takewhile(is_bare_part, below):
            if verdict == _AT_FAULT:
                line.why = ""
            else:
                line.role, line.why = "aside", verdict
                lines[at].role, lines[at].count = "header", None  # it counts no faults


def _verdict(line: Line, lexicon: Lexicon, usual: str | None) -> str:
    """What a heading says of the parts below it; empty where it says nothing sure of that.

    Good are those below praise and nothing else: ``Was OK last week:`` may mean anything.
    """
    texts, words = [t.text for t in line.tokens], line.words
    if has_part(words) or len(texts) > _NAMED:
        return ""
    if not lexicon.small.obtained.isdisjoint(texts):
        return PARTS_ONLY
    is_good = bool(words.voices & {"good", "fine"}) or line.role == "clean"
    is_praise = is_good or any(map(lexicon.is_praise, texts))
    is_turned = excepts(line.text.replace(":", " "), lexicon)
    if is_praise and (is_turned or not lexicon.small.but.isdisjoint(texts)):
        return _AT_FAULT  # "All OK except:"
    is_bad, is_denied = "defect" in words.features, "not" in words.voices  # no "not good"
    told = msgspec.structs.replace(line, raw=line.raw.rstrip(" :"))
    is_only = is_praise and (len(texts) == 1 or is_only_praise(told, lexicon, usual))
    if (is_bad and is_denied) or is_only:
        is_look = not lexicon.small.by_eye.isdisjoint(texts)  # no tested circuit
        return PARTS_ONLY if is_look else "found good"
    is_denied = is_denied or not lexicon.denying.isdisjoint(texts)
    return _AT_FAULT if is_bad or (is_praise and is_denied) else ""


def _leads(lines: list[Line], at: int) -> bool:
    """Tell whether a line stands above others and says no fault itself."""
    line = lines[at]
    if line.codes or line.cells or line.role == "blank" or stands_alone(line.words):
        return False
    if len(line.tokens) > _LONGEST:
        return False
    if line.text.rstrip().endswith(":") or DECORATED.match(line.text):
        return True
    after = next_below(lines, at, _NEXT)
    is_name = "mine" in line.words.voices and len(line.tokens) <= _NAMED
    return is_name and after is not None and bool(after.codes)


def _names_own(line: Line, lexicon: Lexicon) -> bool:
    """``our car``, below what is told of a donor: from here on this car is meant again."""
    if line.codes or line.cells or len(line.tokens) > _NAMED or has_part(line.words):
        return False
    is_ours = not lexicon.small.my.isdisjoint(t.text for t in line.tokens)
    return (is_ours and "mine" not in line.words.voices) or "own" in line.words.voices


def _why_below(lines: list[Line], at: int, lexicon: Lexicon, usual: str | None) -> str:
    """Why the lines below one tell of no fault that is there now; empty when they may."""
    line, after = lines[at], next_below(lines, at, _NEXT)
    if "mine" in line.words.voices:
        return ANOTHER
    texts = {t.text for t in line.tokens}
    finds = line.role == "clean" or not lexicon.small.finding.isdisjoint(texts)
    unknown = count_strange(line.text, lexicon, usual, lexicon.small.finding)
    unknown = 0 if _is_record(line, lexicon) else unknown
    if not _denies(line, lexicon, usual) or _is_lack(line.words):
        is_open = unknown and not (finds or line.words.statuses or line.count is not None)
        is_list = is_open and line.role == "unread" and not any(map(_is_coded, _led(lines, at)))
        return UNSURE if is_list else ""
    is_sure = finds and after is not None and bool(_dress(after, line))
    return "denied" if is_sure and not unknown else UNSURE if finds or not _is_coded(after) else ""


def _is_record(line: Line, lexicon: Lexicon) -> bool:
    """``Mark, Monday:``, ``notes by phone, airbag:``: a day, or the unit, heads what was read."""
    small, texts = lexicon.small, {t.text for t in line.tokens}
    if not texts.isdisjoint(small.perhaps | small.usual):
        return False
    named = line.words.features - {"skip"}
    is_of_unit = bool(named) and named <= _UNITS
    is_counted = len(texts) <= _COUNTED and any(t.text in small.few for t in line.tokens[:1])
    return (
        is_of_unit
        or is_counted
        or not texts.isdisjoint(small.days)
        or bool(_DATE.search(line.text))
    )


def _denies(line: Line, lexicon: Lexicon, usual: str | None) -> bool:
    """Tell whether a line denies, with a word that does so in its own language."""
    own = language_of(line, lexicon, usual) or ""
    texts = [t.text for t in line.tokens if not lexicon.is_told(t.text, "plain", (own,))]
    told = (lexicon.meaning(name, (text,)) or () for text in texts for name in (own, *BASE))
    return bool(line.words.voices & {"not", "gone", "away"}) or any(m[:1] == ("not",) for m in told)


def _is_of_somebody(line: Line, lexicon: Lexicon, usual: str | None) -> bool:
    """``the black one (Jens has it):`` where another line leads up to ``mine``."""
    is_unit = line.is_module or line.role in ("heading", "count", "group")
    is_own = "own" in line.words.voices or line.words.statuses or line.words.voices & {"past"}
    return not (is_unit or is_own) and count_strange(line.text, lexicon, usual, frozenset()) > 0


def _is_coded(line: Line | None) -> bool:
    return line is not None and bool(line.codes)


def _is_lack(words: Words) -> bool:
    """``not communicating:``, ``not cleared:``: what is denied is a fault, or the end of one."""
    return bool(words.features & FAULTS) or not _ALLOWED.isdisjoint(words.statuses)


def _dress(line: Line, lead: Line) -> str:
    """How a line of a list stands out: by its bullet, or set in; empty when it does not."""
    bullet = _BULLET.match(line.text)
    if bullet is not None:
        return "1" if bullet[1][0].isdecimal() else bullet[1]
    return " " if indent(line) > indent(lead) else ""


def _led(lines: list[Line], at: int) -> list[Line]:
    """The lines that a line leads up to: as long as none is left out and they are dressed alike."""
    found: list[Line] = []
    for place in range(at + 1, len(lines)):
        line = lines[place]
        if line.role == "blank" and not found and place <= at + _NEXT:
            continue
        is_other = found and _dress(line, lines[at]) != _dress(found[0], lines[at])
        is_other = is_other or (found and heads_next(lines, place))
        if line.role == "blank" or _leads(lines, place) or line.is_module or is_other:
            break
        found.append(line)
    return found


def set_aside(line: Line, why: str) -> None:
    """Let a line tell of no fault that is there now; see ``Line.why``."""
    if line.codes or (line.role == "words" and why == UNSURE):
        line.why = why
    elif line.role in ("words", "unread") and why != UNSURE:
        line.role, line.why = "aside", why


def _tell_owners(lines: list[Line]) -> None:
    """Who tells faults first tells those of this car; who says ``mine`` after that, perhaps not."""
    is_told = False
    for line in lines:
        tells = bool(line.codes) or (line.role == "words" and stands_alone(line.words))
        if not tells or line.why:
            continue
        if "own" not in line.words.voices:
            is_told = True
        elif is_told and not why_absent(line.words, is_coded=bool(line.codes)):
            line.why = UNSURE


def _doubt_quoted(lines: list[Line]) -> None:
    """Who says that a list is put right does not mean the one that is quoted below any more."""
    own = next((at for at, ln in enumerate(lines) if "amends" in ln.words.voices), len(lines))
    for line in lines[own:]:
        if line.raw.lstrip().startswith(">") and not lines[own].raw.lstrip().startswith(">"):
            line.why = line.why or (UNSURE if line.codes or line.role == "words" else "")


def _doubt_asked(lines: list[Line], lexicon: Lexicon, usual: str | None) -> None:
    """``is the left curtain open`` without its sign, or words that a mere ``no`` answers."""
    for at, line in enumerate(lines):
        if line.codes or line.cells or line.role != "words" or line.why:
            continue
        first, second = ([t.text for t in line.tokens[:2]] + ["", ""])[:2]
        is_asked = first in lexicon.small.inverts and lexicon.is_told(second, "plain", _ASKING)
        after = lines[at + 1] if at + 1 < len(lines) else None
        if is_asked or (after is not None and _is_no(after, lexicon, usual)):
            line.why = UNSURE


def _is_no(line: Line, lexicon: Lexicon, usual: str | None) -> bool:
    """``no``, ``nein ist er nicht``: nothing but a negation and small words."""
    texts = [t.text for t in line.tokens]
    if not texts or len(texts) > _ANSWER_WORDS or line.codes or line.cells:
        return False
    words = line.words
    told = words.features - {"skip"} or words.statuses or words.seats or words.sides
    counts = find_claims(line.text, lexicon) & {"count", "clean"}  # "No faults", "No more codes"
    is_denied = texts[0] in lexicon.denying and not (told or counts or names_rest(texts, lexicon))
    return is_denied and count_strange(line.text, lexicon, usual, frozenset(NO)) == 0
