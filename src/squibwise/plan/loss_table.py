"""What a wrong decision about each component costs, so that looks can be ranked by it."""

import msgspec

from squibwise.catalog.components import Kind
from squibwise.catalog.load import Catalog
from squibwise.history.prices import LABOUR, PriceBook, list_part_keys, read_price_book
from squibwise.model.belief import Loss, LossTable
from squibwise.model.case import Case
from squibwise.model.cost import Money, minor_digits
from squibwise.model.names import split_component

MINUTES_PER_HOUR = 60


class _Unit(msgspec.Struct, frozen=True, kw_only=True):
    """What one hour of work is worth in the table: money, or simply one."""

    hour: float
    is_money: bool


def losses(case: Case, catalog: Catalog) -> LossTable:
    """Return the loss table of a car.

    With an hourly rate in the case, the table is in whole money units and uses the part prices
    the user entered; a part without a price counts as the hours the facts ``loss.part.<family>``
    name. Without an hourly rate everything is in hours of work, and no price is used, because
    money and hours cannot be added. ``needless`` is the part and the work of fitting it;
    ``missed`` is the same again as rework, and the hazard of keeping the part in that state.
    """
    book = read_price_book(case)
    unit = _unit(book)
    table = {c: _loss(c, book, unit, catalog) for c in case.car.components}
    return LossTable(losses=table, minute=unit.hour / MINUTES_PER_HOUR)


def _unit(book: PriceBook) -> _Unit:
    rate = book.find(LABOUR)
    if rate is None or rate.likely.minor == 0:
        return _Unit(hour=1.0, is_money=False)
    return _Unit(hour=_major(rate.likely), is_money=True)


def _loss(component: str, book: PriceBook, unit: _Unit, catalog: Catalog) -> Loss:
    kind = catalog.kinds[split_component(component).kind]
    part = _hours("part", kind.family, catalog) * unit.hour
    price = book.find(*list_part_keys(component)) if unit.is_money else None
    if price is not None:
        part = _major(price.likely)
    fitting = _hours("fitting", kind.family, catalog) * unit.hour
    hazard = _hours("hazard", _hazard_class(kind), catalog) * unit.hour
    needless = part + fitting
    return Loss(needless=needless, missed=needless + hazard)


def _hazard_class(kind: Kind) -> str:
    return "charge" if kind.fires else kind.family


def _hours(topic: str, word: str, catalog: Catalog) -> float:
    return catalog.fact(f"loss.{topic}.{word}").number()


def _major(money: Money) -> float:
    return float(money.minor) / float(10 ** minor_digits(money.currency))
