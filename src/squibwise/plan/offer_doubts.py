"""What is doubtful of an offer, in words: prices that are no price, papers, labels, answers."""

import re
from collections.abc import Iterable, Sequence

from squibwise.catalog.load import Catalog
from squibwise.catalog.market import UsedPolicy
from squibwise.model.case import Case
from squibwise.model.cost import Money
from squibwise.model.market import KEPT_STATES, JudgedOffer, Need, Offer
from squibwise.model.names import side_of, split_component
from squibwise.model.origin import Finding
from squibwise.plan.offer_names import list_places

_SPENT = "the plan needs another; what cannot go back of its price stays in the sums"
_PAPERS = {
    "receipt": "a receipt",
    "donor-vin": "the VIN of the donor car",
    "recall-check": "the recall check of the number",
    "theft-check": "the check against theft records",
    "consent": "the customer's written consent",
    "crash-check": "a read-out that shows no stored crash",
    "part-number": "the part number",
}


def cite(rule: UsedPolicy) -> str:
    """Return a rule with where it stands."""
    return f"{rule.text} [{rule.source}, {rule.at}]"


def missing_papers(offer: Offer, asked: Iterable[str]) -> tuple[str, ...]:
    """Return which of the papers and particulars asked for an offer does not name."""
    has = set(offer.documents)
    has |= {"donor-vin"} if offer.donor_vin else set()
    has |= {"part-number"} if offer.part_number else set()
    return tuple(word for word in asked if word not in has)


def bare_number(number: str) -> str:
    """Return a part number without the signs that people write differently."""
    return "".join(c for c in number.upper() if c.isalnum())


def is_suspect(offer: Offer, need: Need, catalog: Catalog, rivals: Sequence[Offer] = ()) -> str:
    """Return why a new live part is likely counterfeit: far too cheap beside what; else nothing.

    Other sellers are looked at where the price is below the lowest usual one, or none is known:
    one that asks too much makes no ordinary price suspect.

    Args:
        offer: What is asked about.
        need: What it would be bought for.
        catalog: Below which share of another price it is far too cheap.
        rivals: Offers for the same need, and for its twins elsewhere in the car.
    """
    price, share = offer.price, catalog.fact("market.too-cheap").number()
    if offer.condition != "new" or not need.live:
        return ""
    mine, low = offer.sum_for(need), _find_usual_low(offer, need)
    if low is not None and mine < share * low:
        return "what it usually costs"
    if low is not None and mine >= low:
        return ""  # an ordinary price, however dear the others are
    alone = low is None  # then the same seller's other pieces tell too
    others = [o for o in rivals if o.supplier != offer.supplier or (alone and o is not offer)]
    others = [o for o in others if o.price.currency == price.currency]
    others.sort(key=lambda o: o.sum_for(need))
    new = next((o for o in others if o.condition == "new"), None)
    if new is not None and mine < share * new.sum_for(need):
        return f"what another new one costs ({new.price.text()}, {new.supplier})"
    used = next((o for o in others if o.condition != "new"), None)
    if used is not None and mine < used.sum_for(need):
        return f"what {used.supplier} asks for a {used.condition} one ({used.price.text()})"
    return ""


def _find_usual_low(offer: Offer, need: Need) -> int | None:
    """Return the lowest usual price of what is needed; None = unknown in this currency.

    In minor units.
    """
    usual = need.usual_low
    if usual is None or usual.currency != offer.price.currency:
        return None
    return usual.minor * need.quantity


def tell_unknown_prices(judged: Iterable[JudgedOffer], needs: Iterable[Need]) -> list[Finding]:
    """Say once of which new live parts nobody knows what they usually cost, in this currency."""
    by_key = {n.key: n for n in needs}
    unknown: dict[str, dict[str, None]] = {}
    for offer, need in ((j.offer, by_key.get(j.need)) for j in judged if j.is_usable):
        currency = offer.price.currency
        if need is None or not need.live or offer.condition != "new" or offer.state in KEPT_STATES:
            continue
        if _find_usual_low(offer, need) is None:
            unknown.setdefault(currency, {})[need.title] = None
    return [
        Finding(
            code="offer-price-unknown",
            severity="warning",
            message=f"No usual price is known in {currency}: whether these new live parts are far "
            f"too cheap was not looked at: {'; '.join(titles)}.",
            remedy="Ask for the maker's invoice and the label before they are ordered.",
        )
        for currency, titles in unknown.items()
    ]


def is_dear(offer: Offer, need: Need, catalog: Catalog) -> bool:
    """Is it offered so far above its usual price that a figure may be wrong."""
    high, price = need.usual_high, offer.price
    if high is None or high.currency != price.currency:
        return False
    return (
        offer.sum_for(need) > catalog.fact("market.too-dear").number() * high.minor * need.quantity
    )


def tell_mismatch(offer: Offer, need: Need, wrong: str) -> Finding:
    """Say that what arrived is not what was ordered."""
    money = Money(minor=offer.sum_for(need), currency=offer.price.currency).text()
    return Finding(
        code="arrival-mismatch",
        severity="warning",
        message=f"The {need.title} from {offer.supplier} is not what was ordered: {wrong}. It is "
        f"not fitted, not counted on, and its {money} are in no sum.",
        remedy="Reject it (state 'rejected') and have its price back. If its number replaces the "
        "ordered one, let the parts desk confirm that and write it into the part number.",
        origin=offer.origin,
    )


def tell_not_compared(offer: Offer, need: Need) -> Finding:
    """Say that nobody has read the label of what arrived."""
    return Finding(
        code="arrival-not-compared",
        severity="warning" if need.live else "note",
        message=f"The {need.title} from {offer.supplier} arrived; nobody has compared its label.",
        remedy="Read its label before it is fitted and write the number into the column "
        "'label number'.",
        origin=offer.origin,
    )


def tell_refused(found: JudgedOffer, need: Need, rule: UsedPolicy) -> Finding:
    """Say what a rule has against an offer, and what would settle it."""
    offer, only = found.offer, found.policy == "price-only"
    lacks = missing_papers(offer, rule.without)
    remedy = "Settle what is asked for, or take another offer."
    if lacks:
        asked = " and ".join(_PAPERS.get(w, w.replace("-", " ")) for w in lacks)
        remedy = f"Ask {offer.supplier} for {asked}, or take another offer."
    elif rule.says == "price-only":
        remedy = "Answer what the maker's rule of this car is, or take another offer."
    verdict = "shown and not counted on" if only else "refused"
    if offer.state in KEPT_STATES:
        verdict = f"{offer.state}; it is not to be fitted as things stand, and {_SPENT}"
    return Finding(
        code="offer-price-only" if only else "offer-refused",
        severity="note" if only and offer.state not in KEPT_STATES else "warning",
        message=f"{offer.supplier}'s {offer.condition} {need.title} is {verdict}: {cite(rule)}",
        remedy=remedy,
        origin=offer.origin,
    )


def tell_too_cheap(found: JudgedOffer, need: Need, beside: str) -> Finding:
    """Say that a new live part costs too little to be one."""
    is_kept = found.offer.state in KEPT_STATES
    return Finding(
        code="offer-too-cheap",
        severity="warning",
        message=f"{found.offer.price.text()} for a new {need.title} is far below "
        f"{beside}: a counterfeit is likely. It is not counted on"
        + (f", and {_SPENT}." if is_kept else "."),
        remedy="Ask for the maker's invoice and the label; counterfeit inflators have killed.",
        origin=found.offer.origin,
    )


def tell_too_dear(offer: Offer, need: Need) -> Finding:
    """Say that a price may be of something else."""
    assert need.usual_high is not None  # noqa: S101
    return Finding(
        code="offer-too-dear",
        severity="warning",
        message=f"{offer.price.text()} for {need.title} is far above what it usually costs "
        f"(at most about {need.usual_high.text()}).",
        remedy="Look whether a sign or a set is meant; if the price is right, nothing is to do.",
        origin=offer.origin,
    )


def tell_too_few(offer: Offer, need: Need) -> Finding:
    """Say that fewer are offered than are needed."""
    return Finding(
        code="offer-too-few",
        severity="warning",
        message=f"{offer.supplier} states {offer.quantity} of {offer.times(need)} that are needed: "
        f"{need.title}. It is not counted on.",
        remedy="Ask for the rest and correct the quantity, or take another offer.",
        origin=offer.origin,
    )


def tell_taken_for_all(offer: Offer, need: Need) -> Finding:
    """Say that the price of one place is counted for several."""
    return Finding(
        code="offer-one-for-all",
        severity="note",
        message=f"'{offer.fits}' names one place; its price is counted for each of "
        f"{', '.join(list_places(need))}.",
        remedy="If it is for that place only, write 1 in the column 'quantity'.",
        origin=offer.origin,
    )


def asked_of(case: Case, need: Need) -> dict[str, str]:
    """Return what a request asks of a part: side, stages, squib connectors, and for which car."""
    places = {split_component(c).place for c in need.contains}
    sides = sorted({s for p in places if (s := side_of(p, case.car.drive_hand))})
    stages = case.car.stages
    charges = [c for c in need.contains if c in stages] or list(need.contains[:1])
    squibs = sum(stages.get(c, 1) for c in charges)
    return {
        "side": " and ".join(sides),
        "stages": "; ".join(f"{c} {stages[c]}" for c in need.contains if stages.get(c, 1) > 1),
        "connectors": f"{squibs} squib" if need.live else "",
        "vin": case.car.vin or "",
    }


def compare_answer(offer: Offer, need: Need, case: Case, catalog: Catalog) -> str:
    """Return in what an answered request differs from what was asked for; empty = in nothing."""
    asked = asked_of(case, need)
    for word, told in offer.answered.items():
        wanted = asked.get(word, "")
        if not wanted:
            continue
        if word == "side":
            meant = catalog.market.meaning("label-side", told) or told.lower()
            differs = meant in ("left", "right") and meant != wanted
        elif word == "vin":
            differs = bare_number(told) != bare_number(wanted)
        else:
            differs = bool(_counts(told)) and _counts(told) != _counts(wanted)
        if differs:
            return f"its {word} came back as '{told}', asked for was '{wanted}'"
    return ""


def _counts(text: str) -> list[int]:
    """Return the counts in a cell of a request, the last number of each piece of it."""
    numbers = (re.findall(r"\d+", piece) for piece in text.split(";"))
    return sorted(int(n[-1]) for n in numbers if n)


def tell_other_answer(offer: Offer, need: Need, wrong: str) -> Finding:
    """Say that a request was answered for another part than was asked for."""
    return Finding(
        code="offer-other-part",
        severity="warning",
        message=f"{offer.supplier}'s {need.title} is not what was asked for: {wrong}. It is not "
        "counted on.",
        remedy=f"Ask {offer.supplier} again: another side, another count of stages or another car "
        "is another part. Correct the cell if only the writing is wrong.",
        origin=offer.origin,
    )
