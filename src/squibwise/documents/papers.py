"""Papers for the bench and for an inspection: tags, cards, the pack."""

import datetime as dt
import json

import msgspec

from squibwise.documents.printable import printable
from squibwise.documents.typesetting import set_pages, square_code
from squibwise.present.tell_papers import Paper

_TEMPLATE = "papers.typ"


def papers_pdf(paper: Paper, day: dt.date) -> bytes:
    """Return a paper as PDF.

    Args:
        paper: What it tells.
        day: The only date in the file.
    """
    shown = printable(msgspec.to_builtins(paper))
    tags = [
        told | {"code": square_code(tag.code), "spoken": tag.code}
        for tag, told in zip(paper.tags, shown["tags"], strict=True)
    ]
    noon = dt.datetime.combine(day, dt.time(12), dt.UTC)
    return set_pages(_TEMPLATE, {"paper": json.dumps(shown | {"tags": tags})}, noon, {})
