"""A page that checks records in any browser, without a server and without a network."""

import json
from importlib import resources

from squibwise.catalog.load import Catalog

_TEMPLATE = "check.html"
_PLACE = "const KNOWN_WORDS = [];"


def check_page(catalog: Catalog) -> str:
    """Return the page as HTML that stands by itself; it knows the fixed words of every version."""
    known = [
        {
            "gates": [f"{gate} {digest}" for gate, digest in words.gates],
            "texts": sorted(digest for _, digest in words.texts),
            "limits": sum(name.startswith("limit-") for name, _ in words.texts),
        }
        for words in catalog.word_sets
    ]
    page = resources.files("squibwise.documents").joinpath(_TEMPLATE).read_text(encoding="utf-8")
    return page.replace(_PLACE, f"const KNOWN_WORDS = {json.dumps(known)};")
