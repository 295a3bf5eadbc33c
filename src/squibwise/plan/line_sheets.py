"""Sheets that go between the shop and parts desks: what is asked for, and how far each line is."""

import csv
import datetime as dt
import io
import math
from collections.abc import Mapping, Sequence

from squibwise.model.case import Case
from squibwise.model.cost import Money
from squibwise.model.evidence import Photo
from squibwise.model.market import BuyPlan, Need, Offer, OfferSheet, Purchase, Supplier
from squibwise.plan.offer_doubts import asked_of
from squibwise.plan.offers import old_labels


def list_requests(
    case: Case, needs: Sequence[Need], asked: Sequence[Need] = ()
) -> list[dict[str, str]]:
    """Return the rows of a sheet to send to parts desks; answered, it reads back as offers.

    What stands before the supplier is told; the rest is for the answer.

    Args:
        case: The car, the labels and photographs of its parts.
        needs: What is bought, or may be.
        asked: What only the maker's answer decides: its price and days.
    """
    labels = old_labels(case)
    return [
        {
            "offer": f"ask-{number}",
            "part": need.key,
            "asked for": need.title + (", price and days only" if need in asked else ""),
            "quantity": str(need.quantity),
            "unit": "each",
            **asked_of(case, need),
            "model year": str(case.car.model_year or ""),
            "old label number": next((labels[c] for c in need.contains if c in labels), ""),
            "photo": "; ".join(_photos(case, need)),
            "colour": "",
            "live": "yes" if need.live else "no",
            **dict.fromkeys(_ANSWER, ""),
            "currency": case.currency,
        }
        for number, need in enumerate((*needs, *asked), start=1)
    ]


_ANSWER = (
    "supplier", "part number", "condition", "price", "currency", "lead days", "shipping",
    "free from", "dangerous goods", "donor vin", "documents", "return days", "restock", "state",
    "label number", "label side",
)  # fmt: skip


def add_offer(sheet: str, offer: Mapping[str, str]) -> str:
    """Return a sheet of offers, as CSV, with one more below it under headings of its own.

    Args:
        sheet: As it was handed in; empty for a new one.
        offer: What was told, by heading: ``part``, ``supplier``, ``price`` and more.
    """
    first = sheet.partition("\n")[0]
    mark = next((m for m in (";", "\t") if m in first), ",")
    added = io.StringIO()
    write = csv.DictWriter(added, fieldnames=list(offer), delimiter=mark, lineterminator="\n")
    write.writeheader()
    head = added.getvalue()
    write.writerow(offer)
    below = added.getvalue()
    if f"\n{head}" in f"\n{sheet}":  # the last headings of the sheet are these
        below = below.removeprefix(head)
    return (f"{sheet.rstrip()}\n" if sheet.strip() else "") + below


def _photos(case: Case, need: Need) -> list[str]:
    photos = (e for e in case.evidence if isinstance(e, Photo))
    return [p.file for p in photos if p.component in need.contains]


def list_lines(sheet: OfferSheet, plan: BuyPlan, today: dt.date) -> list[dict[str, str]]:
    """Return every line of a sheet under our own headings, what the plan orders now as ordered.

    It reads back as the same offers: a later plan keeps what is ordered. What the plan cancels
    is returned.
    """
    moved = dict.fromkeys(plan.cancels, "returned")
    bought: dict[str, list[Purchase]] = {}
    for one in plan.purchases:
        if not (one.after_look or one.kept):
            moved[one.offer] = "ordered"
            bought.setdefault(one.offer, []).append(one)
    suppliers = {s.name: s for s in sheet.suppliers}
    return [
        _write_line(o, suppliers[o.supplier], moved, today) | _write_order(o, bought.get(o.id, ()))
        for o in sheet.offers
    ]


def _write_order(offer: Offer, bought: Sequence[Purchase]) -> dict[str, str]:
    """Return what a line says of an order: its key and how many, whatever the list becomes."""
    if not bought:
        return {}
    pieces = sum(p.quantity for p in bought)
    is_set = offer.pieces == 0 and pieces > 1
    return {
        "part": bought[0].need,
        "asked for": offer.fits,
        "unit": f"set of {pieces}" if is_set else _unit(offer),
        "quantity": str(math.ceil(pieces / offer.pieces) if offer.pieces else 1),
    }


def _unit(offer: Offer) -> str:
    return {1: "", 0: "set"}.get(offer.pieces, f"set of {offer.pieces}")


def _write_line(
    offer: Offer, supplier: Supplier, moved: Mapping[str, str], today: dt.date
) -> dict[str, str]:
    def plain(amount: Money | None) -> str:
        return "" if amount is None else amount.text().rpartition(" ")[0].replace(",", "")

    state = moved.get(offer.id, offer.state)
    ordered = today if state == "ordered" != offer.state else offer.ordered_on
    lead = offer.lead
    return {
        "offer": offer.id,
        "part": offer.fits,
        "asked for": "",
        "supplier": offer.supplier,
        "part number": offer.part_number,
        "condition": offer.condition,
        "price": plain(offer.price),
        "currency": offer.price.currency,
        "unit": _unit(offer),
        "quantity": "" if offer.quantity is None else str(offer.quantity),
        "lead low": str(lead.low),
        "lead days": str(lead.likely),
        "lead high": str(lead.high),
        "shipping": plain(supplier.shipping),
        "free from": plain(supplier.free_from),
        "dangerous goods": plain(supplier.dangerous),
        "donor vin": offer.donor_vin,
        "documents": "; ".join(offer.documents),
        "fails": f"{100 * offer.fails:g} %",
        "return days": "" if offer.return_days is None else str(offer.return_days),
        "restock": f"{100 * offer.restock:g} %",
        "state": state,
        "quoted on": offer.quoted_on.isoformat() if offer.quoted_on else "",
        "ordered on": ordered.isoformat() if ordered else "",
        "label number": offer.label_number,
        "label side": offer.label_side,
        "label says": offer.label_what,
    }
