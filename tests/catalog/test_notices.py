"""Notices by region and cautions: the right ones for a region, and refusals."""

import shutil
from pathlib import Path

import pytest

from squibwise.catalog.load import DATA, Catalog, load_catalog
from squibwise.catalog.texts import notices_for
from squibwise.errors import CatalogError

BROKEN = Path(__file__).parent / "broken"


def ids(region: str | None) -> list[str]:
    return [n.id for n in notices_for(region, load_catalog().notices)]


STATES_READ = "US-LA US-TX US-CA US-NY US-CO US-AL US-GA AU-SA AU-VIC AU-ACT".split()


def test_a_state_that_was_read_adds_its_own_to_the_countrys() -> None:
    for region in STATES_READ:
        country, found = ids(region[:2]), ids(region)
        assert region.lower() in found
        assert {i for i in country if not i.endswith(("ask-state", "ask"))} <= set(found), region
        assert not {"us-ask-state", "au-ask", "ask-authority", "no-region"} & set(found), region


def test_a_state_that_was_not_read_gets_federal_law_and_ask_your_state() -> None:
    found = ids("US-OH")
    assert {"us-no-duty", "us-ask-state"} <= set(found)
    assert not {"us-la", "us-tx", "gb-mot"} & set(found)


@pytest.mark.parametrize("region", ["GB", "GB-SCT"])
def test_the_united_kingdom_gets_its_own(region: str) -> None:
    assert {"gb-mot", "gb-category"} <= set(ids(region))
    assert "us-no-duty" not in ids(region)


@pytest.mark.parametrize(("region", "expected"), [("DE", "ask-authority"), (None, "no-region")])
def test_elsewhere_and_nowhere_are_told_to_ask(region: str | None, expected: str) -> None:
    assert ids(region) == ["standing", "counterfeit", expected]


def test_the_standing_notice_comes_first_everywhere() -> None:
    for region in (None, "US-OH", "US-LA", "GB", "AU-SA", "AU-NSW", "DE", "JP-13"):
        assert ids(region)[0] == "standing"


def test_what_is_from_memory_says_so() -> None:
    notice = next(n for n in load_catalog().notices if n.id == "gb-category")
    assert notice.basis == "from-memory"


@pytest.mark.parametrize(
    ("sample", "folder", "message"),
    [
        ("notice-strange-region.toml", "notices", "'Atlantis' is no region code"),
        ("notice-strange-source.toml", "notices", "unknown source hearsay"),
        ("notice-repeated.toml", "notices", "'standing' stands twice"),
        ("caution-strange-source.toml", "cautions", "unknown source hearsay"),
        ("caution-repeated.toml", "cautions", "'no-meter' stands twice"),
        ("caution-no-date.toml", "cautions", "missing required field `read_on`"),
    ],
)
def test_a_broken_file_is_refused(sample: str, folder: str, message: str, tmp_path: Path) -> None:
    shutil.copytree(DATA, tmp_path / "data")
    shutil.copy(BROKEN / sample, tmp_path / "data" / folder / "sample.toml")
    with pytest.raises(CatalogError) as refusal:
        _ = getattr(Catalog(tmp_path / "data"), folder)
    assert message in str(refusal.value)
