"""The vehicle identification number: found in a text, checked, and what it tells."""

import re

import msgspec

from squibwise.catalog.components import VIN_LENGTH, Region, VinRules, check_digit
from squibwise.catalog.load import Catalog
from squibwise.intake.patterns import pattern
from squibwise.model.origin import Finding, Origin

_TOKEN = pattern(r"(?<![A-Za-z0-9])[A-Za-z0-9]{17}(?![A-Za-z0-9])")
_LABEL = pattern(
    r"(?i)(?<![a-z])(?:vin|fin|chassis(?: n(?:o|r|umber))?|fahrgestell\w{0,8}|fgst\.?(?:-?nr)?|"
    r"telaio|bastidor|ch[aâ]ssi\w?|nadwozi\w)\b[ .:#=°-]{0,6}"
    r"((?:[A-Za-z0-9][ -]?){16,18})(?![A-Za-z0-9])"
)
_MASK = r"[*\u2022#._\u2026-]{2,17}"
_LEGIBLE = r"[A-HJ-NPR-Za-hj-npr-z0-9]"
_MASKED = pattern(
    rf"(?<![A-Za-z0-9])({_LEGIBLE}{{0,13}}?)({_MASK}|[xX]{{4,}})({_LEGIBLE}{{0,13}})(?!\w)"
)
_NAMED = pattern(r"(?i)(?<![a-z])(?:vin|fin|chassis|fahrgestell\w*)\b")
_ENDING = pattern(
    rf"(?i)\b(?:end(?:s|ing)?(?: in)?|last (?:\d|four|five|six|eight)(?: \w+)?)\W{{1,4}}"
    rf"({_LEGIBLE}{{4,8}})(?!\w)"
)
_NOWHERE = Origin()


class Vin(msgspec.Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What a VIN tells.

    Attributes:
        text: 17 characters, upper case.
        verifies: Does the check digit in position 9 agree.
        check: The check digit that it should be.
        model_year: By positions 7 and 10; None when position 10 holds no year code.
        region: Part of the world it was built in; None when unknown.
        checked: Must a car of this region carry a valid check digit.
    """

    text: str
    verifies: bool
    check: str
    model_year: int | None
    region: str | None
    checked: bool


def read_vin(
    text: str, catalog: Catalog, origin: Origin = _NOWHERE
) -> tuple[Vin | None, tuple[Finding, ...]]:
    """Return what a VIN tells, and what is wrong with it.

    Args:
        text: As written; spaces and dashes are dropped.
        catalog: For the tables.
        origin: Where it stands.

    Returns:
        None when it is no VIN at all (length, or a letter that never occurs), with the reason.
    """
    rules = catalog.vin
    vin = re.sub(r"[\s-]", "", text).upper()
    wrong = _refuse(vin, rules, origin)
    if wrong is not None:
        return None, (wrong,)
    check = check_digit(vin, rules)
    region = next((r for r in rules.regions if vin[0] in r.first), None)
    checked, verifies = bool(region and region.checked), check == vin[8]
    read = Vin(
        text=vin,
        verifies=verifies,
        check=check,
        model_year=_model_year(vin, rules) if checked or verifies else None,
        region=region.name if region else None,
        checked=checked,
    )
    return read, () if read.verifies else (_does_not_verify(read, region, origin),)


def find_vin(
    text: str, catalog: Catalog, origin: Origin = _NOWHERE
) -> tuple[str | None, tuple[Finding, ...]]:
    """Return the VIN that a line of text holds, in upper case, with what is wrong with it.

    A word of 17 letters and digits counts, and what follows a label such as VIN. A report's VIN is
    not the user's own word, so what is wrong with it is a warning.
    """
    labelled = _LABEL.search(text)
    token = next((t for t in _TOKEN.findall(text) if _looks_like_vin(t)), None)
    if token is None and labelled is not None:
        token = re.sub(r"[\s-]", "", labelled.group(1))
        token = token if len(token) == VIN_LENGTH and _looks_like_vin(token) else None
    if token is None:
        return None, ()
    read, findings = read_vin(token, catalog, origin)
    milder = tuple(msgspec.structs.replace(f, severity="warning") for f in findings)
    return (read.text if read else None), milder


def find_masked(text: str) -> str:
    """Return what a line leaves legible of a VIN, ``*`` for each sign that it hides; else empty.

    Seventeen signs with stars or crosses among them, or a mask behind a word for the VIN.
    """
    named = _NAMED.search(text)
    for match in _MASKED.finditer(text):
        head, mask, tail = match.groups()
        whole = len(head + mask + tail) == VIN_LENGTH and set(mask) <= _HIDING
        if len(head + tail) >= _TELLING and (whole or (named and named.end() <= match.start())):
            hidden = "*" * (VIN_LENGTH - len(head + tail))
            return f"{head}{hidden}{tail}".upper()
    ending = _ENDING.search(text, named.end()) if named else None
    return ending[1].upper().rjust(VIN_LENGTH, "*") if ending else ""


_HIDING = frozenset("*#\u2022xX")
_TELLING = 4  # legible signs from which a masked VIN tells one car from another


def _looks_like_vin(token: str) -> bool:
    """A VIN mixes letters and digits and ends in digits."""
    digits = sum(c.isdecimal() for c in token)
    hexadecimal = all(c in "0123456789abcdefABCDEF" for c in token)
    return 4 <= digits <= 16 and token[-2:].isdecimal() and not hexadecimal


def _refuse(vin: str, rules: VinRules, origin: Origin) -> Finding | None:
    if len(vin) != VIN_LENGTH:
        message = f"'{vin}' has {len(vin)} characters; a VIN has {VIN_LENGTH}."
        return _error("vin-length", message, "Copy it again from the car.", origin)
    letters = sorted({c for c in vin if c in rules.refused})
    if letters:
        message = f"'{vin}' holds the letter {' and '.join(letters)}, which no VIN has."
        remedy = "Read it again: I is 1, O and Q are 0."
        return _error("vin-letter", message, remedy, origin)
    strange = sorted({c for c in vin if c not in rules.values})
    if strange:
        message = f"'{vin}' holds {' '.join(strange)}, which no VIN has."
        return _error("vin-letter", message, "Copy it again from the car.", origin)
    return None


def _model_year(vin: str, rules: VinRules) -> int | None:
    """Model year of cars and light vehicles: a letter in position 7 means 2010 or later.

    Asked only of VINs under the rule: built for North America, or with a valid check digit.

    Source: cfr-49-565, preamble of the rule of 2008; not valid for heavy vehicles.
    """
    place = rules.year_codes.find(vin[9])
    if place < 0:
        return None
    later = vin[6].isalpha()
    return rules.first_year + place + (len(rules.year_codes) if later else 0)


def _does_not_verify(read: Vin, region: Region | None, origin: Origin) -> Finding:
    message = (
        f"The check digit of VIN {read.text} does not verify: position 9 is "
        f"{read.text[8]}, computed is {read.check}."
    )
    if region is not None and region.checked:
        remedy = "A car built for this market carries a valid one: read the VIN again."
        return _error("vin-check-digit", message, remedy, origin)
    remedy = "Only cars for North America must carry a valid one; compare it with the car."
    return Finding(
        code="vin-check-digit-elsewhere",
        severity="warning",
        message=message,
        remedy=remedy,
        origin=origin,
    )


def _error(code: str, message: str, remedy: str, origin: Origin) -> Finding:
    return Finding(code=code, severity="error", message=message, remedy=remedy, origin=origin)
