"""Codes that came back after they were cleared, and those told not to have."""

from collections.abc import Iterator

import msgspec

from squibwise.intake.patterns import pattern
from squibwise.intake.report.claims.asides import before_exception
from squibwise.intake.report.claims.assertions import count_strange, only_denies
from squibwise.intake.report.language.code_forms import Code
from squibwise.intake.report.language.lexicon import Lexicon, tokenise
from squibwise.intake.report.language.phrases import find_claims
from squibwise.intake.report.language.words import Words, add_status, has_fault, has_part
from squibwise.intake.report.line_words import words_in
from squibwise.intake.report.sheet import Fault, Line, Sheet
from squibwise.model.report import ASKED

_CLAUSE = pattern(r"[,;!]\s+|(?<![\s.]\d\d)\.\s+|\s-\s")  # no stop of a date
_AWAY = frozenset({"not", "gone", "away"})
_WELL = frozenset({"good", "fine"})
_ELSEWHERE = frozenset({"mine", "own", "past"})  # another car, or another time


class _Clause(msgspec.Struct, kw_only=True):
    """A clause of a line.

    Attributes:
        codes: The codes that it names.
        text: What it says beside.
        texts: The words of that.
        words: What those say.
    """

    codes: tuple[Code, ...]
    text: str
    texts: frozenset[str]
    words: Words


def hear_returns(sheet: Sheet, lexicon: Lexicon) -> None:
    """Keep the faults whose codes came back; end the others where the line says they did not.

    ``he cleared both, B1415 came straight back, the other didn't``.
    """
    _hear_last(sheet, lexicon)
    for line in sheet.lines:
        words = line.words
        is_told = line.codes and not (line.why or line.cells or has_part(words))
        if is_told and not words.voices & _ELSEWHERE:
            _hear_exception(line, sheet, lexicon)
        may_be_back = "exists" in words.voices or {"cleared", "present"} <= {*words.statuses}
        if line.codes and may_be_back:
            _hear_line(line, sheet, lexicon)


def _hear_last(sheet: Sheet, lexicon: Lexicon) -> None:
    """``Monday: B1A14 gone``, ``Wednesday: back again``: what is said last of a code counts."""
    ended = {f.code.code for f in sheet.faults if f.code is not None and _is_ended(f)}
    named: set[str] = set()
    gone: set[str] = set()
    back: dict[str, Line] = {}
    for line, clause, last in _mentions(sheet, lexicon) if ended else ():
        verdict, named = _verdict(clause, lexicon), named | last
        if verdict == "gone":
            for code in last if clause.codes else named:
                gone.add(code)
                back.pop(code, None)
        elif verdict == "back":
            back |= dict.fromkeys(gone & last, line)
    for code, line in back.items():
        _revive(code, line, sheet)


def _is_ended(fault: Fault) -> bool:
    return bool(fault.absent) or "cleared" in fault.words.statuses


def _mentions(sheet: Sheet, lexicon: Lexicon) -> Iterator[tuple[Line, _Clause, set[str]]]:
    """Each clause that may speak of codes, and of which: its own, else those named last.

    What is quoted was said before the rest.
    """
    last: set[str] = set()
    small = lexicon.small
    for line in sorted(sheet.lines, key=lambda ln: not ln.raw.lstrip().startswith(">")):
        if line.cells or line.words.voices & _ELSEWHERE or line.why == ASKED:
            continue
        if not line.codes and not _speaks_on(line, sheet, lexicon):
            continue
        for clause in _clauses(line, sheet, lexicon):
            if not clause.codes and not small.rest.isdisjoint(clause.texts):
                continue  # "the rest is still there"
            last = {c.code for c in clause.codes} or last
            yield line, clause, last


def _speaks_on(line: Line, sheet: Sheet, lexicon: Lexicon) -> bool:
    """``it came back today``, ``both cleared``: nothing but small words of what was named above."""
    told = bool(line.words.voices or line.words.statuses)
    texts = {t.text for t in line.tokens}
    told = told or not lexicon.small.returns.isdisjoint(texts)
    told = told and texts.isdisjoint(lexicon.small.rest | lexicon.small.others)
    if not told or line.role == "blank" or has_part(line.words) or has_fault(line.words):
        return False
    said = line.text.rpartition(": ")[2]  # "Monday: both cleared"
    known = lexicon.small.returns | lexicon.small.days | lexicon.small.finding
    return count_strange(said, lexicon, sheet.language, known) == 0


def _verdict(clause: _Clause, lexicon: Lexicon) -> str:
    """Whether a clause says ``gone`` of its codes, or ``back``; nothing where it says neither."""
    words, small = clause.words, lexicon.small
    is_neither = not small.neither.isdisjoint(clause.texts)
    if (
        is_neither
        or words.voices & (_AWAY | _WELL)
        or ("cleared" in words.statuses and not _is_back(words))
    ):
        return "gone"
    is_bare = not (has_part(words) or has_fault(words) or "worked" in words.voices)
    is_dated = bool(clause.codes and clause.texts) and all(t.isdecimal() for t in clause.texts)
    is_again = is_dated or not small.returns.isdisjoint(clause.texts)
    return "back" if _is_back(words) or (is_bare and is_again) else ""


def _revive(code: str, line: Line, sheet: Sheet) -> None:
    """Make the fault of a code present; what else was told of it was on the way."""
    alike = [f for f in sheet.faults if f.code is not None and f.code.code == code]
    alike = [f for f in alike if f.unit == line.unit or not line.codes]
    alike = [f for f in alike if not f.words.voices & _ELSEWHERE] or alike
    if not alike:
        return
    told = next((f for f in reversed(alike) if has_part(f.words)), alike[0])
    told.absent = ""
    told.words.statuses[:] = [s for s in told.words.statuses if s != "cleared"]
    add_status(told.words, "present")
    told.raws += [line.raw] if line.raw not in told.raws else []
    for fault in alike:
        fault.absent = "" if fault is told else "past"
    bare = {id(f) for f in alike if f is not told and not has_part(f.words)}
    sheet.faults = [f for f in sheet.faults if id(f) not in bare]
    sheet.unread = [u for u in sheet.unread if u is not line]


def _hear_exception(line: Line, sheet: Sheet, lexicon: Lexicon) -> None:
    """``All gone except B1F02``: it stays as it was told, the others are gone."""
    small = lexicon.small
    kept = _excepted(line, sheet, lexicon) or _left(line, sheet, lexicon)
    own = [f for f in sheet.faults if f.code is not None and f.code.code in kept]
    own = [f for f in own if not f.words.voices & _ELSEWHERE]
    for fault in own:
        fault.absent = ""
        fault.words.voices -= _AWAY
        fault.words.statuses[:] = [s for s in fault.words.statuses if s != "cleared"]
    known = {f.code.code for f in own if f.code is not None and has_part(f.words)}
    bare = {id(f) for f in own if f.first is line and f.code and f.code.code in known}
    sheet.faults = [f for f in sheet.faults if id(f) not in bare]
    if kept and (small.says | small.sellers).isdisjoint(t.text for t in line.tokens):
        _end_others(line, kept, sheet)


def _excepted(line: Line, sheet: Sheet, lexicon: Lexicon) -> set[str]:
    """The codes behind an ``except`` that takes them out of what is said of all."""
    text = line.text
    heads = ((c, before_exception(text[: c.start], lexicon)) for c in line.codes)
    first, head = next((found for found in heads if found[1]), (line.codes[0], ""))
    behind = text[line.codes[-1].end :]
    if not head:  # "except B1F02 all is gone"
        head, behind = before_exception(f"{behind} {text[: first.start]}", lexicon), ""
    more = words_in(behind, lexicon, sheet.language)
    if not _ends_all(head, sheet, lexicon) or more.voices & _AWAY or more.statuses:
        return set()
    return {c.code for c in line.codes if c.start >= first.start}


def _left(line: Line, sheet: Sheet, lexicon: Lexicon) -> set[str]:
    """``all gone, only B1F02 is not``, ``B1F02 stays, the rest is gone``: what outlives it."""
    clauses, small = _clauses(line, sheet, lexicon), lexicon.small
    stays, mending = small.only | small.comes_back | small.returns, tuple(small.mending)
    left: list[Code] = []
    for clause in clauses:
        is_denied = not lexicon.denying.isdisjoint(clause.texts)
        is_told = _is_back(clause.words) or not stays.isdisjoint(clause.texts)
        is_due = any(text.startswith(mending) for text in clause.texts)  # "was not cleared"
        is_told = not _is_over(clause.words) and (is_due if is_denied else is_told)
        if is_told or only_denies(clause.text, lexicon):
            left += (c for c in clause.codes if c.style != "flash")  # "12 only: all good"
    is_over = any(_is_of_rest(c, lexicon) for c in clauses) or any(
        c.codes and _is_back(c.words) and not small.only.isdisjoint(c.texts) for c in clauses
    )  # "only B1C93 came back"
    return {code.code for code in left} if is_over else set()


def _is_over(words: Words) -> bool:
    return bool(words.voices & (_AWAY | _WELL)) or "cleared" in words.statuses


def _ends_all(head: str, sheet: Sheet, lexicon: Lexicon) -> bool:
    words = words_in(head, lexicon, sheet.language)
    return _is_over(words) or "clean" in find_claims(head, lexicon)


def _hear_line(line: Line, sheet: Sheet, lexicon: Lexicon) -> None:
    is_cleared = False
    back: set[str] = set()
    for clause in _clauses(line, sheet, lexicon):
        if clause.codes and is_cleared and _is_back(clause.words):
            back |= {c.code for c in clause.codes if _bring_back(c, line, sheet)}
        elif back and _is_of_rest(clause, lexicon):
            _end_others(line, back, sheet)
        is_cleared = is_cleared or "cleared" in clause.words.statuses


def _clauses(line: Line, sheet: Sheet, lexicon: Lexicon) -> list[_Clause]:
    found, start = [], 0
    ends = [m.span() for m in _CLAUSE.finditer(line.text)]
    for end, after in (*ends, (len(line.text), len(line.text))):
        own = tuple(c for c in line.codes if start <= c.start and c.end <= end)
        text = line.text[start:end]
        for code in own:
            text = text.replace(code.printed, " ")
        texts = frozenset(t.text for t in tokenise(text))
        words = words_in(text, lexicon, sheet.language)
        found.append(_Clause(codes=own, text=text, texts=texts, words=words))
        start = after
    return found


def _is_back(words: Words) -> bool:
    is_bare = not (has_part(words) or has_fault(words) or words.voices & _AWAY)
    return is_bare and ("present" in words.statuses or "exists" in words.voices)


def _is_of_rest(clause: _Clause, lexicon: Lexicon) -> bool:
    small, words = lexicon.small, clause.words
    of_all = small.rest | small.others | small.all | small.everything
    is_rest = not of_all.isdisjoint(clause.texts)
    return is_rest and not (clause.codes or has_part(words)) and _is_over(words)


def _bring_back(code: Code, line: Line, sheet: Sheet) -> bool:
    """Make the fault told with a code present again, and one with its later mention."""
    alike = [f for f in sheet.faults if f.code is not None and f.code.code == code.code]
    told = [f for f in alike if has_part(f.words) and f.first.number <= line.number]
    if not told:
        return False
    for fault in told:
        fault.absent = ""
        fault.words.statuses[:] = [s for s in fault.words.statuses if s != "cleared"]
        add_status(fault.words, "present")
    bare = [f for f in alike if f.first.number == line.number and not has_part(f.words)]
    told[-1].raws += [line.raw] if line.raw not in told[-1].raws else []
    sheet.faults = [f for f in sheet.faults if not any(f is b for b in bare)]
    return True


def _end_others(line: Line, back: set[str], sheet: Sheet) -> None:
    for fault in sheet.faults:
        if fault.first.number > line.number or fault.code is None:
            continue
        if fault.code.code not in back:
            fault.absent = fault.absent or "gone"
