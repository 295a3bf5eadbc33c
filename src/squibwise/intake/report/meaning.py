"""Words, code number and failure type of one line joined to what it means.

Description beats number; where they disagree both are kept with weights and reported.
"""

import msgspec

from squibwise.catalog.codes import CodeMeaning, FailureType
from squibwise.intake.report.notation import CodeToken
from squibwise.intake.report.parts import (
    Part,
    Scope,
    code_parts,
    first_rule,
    own_part,
    parts,
    rank,
)
from squibwise.intake.report.sense import Sense
from squibwise.model.car import OwnCode
from squibwise.model.report import Candidate
from squibwise.model.words import Basis, Fault, Status

CLEAR = 0.75  # from this share on a reading is the one meant
NUMBER_SHARE = 0.1  # what the number keeps when the description says another thing
_MOST_CANDIDATES = 8

_ANYTHING = Part(kind="")

Faults = tuple[tuple[Fault, float], ...]


class Meaning(msgspec.Struct, frozen=True, kw_only=True):
    """What one line means.

    Attributes:
        parts: Parts it may mean, the likeliest first.
        faults: Faults it may mean, the likeliest first.
        basis: ``words``, ``code``, ``words+code`` or ``none``.
        sources: Sources of the tables used.
        weak: The weakest basis used.
        clash: What description and number disagree on: ``part``, ``fault``, both or nothing.
        code_title: What the table calls the code.
        status: Status that the failure type adds.
    """

    parts: tuple[Part, ...] = ()
    faults: Faults = ()
    basis: str = "none"
    sources: tuple[str, ...] = ()
    weak: Basis | None = None
    clash: tuple[str, ...] = ()
    code_title: str = ""
    status: Status | None = None

    @property
    def part(self) -> Part | None:
        """The part meant; None while several are left or its place is unknown."""
        if not self.parts or self.parts[0].weight < CLEAR or self.parts[0].place is None:
            return None
        return self.parts[0]

    @property
    def fault(self) -> Fault:
        """The fault meant; ``unknown`` while several are left."""
        if self.faults and self.faults[0][1] >= CLEAR:
            return self.faults[0][0]
        return "unknown"

    def candidates(self) -> tuple[Candidate, ...]:
        """Return every reading with its weight; they sum to one."""
        if not self.parts and len(self.faults) < 2:
            return ()
        faults: Faults = self.faults or (("unknown", 1.0),)
        parts = self.parts or (_ANYTHING,)
        found = [_candidate(p, f, p.weight * w) for p in parts for f, w in faults]
        found = sorted(found, key=lambda c: -c.weight)[:_MOST_CANDIDATES]
        total = sum(c.weight for c in found)
        return tuple(msgspec.structs.replace(c, weight=c.weight / total) for c in found)


def join(sense: Sense, token: CodeToken | None, scope: Scope) -> Meaning:
    """Return what the words and the code of one line mean together."""
    words = parts(sense, scope)
    features = sense.rule_features() | ({"haspart"} if words else set())
    said = _faults(first_rule(scope.catalog.vocabulary.faults, features))
    own = _own_row(token, scope)
    table = _table_row(token, scope)
    if table is not None and not said and all(p.kind == "control-unit" for p in words):
        words = ()  # the unit's name beside a known code labels the report, not the part
    if own is not None:
        return _with_own(words, said, own)
    meaning = _with_table(words, table, scope, _is_modern(token))
    record = None if meaning.clash else _type_row(token, scope)  # older numbering, other bytes
    typed = _typed(record)
    faults, fault_clash = _join_faults(said, typed)
    return msgspec.structs.replace(
        meaning,
        faults=faults,
        clash=(*meaning.clash, *(("fault",) if fault_clash else ())),
        basis=_basis(bool(words or said), meaning.basis in ("code", "words+code"), bool(typed)),
        sources=meaning.sources or (("sae-j2012",) if typed else ()),
        status=record.status if record else None,
    )


def _candidate(part: Part, fault: Fault, weight: float) -> Candidate:
    return Candidate(
        component=part.component,
        kind=part.kind or None,
        place=part.place,
        stage=part.stage,
        fault=fault,
        weight=weight,
    )


def _basis(has_words: bool, has_code: bool, has_type: bool) -> str:
    if has_words:
        return "words+code" if has_code or has_type else "words"
    return "code" if has_code or has_type else "none"


def _faults(given: tuple[tuple[str, float], ...]) -> Faults:
    return tuple((msgspec.convert(name, Fault), share) for name, share in given)


def _own_row(token: CodeToken | None, scope: Scope) -> OwnCode | None:
    """The row of the user's own table that fits best: with the failure type before without."""
    if token is None or scope.car is None:
        return None
    names = {token.code, token.printed, *token.readings, *token.also}
    rows = [r for r in scope.car.codes if r.code in names]
    exact = [r for r in rows if r.failure_type == token.failure_type]
    plain = [r for r in rows if r.failure_type is None]
    return next(iter(exact + plain), None)


def _table_row(token: CodeToken | None, scope: Scope) -> CodeMeaning | None:
    if token is None or not token.is_exact or scope.is_foreign:
        return None
    return scope.catalog.codes.codes.get(token.code)


def _type_row(token: CodeToken | None, scope: Scope) -> FailureType | None:
    if token is None or token.failure_type is None or not token.is_exact:
        return None
    return scope.catalog.codes.failure_types.get(token.failure_type)


def _typed(record: FailureType | None) -> Faults:
    """Faults of a failure type; a type that tells nothing adds nothing."""
    if record is None or record.gives == (("unknown", 1.0),):
        return ()
    return _faults(record.gives)


def _join_faults(said: Faults, typed: Faults) -> tuple[Faults, bool]:
    """Fault words of the description with those of the failure type byte."""
    if not said or not typed:
        return said or typed, False
    both = [(f, w) for f, w in said if f in dict(typed)]
    if both:
        total = sum(w for _, w in both)
        return tuple((f, w / total) for f, w in both), False
    kept = [(f, w * (1.0 - NUMBER_SHARE)) for f, w in said]
    return (*kept, *((f, w * NUMBER_SHARE) for f, w in typed)), True


def _with_own(words: tuple[Part, ...], said: Faults, own: OwnCode) -> Meaning:
    """The user's own table, which applies to this car, beside the words."""
    mine = (own_part(own.component, own.stage),) if own.component else ()
    typed: Faults = () if own.fault == "unknown" else ((own.fault, 1.0),)
    faults, fault_clash = _join_faults(said, typed)
    joined, part_clash = _join_parts(words, mine, with_stage=True)
    clash = (("part",) if part_clash else ()) + (("fault",) if fault_clash else ())
    return Meaning(
        parts=joined,
        faults=faults,
        basis="words+code" if words or said else "code",
        sources=(own.source,),
        clash=clash,
        code_title=own.text,
    )


def _is_modern(token: CodeToken | None) -> bool:
    """Tell whether a code carries a failure type of the standard, not an older maker's symptom.

    Makers used numbers of the standard for other stages before its three-byte form; so only then
    a stage that the words leave open is taken from the number.
    """
    return token is not None and token.failure_type is not None and token.failure_type[0] != "0"


def _with_table(
    words: tuple[Part, ...], row: CodeMeaning | None, scope: Scope, is_modern: bool
) -> Meaning:
    """A shipped table's reading of the code beside the words."""
    if row is None:
        return Meaning(parts=words, basis="words" if words else "none")
    table = row.table
    numbers = code_parts(row, scope)
    is_weak = table.basis in ("from-memory", "judgement")
    if not words:
        numbers = tuple(msgspec.structs.replace(p, weight=p.weight * table.share) for p in numbers)
        joined, clash = (*numbers, _something_else(1.0 - table.share)), False
    elif is_weak and not any(w.agrees(n) for w in words for n in numbers):
        return Meaning(parts=words, basis="words")
    elif is_weak:
        joined, clash = _narrowed(words, numbers), False
    else:
        joined, clash = _join_parts(words, numbers, with_stage=is_modern)
    return Meaning(
        parts=tuple(joined),
        basis="words+code" if words else "code",
        sources=(table.source,),
        weak=table.basis if is_weak else None,
        clash=("part",) if clash else (),
        code_title=row.title,
    )


def _something_else(weight: float) -> Part:
    return Part(kind="", weight=weight)


def _narrowed(words: tuple[Part, ...], numbers: tuple[Part, ...]) -> tuple[Part, ...]:
    """Words with alternatives, narrowed by an unconfirmed number; nothing is filled in."""
    if len(words) == 1:
        return words
    fitting = [w for w in words if any(w.agrees(n) for n in numbers)]
    return rank(fitting)


def _join_parts(
    words: tuple[Part, ...], numbers: tuple[Part, ...], *, with_stage: bool
) -> tuple[tuple[Part, ...], bool]:
    """Words and number together: what agrees is filled in, what does not is kept as less likely."""
    if not words or not numbers:
        return words or numbers, False
    both = [
        msgspec.structs.replace(w.filled(n, with_stage), weight=w.weight * n.weight)
        for w in words
        for n in numbers
        if w.agrees(n)
    ]
    if both and not any(_stages_differ(w, n) for w in words for n in numbers):
        return rank(both), False
    kept = [msgspec.structs.replace(w, weight=w.weight * (1.0 - NUMBER_SHARE)) for w in words]
    lesser = [msgspec.structs.replace(n, weight=n.weight * NUMBER_SHARE) for n in numbers]
    return rank([*kept, *lesser]), True


def _stages_differ(one: Part, two: Part) -> bool:
    return one.stage is not None and two.stage is not None and one.stage != two.stage
