"""Money in whole minor units: a sum never gains or loses a cent."""

from decimal import ROUND_HALF_EVEN, Decimal

import msgspec

from squibwise.errors import ModelError

_DIGITS = {"JPY": 0, "KRW": 0, "CLP": 0, "BHD": 3, "KWD": 3, "TND": 3}


class Money(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """An amount.

    Attributes:
        minor: Whole minor units, such as cents.
        currency: ISO 4217 code.
    """

    minor: int
    currency: str

    def __add__(self, other: "Money") -> "Money":
        if other.currency != self.currency:
            raise ModelError(f"cannot add {other.currency} to {self.currency}")
        return Money(minor=self.minor + other.minor, currency=self.currency)

    def text(self) -> str:
        """Return the amount as people write it: ``1,234.50 USD``."""
        digits = minor_digits(self.currency)
        return f"{Decimal(self.minor).scaleb(-digits):,.{digits}f} {self.currency}"


def minor_digits(currency: str) -> int:
    """Return how many digits the minor unit of a currency has (ISO 4217, from memory)."""
    return _DIGITS.get(currency, 2)


def from_major(amount: str | int | float | Decimal, currency: str) -> Money:
    """Return an amount written in whole units, rounded half-even to the minor unit."""
    scaled = Decimal(str(amount)).scaleb(minor_digits(currency))
    return Money(minor=int(scaled.to_integral_value(rounding=ROUND_HALF_EVEN)), currency=currency)
