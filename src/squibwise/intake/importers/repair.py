"""Letters that a picture reader mistakes for digits, put right within the grammar of a code.

Only where the grammar leaves one reading: the first place of a code is a letter, the second 0 to 3,
the rest is hex. ``8`` and ``B`` are both hex, so inside a code they stay as they were read.
"""

import re

_TOKEN = re.compile(
    r"(?<![\w-])([PCBU8])([0-3OoIl|])([0-9A-FOoIl|]{3})(?:([-:])([0-9A-FOoIl|]{2}))?(?![\w|-])"
)
_DIGITS = str.maketrans({"O": "0", "o": "0", "I": "1", "l": "1", "|": "1"})
_TRUE_DIGITS = 2  # a word such as "BOIL" has none


def repair_codes(text: str) -> tuple[str, tuple[tuple[str, str], ...]]:
    """Return a text with mistaken signs in codes put right, and each change.

    >>> repair_codes("BOO01-1B open")
    ('B0001-1B open', (('BOO01-1B', 'B0001-1B'),))
    >>> repair_codes("80001-1B open")[0]
    'B0001-1B open'
    >>> repair_codes("80001 open")
    ('80001 open', ())
    """
    changes: list[tuple[str, str]] = []

    def put_right(found: re.Match[str]) -> str:
        repaired = _repaired(found)
        if repaired != found[0]:
            changes.append((found[0], repaired))
        return repaired

    return _TOKEN.sub(put_right, text), tuple(changes)


def _repaired(found: re.Match[str]) -> str:
    first, second, rest, sign, failure = found.groups()
    if sum(c.isdigit() for c in f"{second}{rest}{failure or ''}") < _TRUE_DIGITS:
        return found[0]
    if first == "8":
        if failure is None:  # five digits are a code of another style
            return found[0]
        first = "B"
    tail = f"{sign}{failure.translate(_DIGITS)}" if failure else ""
    return f"{first}{f'{second}{rest}'.translate(_DIGITS)}{tail}"
