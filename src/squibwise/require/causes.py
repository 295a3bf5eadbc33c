"""Common causes of faults: one look at a shared plug before any single part is doubted."""

from collections.abc import Iterator

from squibwise.catalog.load import Catalog
from squibwise.catalog.tasks import Cause
from squibwise.model.belief import Assessment, Because
from squibwise.model.words import WEAK_BASES
from squibwise.model.work import WorkItem
from squibwise.require.progress import STEP, Progress
from squibwise.require.steps import cautions_of
from squibwise.require.words import chance_word


def cause_items(
    assessment: Assessment, least: float, progress: Progress, catalog: Catalog
) -> dict[str, WorkItem]:
    """Return one item per believed common cause that work can do something about.

    Args:
        assessment: Its ``event.causes`` are read, keys ``<cause>``, ``<cause>:<place>`` or
            ``<cause>:<place>.<part>``; the first of a place steps back behind its parts.
        least: Least probability to be followed.
        progress: What was signed.
        catalog: For what to do about it.
    """
    return {i.id: i for i in _items(assessment, least, progress, catalog)}


def _items(
    assessment: Assessment, least: float, progress: Progress, catalog: Catalog
) -> Iterator[WorkItem]:
    followed = {k: p for k, p in sorted(assessment.event.causes.items()) if p >= least}
    for key, probability in followed.items():
        word, _, place = key.partition(":")
        cause = catalog.tasks.causes.get(word)
        if cause is not None and not any(other.startswith(f"{key}.") for other in followed):
            yield _item(cause, place, probability, progress, catalog)


def _item(
    cause: Cause, place: str, probability: float, progress: Progress, catalog: Catalog
) -> WorkItem:
    item_id = STEP + "-".join(w for w in ("check", cause.cause, place) if w)
    shown = f"the {place.replace('.', ' ').replace('-', ' ')}" if place else "one connector"
    told = f"{cause.text} Here: {chance_word(probability, catalog)}."
    weak = cause.basis if cause.basis in WEAK_BASES else None
    return WorkItem(
        id=item_id,
        action="do",
        component=None,
        title=cause.title.format(place=shown),
        strict="inspect-first",
        probability=probability,
        because=(Because(text=told, sources=(cause.source,), weak=weak),),
        minutes=cause.minutes,
        cautions=cautions_of(cause.cautions, catalog),
        done=progress.passed(item_id) or item_id in progress.done_items,
        passes_when="passed, then scan again",
    )
