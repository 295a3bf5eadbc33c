"""The catalogue at the command line: overview, every entry, the check of every section."""

import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from squibwise.catalog import load
from squibwise.catalog.load import DATA, load_catalog, sections
from squibwise.cli import looking_up

Line = Callable[..., Any]
CATALOG = load_catalog()


def test_the_check_counts_every_section(run: Line) -> None:
    done = run("catalog", "--check", "--json")
    assert done.code == 0
    assert set(done.json()["counts"]) == {*sections(), "screens"}
    assert all(count > 0 for count in done.json()["counts"].values())


def test_a_broken_catalogue_is_exit_code_three(
    run: Line, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shutil.copytree(DATA, tmp_path / "data")
    (tmp_path / "data" / "components" / "curtain.toml").write_text("kind = 3\n", encoding="utf-8")
    monkeypatch.setattr(looking_up, "load_catalog", lambda: load.Catalog(tmp_path / "data"))
    done = run("catalog", "--check")
    assert done.code == 3
    assert "curtain.toml" in done.err


def test_the_overview_lists_what_a_case_file_needs(run: Line) -> None:
    done = run("catalog")
    assert done.code == 0
    for word in ("driver, passenger", "full-modern-set", "by-condition", "front-bag"):
        assert word in done.out


def test_every_entry_can_be_shown(run: Line) -> None:
    names = (*CATALOG.kinds, *CATALOG.templates, *CATALOG.rules.profiles)
    facts = (*sorted(CATALOG.facts)[::10], *sorted(CATALOG.sources)[::5])
    unshown = [name for name in (*names, *facts) if not _is_shown(run, name)]
    assert unshown == []


def _is_shown(run: Line, name: str) -> bool:
    done = run("catalog", name)
    fits = max(map(len, done.out.splitlines())) <= 80
    shown = done.code == 0 and name in done.out and fits
    return shown and bool(run("catalog", name, "--json").json())


def test_a_kind_lists_the_words_for_what_can_be_seen(run: Line) -> None:
    done = run("catalog", "front-bag")
    assert [w for w in CATALOG.looks("front-bag") if w not in done.out] == []


def test_a_fact_stands_with_source_and_basis(run: Line) -> None:
    fact = next(f for f in CATALOG.facts.values() if f.basis == "judgement")
    shown = " ".join(run("catalog", fact.id).out.split())
    assert fact.basis in shown
    assert " ".join(CATALOG.sources[fact.source].title.split()) in shown


def test_an_unknown_entry_suggests_one(run: Line) -> None:
    done = run("catalog", "frontbag")
    assert done.code == 2
    assert "front-bag" in done.err
