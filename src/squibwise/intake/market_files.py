"""What stands beside a case for buying and bidding: offers, ``buying.toml``, ``bid.toml``."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, TypeVar

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError, ModelError
from squibwise.intake.case_file import toml_text
from squibwise.intake.offers import read_offers
from squibwise.model.bid import BidSheet, Settled
from squibwise.model.market import OfferSheet, ShopTerms

T = TypeVar("T")
OFFERS = ("offers.csv", "offers.xlsx")
COSTS_OF_A_SALE = (
    *("fees", "tax", "transport", "inspection", "title", "selling", "reserve", "days", "day"),
)
LARGEST_SHEET, LARGEST_OFFERS = 100_000, 2_000_000  # bytes
LARGEST_NUMBER, LEAST_NUMBER = 1e10, 1e-6
_USUAL = ShopTerms()


def find_offers(folder: Path) -> Path:
    """Return the sheet of offers of a case folder: ``offers.csv`` or ``offers.xlsx``.

    Raises:
        InputError: There is none, or both.
    """
    found = [folder / name for name in OFFERS if (folder / name).is_file()]
    if len(found) != 1:
        there = "both offers.csv and offers.xlsx" if found else "no offers.csv or offers.xlsx"
        raise InputError(
            f"{folder} has {there}.",
            remedy="Name the sheet with --offers FILE; `buy CASE --request` prints one.",
        )
    return found[0]


def load_offers(
    path: Path,
    catalog: Catalog,
    currency: str,
    confirmed: Mapping[str, str],
    shop: ShopTerms = _USUAL,
    supplier: str = "",
) -> OfferSheet:
    """Return the offers of a sheet; ``supplier``, else the shop's, sent the rows that name nobody.

    Raises:
        InputError: It cannot be read.
    """
    data = _bytes(path, LARGEST_OFFERS)
    sender = supplier or shop.supplier
    return read_offers(data, str(path), catalog, currency, confirmed, sender, shop.columns)


def load_terms(path: Path, *, must_be_there: bool) -> ShopTerms:
    """Return the terms of the shop; the usual ones when the file is not there.

    Raises:
        InputError: It cannot be used.
    """
    if not (must_be_there or path.is_file()):
        return ShopTerms()
    return _record(path, ShopTerms, "`buy CASE --example` prints one to fill in.")


def load_bid(path: Path) -> BidSheet:
    """Return what the user knows of a car and its sale.

    Raises:
        InputError: It is not there or cannot be used.
    """
    tables = _tables(path, "`bid CASE --example` prints one to fill in.")
    left_out = tuple(word for word in COSTS_OF_A_SALE if word not in tables)
    return msgspec.structs.replace(_converted(tables, BidSheet, path), left_out=left_out)


def load_settled(path: Path) -> Settled:
    """Return how a car came out.

    Raises:
        InputError: It is not there or cannot be used.
    """
    return _record(path, Settled, "`settle CASE --example` prints one to fill in.")


def load_settled_cars(folder: Path, here: Path) -> tuple[Settled, ...]:
    """Return how the cars of a folder came out; the case at hand is left out.

    Raises:
        InputError: One of them cannot be used, or there is none.
    """
    files = sorted(folder.glob("*/settled.toml"))
    if not files:
        raise InputError(
            f"{folder} holds no settled car.",
            remedy="Name the folder that your finished cases stand in; `settle CASE --example` "
            "prints the settled.toml of one.",
        )
    return tuple(load_settled(f) for f in files if f.parent.resolve() != here.resolve())


def _bytes(path: Path, largest: int, remedy: str = "") -> bytes:
    if not path.exists():
        remedy = f"Check the name. {remedy}".strip()
        raise InputError(f"{path} is not there.", remedy=remedy)
    data = toml_text.read_bytes(path, LARGEST_OFFERS)
    if len(data) > largest:
        raise InputError(
            f"{path} has {len(data) / 1000:,.0f} kB; one that a person filled in has no more than "
            f"{largest / 1000:,.0f}.",
            remedy=remedy,
        )
    return data


def _record(path: Path, kind: type[T], remedy: str = "") -> T:
    """Return what a person filled in.

    Raises:
        InputError: It is not there, no TOML, or holds what cannot be.
    """
    return _converted(_tables(path, remedy), kind, path)


def _tables(path: Path, remedy: str) -> dict[str, Any]:
    text = toml_text.decode(_bytes(path, LARGEST_SHEET, remedy), str(path))
    tables, findings = toml_text.parse(text, str(path))
    for one in findings:
        raise InputError(f"{one.origin.where()}: {one.message}", remedy=one.remedy or "")
    _refuse_numbers(tables, path)
    return tables


def _converted(tables: Mapping[str, Any], kind: type[T], path: Path) -> T:
    try:
        return msgspec.convert(tables, kind)
    except (msgspec.ValidationError, ModelError) as error:
        raise InputError(
            f"{path}: {error}.", remedy="docs/bidding.md and docs/buying.md name every key."
        ) from None


def _refuse_numbers(tables: Mapping[str, Any], path: Path) -> None:
    """Refuse a number that is none, or that no price or day of a car has."""
    left: list[tuple[str, Any]] = list(tables.items())
    while left:
        key, value = left.pop()
        if isinstance(value, dict):
            left += value.items()
        elif isinstance(value, list):
            left += [(key, one) for one in value]
        elif isinstance(value, int | float) and not _may_be(value):
            told = f"{value:g}" if isinstance(value, float) else "too large"
            raise InputError(
                f"{path}: '{key}' is {told}.",
                remedy=f"Write 0, or a number from {LEAST_NUMBER:.0e} to {LARGEST_NUMBER:.0e}.",
            )


def _may_be(number: float) -> bool:
    return number == 0 or LEAST_NUMBER <= abs(number) <= LARGEST_NUMBER  # not so of NaN
