"""The catalogue's gates and texts load, and broken ones are refused."""

import shutil
from pathlib import Path

import pytest

from squibwise.catalog.load import Catalog, load_catalog
from squibwise.errors import CatalogError

BROKEN = Path(__file__).parents[1] / "catalog" / "broken"


@pytest.mark.parametrize(
    ("sample", "message"),
    [
        ("release-repeated.toml", "'twice' stands twice"),
        ("release-unknown-key.toml", "unknown field `colour`"),
    ],
)
def test_a_broken_release_file_is_refused(tmp_path: Path, sample: str, message: str) -> None:
    shutil.copy(BROKEN / sample, tmp_path / "release.toml")
    with pytest.raises(CatalogError, match=message):
        _ = Catalog(tmp_path).release_gates


def test_every_gate_says_what_must_hold_and_how_to_close_it() -> None:
    catalog = load_catalog()
    for gate in catalog.release_gates.values():
        assert gate.text.endswith(".")
        assert gate.remedy.endswith(".")
        assert gate.source in catalog.sources


def test_the_texts_that_every_record_needs_are_there() -> None:
    texts = load_catalog().record_texts
    assert {"footer", "standing"} <= set(texts)
    assert sum(name.startswith("limit-") for name in texts) >= 5
