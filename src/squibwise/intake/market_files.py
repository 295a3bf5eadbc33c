"""What stands beside a case for buying and bidding: offers, ``buying.toml``, ``bid.toml``."""

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import TypeVar

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.errors import InputError, ModelError
from squibwise.intake.offers import read_offers
from squibwise.model.bid import BidSheet, Settled
from squibwise.model.market import OfferSheet, ShopTerms

T = TypeVar("T")


def find_offers(folder: Path) -> Path:
    """Return the sheet of offers of a case folder: ``offers.csv`` or ``offers.xlsx``.

    Raises:
        InputError: There is none, or both.
    """
    found = [p for p in (folder / "offers.csv", folder / "offers.xlsx") if p.is_file()]
    if len(found) != 1:
        there = "both offers.csv and offers.xlsx" if found else "no offers.csv or offers.xlsx"
        raise InputError(
            f"{folder} has {there}.",
            remedy="Name the sheet with --offers FILE; `buy CASE --request` prints one.",
        )
    return found[0]


def load_offers(
    path: Path, catalog: Catalog, currency: str, confirmed: Mapping[str, str]
) -> OfferSheet:
    """Return the offers of a sheet.

    Raises:
        InputError: It cannot be read.
    """
    return read_offers(_bytes(path), str(path), catalog, currency, confirmed)


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
    return _record(path, BidSheet, "`bid CASE --example` prints one to fill in.")


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


def _bytes(path: Path, remedy: str = "") -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        remedy = f"Check the name. {remedy}".strip()
        raise InputError(f"{path} cannot be read: {error.strerror}.", remedy=remedy) from None


def _record(path: Path, kind: type[T], remedy: str = "") -> T:
    try:
        return msgspec.convert(tomllib.loads(_bytes(path, remedy).decode("utf-8")), kind)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: not valid TOML: {error}.", remedy="Correct the line.") from None
    except (msgspec.ValidationError, ModelError) as error:
        raise InputError(
            f"{path}: {error}.", remedy="docs/bidding.md and docs/buying.md name every key."
        ) from None
