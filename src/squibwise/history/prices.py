"""The prices a person entered, as a book to look things up in. Nothing is ever assumed."""

from collections.abc import Iterator

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.model.car import Price
from squibwise.model.case import Case
from squibwise.model.names import split_component
from squibwise.model.origin import Finding
from squibwise.model.work import Operation

LABOUR = "labour-hour"
CATALOG_CURRENCY = "USD"


class PriceBook(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """Usable prices by key, and what is wrong with the others.

    Attributes:
        prices: By component id, component kind, task or ``labour-hour``.
        findings: Prices that were not used, or that replaced another.
    """

    prices: dict[str, Price]
    findings: tuple[Finding, ...] = ()

    def find(self, *keys: str) -> Price | None:
        """Return the price under the first of these keys that has one; None when none has."""
        return next((self.prices[k] for k in keys if k in self.prices), None)


def read_price_book(case: Case) -> PriceBook:
    """Return the case's prices that are in its own currency; a later one replaces an earlier."""
    prices: dict[str, Price] = {}
    findings: list[Finding] = []
    for price in case.prices:
        if strange := _currencies(price) - {case.currency}:
            findings.append(_strange_currency(price, sorted(strange)[0], case.currency))
            continue
        if price.what in prices:
            findings.append(_repeated(price, prices[price.what]))
        prices[price.what] = price
    return PriceBook(prices=prices, findings=tuple(findings))


def price_levels(currency: str, catalog: Catalog) -> tuple[float, float, float] | None:
    """Return how list prices in a currency stand to those of the catalogue: least, usual, most."""
    if currency == CATALOG_CURRENCY:
        return 1.0, 1.0, 1.0
    fact = catalog.facts.get(f"cost.level-{currency.lower()}")
    if fact is None:
        return None
    return float(fact.low or 0.0), fact.number(), float(fact.high or 0.0)


def list_part_keys(component: str) -> tuple[str, ...]:
    """Return the keys a part may be priced under, the closest first: its id, then its kind."""
    return (component, split_component(component).kind)


def list_task_keys(operation: Operation) -> tuple[str, ...]:
    """Return the keys an operation may be priced under, when somebody else does it."""
    keys = [operation.id, operation.id.removeprefix("step:"), *operation.demands]
    for demand in operation.demands:
        component, _, action = demand.rpartition(":")
        if "." in component:
            keys.append(f"{split_component(component).kind}:{action}")
    return tuple(dict.fromkeys(keys))


def list_unused(book: PriceBook, keys: set[str]) -> Iterator[Finding]:
    """Yield a note for every price that nothing in the work asks for."""
    for what, price in book.prices.items():
        if what not in keys and what != LABOUR:
            yield Finding(
                code="price-unused",
                severity="note",
                message=f"The price of '{what}' is used by nothing on the work list.",
                remedy="Check its spelling: a component, a kind, an assembly or an operation.",
                origin=price.origin,
            )


def _currencies(price: Price) -> set[str]:
    return {price.low.currency, price.likely.currency, price.high.currency}


def _strange_currency(price: Price, strange: str, wanted: str) -> Finding:
    return Finding(
        code="price-currency",
        severity="warning",
        message=f"The price of '{price.what}' is in {strange}, the case in {wanted}: not used.",
        remedy=f"Enter it in {wanted}; no exchange rate is assumed.",
        origin=price.origin,
    )


def _repeated(price: Price, earlier: Price) -> Finding:
    return Finding(
        code="price-repeated",
        severity="warning",
        message=f"'{price.what}' is priced twice; the later price is used, not the one at "
        f"{earlier.origin.where()}.",
        remedy="Remove one of the two, or widen one range so that it covers both.",
        origin=price.origin,
    )
