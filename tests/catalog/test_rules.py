"""Rule profiles load and are whole; a broken one is refused, one sample per refusal."""

import shutil
from pathlib import Path

import pytest

from squibwise.catalog.load import DATA, Catalog, load_catalog
from squibwise.catalog.rules import RuleBook
from squibwise.errors import CatalogError

BROKEN = Path(__file__).parent / "broken"

RULE_REFUSALS = [
    ("rule-unknown-kind.toml", "rule r: unknown drape"),
    ("rule-unknown-condition.toml", "rule r: unknown full-moon"),
    ("rule-unknown-action.toml", "unknown action 'polish'"),
    ("rule-unknown-strictness.toml", "unknown strictness 'mostly'"),
    ("rule-unknown-family.toml", "unknown jewel"),
    ("rule-unknown-place.toml", "unknown attic"),
    ("rule-no-component.toml", "says no condition or no component"),
    ("rule-no-condition.toml", "says no condition or no component"),
    ("rule-no-example.toml", "has no example beside it"),
    ("rule-unknown-key.toml", "unknown field `colour`"),
    ("rule-strange-source.toml", "unknown hearsay"),
    ("rule-repeated.toml", "'r' stands twice"),
    ("rule-example-unknown-action.toml", "unknown action 'polish'"),
]
CONDITION_REFUSALS = [
    ("condition-unknown-state.toml", "unknown state or near"),
    ("condition-unknown-near.toml", "unknown state or near"),
    ("condition-unknown-event.toml", "unknown event 'eclipse'"),
    ("condition-event-without-state.toml", "unknown event 'crash'"),
    ("condition-count-missing.toml", "count 0 does not fit"),
    ("condition-unknown-kind.toml", "unknown drape"),
    ("condition-chance-gap.toml", "no chance word reaches down to 0"),
    ("condition-repeated.toml", "'w' stands twice"),
]


def with_sample(tmp_path: Path, sample: str, target: str) -> RuleBook:
    """Return the rules of a catalogue in which one file is a broken sample."""
    root = tmp_path / "data"
    shutil.copytree(DATA, root)
    shutil.copy(BROKEN / sample, root / "rules" / target)
    return Catalog(root).rules


@pytest.mark.parametrize(("sample", "message"), RULE_REFUSALS)
def test_a_broken_profile_is_refused_by_name(sample: str, message: str, tmp_path: Path) -> None:
    with pytest.raises(CatalogError) as refusal:
        with_sample(tmp_path, sample, "sample.toml")
    assert message in str(refusal.value)
    assert "sample.toml" in str(refusal.value)


@pytest.mark.parametrize(("sample", "message"), CONDITION_REFUSALS)
def test_a_broken_condition_word_is_refused(sample: str, message: str, tmp_path: Path) -> None:
    with pytest.raises(CatalogError, match=message):
        with_sample(tmp_path, sample, "words/conditions.toml")


def test_a_catalogue_without_the_default_is_refused(tmp_path: Path) -> None:
    shutil.copytree(DATA, tmp_path / "data")
    (tmp_path / "data" / "rules" / "default.toml").unlink()
    with pytest.raises(CatalogError, match=r"default\.toml is missing"):
        _ = Catalog(tmp_path / "data").rules


def test_every_rule_of_a_profile_is_labelled_as_ours() -> None:
    """The archetypes' thresholds are placeholders: never sold as any maker's rule."""
    for profile in load_catalog().rules.profiles.values():
        assert {r.basis for r in profile.rule} == {"judgement"}
        assert all("placeholders of our own" in r.at for r in profile.rule)


def test_the_words_for_probabilities_reach_down_to_zero() -> None:
    chances = load_catalog().rules.chances
    assert [c.at_least for c in chances] == sorted((c.at_least for c in chances), reverse=True)
    assert chances[-1].at_least == 0.0


def test_the_size_of_the_book_is_its_number_of_rules() -> None:
    book = load_catalog().rules
    files = [book.default, *book.profiles.values()]
    assert len(book) == sum(len(f.rule) for f in files)


def test_a_profile_starts_with_the_default() -> None:
    book = load_catalog().rules
    rules = book.rules("by-condition")
    assert rules[: len(book.default.rule)] == book.default.rule
    assert len(rules) > len(book.default.rule)
