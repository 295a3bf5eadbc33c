"""What each fault means: its words, code number and failure type joined, then told as one line.

Description beats number; where they disagree both are kept with weights and reported.
"""

import msgspec

from squibwise.catalog.codes import CodeMeaning, FailureType
from squibwise.intake.report.candidates import (
    SURE_PARTS,
    ZONES,
    Candidate,
    Scope,
    candidates_of,
    candidates_of_row,
    first_rule,
    own_candidate,
    rank,
)
from squibwise.intake.report.language.code_forms import Code, find_codes
from squibwise.intake.report.language.lexicon import flat, lexicon_of
from squibwise.intake.report.language.words import (
    FAULT_WORDS,
    FAULTS,
    KERB,
    Words,
    has_fault,
    has_part,
)
from squibwise.intake.report.sheet import CLEAR, Fault
from squibwise.model import report
from squibwise.model.car import OwnCode
from squibwise.model.names import Side, side_of
from squibwise.model.origin import Origin
from squibwise.model.report import UNSURE, CodeLine
from squibwise.model.words import Fault as FaultWord
from squibwise.model.words import Status

NUMBER_SHARE = 0.1  # what the number keeps when the description says another thing
_ELECTRIC = frozenset("open high low short cross resistance range ground battery".split())
_MOST_CANDIDATES = 8
_TWO_READINGS = 2
_UNIT = Candidate(kind="control-unit", place="centre")
_UNIT_FAULTS = ("configuration", "identity", "event-recorded", "internal")
_ANYTHING = Candidate()

Readings = tuple[tuple[FaultWord, float], ...]


def settle(fault: Fault, scope: Scope) -> None:
    """Set what a fault means; another unit's faults name no part of the restraint system."""
    _join(fault, msgspec.structs.replace(scope, is_foreign=fault.unit == "other"))
    if fault.unit == "unknown" and fault.first.module is None and fault.candidates:
        fault.unit = "restraint"
    if fault.unit == "restraint" and not fault.candidates and _is_of_unit(fault):
        fault.candidates = (_UNIT,)
    if fault.unit == "unknown" and fault.words.features & SURE_PARTS and fault.readings:
        fault.unit = "restraint"
    if fault.unit == "restraint" or (fault.unit == "unknown" and fault.words.features & SURE_PARTS):
        return
    is_network = fault.code is not None and fault.code.code.startswith("U")
    about = bool(fault.words.features & {"unit", "system", "airbagmodule", "bag"})
    about = about or (is_network and _names_restraints(fault, scope))
    is_told = fault.meant == "communication" or (is_network and fault.meant != "unknown")
    is_about_unit = fault.unit == "other" and about and is_told
    fault.candidates, fault.clash = ((_UNIT,) if is_about_unit else ()), ()


def _names_restraints(fault: Fault, scope: Scope) -> bool:
    if has_part(fault.words) or "foreign" in fault.words.features:
        return False
    return lexicon_of(scope.catalog).has_name("restraint", flat(" ".join(fault.texts)))


def take_group(fault: Fault) -> None:
    """Add what a heading of many faults says: part, side, seat or status, where it is missing."""
    words, group = fault.words, fault.first.group
    if group is None:
        return
    if not (has_part(words) or words.features & {"bag", "unit"}):
        words.features |= group.features - KERB - {"skip"}
    if not has_fault(words):
        words.features |= group.features & FAULT_WORDS
    if not words.is_sided:
        words.seats |= group.seats
        words.sides |= group.sides
        words.features |= group.features & (KERB | {"byside"} if group.rows else KERB)
    if "impact" in words.features and words.features.isdisjoint(ZONES):
        words.features |= group.features.intersection(ZONES)
    words.ends |= group.ends if not words.ends else set()
    words.rows |= group.rows if not words.rows else set()
    if not words.statuses and not fault.absent:
        is_two = {"present", "stored"} <= {*group.statuses}  # names of two columns
        words.statuses += [] if is_two else group.statuses
        fault.absent = fault.absent or ("gone" if group.voices & {"gone", "past"} else "")


def _is_of_unit(fault: Fault) -> bool:
    """Tell whether a fault that names no part and no place is one that only the unit can have."""
    words = fault.words
    return fault.meant in _UNIT_FAULTS and not words.is_placed and not has_part(words)


def _join(fault: Fault, scope: Scope) -> None:
    """Set what the words and the code of a fault mean together."""
    own = _own_row(fault, scope)
    if own is not None and _has_words(own, fault):
        _take_reading(fault, own)
    row = _table_row(fault.code, scope)
    _name_buckle(fault.words, row)
    named = candidates_of(fault.words, scope)
    features = fault.words.rule_features() | ({"haspart"} if named else set())
    said = _readings(first_rule(scope.catalog.vocabulary.faults, features))
    if row is not None and not said and all(c.kind == "control-unit" for c in named):
        named = ()  # the unit's name beside a known code labels the report, not the part
    if own is not None and (own.component or own.fault != "unknown"):
        worded = _has_words(own, fault)  # what somebody reads in them stands for all of them
        _take_own(fault, () if worded else named, () if worded else said, own)
        if worded and fault.absent == UNSURE:
            fault.absent = ""  # somebody was asked
        return
    _take_table(fault, named, row, scope)
    # older numbering has other bytes
    record = None if fault.clash else _type_row(fault.code, scope)
    typed = _typed(record)
    fault.readings, is_clash = _join_readings(said, typed)
    fault.clash = (*fault.clash, *(("fault",) if is_clash else ()))
    fault.basis = _basis(bool(named or said), fault.basis in ("code", "words+code"), bool(typed))
    fault.sources = fault.sources or (("sae-j2012",) if typed else ())
    fault.typed_status = record.status if record else None


def _take_reading(fault: Fault, own: OwnCode) -> None:
    """Take the code that somebody reads in the words of a line, or that they tell of no fault."""
    printed = "-".join(filter(None, (own.code, own.failure_type)))
    fault.code = next(iter(find_codes(printed)), fault.code) if own.code else fault.code
    fault.absent = fault.absent or ("denied by hand" if own.denies else "")


def _name_buckle(words: Words, row: CodeMeaning | None) -> None:
    """``D buckle open`` under a pretensioner's number is the one at the buckle, not its switch."""
    told = words.features
    is_open = told & FAULTS <= _ELECTRIC
    if row is not None and "pretension" in row.means and "buckle" in told and is_open:
        told |= set() if told & {"switch", "sensor"} else {"pretension"}


def _basis(has_words: bool, has_code: bool, has_type: bool) -> str:
    if has_words:
        return "words+code" if has_code or has_type else "words"
    return "code" if has_code or has_type else "none"


def _readings(given: tuple[tuple[str, float], ...]) -> Readings:
    return tuple((msgspec.convert(name, FaultWord), share) for name, share in given)


def fold_line(text: str) -> str:
    """Return a line as it is compared with the words of the user's own table."""
    return " ".join(text.split()).casefold()


def _has_words(row: OwnCode, fault: Fault) -> bool:
    """Tell whether a row of the user's own table names the very words of a line."""
    return bool(row.text) and fold_line(row.text) == fold_line(" ".join(fault.raws))


def _own_row(fault: Fault, scope: Scope) -> OwnCode | None:
    """The row of the user's own table that fits best: with the failure type before without.

    What somebody reads in the very words of a line comes before what its code means.
    """
    code = fault.code
    if scope.car is None:
        return None
    worded = next((row for row in scope.car.codes if _has_words(row, fault)), None)
    if worded is not None or code is None:
        return worded
    names = {code.code, code.printed, *code.readings, *code.also}
    rows = [r for r in scope.car.codes if r.code in names]
    exact = [r for r in rows if r.failure_type == code.failure_type]
    plain = [r for r in rows if r.failure_type is None]
    return next(iter(exact + plain), None)


def _table_row(code: Code | None, scope: Scope) -> CodeMeaning | None:
    if code is None or not code.is_exact or scope.is_foreign:
        return None
    return scope.catalog.codes.codes.get(code.code)


def _type_row(code: Code | None, scope: Scope) -> FailureType | None:
    if code is None or code.failure_type is None or not code.is_exact:
        return None
    return scope.catalog.codes.failure_types.get(code.failure_type)


def _typed(record: FailureType | None) -> Readings:
    """Readings of a failure type; a type that tells nothing adds nothing."""
    if record is None or record.gives == (("unknown", 1.0),):
        return ()
    return _readings(record.gives)


def _join_readings(said: Readings, typed: Readings) -> tuple[Readings, bool]:
    """Fault words of the description with those of the failure type byte."""
    if not said or not typed:
        return said or typed, False
    both = [(f, w) for f, w in said if f in dict(typed)]
    if both:
        total = sum(w for _, w in both)
        return tuple((f, w / total) for f, w in both), False
    kept = [(f, w * (1.0 - NUMBER_SHARE)) for f, w in said]
    return (*kept, *((f, w * NUMBER_SHARE) for f, w in typed)), True


def _take_own(fault: Fault, named: tuple[Candidate, ...], said: Readings, own: OwnCode) -> None:
    """Take the user's own table, which applies to this car, beside the words."""
    mine = (own_candidate(own.component, own.stage),) if own.component else ()
    typed: Readings = () if own.fault == "unknown" else ((own.fault, 1.0),)
    fault.readings, fault_clash = _join_readings(said, typed)
    fault.candidates, part_clash = _join_candidates(named, mine, with_stage=True)
    fault.basis = "words+code" if named or said else "code"
    fault.sources, fault.code_title = (own.source,), own.text
    fault.clash = (("part",) if part_clash else ()) + (("fault",) if fault_clash else ())


def _is_modern(code: Code | None) -> bool:
    """Tell whether a code carries a failure type of the standard, not an older maker's symptom.

    Makers used numbers of the standard for other stages before its three-byte form; so only then
    a stage that the words leave open is taken from the number.
    """
    return code is not None and code.failure_type is not None and code.failure_type[0] != "0"


def _take_table(
    fault: Fault, named: tuple[Candidate, ...], row: CodeMeaning | None, scope: Scope
) -> None:
    """Take a shipped table's reading of the code beside the words."""
    fault.candidates, fault.basis = named, "words" if named else "none"
    if row is None:
        return
    table = row.table
    numbers = candidates_of_row(row, scope)
    is_weak = table.basis in ("from-memory", "judgement")
    if named and is_weak and not any(w.agrees(n) for w in named for n in numbers):
        return
    if not named:
        shares = (msgspec.structs.replace(n, weight=n.weight * table.share) for n in numbers)
        joined, is_clash = (*shares, Candidate(weight=1.0 - table.share)), False
    elif is_weak:
        joined, is_clash = _narrowed(named, numbers), False
    else:
        joined, is_clash = _join_candidates(named, numbers, with_stage=_is_modern(fault.code))
    fault.candidates, fault.basis = tuple(joined), "words+code" if named else "code"
    fault.sources, fault.weak = (table.source,), table.basis if is_weak else None
    fault.clash, fault.code_title = (("part",) if is_clash else ()), row.title


def _narrowed(
    named: tuple[Candidate, ...], numbers: tuple[Candidate, ...]
) -> tuple[Candidate, ...]:
    """Words with alternatives, narrowed by an unconfirmed number; nothing is filled in."""
    if len(named) == 1:
        return named
    fitting = [w for w in named if any(w.agrees(n) for n in numbers)]
    return rank(fitting)


def _join_candidates(
    named: tuple[Candidate, ...], numbers: tuple[Candidate, ...], *, with_stage: bool
) -> tuple[tuple[Candidate, ...], bool]:
    """Words and number together: what agrees is filled in, what does not is kept as less likely."""
    if not named or not numbers:
        return named or numbers, False
    both = [
        msgspec.structs.replace(w.filled(n, with_stage), weight=w.weight * n.weight)
        for w in named
        for n in numbers
        if w.agrees(n)
    ]
    if both and not any(_stages_differ(w, n) for w in named for n in numbers):
        return rank(both), False
    kept = [msgspec.structs.replace(w, weight=w.weight * (1.0 - NUMBER_SHARE)) for w in named]
    lesser = [msgspec.structs.replace(n, weight=n.weight * NUMBER_SHARE) for n in numbers]
    return rank([*kept, *lesser]), True


def _stages_differ(one: Candidate, two: Candidate) -> bool:
    return one.stage is not None and two.stage is not None and one.stage != two.stage


def tell(fault: Fault, scope: Scope, name: str) -> CodeLine:
    """Return a fault as a line of the answer."""
    part, code = fault.part, fault.code
    raw, statuses = "\n".join(fault.raws), _statuses(fault)
    is_unset = code is not None and code.status_byte == 0  # nothing failed, nothing is stored
    line = CodeLine(
        line=fault.first.number,
        raw=raw,
        code=code.code if code and code.style != "cut" else None,
        failure_type=code.failure_type if code else None,
        status=statuses,
        component=part.component if part else None,
        kind=_shared(fault, "kind"),
        place=_shared(fault, "place"),
        side=_side(fault, scope),
        stage=_stage(fault),
        fault=fault.meant,
        candidates=_told_candidates(fault, scope),
        basis=fault.basis,
        sources=fault.sources,
        weak=fault.weak,
        module=fault.first.module,
        also=_also(code) if code else (),
        unit=fault.unit,
        present=not fault.absent and "cleared" not in statuses and not is_unset,
        is_doubtful=fault.absent == UNSURE,
        origin=Origin(file=name, line=fault.first.number, raw=fault.raws[0]),
    )
    return msgspec.structs.replace(line, present=False) if line.is_untested else line


def _also(code: Code) -> tuple[str, ...]:
    """Other notations on the line; also how a code that was printed as hex digits stood there."""
    printed = (code.printed,) if code.style.startswith("hex") and code.is_exact else ()
    return (*printed, *code.also)


def _shared(fault: Fault, field: str) -> str | None:
    """Kind or place that the clearly likelier readings have in common."""
    shares: dict[str, float] = {}
    for part in fault.candidates:
        value = getattr(part, field)
        if value:
            shares[value] = shares.get(value, 0.0) + part.weight
    return next((v for v, share in shares.items() if share >= CLEAR), None)


def _stage(fault: Fault) -> int | None:
    """The stage, when every reading that counts has the same."""
    stages = {p.stage for p in fault.candidates if p.kind and p.weight > 1.0 - CLEAR}
    return next(iter(stages)) if len(stages) == 1 else None


def _side(fault: Fault, scope: Scope) -> Side | None:
    """Side of the car that the words name: by side, or by seat where the hand is known."""
    words = fault.words
    named: list[Side] = [s for s in ("left", "right") if s in words.sides]
    by_seat = {side_of(s, scope.hand.side) for s in words.seats} if scope.hand.is_known else set()
    if words.is_driver_doubtful or len(named) > 1 or len(words.seats) > 1:
        return None
    if named:
        return named[0] if not by_seat or named[0] in by_seat or len(words.rows) else None
    return next(iter(by_seat)) if by_seat else None


def _statuses(fault: Fault) -> tuple[Status, ...]:
    found = list(fault.words.statuses)
    code = fault.code
    is_told = code is not None and (code.is_exact or code.style == "maker")
    if code is not None and code.status_byte is not None and is_told:
        found += [s for s in byte_statuses(code.status_byte) if s not in found]
    if fault.typed_status is not None and fault.typed_status not in found:
        found.append(fault.typed_status)
    if "cleared" in found and "present" in found:
        found.remove("cleared")  # it came back
    return tuple(found)


def byte_statuses(byte: int) -> tuple[Status, ...]:
    """Return the status words of a status byte.

    Source: iso-14229-1: bit 0 test failed, 2 pending, 3 confirmed, 4 and 6 test not completed,
    5 failed since clear. Pending or failed since clear, but not failing now, is intermittent.
    """
    failing, pending, confirmed = byte & 0x01, byte & 0x04, byte & 0x08
    found: list[Status] = []
    if failing:
        found.append("present")
    if pending:
        found.append("pending")
    if confirmed:
        found.append("stored")
    if not failing and pending and byte & 0x20:
        found.append("intermittent")
    if byte & 0x50:
        found.append("not-tested")
    return tuple(found)


def _told_candidates(fault: Fault, scope: Scope) -> tuple[report.Candidate, ...]:
    found, code = _weighed(fault), fault.code
    if code is not None and code.style == "camera":
        found = found or (report.Candidate(component=None, fault=fault.meant, weight=1.0),)
        return tuple(msgspec.structs.replace(c, code=code.readings[0]) for c in found)
    if found or code is None or code.is_exact:
        return found
    if code.style == "cut":
        return _completions(code, scope)
    readings = code.readings if len(code.readings) >= _TWO_READINGS else (code.code,)
    return tuple(
        report.Candidate(component=None, fault="unknown", weight=1.0 / len(readings), code=r)
        for r in readings
    )


def _weighed(fault: Fault) -> tuple[report.Candidate, ...]:
    """Every part with every fault, with weights that sum to one."""
    if not fault.candidates and len(fault.readings) < _TWO_READINGS:
        return ()
    readings: Readings = fault.readings or (("unknown", 1.0),)
    parts = fault.candidates or (_ANYTHING,)
    found = [_told_candidate(p, f, p.weight * w) for p in parts for f, w in readings]
    found = sorted(found, key=lambda c: -c.weight)[:_MOST_CANDIDATES]
    total = sum(c.weight for c in found)
    return tuple(msgspec.structs.replace(c, weight=c.weight / total) for c in found)


def _told_candidate(part: Candidate, fault: FaultWord, weight: float) -> report.Candidate:
    return report.Candidate(
        component=part.component,
        kind=part.kind or None,
        place=part.place,
        stage=part.stage,
        fault=fault,
        weight=weight,
    )


def _completions(code: Code, scope: Scope) -> tuple[report.Candidate, ...]:
    """Codes of the tables that a code cut short may have been."""
    codes = [c for c in sorted(scope.catalog.codes.codes) if c.startswith(code.code)]
    return tuple(
        report.Candidate(component=None, fault="unknown", weight=1.0 / len(codes), code=c)
        for c in codes
    )
