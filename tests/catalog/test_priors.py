"""The priors load, cite and account for themselves; a broken file is refused, one per refusal."""

import re
import shutil
from pathlib import Path
from typing import Any

import msgspec
import pytest

from squibwise.catalog.crash_words import CrashWords
from squibwise.catalog.load import DATA, load_catalog
from squibwise.catalog.priors import CurveFile, Severity, ShareFile, SplitFile, read_priors
from squibwise.catalog.reading import read_toml
from squibwise.errors import CatalogError
from squibwise.model.words import WEAK_BASES

BROKEN = Path(__file__).parent / "broken"
PRIORS = load_catalog().priors

REFUSALS = [
    ("prior-curve-falling.toml", CurveFile, "rarer with severity"),
    ("prior-curve-no-count.toml", CurveFile, "needs n and effective_n"),
    ("prior-curve-effective-above-n.toml", CurveFile, "effective_n <= n"),
    ("prior-curve-unknown-quantity.toml", CurveFile, "Invalid enum value 'colour'"),
    ("prior-share-judgement-without-range.toml", ShareFile, "judgement needs low <= p <= high"),
    ("prior-share-without-error.toml", ShareFile, "needs its standard error"),
    ("prior-share-above-one.toml", ShareFile, "1.5 is not a probability"),
    ("prior-severity-bias.toml", Severity, "out of its range"),
    ("prior-severity-weights.toml", Severity, "do not sum to one"),
    ("prior-severity-spread.toml", Severity, "not positive"),
    ("prior-split-certain.toml", SplitFile, "between 0 and 1"),
]


@pytest.mark.parametrize(("sample", "kind", "message"), REFUSALS)
def test_a_broken_prior_is_refused_by_name(sample: str, kind: type, message: str) -> None:
    with pytest.raises(CatalogError, match=re.escape(message)) as refusal:
        read_toml(BROKEN / sample, kind)
    assert sample in str(refusal.value)


def test_a_split_that_stands_twice_is_refused(tmp_path: Path) -> None:
    shutil.copytree(DATA / "priors", tmp_path / "priors")
    shutil.copy(BROKEN / "prior-split-repeated.toml", tmp_path / "priors" / "splits.toml")
    with pytest.raises(CatalogError, match="stands twice"):
        read_priors(tmp_path / "priors")


def test_a_unit_that_is_written_like_another_is_refused() -> None:
    words = msgspec.to_builtins(load_catalog().crash_words)
    words["unit"]["mph"]["words"] = ["mph", "kmh"]
    with pytest.raises(CatalogError, match=r"'kmh'.*stand twice"):
        msgspec.convert(words, CrashWords)


def test_a_crash_data_element_without_words_is_refused() -> None:
    words = msgspec.to_builtins(load_catalog().crash_words)
    words["element"][0]["all"] = []
    with pytest.raises(CatalogError, match="no words"):
        msgspec.convert(words, CrashWords)


def _provenances(value: Any) -> list[Any]:
    if isinstance(value, msgspec.Struct):
        own = [value.provenance] if hasattr(value, "provenance") else []
        return own + [p for f in value.__struct_fields__ for p in _provenances(getattr(value, f))]
    items = value.values() if isinstance(value, dict) else value
    inner = items if isinstance(value, dict | tuple) else ()
    return [p for item in inner for p in _provenances(item)]


def test_every_prior_says_where_it_comes_from_and_what_it_rests_on() -> None:
    found = _provenances(PRIORS)
    assert len(found) > 50
    sources = load_catalog().sources
    for provenance in found:
        assert provenance.source in sources
        fitted = provenance.basis == "computed"
        assert fitted != (provenance.basis in WEAK_BASES)
        assert (provenance.by == "fit/run.py") == fitted


def test_every_struck_side_and_extent_has_a_severity_and_more_extent_is_more_severe() -> None:
    for side in ("front", "near", "far", "rear"):
        extents = ("none", "light", "moderate", "severe")
        means = [PRIORS.severity.of(side, e).log_mean for e in extents]
        assert means == sorted(means)
        assert PRIORS.severity.of(side).extent is None
        assert PRIORS.severity.directions(side).degrees[0] >= 0.0


def test_every_side_has_a_split_with_and_without_the_front_bag() -> None:
    assert set(PRIORS.splits) == {
        (side, front) for side in ("front", "near", "far", "rear") for front in (True, False)
    }
    assert {k for kinds in PRIORS.splits.values() for k in kinds} == {
        "seat-bag",
        "curtain",
        "knee-bag",
    }


def test_a_prior_that_is_not_there_is_named() -> None:
    with pytest.raises(CatalogError, match=r"no prior 'belts\.moon'"):
        PRIORS.share("belts", "moon")


def test_struck_side_shares_sum_to_one() -> None:
    names = ("front", "left", "right", "rear", "top")
    assert sum(PRIORS.share("sides", n).p for n in names) == pytest.approx(1.0, abs=2e-4)
