"""The shipped catalogue loads and is whole; a broken one is refused, one sample per refusal."""

import shutil
from pathlib import Path

import pytest

from squibwise.catalog.components import find_market, weigh_template
from squibwise.catalog.facts import FactFile, SourceFile
from squibwise.catalog.load import (
    DATA,
    Catalog,
    check_all,
    component_problem,
    load_catalog,
    sections,
)
from squibwise.catalog.reading import read_toml, read_tsv, refuse_repeats
from squibwise.errors import CatalogError

BROKEN = Path(__file__).parent / "broken"

FACT_REFUSALS = [
    ("fact-unknown-key.toml", "unknown field `colour`"),
    ("fact-unknown-unit.toml", "unknown unit 'furlong'"),
    ("fact-no-source.toml", "missing required field `source`"),
    ("fact-low-above-high.toml", "low 3.0 is above high 1.0"),
    ("fact-outside-range.toml", "value 9.0 lies outside"),
    ("fact-weak-without-range.toml", "needs a range"),
    ("fact-unknown-basis.toml", "Invalid enum value 'hearsay'"),
    ("fact-repeated-key.toml", "not valid TOML"),
    ("fact-no-date.toml", "missing required field `read_on`"),
]


@pytest.mark.parametrize(("sample", "message"), FACT_REFUSALS)
def test_a_broken_fact_file_is_refused_by_name(sample: str, message: str) -> None:
    with pytest.raises(CatalogError, match=message.replace("(", r"\(")) as refusal:
        read_toml(BROKEN / sample, FactFile)
    assert sample in str(refusal.value)


def test_a_source_file_with_a_repeated_id_is_refused(tmp_path: Path) -> None:
    shutil.copytree(DATA, tmp_path / "data")
    shutil.copy(BROKEN / "sources-repeated.toml", tmp_path / "data" / "sources.toml")
    with pytest.raises(CatalogError, match="'twice' stands twice"):
        _ = Catalog(tmp_path / "data").sources


def test_the_shipped_catalogue_passes_every_check() -> None:
    counts = check_all(load_catalog())
    assert set(counts) == {*sections(), "screens"}
    assert counts["kinds"] == 45
    assert counts["templates"] == 6


def test_a_fact_that_cites_an_unknown_source_is_found(tmp_path: Path) -> None:
    shutil.copytree(DATA, tmp_path / "data")
    shutil.copy(BROKEN / "fact-strange-source.toml", tmp_path / "data" / "facts" / "strange.toml")
    with pytest.raises(CatalogError, match="source 'nobody-knows' is not in"):
        check_all(Catalog(tmp_path / "data"))


def test_a_part_in_an_impossible_place_and_a_broken_pattern_are_found(tmp_path: Path) -> None:
    shutil.copytree(DATA, tmp_path / "data")
    shutil.copy(BROKEN / "equipment-wrong-place.toml", tmp_path / "data" / "equipment")
    signs = tmp_path / "data" / "loops" / "signs.toml"
    told = signs.read_text(encoding="utf-8")
    signs.write_text(told.replace('phrases = ["', 'phrases = ["(', 1), encoding="utf-8")
    with pytest.raises(CatalogError, match="a curtain is never at 'driver'") as refusal:
        check_all(Catalog(tmp_path / "data"))
    assert "is no pattern" in str(refusal.value)


def test_a_kind_whose_file_has_another_name_is_refused(tmp_path: Path) -> None:
    shutil.copytree(DATA, tmp_path / "data")
    components = tmp_path / "data" / "components"
    shutil.copy(components / "curtain.toml", components / "drape.toml")
    with pytest.raises(CatalogError, match="calls itself 'curtain'"):
        _ = Catalog(tmp_path / "data").kinds


def test_a_table_with_a_short_row_names_its_line(tmp_path: Path) -> None:
    table = tmp_path / "t.tsv"
    table.write_text("a\tb\n1\t2\n3\n", encoding="utf-8")
    with pytest.raises(CatalogError, match=r"t\.tsv:3: 1 cells, not 2"):
        read_tsv(table, ("a", "b"))
    with pytest.raises(CatalogError, match="columns must be"):
        read_tsv(table, ("a", "c"))


def test_repeated_keys_are_refused() -> None:
    with pytest.raises(CatalogError, match="'x' stands twice"):
        refuse_repeats(["x", "y", "x"], "list")


def test_an_unknown_fact_is_an_error_and_not_a_default() -> None:
    with pytest.raises(CatalogError, match="the catalogue has no fact"):
        load_catalog().fact("moon.phase")


@pytest.mark.parametrize(
    ("component", "problem"),
    [
        ("driver.front-bag", None),
        ("driver.teapot", "not a component kind"),
        ("attic.front-bag", "not a place"),
        ("left.front-bag", "never at 'left'"),
        ("front-bag", "not a component id"),
    ],
)
def test_component_ids_are_checked_against_the_catalogue(
    component: str, problem: str | None
) -> None:
    found = component_problem(component, load_catalog())
    assert (found is None) if problem is None else (found is not None and problem in found)


def test_every_kind_of_the_design_is_there() -> None:
    """The list of kinds is a contract: other people's case files name them."""
    electrical = (
        "front-bag knee-bag seat-bag curtain centre-bag cushion-bag inflatable-belt"
        " retractor-pretensioner buckle-pretensioner lap-pretensioner load-limiter-charge"
        " vent-charge column-charge head-restraint-charge roll-bar bonnet-lifter battery-cutoff"
        " high-voltage-cutoff motor-belt buckle-switch seat-position-sensor impact-sensor"
        " occupant-sensor passenger-switch control-unit clock-spring off-indicator warning-lamp"
        " wiring"
    ).split()
    silent = (
        "belt-webbing load-limiter height-adjuster belt-anchor child-anchor steering-wheel"
        " steering-column instrument-panel windshield seat-frame seat-foam-cover vapour-barrier"
        " headliner pillar-trim knee-bolster fasteners"
    ).split()
    kinds = load_catalog().kinds
    assert sorted(kinds) == sorted(electrical + silent)
    assert [k for k in electrical if not kinds[k].circuit] == []
    assert [k for k in silent if kinds[k].circuit or kinds[k].fires] == []


# Source: phase-in dates of FMVSS 208 (advanced airbags, all light vehicles from 1 Sep 2006),
# 214 (pole test, 100 % from 1 Sep 2014) and 226 (every vehicle from 1 Sep 2017).
@pytest.mark.parametrize(
    ("year", "impossible"),
    [(2010, "front-bags"), (2016, "belts-and-front-bags"), (2019, "seat-bags")],
)
def test_equipment_priors_follow_the_phase_in_dates(year: int, impossible: str) -> None:
    templates = load_catalog().templates
    for region, most in (("US-OH", 0.05), ("DE-BY", 0.1)):
        market = find_market(region)
        weights = {n: weigh_template(t, year, market) for n, t in templates.items()}
        assert abs(sum(weights.values()) - 1.0) < 0.06
        assert weights[impossible] <= most


def test_source_files_refuse_unknown_keys() -> None:
    with pytest.raises(CatalogError, match="unknown field"):
        read_toml(BROKEN / "sources-unknown-key.toml", SourceFile)
