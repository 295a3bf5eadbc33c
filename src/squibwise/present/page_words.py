"""A text as a page of the browser tells it: names for ids, figures as its language has them.

On a page nobody types an id or opens the case file: neither an id nor a line of that file is told.
"""

import re
from functools import cache, lru_cache

from squibwise.catalog.load import Catalog, component_title, load_catalog
from squibwise.catalog.screens import find_marks, say
from squibwise.errors import InputError
from squibwise.model.names import PLACES, ZONES
from squibwise.present.phrases import in_words

_KEPT = 20_000
_FOLDER = re.compile(r"\S*/squibwise-\w+/(?:[\w.-]+/)?(?=[\w.-]+)")
"""Where a case is laid out while it is worked on: no path that a person knows."""
_FILE = re.compile(
    r"^(?:case|bid|buying)\.toml(?::\d+)?: |(?<=\()case\.toml:\d+, |(?:, |; )?case\.toml:\d+"
)
_HANDED_IN = re.compile(r"evidence/([\w.-]+?)(?:-[0-9a-f]{8})?(\.[a-z]{2,4}\b)")
"""A file of the case, as whoever handed it in knows it."""
_LINE = re.compile(r"^evidence/[^\s:]+:(\d+): ")
"""The line of a report that was handed in, before what is wrong with it."""
_KEY = re.compile(r"(?<=')[a-z]+(?:_[a-z0-9]+)+(?=')")
_STEP = re.compile(r" \([a-z]+:[a-z0-9.@-]+\)")
"""The id of an operation behind its words, such as ``(step:make-safe)``."""
_SIGNED = re.compile(r"\bpassed [a-z]+:[a-z0-9.@-]+")
_UNREAD = re.compile(r"^'evidence/[^']+' cannot be read: (?:evidence/\S+: )?")
"""Where a file that was handed in stands in the case, before what is wrong with it."""
_VERDICT = re.compile(r"^(?:load|label|recall):[^:]+: ")
"""The id of a verdict on a load or a part, before its words, which name it."""
_OF_LOAD = re.compile(r"^load:(?=load )|^seat-trials:(?=\S)")
"""The kind of a verdict before what it is about, where that names it."""
_ENTRY = re.compile(
    r"(?<![\w-])(scan|report|look|told|impact|test|done|reading|photo)-(?:[0-9a-f]{8}|\d+)(?![\w-])"
)
"""An entry of the case, which nobody at the car knows by its id."""
_TWICE = re.compile(r"(?<=\W)([^;()]+)(?:; \1)+(?=[;)])")
"""The same kind of entry several times in a row."""
_ENTRIES = {
    "scan": "a report", "report": "a report", "look": "a look", "told": "what was told",
    "impact": "the impact that was told", "test": "a test", "done": "a work done",
    "reading": "a reading", "photo": "a photograph",
}  # fmt: skip
_RULE = re.compile(r"\bask: [a-z]+(?:-[a-z]+)*$")
_PART = re.compile(
    rf"(?P<open> \()?(?<![\w-])(?P<part>(?:{'|'.join(PLACES)})\.[a-z]+(?:-[a-z]+)*(?:-[2-9])?)"
    r"(?:/(?P<stage>\d))?(?::(?:calibrate|inspect|replace|trace))?(?![\w/])(?(open)\))"
)
"""A part, its circuit, or what is done with it; in brackets it stands behind its name."""
_ROW = re.compile(r"(?<![\w-])row([23])[ -](left|centre|right)(?![\w.-])")
_NUMBER = r"\d+(?:,\d{3})*(?:\.\d+)?"
_UNIT = r"(?:h|min|s|V|A|[Oo]hm|ohmios|kg|lb|km/h|mph|Nm|ft-lb|mm|cm|m|°C|°F|[A-Z]{3})\b"
_RANGE = rf"{_NUMBER}(?: (?:to|bis|a) {_NUMBER})?"
_FIGURE = re.compile(rf"(?<![\w.,:/-]){_RANGE}(?= {_UNIT})|\({_RANGE}\)")
"""Figures before their unit, or alone in brackets: part numbers and paragraphs are none."""
_FEW = re.compile(r"(?<!\d)(\d),(\d{3})(?![\d,])")
_ALONE = re.compile(rf"[~+-]?{_NUMBER}")


@lru_cache(maxsize=_KEPT)
def tell_on_page(text: str, language: str, country: str = "") -> str:
    """Return a text as a page tells it in a language, with the figures of a country."""
    if "\n" in text:
        return "\n".join(tell_on_page(line, language, country) for line in text.split("\n"))
    if "_" in text:
        text = _KEY.sub(lambda m: m[0].replace("_", " "), text)
    if ":" in text:
        text = _RULE.sub("ask the maker", _STEP.sub("", _FILE.sub("", _FOLDER.sub("", text))))
        text = _SIGNED.sub("ticked", _VERDICT.sub("", _UNREAD.sub("", text)))
        text = _OF_LOAD.sub("", _LINE.sub(r"line \1: ", text))
    if "evidence/" in text:
        text = _HANDED_IN.sub(r"\1\2", text)
    text = _ROW.sub(r"row \1 \2", text)
    told = _name_ids(say(text, language), language)
    return _FIGURE.sub(lambda m: mark(m[0], language, country), told)


def tell_cell(text: str, language: str, country: str = "") -> str:
    """Return a cell of a table that holds figures as a page tells it."""
    alone = _ALONE.fullmatch(text)
    return mark(text, language, country) if alone else tell_on_page(text, language, country)


def mark(figures: str, language: str, country: str = "") -> str:
    """Return figures with the marks of a language in a country: ``1.234,50``."""
    marks = find_marks(language, country)
    if (marks.decimal, marks.from_digits) == (".", 4) and marks.thousands == ",":
        return figures
    figures = _FEW.sub(r"\1\2", figures) if marks.from_digits > 4 else figures
    return figures.translate(str.maketrans(",.", marks.thousands + marks.decimal))


_TWO_WAYS = re.compile(r"-?[1-9]\d{0,2}[.,]\d{3}")
_GROUPED = re.compile(r"\d{1,3}([.,])\d{3}(?:\1\d{3})*")
_TYPED = re.compile(r"-?(?:\d+(?:\.\d*)?|\.\d+)")


_EITHER = frozenset({"es"})
"""Languages in which either mark stands before decimals, as the country has it."""


def write_figure(value: float, language: str, country: str = "") -> str:
    """Return a figure as a form holds it, so that it is read as what it is."""
    told = f"{value:.10g}"
    long = f"{told}0" if _TWO_WAYS.fullmatch(told) else told
    return mark(long, language, country)


def read_figure(typed: str, language: str, country: str = "") -> float:
    """Return a figure as people type it: with a point or a comma, thousands set apart or not.

    Raises:
        InputError: It can be read in two ways.
        ValueError: It is no figure.
    """
    bare = "".join(c for c in typed if not c.isspace() and c != "'")
    own = find_marks(language, country).decimal
    if _TWO_WAYS.fullmatch(bare) and (language in _EITHER or own not in bare):
        whole, part = re.split("[.,]", bare)
        decimals = part.rstrip("0") or "0"
        few = f"{whole}{own}{decimals}{'0' if len(decimals) == len(part) else ''}"
        raise InputError(
            f"'{typed}' can be read in two ways.", remedy=f"Write {whole}{part} or {few}."
        )
    plain = _join_thousands(bare)
    if not _TYPED.fullmatch(plain):
        raise ValueError(typed)
    return float(plain)


def _join_thousands(typed: str) -> str:
    """Return a figure without marks of thousands, its last mark a point."""
    if typed.count(",") + typed.count(".") > 1 and _GROUPED.fullmatch(typed):
        return typed.replace(",", "").replace(".", "")
    whole, dot, part = typed.replace(",", ".").rpartition(".")
    if not dot:
        return typed
    grouped = _GROUPED.fullmatch(typed[: len(whole)])
    return f"{whole.replace('.', '') if grouped else whole}.{part}"


def _name_ids(text: str, language: str) -> str:
    """Return a text with every id of a part, a gate or a kind of rule in words."""
    if "." in text:
        text = _PART.sub(lambda m: "" if m["open"] else _name(m, language), text)
    if "-" in text:
        text = _ENTRY.sub(lambda m: say(_ENTRIES[m[1]], language), text)
        text = _TWICE.sub(r"\1", text)
        text = _words().sub(lambda m: say(_in_words(m[0]), language), text)
    return text


def _in_words(word: str) -> str:
    kind = _catalog().kinds.get(word)
    return kind.title if kind else in_words(word)


def _name(found: re.Match[str], language: str) -> str:
    title = say(component_title(found["part"], _catalog()), language)
    stage = found["stage"] or "1"
    return title if stage == "1" else f"{title}, {say('stage', language)} {stage}"


@cache
def _catalog() -> Catalog:
    return load_catalog()


@cache
def _words() -> re.Pattern[str]:
    """Return what finds the words of the case file that stand for a gate, rule or place."""
    catalog = _catalog()
    words = {*catalog.tasks.gates, *catalog.rules.profiles, *ZONES, "second-scan", "lamp-check"}
    words |= {word for word in catalog.templates if "-" in word}
    words |= {word for word in (*catalog.kinds, *catalog.rules.questions) if "-" in word}
    listed = "|".join(sorted(words, key=len, reverse=True))
    return re.compile(rf"(?<![\w/-])(?:{listed})(?![\w-])")
