"""Papers for the bench and for an inspection: tags, cards, the pack."""

import datetime as dt
import json
from pathlib import Path

import msgspec

from squibwise.documents.printable import needs_fonts, printable
from squibwise.documents.typesetting import set_pages, square_code
from squibwise.present.tell_papers import Paper

_TEMPLATE = "papers.typ"


def papers_pdf(paper: Paper, day: dt.date, fonts: Path | None = None) -> bytes:
    """Return a paper as PDF.

    Args:
        paper: What it tells.
        day: The only date in the file.
        fonts: Folder with fonts of the user's own, for letters that the built-in ones lack.
    """
    told = msgspec.to_builtins(paper)
    fonts = fonts if fonts is not None and fonts.is_dir() and needs_fonts(told) else None
    shown = printable(told, fonts)
    tags = [
        told | {"code": square_code(tag.code), "spoken": tag.code}
        for tag, told in zip(paper.tags, shown["tags"], strict=True)
    ]
    noon = dt.datetime.combine(day, dt.time(12), dt.UTC)
    return set_pages(_TEMPLATE, {"paper": json.dumps(shown | {"tags": tags})}, noon, {}, fonts)
