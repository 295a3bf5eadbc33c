"""Which of the papers that people ask for are shown by the evidence."""

from collections.abc import Callable, Iterator
from typing import Any

from squibwise.catalog.texts import PASSED, Paper
from squibwise.model.evidence import LampCheck, PartLabel, Recorder
from squibwise.model.report import Report
from squibwise.prove.context import Context, is_passed, last_work


def papers(context: Context) -> Iterator[dict[str, Any]]:
    """Yield every paper that is asked for, with whether the evidence shows it to be there.

    What no evidence can show is None: a person ticks it by hand.
    """
    for paper in context.catalog.papers.values():
        yield {
            "id": paper.id,
            "text": paper.text,
            "there": _is_there(paper, context),
            "source": paper.source,
        }


def _is_there(paper: Paper, context: Context) -> bool | None:
    if not paper.shown_by:
        return None
    if paper.shown_by.startswith(PASSED):
        word = paper.shown_by.removeprefix(PASSED)
        return is_passed(context, word, f"step:{word}", word.removeprefix("step:"))
    return _SHOWN[paper.shown_by](context)


def _report_before(context: Context) -> bool:
    return any(r.when != "after-repair" for _, r in context.all_of(Report))


def _report_after(context: Context) -> bool:
    work = last_work(context)
    return any(r.when == "after-repair" and n > work >= 0 for n, r in context.all_of(Report))


_SHOWN: dict[str, Callable[[Context], bool]] = {
    "report-before": _report_before,
    "report-after": _report_after,
    "part-label": lambda context: bool(context.all_of(PartLabel)),
    "recorder": lambda context: any(r.method == "recorder" for _, r in context.all_of(Recorder)),
    "lamp-check": lambda context: bool(context.all_of(LampCheck)),
}
