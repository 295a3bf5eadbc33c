"""Write the record: everything stated, every gate, the hashes of the files, the digest."""

import datetime as dt
from typing import Any

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.history.order import read_history
from squibwise.model.belief import Assessment
from squibwise.model.case import Case
from squibwise.model.cost import Cost
from squibwise.model.proof import Gate, ProofRecord, Verdict
from squibwise.model.work import Work
from squibwise.prove.canonical import canonical, digest, plain
from squibwise.prove.content import content
from squibwise.prove.gates import Context, gates

SCHEMA = "squibwise-record-2"
OUTSIDE_DIGEST = ("digest", "signature")


def record(
    case: Case,
    assessment: Assessment,
    work: Work,
    costs: tuple[Cost, ...] | None,
    verdicts: tuple[Verdict, ...],
    catalog: Catalog,
    today: dt.date,
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

    Returns:
        The record with its digest, not signed.

    Raises:
        InputError: Something in it cannot be written as canonical JSON.

    Source: RFC 8785 for the canonical form; SHA-256 over it. We differ from neither.
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
    unsealed = ProofRecord(
        schema=SCHEMA,
        case_id=plain(case.id),
        issued_on=today.isoformat(),
        draft=any(g.open for g in asked),
        content=content(context, costs),
        gates=tuple(msgspec.convert(plain(msgspec.to_builtins(g)), Gate) for g in asked),
        attachments=plain(dict(case.files)),
    )
    return msgspec.structs.replace(unsealed, digest=digest(sealed_part(unsealed)))


def sealed_part(record: ProofRecord) -> dict[str, Any]:
    """Return what the digest of a record covers: all of it but the digest and the signature."""
    value: dict[str, Any] = msgspec.to_builtins(record)
    return {k: v for k, v in value.items() if k not in OUTSIDE_DIGEST}


def to_json(record: ProofRecord) -> bytes:
    """Return a record as canonical JSON, the form in which it is handed on."""
    return canonical(msgspec.to_builtins(record))
