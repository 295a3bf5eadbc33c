"""A page that checks records in any browser, without a server and without a network."""

import json
from importlib import resources
from typing import Any

from squibwise import __version__
from squibwise.catalog.load import Catalog
from squibwise.catalog.texts import WordSet
from squibwise.prove.recording import WITHHELD
from squibwise.prove.verifying import KEYS_OF, VERSIONS

_TEMPLATE = "check.html"
_PLACE = "const KNOWN = {};"


def check_page(catalog: Catalog) -> str:
    """Return the page as HTML that stands by itself; it knows the fixed words of every version."""
    known = {
        "version": __version__,
        "versions": VERSIONS,
        "keys": {schema: sorted(keys) for schema, keys in KEYS_OF.items()},
        "withheld": WITHHELD,
        "words": [_words(words) for words in catalog.word_sets],
    }
    page = resources.files("squibwise.documents").joinpath(_TEMPLATE).read_text(encoding="utf-8")
    return page.replace(_PLACE, f"const KNOWN = {json.dumps(known)};")


def _words(words: WordSet) -> dict[str, Any]:
    """Return the fixed words of one version as the page compares them."""
    return {
        "gates": [f"{gate} {digest}" for gate, digest in words.gates],
        "texts": sorted(f"{name} {digest}" for name, digest in words.texts),
        "limits": sorted(digest for name, digest in words.texts if name.startswith("limit-")),
        "cautions": sorted(f"{name} {digest}" for name, digest in words.cautions),
        "papers": list(words.papers),
        "questions": [f"{name} {digest}" for name, digest in words.questions],
    }
