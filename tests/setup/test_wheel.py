"""The wheel is whole, and runs in a bare environment, from any folder, on every Python here."""

import os
import shutil
import subprocess
import sys
import tomllib
import zipfile
from email.message import Message
from email.parser import Parser
from importlib import metadata
from importlib.util import find_spec
from pathlib import Path

import pytest

import squibwise

ROOT = Path(__file__).parents[2]
LOCK = ROOT / "requirements" / "base.txt"
ODD_NAME = "Werkstatt Süd 工場"
VERSIONS = [f"3.{minor}" for minor in range(11, 20) if minor != sys.version_info.minor]


def _python(version: str) -> str | None:
    """Return a Python of a version: on the path, or beside others in one folder of versions."""
    on_path = shutil.which(f"python{version}")
    if on_path and subprocess.run([on_path, "-c", ""], capture_output=True, check=False).returncode:
        on_path = None
    beside = sorted(Path(sys.base_prefix).parent.glob(f"{version}.*/bin/python{version}"))
    return on_path or (str(beside[-1]) if beside else None)


ALL = {version: found for version in VERSIONS if (found := _python(version))}
# With SQUIBWISE_EVERY_PYTHON=1, as before a release: each takes 20 s.
OTHER_PYTHONS = ALL if os.environ.get("SQUIBWISE_EVERY_PYTHON") else {}


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("dist")
    subprocess.run(
        [sys.executable, "-m", "flit_core.wheel", "--outdir", str(folder), str(ROOT)],
        check=True,
        capture_output=True,
    )
    (built,) = folder.glob("*.whl")
    return built


@pytest.fixture(scope="module")
def about(wheel: Path) -> Message:
    with zipfile.ZipFile(wheel) as archive:
        name = next(n for n in archive.namelist() if n.endswith(".dist-info/METADATA"))
        return Parser().parsestr(archive.read(name).decode("utf-8"))


def test_the_wheel_holds_the_package_and_nothing_else(wheel: Path) -> None:
    with zipfile.ZipFile(wheel) as archive:
        packed = {n for n in archive.namelist() if not n.split("/")[0].endswith(".dist-info")}
    source = ROOT / "src"
    kept = (p for p in (source / "squibwise").rglob("*") if p.is_file())
    assert packed == {
        p.relative_to(source).as_posix() for p in kept if "__pycache__" not in p.parts
    }


@pytest.mark.parametrize(
    "path",
    [
        "squibwise/py.typed",
        "squibwise/catalog/data/sources.toml",
        "squibwise/demo/harrow-07/case.toml",
        "squibwise/demo/harrow-07/evidence/scan-before.txt",
        "squibwise/documents/record.typ",
    ],
)
def test_what_is_not_python_travels_too(wheel: Path, path: str) -> None:
    with zipfile.ZipFile(wheel) as archive:
        assert path in archive.namelist()


def test_the_wheel_asks_for_what_the_project_names(about: Message) -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    asked = [r for r in about.get_all("Requires-Dist", []) if "extra ==" not in r]
    assert sorted(r.replace(" ", "") for r in asked) == sorted(project["dependencies"])
    assert about["Requires-Python"] == project["requires-python"]


def test_the_version_stands_in_one_place(about: Message) -> None:
    assert about["Version"] == squibwise.__version__


def test_dir_lists_the_public_names_and_each_is_there() -> None:
    assert {"assess", "load_catalog", "__version__"} <= set(dir(squibwise))
    assert [name for name in dir(squibwise) if not hasattr(squibwise, name)] == []


def _environment_of_nobody(home: Path) -> dict[str, str]:
    """The poorest environment: no locale, nothing of this process's Python."""
    return {"LANG": "C", "LC_ALL": "C", "PATH": os.defpath, "HOME": str(home)}


def _run(where: Path, *command: str | Path) -> str:
    done = subprocess.run(
        [str(c) for c in command],
        cwd=where,
        env=_environment_of_nobody(where),
        capture_output=True,
        encoding="utf-8",
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stdout[-2000:] + done.stderr[-2000:]
    return done.stdout


def _pip(python: Path, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "pip", "--python", python, "--disable-pip-version-check"]
    return subprocess.run(
        [str(c) for c in (*command, *arguments)], capture_output=True, text=True, check=False
    )


def _bare_environment(python: str, folder: Path) -> Path:
    subprocess.run([python, "-m", "venv", "--without-pip", folder], check=True)
    return folder / "bin" / "python"


needs_pip = pytest.mark.skipif(find_spec("pip") is None, reason="no pip beside this Python")


@needs_pip
def test_the_installed_wheel_walks_through_the_demo_in_a_bare_environment(
    wheel: Path, tmp_path: Path
) -> None:
    """The environment holds the base lock only: nothing else can be leaned on."""
    home = tmp_path / ODD_NAME
    python = _bare_environment(sys.executable, home / "env")
    _copy_base_packages(next((home / "env" / "lib").glob("python*/site-packages")))
    installed = _pip(python, "install", "--no-deps", "--no-index", wheel)
    assert installed.returncode == 0, installed.stderr
    elsewhere = home / "my cars"
    elsewhere.mkdir()
    program = python.with_name("squibwise")
    assert _run(elsewhere, program, "--version") == f"squibwise {squibwise.__version__}\n"
    shown = _run(elsewhere, program, "demo")
    assert "squibwise assess out/harrow-07" in shown
    assert len(list((elsewhere / "out").glob("*.pdf"))) == 7
    assert "What fired" in _run(elsewhere, program, "assess", "out/harrow-07")


def _copy_base_packages(site: Path) -> None:
    """Link the packages of the base lock, and no others, into an environment."""
    names = [line.partition("==")[0] for line in LOCK.read_text("utf-8").splitlines()]
    for name in (n for n in names if n and n[0].isalnum()):
        files = metadata.distribution(name).files or ()
        for top in {f.parts[0] for f in files if f.parts[0] not in ("..", "__pycache__")}:
            target = site / top
            if not target.exists():
                source = Path(str(metadata.distribution(name).locate_file(top)))
                target.symlink_to(source, target_is_directory=source.is_dir())


@needs_pip
@pytest.mark.parametrize("version", OTHER_PYTHONS)
def test_the_wheel_works_on_the_other_pythons_of_this_machine(
    version: str, wheel: Path, tmp_path: Path
) -> None:
    home = tmp_path / ODD_NAME
    python = _bare_environment(OTHER_PYTHONS[version], home / "env")
    reached = _pip(python, "download", "--no-deps", "mdurl==0.1.2", "-d", tmp_path / "probe")
    if reached.returncode != 0:
        pytest.skip("no package index can be reached")
    locked = _pip(python, "install", "--no-deps", "--require-hashes", "-r", LOCK)
    assert locked.returncode == 0, locked.stderr
    assert _pip(python, "install", "--no-deps", "--no-index", wheel).returncode == 0
    assert _pip(python, "check").returncode == 0
    shutil.copytree(ROOT / "src" / "squibwise" / "demo" / "clover-05", home / "cars" / "clover-05")
    shown = _run(home, python.with_name("squibwise"), "demo", "cars", "--out", "papers")
    assert "squibwise assess cars/clover-05" in shown
    assert (home / "papers" / "clover-05.pdf").read_bytes().startswith(b"%PDF-")
