"""How far a report reached: whether it is whole, what it tested, and what it found good."""

import re
from functools import lru_cache

from squibwise.catalog.load import Catalog
from squibwise.intake.patterns import pattern
from squibwise.intake.report.candidates import Scope, candidates_of
from squibwise.intake.report.claims.assertions import DENYING, says_surely
from squibwise.intake.report.clauses.other_clauses import clauses_of
from squibwise.intake.report.language.joints import one_of
from squibwise.intake.report.language.lexicon import BASE, Lexicon, lexicon_of
from squibwise.intake.report.language.phrases import find_claims
from squibwise.intake.report.language.words import TELLS, Words, heads_of, names_another
from squibwise.intake.report.line_words import language_of, words_of
from squibwise.intake.report.sheet import Line, Sheet
from squibwise.intake.report.whole.cut_short import find_cleared, find_end
from squibwise.intake.report.whole.own_words import read_days, read_odometer, read_serial
from squibwise.intake.report.whole.said_beside import find_more, find_stand_ins
from squibwise.intake.report.whole.silence import find_silence
from squibwise.model.origin import Origin
from squibwise.model.report import CleanCircuit, CodeLine, Coverage, Unit

_SHORTED = frozenset({"open", "short", "ground", "battery"})
_ELECTRIC = frozenset("open high low short cross resistance range ground battery".split())
_RESTRAINTS = frozenset({"airbagmodule", "bag", "system"})
_ABSENT = pattern(
    r"not (?:fitted|installed|equipped|present|available|supported|found)|no response|"
    r"nicht (?:verbaut|vorhanden|erreichbar)|keine antwort|non (?:install|mont|pr[eé]sent)|"
    r"no (?:instalad|equipad|responde|presente)",
    re.IGNORECASE,
)


def coverage(sheet: Sheet, told: list[CodeLine], scope: Scope) -> Coverage:
    """Return what was covered, as far as the report itself tells.

    ``able`` is False when the unit could not run its tests, None when that is not known. It is
    complete only where a line says so of every circuit; the user's own word goes before it.
    """
    own = [ln for ln in told if ln.unit != "other" and (ln.present or ln.is_untested)]
    able, why = _able(own, sheet.volts, scope.catalog)
    odometer, unit = read_odometer(sheet)
    silent = next(iter(find_silence(sheet, told)), None)
    broken_off = find_end(sheet, lexicon_of(scope.catalog))
    return Coverage(
        complete=False if silent or broken_off else _complete(own, sheet),
        able=able,
        unit_volts=sheet.volts,
        modules=tuple(sheet.modules),
        not_tested=_not_tested(own),
        clean=_clean(sheet, scope),
        no_crash_record=_no_crash_record(own, sheet),
        why=why,
        unit=unit_of_report(told, sheet),
        days=read_days(sheet, lexicon_of(scope.catalog)),
        odometer=odometer,
        odometer_unit=unit,
        stand_ins=find_stand_ins(sheet, scope.catalog),
        counts_more=find_more(sheet, scope.catalog),
        serial=read_serial(sheet, scope.catalog),
        silent=silent,
        broken_off=broken_off,
        cleared=find_cleared(sheet),
        names_none=_names_none(sheet, scope.catalog),
    )


def unit_of_report(told: list[CodeLine], sheet: Sheet) -> Unit:
    """Whose memory the report tells of: that of the unit that a fault or a clean line stands under.

    A unit that is said not to be there has said nothing.
    """
    if any(ln.unit == "restraint" for ln in told):
        return "restraint"
    gone = [ln for ln in sheet.lines if _ABSENT.search(ln.text)]
    under = {ln.module or ln.text for ln in gone}
    spoken = [ln for ln in sheet.lines if ln.role in ("clean", "count") or ln.is_whole]
    if any(ln.unit == "restraint" and (ln.module or ln.text) not in under for ln in spoken):
        return "unknown" if any(ln.unit == "restraint" for ln in gone) else "restraint"
    named = [ln.unit for ln in sheet.lines if ln in spoken or ln.is_module]
    is_spoken_of = any(ln.words.features & _RESTRAINTS for ln in sheet.lines)
    return "other" if "other" in named and not is_spoken_of else "unknown"


def _complete(own: list[CodeLine], sheet: Sheet) -> bool | None:
    """True where a line calls every circuit, or every other one, good; None when none does."""
    if any("not-tested" in ln.status for ln in own):
        return None
    return any(ln.is_whole and ln.unit != "other" for ln in sheet.lines) or None


def _clean(sheet: Sheet, scope: Scope) -> tuple[CleanCircuit, ...]:
    """Circuits that a line says were tested and found good."""
    found = []
    for line in sheet.unread:
        is_good = _is_found_good(line, scope.catalog)
        is_good = is_good and not _asserts_one(line, sheet, scope.catalog)
        named = candidates_of(line.words, scope) if is_good else ()
        if len(named) == 1 and named[0].component is not None:
            origin = Origin(file=sheet.name, line=line.number, raw=line.raw)
            stage = named[0].stage
            found.append(CleanCircuit(component=named[0].component, stage=stage, origin=origin))
    return tuple(found)


def _asserts_one(line: Line, sheet: Sheet, catalog: Catalog) -> bool:
    """``Left curtain: never opened, code says open``: a clause tells a fault and denies none.

    Nor is a part good of which the denial is not said: ``driver bag not open but the curtain is``.
    """
    is_denied = line.why in ("denied", "gone")
    clauses = clauses_of(line.text, lexicon_of(catalog), sheet.language) if is_denied else []
    said = [words_of(text, catalog, sheet.language) for text in clauses] if clauses[1:] else []
    denied = [w for w in said if w.voices & DENYING]
    free = [w for w in said if not w.voices & DENYING]
    is_other = any(heads_of(d) and names_another(w, d) for d in denied for w in free)
    if is_other or any(w.features & _ELECTRIC and not w.voices for w in said):
        return True
    halves = _denial(lexicon_of(catalog)).split(line.text, maxsplit=1) if is_denied else []
    told = [words_of(text, catalog, sheet.language).features for text in halves]
    faults = [features & (TELLS | _ELECTRIC) for features in told]
    return len(faults) > 1 and all(faults) and faults[0] != faults[1]  # "stuck closed not open"


@lru_cache(maxsize=4)
def _denial(lexicon: Lexicon) -> re.Pattern[str]:
    return re.compile(rf"\s{one_of(lexicon.small.denies, lexicon.small.accented)}\s")


def _is_found_good(line: Line, catalog: Catalog) -> bool:
    """Tell whether a line denies a circuit's fault or calls it good; ``no code`` does neither.

    Nor does ``passenger airbag intact``: somebody saw the part, and nobody measured.
    """
    is_untested = "not-tested" in line.words.statuses or "notfired" in line.words.features
    if is_untested or line.words.voices & {"worked", "was"}:
        return False
    is_short = line.words.features & _SHORTED and not line.words.voices & DENYING  # "OK, shorted"
    denies_fault = line.why in ("denied", "gone") and bool(line.words.features & _ELECTRIC)
    return (
        (denies_fault and says_surely(line, lexicon_of(catalog)))
        or line.role == "clean"
        or (line.why == "found good" and not (is_short or _is_look(line, catalog)))
    )


def _is_look(line: Line, catalog: Catalog) -> bool:
    """``left curtain circuit looks good``, or ``is good if the plug is held``: no measurement."""
    lexicon, texts = lexicon_of(catalog), {t.text for t in line.tokens}
    names = (language_of(line, lexicon, None) or "", *BASE)
    is_seen = any(t in lexicon.small.by_eye or lexicon.is_told(t, "supposed", names) for t in texts)
    is_measured = bool(line.words.features & {"loop", *(_ELECTRIC - {"high"})})
    is_measured = is_measured or "tested" in line.words.voices
    return is_seen or not (is_measured or lexicon.small.looks.isdisjoint(texts))


def _no_crash_record(own: list[CodeLine], sheet: Sheet) -> Origin | None:
    """Where a line denies that the unit holds a crash record, and no other line has one."""
    if any(ln.fault == "event-recorded" for ln in own):
        return None
    denied = [ln for ln in sheet.unread if ln.why in ("denied", "gone")]
    denied += [ln for ln in sheet.lines if ln.codes and ln.words.voices & {"not", "gone"}]
    line = next((ln for ln in denied if _denies_record(ln.words)), None)
    return None if line is None else Origin(file=sheet.name, line=line.number, raw=line.raw)


def _names_none(sheet: Sheet, catalog: Catalog) -> Origin | None:
    """Where a line says that no fault is stored: ``no faults``, ``codes: 0``, ``system OK``.

    ``All tests complete`` and ``all other circuits OK`` say it not.
    """
    lexicon = lexicon_of(catalog)
    for line in (ln for ln in sheet.lines if ln.role in ("count", "clean")):
        said = find_claims(line.text, lexicon) if line.unit == "restraint" else set()
        is_count = line.role == "count" and _ZERO.search(line.text) is not None
        is_clean = line.role == "clean" and ("total" in said or "whole" not in said)
        if (is_count and "total" in said) or is_clean:
            return Origin(file=sheet.name, line=line.number, raw=line.raw)
    return None


_ZERO = re.compile(r"(?<![\d.,/])0(?![\d.,/])")


def _denies_record(words: Words) -> bool:
    """``no crash data``, ``no stored impact in the module``; not ``no impact sensor stored``."""
    is_impact = "impact" in words.features and "sensor" not in words.features
    return "crashrecord" in words.features or (is_impact and bool(words.voices & {"not", "gone"}))


def _not_tested(read: list[CodeLine]) -> tuple[str, ...]:
    ids = (ln.component for ln in read if "not-tested" in ln.status)
    return tuple(dict.fromkeys(i for i in ids if i is not None))


def _able(
    read: list[CodeLine], volts: float | None, catalog: Catalog
) -> tuple[bool | None, tuple[str, ...]]:
    why = list(_voltage(volts, catalog))
    unable = bool(why)
    for line in read:
        if line.component != "centre.control-unit":
            continue
        if line.fault in ("configuration", "identity"):
            unable = True
            why.append(
                f"Line {line.line}: the unit is not configured for this car; "
                "until it is, it may not test any circuit."
            )
        elif line.fault == "event-recorded":
            why.append(
                f"Line {line.line}: the unit holds a crash record; "
                "some units stop testing circuits once they do."
            )
        elif line.fault == "internal":
            why.append(f"Line {line.line}: a unit with an internal fault may not test circuits.")
        elif line.fault == "voltage":
            why.append(f"Line {line.line}: the unit's supply was at fault; tests may not have run.")
    if any("not-tested" in ln.status and not ln.is_untested for ln in read):
        why.append("Some tests had not completed since the memory was last cleared.")
    return (False if unable else None), tuple(dict.fromkeys(why))


def _voltage(volts: float | None, catalog: Catalog) -> tuple[str, ...]:
    if volts is None:
        return ()
    low = catalog.fact("supply.test-low").number()
    high = catalog.fact("supply.test-high").number()
    if low <= volts <= high:
        return ()
    return (
        f"Supply {volts:g} V is outside {low:g} to {high:g} V: the unit may not run its tests.",
    )
