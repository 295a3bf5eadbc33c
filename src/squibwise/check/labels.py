"""Verdicts on fitted parts: number, origin, recall."""

from squibwise.catalog.load import Catalog
from squibwise.model.belief import Because
from squibwise.model.case import Case
from squibwise.model.evidence import PartLabel
from squibwise.model.names import split_component
from squibwise.model.proof import Verdict
from squibwise.model.words import Outcome

Judged = tuple[Outcome, str, str]

_USED = ("recycled", "donor", "repaired")


def label_verdicts(case: Case, catalog: Catalog) -> list[Verdict]:
    """Return a verdict on the newest label of every component."""
    newest: dict[str, PartLabel] = {}
    for item in case.evidence:
        if isinstance(item, PartLabel):
            newest[item.component] = item
    return [_verdict(label, catalog) for label in newest.values()]


def _verdict(label: PartLabel, catalog: Catalog) -> Verdict:
    kind = catalog.kinds.get(split_component(label.component).kind)
    outcome, text, remedy = _judge(label, bool(kind and kind.fires))
    caution = catalog.cautions["provenance"]
    return Verdict(
        what=f"label:{label.component}",
        outcome=outcome,
        text=f"{label.component}: {text}",
        decide=remedy,
        because=(Because(text=caution.text, evidence=(label.id,), sources=(caution.source,)),),
        origin=label.origin,
    )


def _judge(label: PartLabel, charge: bool) -> Judged:
    if not label.number.strip():
        return "undecided", "the part number is not written down.", "Read it from the label."
    if label.provenance == "unknown":
        remedy = "Find out who made and sold it; a part of unknown origin is not fitted."
        return "undecided", f"part {label.number} is of unknown origin.", remedy
    if label.recall_checked is False and (charge or label.provenance in _USED):
        text = f"part {label.number} was not checked against recalls."
        return "not met", text, "Check it by part number and donor VIN, and record it."
    if label.provenance in _USED:
        return _judge_used(label, charge)
    if charge and not label.seller.strip():
        remedy = "Write down where it was bought: a new charge without a seller may be counterfeit."
        return "undecided", f"part {label.number} is new, its seller is not named.", remedy
    return "met", f"part {label.number}, new{_sold(label)}.", ""


def _judge_used(label: PartLabel, charge: bool) -> Judged:
    if charge and label.provenance == "repaired":
        remedy = "Show who repaired it and under which approval, or fit a new one."
        return "undecided", f"part {label.number} is a repaired charge.", remedy
    if not label.donor_vin:
        remedy = "Get it from the invoice; without it no recall check is possible."
        return "undecided", f"part {label.number} is used, its donor is not named.", remedy
    if label.recall_checked is None:
        remedy = "Check it by donor VIN and part number, and record recall_checked."
        return "undecided", f"part {label.number}: no recall check is recorded.", remedy
    text = f"part {label.number} of donor {label.donor_vin}{_sold(label)}, checked against recalls."
    return "met", text, ""


def _sold(label: PartLabel) -> str:
    return f" from {label.seller}" if label.seller else ""
