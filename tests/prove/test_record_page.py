"""The page about the record is true: its script works, its gates are the catalogue's."""

import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from squibwise.catalog.load import load_catalog
from squibwise.model.proof import ProofRecord
from squibwise.prove.recording import to_json

PAGE = (Path(__file__).parents[2] / "docs" / "record.md").read_text(encoding="utf-8")


def run_script(data: bytes, folder: Path) -> str:
    (script,) = re.findall(r"```python\n(.*?)```", PAGE, re.DOTALL)
    (folder / "check.py").write_text(script, encoding="utf-8")
    (folder / "record.json").write_bytes(data)
    done = subprocess.run(
        [sys.executable, "check.py", "record.json"],
        cwd=folder,
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout


def test_the_script_of_the_page_finds_a_record_unchanged(
    issue: Callable[..., ProofRecord], tmp_path: Path
) -> None:
    record = issue()
    assert run_script(to_json(record), tmp_path) == f"unchanged {record.digest}\n"


def test_the_script_of_the_page_finds_a_change(
    issue: Callable[..., ProofRecord], tmp_path: Path
) -> None:
    forged = to_json(issue()).replace(b"Own car", b"Any car")
    assert run_script(forged, tmp_path).startswith("CHANGED")


@pytest.mark.parametrize("gate", load_catalog().release_gates.values(), ids=lambda g: g.id)
def test_the_page_lists_every_gate_as_the_catalogue_has_it(gate: object) -> None:
    row = f"| `{gate.id}` | {gate.text} | {gate.remedy} |"  # type: ignore[attr-defined]
    assert row in PAGE


def test_the_page_names_every_key_of_a_record(issue: Callable[..., ProofRecord]) -> None:
    for key in ProofRecord.__struct_fields__:
        assert f"`{key}`" in PAGE
