"""What a report states of itself: its day, the odometer, serial number, the driver's side."""

import datetime as dt
import re
from collections.abc import Callable, Iterator
from functools import lru_cache

from squibwise.catalog.load import Catalog
from squibwise.intake.patterns import pattern
from squibwise.intake.report.language.lexicon import Lexicon, flat, tokenise
from squibwise.intake.report.sheet import Sheet
from squibwise.model.names import Side

_DATED = pattern(r"\b(?:date|datum|fecha|data)\b", re.IGNORECASE)
_DAY = pattern(r"(?<!\d)(\d{1,4})([-./])(\d{1,2})\2(\d{2,4})(?!\d)")


def read_days(sheet: Sheet, lexicon: Lexicon) -> tuple[dt.date, ...]:
    """What the day may be that a report states of itself: day or month may come first.

    That of the first date so labelled; else of the first one that is not the car's.
    """
    cars = lexicon.small.days_of_the_car
    plain = [ln.text for ln in sheet.lines if not ln.codes and _DAY.search(ln.text)]
    own = [text for text in plain if cars.isdisjoint(t.text for t in tokenise(text))]
    text = next((t for t in plain if _DATED.search(t)), next(iter(own), ""))
    found = _DAY.search(text)
    if found is None:
        return ()
    one, two, three = int(found[1]), int(found[3]), int(found[4])
    late = three + 2000 if three < 100 else three
    orders = ((one, two, three),) if one > 31 else ((late, two, one), (late, one, two))
    return tuple(dict.fromkeys(d for o in orders if (d := _real_day(*o)) is not None))


_ODOMETER = pattern(
    r"\b(?:odometer|mileage|kilometerstand|km-stand|kilom[eé]trage|kilometraje)\b"
    r"[^\w\n]{0,12}(?:\((km|mi)\)[^\w\n]{0,4})?"
    r"(\d+(?:[.,' \u00a0\u202f]\d{3})*)(?!\d)(?:[.,]\d)?\s?(km|mi)?",
    re.IGNORECASE,
)


def read_odometer(sheet: Sheet) -> tuple[int | None, str]:
    """What the first line with an odometer states, and its unit; how a fault was stored is none."""
    for line in sheet.lines:
        found = None if line.codes else _ODOMETER.search(line.text)
        if found:
            digits = re.sub(r"\D", "", found[2])
            return (
                (int(digits), (found[1] or found[3] or "").lower())
                if len(digits) < 8
                else (None, "")
            )
    return None, ""


def _real_day(year: int, month: int, day: int) -> dt.date | None:
    try:
        return dt.date(year, month, day)
    except ValueError:
        return None


def read_serial(sheet: Sheet, catalog: Catalog) -> str:
    """What the first line of no other unit states as a serial number."""
    words = "|".join(map(re.escape, catalog.said.stories["serial"]))
    stated = re.compile(
        rf"(?i)(?<![^\W_])(?:{words})(?![^\W_])[^\w\n]{{0,4}}{_NUMBER_OF}({_SERIAL})"
    )
    found = (stated.search(ln.text) for ln in sheet.lines if ln.unit != "other" and not ln.codes)
    numbers = (re.sub(r"[^0-9A-Z]", "", f[1].upper()) for f in found if f)
    return next((n for n in numbers if len(n) >= _SHORTEST_SERIAL), "")


_NUMBER_OF = r"(?:(?:no|nr|number|num|n[°º])\.?[^\w\n]{1,4})?"
_SERIAL = r"(?=[A-Z-]*\d)[A-Z0-9][A-Z0-9-]*"
_SHORTEST_SERIAL = 5  # characters from which a serial number is one of a kind
_WHEEL_LETTERS = ("lg", "rdp")  # of the sides in the languages that are read


def find_hand(text: str, lexicon: Lexicon) -> Side | None:
    """Return on which side a line says that the driver sits; None where it says nothing of it.

    A wheel or shaft on a side, a side that is denied or asked, and that of another car, is none.
    """
    plain = flat(text)
    if not any(lead in plain for lead in _hand_leads(lexicon)):
        return None
    sides: tuple[Side, ...] = ("left", "right")
    told = [
        side
        for side, finder in zip(sides, _hands(lexicon), strict=True)
        if any(not _is_against(plain, f, lexicon) for f in finder(plain))
    ]
    return told[0] if len(told) == 1 else None


def _is_against(plain: str, found: re.Match[str], lexicon: Lexicon) -> bool:
    """Whether what stands around a driver's side denies or asks it, or makes it another car's."""
    denied, elsewhere, ends = _hand_around(lexicon)
    front, behind = plain[: found.start()], plain[found.end() :]
    clause = _CLAUSE.split(behind, maxsplit=1)[0]
    return bool(
        denied.search(_CLAUSE.split(front)[-1])
        or ends.match(behind)
        or _ASKED.match(behind)
        or elsewhere.search(f"{_SENTENCE.split(front)[-1]} {clause}")
    )


_CLAUSE = pattern(r"[,.;:!?()|/]|\s-+\s|\s\s|\b(?:but|sondern|sino|mais|ma|maar|ale)\b")
_SENTENCE = pattern(r"[.;!?()|]|\s\s")
_ASKED = pattern(r"[^.,;!)/|\n]*\?")


@lru_cache(maxsize=4)
def _hand_around(lexicon: Lexicon) -> tuple[re.Pattern[str], re.Pattern[str], re.Pattern[str]]:
    """What denies or asks in front, what tells of another car, what denies behind."""
    small = lexicon.small
    denied, other = (
        re.compile(rf"\b(?:{'|'.join(map(re.escape, words))})\b")
        for words in (small.hand_not, small.hand_elsewhere | small.others)
    )
    return denied, other, re.compile(r"\s(?:no|not|nein|non|nie|nee)\b\s*(?:[,.;)]|$)")


@lru_cache(maxsize=4)
def _hand_leads(lexicon: Lexicon) -> frozenset[str]:
    small = lexicon.small
    return frozenset({*small.wheel, *small.wheel_label, *(w for ws in small.hand for w in ws)})


_Finder = Callable[[str], Iterator[re.Match[str]]]


@lru_cache(maxsize=4)
def _hands(lexicon: Lexicon) -> tuple[_Finder, _Finder]:
    """What finds the left and the right: a word for it, a wheel and a side, a label and a side.

    Behind a wheel's side, and behind `drive`, stands a word for a car or a side, or none.
    """
    small = lexicon.small
    wheel, label = ("|".join(map(re.escape, words)) for words in (small.wheel, small.wheel_label))
    cars = "|".join(map(re.escape, (*small.hand_beside, *small.bodies)))
    alone_here = rf"(?!\s(?!(?:{cars}))[^\W\d])"
    found = []
    each = zip(small.hand, small.wheel_side, _WHEEL_LETTERS, strict=True)
    for alone, side, letters in each:
        names, sides = ("|".join(map(re.escape, words)) for words in (alone, side))
        one = re.compile(
            rf"(?<!['\u2019])\b(?:(?:{names})\b(?:(?<!drive)|{alone_here})"
            rf"|(?:{wheel})\s(?:{sides})\b{alone_here})"
            rf"|(?:^|[,(;:-]\s?)\W{{0,3}}(?:{label})\.?\s"
            rf"(?:(?:{sides})\b{alone_here}|[{letters}]\s*(?:[,;)]|$))"
        )
        found.append(one.finditer)
    return found[0], found[1]
