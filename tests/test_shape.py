"""The code keeps its shape: sizes, types of records, names of findings, one decision per page."""

import ast
import re
import statistics
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
SOURCE = ROOT / "src" / "squibwise"
MODULES = sorted(SOURCE.rglob("*.py"))
FUNCTION_WALL, MODULE_WALL = 60, 500
MODULE_MEDIAN_WALL, FUNCTION_MEDIAN_WALL = 150, 15


def _functions(path: Path) -> list[ast.FunctionDef | ast.AsyncFunctionDef]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    return [n for n in ast.walk(tree) if isinstance(n, ast.FunctionDef | ast.AsyncFunctionDef)]


def _length(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    assert function.end_lineno is not None
    return function.end_lineno - function.lineno + 1


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(SOURCE)))
def test_no_module_and_no_function_is_beyond_the_wall(path: Path) -> None:
    assert len(path.read_text(encoding="utf-8").splitlines()) <= MODULE_WALL
    too_long = {f.name: _length(f) for f in _functions(path) if _length(f) > FUNCTION_WALL}
    assert too_long == {}


def test_the_median_module_and_function_stay_small() -> None:
    modules = [len(p.read_text(encoding="utf-8").splitlines()) for p in MODULES]
    functions = [_length(f) for p in MODULES for f in _functions(p)]
    assert statistics.median(modules) <= MODULE_MEDIAN_WALL
    assert statistics.median(functions) <= FUNCTION_MEDIAN_WALL


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(SOURCE)))
def test_every_class_is_a_record_an_error_or_says_its_reason(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in (n for n in ast.walk(tree) if isinstance(n, ast.ClassDef)):
        bases = [ast.unparse(b) for b in node.bases]
        docstring = ast.get_docstring(node) or ""
        assert bases or re.search(r"\b[Cc]lass because\b", docstring), f"{path.name}: {node.name}"


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(SOURCE)))
def test_broad_excepts_stand_only_at_the_edges(path: Path) -> None:
    if path.is_relative_to(SOURCE / "cli") or path.is_relative_to(SOURCE / "web"):
        pytest.skip("an outer edge may catch everything")
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in (n for n in ast.walk(tree) if isinstance(n, ast.ExceptHandler)):
        caught = ast.unparse(node.type) if node.type else "everything"
        assert caught not in ("everything", "Exception", "BaseException"), f"line {node.lineno}"


def test_every_finding_code_is_documented_and_every_documented_code_is_used() -> None:
    pages = (ROOT / "docs" / "findings.md").read_text(encoding="utf-8")
    documented = set(re.findall(r"^\| `?([a-z0-9-]+)`? \|", pages, re.MULTILINE)) - {"code", "---"}
    used = {code for path in MODULES for code in _finding_codes(path)}
    assert used, "no finding code was found in the source"
    assert used - documented == set()
    text = "\n".join(p.read_text(encoding="utf-8") for p in MODULES)
    assert {code for code in documented if f'"{code}"' not in text} == set()


def _finding_codes(path: Path) -> set[str]:
    tree = ast.parse(path.read_text(encoding="utf-8"))
    calls = [n for n in ast.walk(tree) if isinstance(n, ast.Call)]
    return {
        keyword.value.value
        for call in calls
        if ast.unparse(call.func) == "Finding"
        for keyword in call.keywords
        if keyword.arg == "code"
        and isinstance(keyword.value, ast.Constant)
        and isinstance(keyword.value.value, str)
    }


def test_no_path_of_a_machine_and_no_registry_address_is_in_the_project() -> None:
    suspicious = re.compile(r"/work/|/root/|/home/\w+/|pypi\.org|files\.pythonhosted|npmjs\.org")
    folders = ("src", "tests", "docs", "bench", "fit", "requirements", ".ci")
    files = [p for f in folders for p in (ROOT / f).rglob("*") if p.is_file()]
    files += [p for p in ROOT.iterdir() if p.is_file()]
    endings = {".py", ".md", ".toml", ".tsv", ".txt", ".json", ".html", ".css", ".js", ".svg"}
    plain = {"Makefile", "LICENSE", ".gitignore", "run"}
    guilty = [
        str(p.relative_to(ROOT))
        for p in files
        if (p.suffix in endings or p.name in plain)
        and p != Path(__file__)
        and "__pycache__" not in p.parts
        and suspicious.search(p.read_text(encoding="utf-8", errors="replace"))
    ]
    assert guilty == []
