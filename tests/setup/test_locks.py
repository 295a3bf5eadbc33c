"""The check of the locks finds every hole there can be in one, and the locks have none."""

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

import pytest
from packaging.requirements import Requirement
from packaging.version import Version

ROOT = Path(__file__).parents[2]


def _script() -> ModuleType:
    spec = importlib.util.spec_from_file_location(
        "check_lock", ROOT / "requirements" / "check_lock.py"
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["check_lock"] = module
    spec.loader.exec_module(module)
    return module


check_lock = _script()
ENVIRONMENTS = list(check_lock.environments())
LINUX_311 = ENVIRONMENTS[0]

# The hole that once stopped every new installation: a plug-in asks for an extra of another
# package, and the package that the extra needs is not locked.
ASKED = {
    "pytest-cov": ("coverage[toml]>=7.10", "pytest>=7"),
    "coverage": ('tomli; python_full_version <= "3.11.0a6" and extra == "toml"',),
    "covered": ("extra-needed>=1; extra == 'toml'",),
    "pytest": (),
    "tomli": (),
    "extra-needed": (),
}


def asks(name: str, version: Version) -> tuple[Requirement, ...] | None:
    del version
    texts = ASKED.get(name)
    return None if texts is None else tuple(Requirement(t) for t in texts)


def holes(root: str, *pins: str, environment: dict[str, str] = LINUX_311) -> set[str]:
    lock = check_lock.read_lock("\n".join(f"{pin} \\\n    --hash=sha256:00" for pin in pins))
    missing: set[str] = check_lock.holes([Requirement(root)], lock, environment, asks)[0]
    return missing


def test_what_only_an_extra_of_a_dependency_asks_for_is_missed() -> None:
    found = holes("covered[toml]", "covered==1.0")
    assert found == {
        'covered[toml] asks for extra-needed>=1; extra == "toml"; locked: nothing',
    }
    assert holes("covered[toml]", "covered==1.0", "extra-needed==1.2") == set()
    assert holes("covered", "covered==1.0") == set()


def test_an_extra_that_a_second_asker_wants_is_followed_too() -> None:
    """The package was read without its extra first."""
    lock = check_lock.read_lock("covered==1.0\n")
    wanted = [Requirement("covered[toml]"), Requirement("covered")]
    for order in (wanted, wanted[::-1]):
        assert check_lock.holes(order, lock, LINUX_311, asks)[0]


def test_a_marker_that_does_not_hold_asks_for_nothing() -> None:
    assert holes("pytest-cov", "pytest-cov==7.1", "coverage==7.17", "pytest==9") == set()


def test_a_locked_version_that_is_too_old_is_a_hole() -> None:
    found = holes("pytest-cov", "pytest-cov==7.1", "coverage==7.2", "pytest==9")
    assert found == {"pytest-cov asks for coverage[toml]>=7.10; locked: 7.2"}


def test_a_pin_that_holds_on_another_system_only_is_a_hole() -> None:
    assert holes("tomli", "tomli==2.0 ; sys_platform == 'win32'")
    windows = next(e for e in ENVIRONMENTS if e["sys_platform"] == "win32")
    assert not holes("tomli", "tomli==2.0 ; sys_platform == 'win32'", environment=windows)


def test_a_package_whose_metadata_are_not_there_is_named() -> None:
    lock = check_lock.read_lock("stranger==1.0\n")
    _, unread = check_lock.holes([Requirement("stranger")], lock, LINUX_311, asks)
    assert unread == {"stranger 1.0"}


def test_every_python_and_system_is_looked_at() -> None:
    assert {e["python_version"] for e in ENVIRONMENTS} == {"3.11", "3.12", "3.13", "3.14"}
    assert {e["sys_platform"] for e in ENVIRONMENTS} == {"linux", "darwin", "win32"}


@pytest.mark.parametrize(
    ("lock", "extras"), [("base.txt", ("build",)), ("dev.txt", ("build", "dev", "bus"))]
)
def test_no_pin_is_without_its_hash_and_the_project_finds_all_it_asks_for(
    lock: str, extras: tuple[str, ...]
) -> None:
    text = (ROOT / "requirements" / lock).read_text(encoding="utf-8")
    pins = check_lock.read_lock(text)
    blocks = [b for b in text.split("\n") if b and not b.startswith((" ", "#"))]
    assert sum(map(len, pins.values())) == len(blocks)
    assert all(b.endswith("\\") for b in blocks)
    wanted = check_lock.roots((ROOT / "pyproject.toml").read_text(encoding="utf-8"), extras)
    for environment in ENVIRONMENTS:
        nothing_further = check_lock.holes(wanted, pins, environment, lambda *_: ())
        assert nothing_further == (set(), set())


def test_what_both_locks_pin_they_pin_alike() -> None:
    base, dev = (
        check_lock.read_lock((ROOT / "requirements" / name).read_text(encoding="utf-8"))
        for name in ("base.txt", "dev.txt")
    )
    releases = [
        {name: {pin.version for pin in lock.get(name, ())} for name in base} for lock in (base, dev)
    ]
    assert releases[0] == releases[1]  # for which Pythons it is wanted may differ
