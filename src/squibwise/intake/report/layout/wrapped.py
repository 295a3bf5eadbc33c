"""Paragraphs that a mail program or a page has wrapped: each is one line before it is read."""

from collections.abc import Sequence
from itertools import groupby, pairwise

from msgspec.structs import replace

from squibwise.intake.importers.base import RawLine
from squibwise.intake.patterns import pattern

_OTHER = pattern(  # columns, items of lists
    r".*\S(?:\s{2,}|\t|\s?\||\.{3})|\s*(?:[-*•·|#]|\d{1,3}[.)]\s|$)"
)
_STARTS = pattern(
    r"\W{0,3}(?:[^\W\d_]+(?: [^\W\d_]+)?:\s|[BCPU]\d[0-9A-F]{3}|(?=[0-9A-F]*\d)[0-9A-F]{4,6}\b)"
)
_QUOTED = pattern(r"\s*(?:>\s?)*")
_STOP = pattern(r"[^\W\d_]{3}\)?[.,;:!?](?=\s|$)")
_AMID, _END = pattern(r"[^\W\d_]{3}\)?(?:;|\.(?=\s[A-ZÀ-Ý])|(?<=\)),)\s\S"), pattern(r"[.!?;)]\s*$")
_BREAKS = 2  # of a paragraph that shows how wide it is
_SHARE = 0.6  # of the breaks of a paragraph stand where the next word has no room
_SOME = 4  # one of so many lines at least holds a stop, and goes on with a small letter
_NARROW, _LONGEST = 30, 1500


def join_wrapped(raws: Sequence[RawLine]) -> list[RawLine]:
    """Return the lines, those of a wrapped paragraph joined to one: the next word had no room.

    Args:
        raws: Numbered lines; rows of tables, columns and items of lists stay as they are.
    """
    found: list[RawLine] = []
    for (is_other, _), run in groupby(raws, _kind):
        lines = list(run)
        said = [_QUOTED.sub("", line.text, count=1).rstrip() for line in lines]
        full = [] if is_other else _full(said)
        for at, line in enumerate(lines):
            goes_on = at and full and full[at - 1] and not _STARTS.match(said[at])
            if goes_on and len(found[-1].text) < _LONGEST:
                above = found[-1].text.rstrip()
                joined = f"{above}{'' if above.endswith('-') else ' '}{said[at]}"
                found[-1] = replace(found[-1], text=joined)
            else:
                found.append(line)
    return found


def _kind(raw: RawLine) -> tuple[bool, int]:
    """Whether a line is no prose, and how deep it is quoted."""
    quoted = _QUOTED.match(raw.text)
    start = quoted.end() if quoted is not None else 0
    return bool(raw.cells) or bool(_OTHER.match(raw.text, start)), raw.text[:start].count(">")


def _full(said: list[str]) -> list[bool]:
    """Which lines of a paragraph are full; nothing where they are those of a list."""
    width = max(map(len, said))
    full = [len(a) + 1 + len(b.split()[0]) > width for a, b in pairwise(said)]
    stops = sum(len(_STOP.findall(text)) for text in said)
    goes_on = (not b[0].isupper() and a[-1] not in ".!?" for a, b in pairwise(said))
    small = sum(f and amid for f, amid in zip(full, goes_on, strict=True))
    is_list = 2 * sum(bool(_STARTS.match(text)) for text in said) > len(said)  # a code on each
    is_told = any(map(_AMID.search, said)) or _SOME * small >= sum(full)
    is_prose = (
        is_told and not is_list and _SOME * stops >= len(said) and any(map(_END.search, said[-2:]))
    )
    is_full = sum(full) >= max(_BREAKS, _SHARE * len(full)) and width >= _NARROW
    return full if is_prose and is_full else []
