"""The code keeps its shape: sizes, imports, docstrings, names of findings.

Each test lists every offender, so that one run shows all there is to mend.
"""

import ast
import re
import statistics
from collections import Counter
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

ROOT = Path(__file__).parents[1]
SOURCE = ROOT / "src" / "squibwise"
MODULES = sorted(SOURCE.rglob("*.py"))
TREES = {path: ast.parse(path.read_text(encoding="utf-8")) for path in MODULES}
LINES = {path: len(path.read_text(encoding="utf-8").splitlines()) for path in MODULES}
FUNCTION_WALL, MODULE_WALL = 60, 500
MODULE_MEDIAN_WALL, FUNCTION_MEDIAN_WALL = 250, 15
EDGES = (SOURCE / "cli", SOURCE / "web")

Function = ast.FunctionDef | ast.AsyncFunctionDef


def _module(path: Path) -> str:
    parts = path.relative_to(SOURCE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


NAMES = {_module(path) for path in MODULES}


def _name(path: Path) -> str:
    return str(path.relative_to(SOURCE))


def _nodes(kind: type[ast.AST] | tuple[type[ast.AST], ...]) -> Iterator[tuple[Path, ast.AST]]:
    return ((p, n) for p, tree in TREES.items() for n in ast.walk(tree) if isinstance(n, kind))


def _functions() -> list[tuple[Path, Function, int]]:
    found = []
    for path, node in _nodes((ast.FunctionDef, ast.AsyncFunctionDef)):
        assert isinstance(node, Function)
        assert node.end_lineno is not None
        found.append((path, node, node.end_lineno - node.lineno + 1))
    return found


def test_no_module_is_beyond_the_wall() -> None:
    assert {_name(p): n for p, n in LINES.items() if n > MODULE_WALL} == {}


def test_no_function_is_beyond_the_wall() -> None:
    too_long = {f"{_name(p)}: {f.name}": n for p, f, n in _functions() if n > FUNCTION_WALL}
    assert too_long == {}


def test_the_median_module_and_function_stay_small() -> None:
    assert statistics.median(LINES.values()) <= MODULE_MEDIAN_WALL
    assert statistics.median(n for _, _, n in _functions()) <= FUNCTION_MEDIAN_WALL


def test_no_module_imports_itself_through_others() -> None:
    graph = {_module(p): set(_imported(tree)) & NAMES for p, tree in TREES.items()}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        raise AssertionError(f"imports in a circle: {' -> '.join(error.args[1])}") from None


def _imported(tree: ast.Module) -> Iterator[str]:
    """Yield what a module imports, inside functions too; not what only types need."""
    for node in tree.body:
        if not (isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"):
            for inner in ast.walk(node):
                yield from _names_imported(inner)


def _names_imported(node: ast.AST) -> Iterator[str]:
    if isinstance(node, ast.Import):
        yield from (alias.name for alias in node.names)
    elif isinstance(node, ast.ImportFrom) and node.module:
        submodules = [f"{node.module}.{alias.name}" for alias in node.names]
        found = [name for name in submodules if name in NAMES]
        yield from found or [node.module]


def test_everything_public_says_what_it_is() -> None:
    kinds = (ast.FunctionDef, ast.AsyncFunctionDef, ast.ClassDef)
    silent = [_name(p) for p, tree in TREES.items() if not ast.get_docstring(tree)]
    for path, tree in TREES.items():
        holders = [tree, *(n for n in tree.body if isinstance(n, ast.ClassDef))]
        for node in (n for holder in holders for n in holder.body if isinstance(n, kinds)):
            if not node.name.startswith("_") and not ast.get_docstring(node):
                silent.append(f"{_name(path)}: {node.name}")
    assert silent == []


def test_every_class_is_a_record_an_error_or_says_its_reason() -> None:
    without = []
    for path, node in _nodes(ast.ClassDef):
        assert isinstance(node, ast.ClassDef)
        reason = re.search(r"\b[Cc]lass because\b", ast.get_docstring(node) or "")
        if not node.bases and not reason:
            without.append(f"{_name(path)}: {node.name}")
    assert without == []


def test_broad_excepts_stand_only_at_the_edges() -> None:
    broad = []
    for path, node in _nodes(ast.ExceptHandler):
        assert isinstance(node, ast.ExceptHandler)
        caught = ast.unparse(node.type) if node.type else "everything"
        inside = not any(path.is_relative_to(edge) for edge in EDGES)
        if inside and caught in ("everything", "Exception", "BaseException"):
            broad.append(f"{_name(path)}:{node.lineno}")
    assert broad == []


def _documented_findings() -> list[str]:
    pages = (ROOT / "docs" / "findings.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| `?([a-z0-9-]+)`? \|", pages, re.MULTILINE)
    return [code for code in rows if code not in ("code", "---")]


def test_every_finding_code_is_documented_and_every_documented_code_is_used() -> None:
    documented = set(_documented_findings())
    used = {code for tree in TREES.values() for code in _finding_codes(tree)}
    assert used, "no finding code was found in the source"
    assert used - documented == set()
    text = "\n".join(p.read_text(encoding="utf-8") for p in MODULES)
    assert {code for code in documented if f'"{code}"' not in text} == set()


def test_the_page_of_findings_is_sorted_and_names_each_code_once() -> None:
    documented = _documented_findings()
    assert [code for code, n in Counter(documented).items() if n > 1] == []
    assert documented == sorted(documented)


def _finding_codes(tree: ast.Module) -> set[str]:
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
