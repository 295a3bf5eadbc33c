"""Chances, times, sums and lists as people write them; every screen and page writes them so."""

import datetime as dt
from collections.abc import Iterable, Sequence

from squibwise.model.cost import Money, minor_digits
from squibwise.model.report import KM_PER_MILE

SHORT_MINUTES = 90  # times below it are told in minutes
NM_PER_FT_LB = 1.355818
"""Source: NIST Special Publication 811 (2008), appendix B.8: 1 foot pound-force = 1.355 818 N m."""
KG_PER_POUND = 0.45359237
"""Source: NIST Special Publication 811 (2008), appendix B.8: 1 lb = 0.453 592 37 kg, exactly."""
_FT_LB = ("US",)  # countries whose torque wrenches state foot-pounds (from memory)
_POUNDS = ("US",)  # countries that weigh in pounds and read degrees Fahrenheit (from memory)
_MILES = ("US", "GB")  # countries that state road speeds in miles an hour (from memory)


def percent(p: float) -> str:
    """Return a chance as people read it; never a bare 0 or 100."""
    whole = round(100 * p)
    if whole >= 100:
        return "over 99%"
    return f"{whole}%" if whole > 0 else "under 1%"


def minutes(amount: float) -> str:
    """Return a time as ``50 min`` or ``3 h 20 min``. [min]."""
    whole = round(amount)
    if whole < SHORT_MINUTES:
        return f"{whole} min"
    hours, rest = divmod(whole, 60)
    return f"{hours} h {rest} min" if rest else f"{hours} h"


def hours(amount: float) -> str:
    """Return a long time in hours with one decimal, a short one in minutes [min]."""
    return minutes(amount) if amount < SHORT_MINUTES else f"{amount / 60:.1f} h"


def spread(low: float, likely: float, high: float) -> str:
    """Return a time with its range: ``18.3 h (11.7 to 31.7)``, in minutes."""
    if likely < SHORT_MINUTES:
        return f"{likely:.0f} min ({low:.0f} to {high:.0f})"
    return f"{likely / 60:.1f} h ({low / 60:.1f} to {high / 60:.1f})"


def money(amount: Money | None) -> str:
    """Return a sum with its currency, or that nobody has entered one."""
    return "not priced" if amount is None else amount.text()


def about(amount: Money | None) -> str:
    """Return a sum of estimates in whole units: cents would claim what nobody knows."""
    if amount is None:
        return "not priced"
    whole = round(amount.minor / 10 ** minor_digits(amount.currency))
    return f"{whole:,} {amount.currency}" if whole else amount.text()


def bare_about(amount: Money | None) -> str:
    """Return a sum of estimates in whole units without its currency; ``?`` where there is none."""
    if amount is None:
        return "?"
    return about(amount).rpartition(" ")[0] if amount.minor else "0"


def bare_sum(amount: Money | None) -> str:
    """Return a sum without its currency; ``?`` while nobody has entered one."""
    return "?" if amount is None else amount.text().rpartition(" ")[0]


def speed(kmh: float, region: str | None) -> str:
    """Return a speed in the unit of the roads of a region [km/h]."""
    value, unit = speed_in(kmh, region)
    return f"{value:.0f} {unit}"


def speed_in(kmh: float, region: str | None) -> tuple[float, str]:
    """Return a speed and its unit as the roads of a region have it [km/h]."""
    if (region or "").partition("-")[0] in _MILES:
        return kmh / KM_PER_MILE, "mph"
    return kmh, "km/h"


def measured(value: float, unit: str, region: str | None) -> str:
    """Return a measured value in the unit of a region: speeds, torques, weights, temperatures.

    What has no unit of its own there is told as entered.

    Args:
        value: As entered, in ``unit``.
        unit: As entered.
        region: ISO 3166 code; None = metric.
    """
    country = (region or "").partition("-")[0]
    if unit == "km/h":
        return speed(value, region)
    if unit == "Nm" and country in _FT_LB:
        return f"{value / NM_PER_FT_LB:.0f} ft-lb ({number(value)} Nm)"
    if unit == "ft-lb" and country not in _FT_LB:
        return f"{value * NM_PER_FT_LB:.0f} Nm ({number(value)} ft-lb)"
    if unit == "kg":
        weight, named = weight_in(value, region)
        return f"{number(weight)} {named}"
    if unit == "degC":
        warm, named = warmth_in(value, region)
        return f"{number(warm)} {named}"
    return f"{number(value)} {unit}"


def weight_in(kg: float, region: str | None) -> tuple[float, str]:
    """Return a weight and its unit as the scales of a region have it [kg]."""
    if (region or "").partition("-")[0] in _POUNDS:
        return round(kg / KG_PER_POUND, 1), "lb"
    return kg, "kg"


def warmth_in(celsius: float, region: str | None) -> tuple[float, str]:
    """Return a temperature and its unit as the thermometers of a region have it [degC]."""
    if (region or "").partition("-")[0] in _POUNDS:
        return round(celsius * 1.8 + 32.0, 1), "°F"
    return celsius, "°C"


def paper_size(region: str | None) -> str:
    """Return the size of paper that a region prints on."""
    return "us-letter" if (region or "").startswith("US") else "a4"


def number(value: float) -> str:
    """Return a measured value as it was entered, without an empty decimal."""
    return repr(float(value)).removesuffix(".0")


def moment(time: dt.datetime | None) -> str:
    """Return a time to the minute; empty when it was not stated."""
    return "" if time is None else time.isoformat(" ", "minutes")


def cut(words: str, longest: int) -> str:
    """Return a text of at most so many characters, the end of a longer one left out."""
    return words if len(words) <= longest else words[: longest - 4].rstrip() + " ..."


def listed(words: Sequence[str], most: int = 6) -> str:
    """Return words as a list; beyond ``most`` the rest is counted, a single one is still named."""
    if len(words) > most + 1:
        return f"{', '.join(words[:most])} and {len(words) - most} more"
    return ", ".join(words)


def counted(count: int, one: str, several: str = "") -> str:
    """Return a count with its word: ``1 part``, ``2 parts``."""
    return f"{count} {one if count == 1 else several or f'{one}s'}"


def ranges(numbers: Iterable[int]) -> str:
    """Return numbers as people list them: ``1, 3-5``."""
    groups: list[list[int]] = []
    for one in sorted(set(numbers)):
        if groups and one == groups[-1][-1] + 1:
            groups[-1].append(one)
        else:
            groups.append([one])
    return ", ".join(str(g[0]) if len(g) == 1 else f"{g[0]}-{g[-1]}" for g in groups)
