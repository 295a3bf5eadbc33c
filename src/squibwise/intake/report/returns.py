"""Codes that came back after they were cleared, and those told not to have."""

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.intake.patterns import pattern
from squibwise.intake.report.codes import Code
from squibwise.intake.report.lexicon import lexicon_of, tokenise
from squibwise.intake.report.line_words import words_of
from squibwise.intake.report.sheet import Line, Sheet
from squibwise.intake.report.words import Words, add_status, has_fault, has_part

_CLAUSE = pattern(r"[,;.!]\s+|\s-\s")
_AWAY = frozenset({"not", "gone", "away"})


class _Clause(msgspec.Struct, kw_only=True):
    """A clause of a line.

    Attributes:
        codes: The codes that it names.
        texts: Its other words.
        words: What those say.
    """

    codes: tuple[Code, ...]
    texts: frozenset[str]
    words: Words


def hear_returns(sheet: Sheet, catalog: Catalog) -> None:
    """Keep the faults whose codes came back; end the others where the line says they did not.

    ``he cleared both, B1415 came straight back, the other didn't``.
    """
    only = lexicon_of(catalog).small.only
    for line in sheet.lines:
        words = line.words
        may_be_back = "exists" in words.voices or {"cleared", "present"} <= {*words.statuses}
        if line.codes and may_be_back:
            _hear_line(line, sheet, catalog)
        if (
            line.codes
            and "exists" in words.voices
            and not only.isdisjoint(t.text for t in line.tokens)
        ):
            _hear_only(line, sheet, catalog)


def _hear_only(line: Line, sheet: Sheet, catalog: Catalog) -> None:
    """``Erased. Only B1C93 came back.``: the others that were told before did not."""
    only = lexicon_of(catalog).small.only
    for clause in _clauses(line, sheet, catalog):
        is_only = bool(clause.codes) and not only.isdisjoint(clause.texts)
        if not (is_only and _is_back(clause.words) and "exists" in clause.words.voices):
            continue
        back = {c.code for c in clause.codes if _bring_back(c, line, sheet)}
        if len(back) == len(clause.codes):
            _end_others(line, back, sheet)


def _hear_line(line: Line, sheet: Sheet, catalog: Catalog) -> None:
    is_cleared = False
    back: set[str] = set()
    for clause in _clauses(line, sheet, catalog):
        if clause.codes and is_cleared and _is_back(clause.words):
            back |= {c.code for c in clause.codes if _bring_back(c, line, sheet)}
        elif back and not clause.codes and _is_of_rest(clause, catalog):
            _end_others(line, back, sheet)
        is_cleared = is_cleared or "cleared" in clause.words.statuses


def _clauses(line: Line, sheet: Sheet, catalog: Catalog) -> list[_Clause]:
    found, start = [], 0
    ends = [m.span() for m in _CLAUSE.finditer(line.text)]
    for end, after in (*ends, (len(line.text), len(line.text))):
        own = tuple(c for c in line.codes if start <= c.start and c.end <= end)
        text = line.text[start:end]
        for code in own:
            text = text.replace(code.printed, " ")
        texts = frozenset(t.text for t in tokenise(text))
        words = words_of(text, catalog, sheet.language)
        found.append(_Clause(codes=own, texts=texts, words=words))
        start = after
    return found


def _is_back(words: Words) -> bool:
    is_bare = not (has_part(words) or has_fault(words) or words.voices & _AWAY)
    return is_bare and ("present" in words.statuses or "exists" in words.voices)


def _is_of_rest(clause: _Clause, catalog: Catalog) -> bool:
    small = lexicon_of(catalog).small
    is_rest = not (small.rest | small.others).isdisjoint(clause.texts)
    return is_rest and bool(clause.words.voices & _AWAY) and not has_part(clause.words)


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
