"""What the record states, as plain JSON, and the record around it: parts, tree, copies."""

import datetime as dt
from collections.abc import Iterable, Iterator
from typing import Any

import msgspec

from squibwise.catalog.load import Catalog, component_title, holds_charge
from squibwise.history.order import read_history
from squibwise.history.signed import settling_look
from squibwise.model.belief import Assessment, ComponentBelief
from squibwise.model.case import Case
from squibwise.model.cost import Cost
from squibwise.model.proof import Gate, ProofRecord, Verdict
from squibwise.model.words import WEAK_BASES
from squibwise.model.work import Work
from squibwise.prove.answering import answers, fitted_parts, photos
from squibwise.prove.gates import Context, gates, is_doubtful
from squibwise.prove.grades import grade_gates, papers
from squibwise.prove.sealing import canonical, exact, plain, seal

Json = dict[str, Any]
KEYS = frozenset(
    "title region currency car event components reasons live_charges contradictions next_looks "
    "assumptions surprise_db profile work costs verdicts findings texts papers parts answers "
    "photos sources weak evidence".split()
)


def content(context: Context, costs: tuple[Cost, ...] | None) -> Json:
    """Return everything the record states.

    Args:
        context: Case, assessment, work and verdicts.
        costs: What is still to be paid; None leaves every price out, as in a buyer's copy.
    """
    case, assessment, work = context.case, context.assessment, context.work
    stated: Json = {
        "title": case.title,
        "region": case.region,
        "currency": case.currency,
        "car": _car(context),
        "event": _builtins(assessment.event),
        "components": [_component(c, context) for c in assessment.components],
        "reasons": {c.id: _builtins(c.because) for c in assessment.components},
        "live_charges": list(live_charges(context)),
        "contradictions": _builtins(assessment.contradictions),
        "next_looks": _builtins(assessment.next_looks),
        "assumptions": _builtins(assessment.assumptions),
        "surprise_db": assessment.surprise_db,
        "profile": _builtins(case.profile),
        "work": _builtins(work),
        "costs": None if costs is None else _builtins(costs),
        "verdicts": _builtins(context.verdicts),
        "findings": _builtins((*case.findings, *assessment.findings)),
        "texts": fixed_texts(context.catalog),
        "papers": list(papers(context)),
        "parts": list(fitted_parts(context)),
        "answers": answers(context),
        "photos": list(photos(context)),
    }
    stated["sources"] = _sources(stated, context.catalog)
    stated["weak"] = _weak(stated, context.catalog)
    answer: Json = plain(stated)
    answer["evidence"] = plain(exact(_builtins(case.evidence)))
    return answer


def live_charges(context: Context) -> Iterator[Json]:
    """Yield every charge that is not proven spent, with whether its device has fired otherwise.

    A device whose other charge has fired is the dangerous one: it looks spent and is not.
    """
    spent = context.catalog.fact("release.spent-enough").number()
    for belief in context.assessment.components:
        if not holds_charge(belief.id, context.catalog):
            continue
        live = [s for s, b in belief.stages.items() if b.fired < spent]
        if live:
            yield {
                "component": belief.id,
                "title": component_title(belief.id, context.catalog),
                "stages": live,
                "looks_spent": len(live) < len(belief.stages) or _looks_spent(belief),
            }


def _looks_spent(belief: ComponentBelief) -> bool:
    """Return whether it is likelier than not that some charge of the device has fired."""
    return belief.now.fired >= max(belief.now.sound, belief.now.faulty)


def _car(context: Context) -> Json:
    car: Json = _builtins(context.case.car)
    return car


def _component(belief: ComponentBelief, context: Context) -> Json:
    stated: Json = _builtins(belief)
    del stated["because"]
    for stage in stated["stages"].values():
        del stage["where"]  # where a fault is looked for is no statement about the part
    return stated | {
        "title": component_title(belief.id, context.catalog),
        "fired_in_crash": _fired_word(belief, context.catalog),
        "doubtful": is_doubtful(belief, context)
        and belief.now.sound > context.catalog.fact("release.surely-not").number(),
        "look": settling_look(belief.id, context.assessment, context.catalog),
    }


def _fired_word(belief: ComponentBelief, catalog: Catalog) -> str:
    if belief.after_crash.fired >= catalog.fact("release.spent-enough").number():
        return "fired"
    floor = catalog.fact("release.surely-not").number()
    return "not" if belief.after_crash.fired <= floor else "perhaps"


def fixed_texts(catalog: Catalog) -> Json:
    """Return the words that stand in every record."""
    texts = catalog.record_texts
    return {
        "footer": texts["footer"].text,
        "standing": texts["standing"].text,
        "limits": [t.text for t in texts.values() if t.id.startswith("limit-")],
    }


def _sources(stated: Json, catalog: Catalog) -> list[Json]:
    """Return every source that something in the record leans on, once."""
    cited = set(_words(stated, "sources")) | set(_words(stated, "source"))
    return [_builtins(s) for s in catalog.sources.values() if s.id in cited]


def _weak(stated: Json, catalog: Catalog) -> list[Json]:
    """Return by name what in the record leans on judgement or memory alone."""
    rows = [_builtins(f) for f in _weak_facts(stated, catalog)]
    rows = [
        {k: r[k] for k in ("id", "value", "unit", "low", "high", "basis", "note")} for r in rows
    ]
    rows += [{"id": text, "basis": basis} for text, basis in _weak_reasons(stated)]
    return rows


def _weak_facts(stated: Json, catalog: Catalog) -> Iterator[Any]:
    named = {a["fact"] for a in stated["assumptions"] if a["fact"]}
    for name in sorted(named):
        fact = catalog.facts.get(name)
        if fact is not None and fact.basis in WEAK_BASES:
            yield fact


def _weak_reasons(stated: Json) -> list[tuple[str, str]]:
    """Return the reasons that say of themselves that they are weak, each once."""
    return list(dict.fromkeys((r["text"], r["weak"]) for r in _reasons(stated) if r["weak"]))


def _reasons(value: Any) -> Iterator[Json]:  # noqa: ANN401 - walks plain JSON
    if isinstance(value, dict):
        if "weak" in value and "text" in value:
            yield value
        for part in value.values():
            yield from _reasons(part)
    elif isinstance(value, list):
        for part in value:
            yield from _reasons(part)


def _words(value: Any, key: str) -> Iterator[str]:  # noqa: ANN401 - walks plain JSON
    if isinstance(value, dict):
        found = value.get(key)
        yield from _strings(found)
        for part in value.values():
            yield from _words(part, key)
    elif isinstance(value, list):
        for part in value:
            yield from _words(part, key)


def _strings(found: Any) -> Iterable[str]:  # noqa: ANN401 - any JSON value
    if isinstance(found, str):
        return (found,)
    return tuple(f for f in found if isinstance(f, str)) if isinstance(found, list) else ()


def _builtins(value: Any) -> Any:  # noqa: ANN401 - any record
    return _lists(msgspec.to_builtins(value))


def _lists(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    if isinstance(value, dict):
        return {k: _lists(v) for k, v in value.items()}
    return [_lists(v) for v in value] if isinstance(value, list | tuple) else value


SCHEMA = "squibwise-record-3"
CRASH_DATA = ("event", "reasons", "next_looks", "assumptions", "weak")
PRICES = ("costs",)
WITHHELD = tuple(f"content/{key}" for key in (*CRASH_DATA, *PRICES))
"""Parts that a copy may leave out, besides entries of crash data."""


def record(
    case: Case,
    assessment: Assessment,
    work: Work,
    costs: tuple[Cost, ...] | None,
    verdicts: tuple[Verdict, ...],
    catalog: Catalog,
    today: dt.date,
    made_by: str = "",
) -> ProofRecord:
    """Return the written record; a draft while any gate is open.

    Args:
        case: The case.
        assessment: What happened and the state of each component.
        work: What must be done, with what is done.
        costs: What is still to be paid; None for a buyer's copy without prices.
        verdicts: Every checked limit.
        catalog: Facts and the texts that stand in every record.
        today: Day of issue.
        made_by: Version of the program.

    Returns:
        The record with its digest, not signed.

    Raises:
        InputError: Something in it cannot be written as canonical JSON.

    Source: RFC 8785 for the canonical form of each part, RFC 6962 for the tree over them.
    """
    context = Context(
        case=case,
        history=read_history(case.evidence),
        assessment=assessment,
        work=work,
        verdicts=verdicts,
        catalog=catalog,
    )
    asked = gates(case, assessment, work, verdicts, catalog)
    asked = grade_gates(_with_late(asked, case, today), context)
    unsealed = ProofRecord(
        schema=SCHEMA,
        case_id=plain(case.id),
        issued_on=today.isoformat(),
        draft=any(g.open for g in asked),
        content=content(context, costs),
        gates=tuple(msgspec.convert(plain(msgspec.to_builtins(g)), Gate) for g in asked),
        attachments=plain(dict(case.files)),
        made_by=made_by,
    )
    open_parts = msgspec.structs.replace(unsealed, may_withhold=tuple(_may_withhold(unsealed)))
    return seal(open_parts)


def _with_late(asked: tuple[Gate, ...], case: Case, today: dt.date) -> tuple[Gate, ...]:
    """Return the gates, the first open when an entry is dated after the day of issue."""
    late = [
        f"{e.id} is dated {e.time.date()}, after the day of issue."
        for e in case.evidence
        if e.time is not None and e.time.date() > today
    ]
    first, *rest = asked
    if not late:
        return asked
    missing = (*first.missing, *late)
    opened = msgspec.structs.replace(first, open=True, missing=missing, remedy=_CORRECT)
    return (opened, *rest)


_CORRECT = "Correct the time of the entry, or set the clock right."


def _may_withhold(record: ProofRecord) -> Iterator[str]:
    """Yield the parts that a buyer's copy may leave out: crash data, what it tells, and prices."""
    yield from WITHHELD
    for number, entry in enumerate(record.content["evidence"]):
        if entry["type"] == "recorder":
            yield f"content/evidence/{number}"


def to_json(record: ProofRecord) -> bytes:
    """Return a record as canonical JSON, the form in which it is handed on."""
    return canonical(msgspec.to_builtins(record))
