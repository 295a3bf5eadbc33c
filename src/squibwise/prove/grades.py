"""Which papers are shown by a file, which are only stated by somebody, and which are open."""

from collections.abc import Callable, Iterator
from typing import Any

from squibwise.catalog.texts import PASSED, Paper
from squibwise.history.closing import judge_scan
from squibwise.history.order import last_change
from squibwise.history.signed import last_signed
from squibwise.model.evidence import Evidence, LampCheck, PartLabel, Passed, Recorder
from squibwise.model.origin import Origin
from squibwise.model.report import Report
from squibwise.prove.gates import DISPOSAL, Context

SHOWN, STATED, OPEN = "shown", "stated", "open"


def papers(context: Context) -> Iterator[dict[str, Any]]:
    """Yield every paper that is asked for, with its grade.

    ``shown``: a file whose hash stands in the record holds it, or the note of the entry names such
    a file. ``stated``: somebody entered it, and nothing shows it. ``open``: nobody did.
    """
    for paper in context.catalog.papers.values():
        entries = _entries(paper, context)
        shown = [e for e in entries if _is_shown(e, context)]
        last = (shown or entries)[-1] if entries else None
        yield {
            "id": paper.id,
            "text": paper.text,
            "grade": SHOWN if shown else STATED if entries else OPEN,
            "by": _by(last),
            "time": last.time.isoformat() if last is not None and last.time else "",
            "source": paper.source,
        }


def _by(entry: Evidence | None) -> str:
    return getattr(entry, "by", None) or (entry.origin.person if entry else None) or ""


def _is_shown(entry: Evidence, context: Context) -> bool:
    """Return whether a hashed file holds the entry itself, or the entry names one."""
    files = context.case.files
    if isinstance(entry, Passed):
        return any(name in entry.note for name in files)
    return _is_of_file(entry.origin, files)


def _is_of_file(origin: Origin, files: dict[str, str]) -> bool:
    return origin.file is not None and any(origin.file.endswith(name) for name in files)


def _entries(paper: Paper, context: Context) -> list[Evidence]:
    """Return the entries that speak of a paper, in order."""
    if paper.shown_by.startswith(PASSED):
        word = paper.shown_by.removeprefix(PASSED)
        words = DISPOSAL if word in DISPOSAL else (word, f"step:{word}", word.removeprefix("step:"))
        last = last_signed(context.history, *words)
        return [last[1]] if last and last[1].result == "passed" else []
    return _FOUND[paper.shown_by](context) if paper.shown_by else []


def _before(context: Context) -> list[Evidence]:
    return [r for _, r in context.history.all_of(Report) if r.when != "after-repair"]


def _after(context: Context) -> list[Evidence]:
    """Return the last scan when it came after the last work, however it turned out."""
    last = judge_scan(context.history, context.catalog)
    early = {p.word for p in last.problems} & {"early", "none"}
    done = last_change(context.history) >= 0
    is_after = isinstance(last.entry, Report) and last.entry.when == "after-repair"
    return [last.entry] if last.entry is not None and is_after and done and not early else []


_FOUND: dict[str, Callable[[Context], list[Evidence]]] = {
    "report-before": _before,
    "report-after": _after,
    "part-label": lambda context: [x for _, x in context.history.all_of(PartLabel)],
    "recorder": lambda context: [
        r for _, r in context.history.all_of(Recorder) if r.method == "recorder"
    ],
    "lamp-check": lambda context: [x for _, x in context.history.all_of(LampCheck)],
}
