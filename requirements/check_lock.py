"""Prove that a lock is complete: all that its packages ask for, with extras and markers, is in it.

The locks are installed without the resolver, so nobody else would notice a hole. What is read are
the locks, ``pyproject.toml`` and the metadata of the packages installed beside this script: no
network, so that the answer is the same on any day. Every Python from 3.11 on and every system is
checked from whichever one this runs on. ::

    python requirements/check_lock.py requirements/base.txt build
    python requirements/check_lock.py requirements/dev.txt build dev bus
"""

import re
import sys
import tomllib
from collections.abc import Callable, Iterable, Iterator
from importlib import metadata
from itertools import product
from pathlib import Path
from typing import NamedTuple

from packaging.markers import Marker, default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version

ROOT = Path(__file__).parents[1]
PYTHONS = ("3.11.7", "3.12.1", "3.13.0", "3.14.0")
SYSTEMS = (("linux", "Linux", "posix"), ("darwin", "Darwin", "posix"), ("win32", "Windows", "nt"))
_PIN = re.compile(r"([A-Za-z0-9._-]+)==([^\s;\\]+)\s*(?:;\s*([^\\]+?))?\s*\\?")

Environment = dict[str, str]
Asks = Callable[[str, Version], tuple[Requirement, ...] | None]


class Pin(NamedTuple):
    """One locked version, and where it holds."""

    version: Version
    marker: Marker | None


Lock = dict[str, list[Pin]]


def read_lock(text: str) -> Lock:
    """Return the pins of a lock by package name."""
    lock: Lock = {}
    for line in text.splitlines():
        found = _PIN.fullmatch(line.strip())
        if found:
            name, version, marker = found.groups()
            pin = Pin(Version(version), Marker(marker) if marker else None)
            lock.setdefault(canonicalize_name(name), []).append(pin)
    return lock


def environments() -> Iterator[Environment]:
    """Yield what markers may ask of, for every Python and system that is served."""
    for full, (platform, system, os_name) in product(PYTHONS, SYSTEMS):
        here = {key: str(value) for key, value in default_environment().items()}
        yield here | {
            "python_full_version": full,
            "python_version": full.rpartition(".")[0],
            "sys_platform": platform,
            "platform_system": system,
            "os_name": os_name,
        }


def installed(name: str, version: Version) -> tuple[Requirement, ...] | None:
    """Return what an installed package asks for; None when that version is not installed."""
    try:
        found = metadata.distribution(name)
    except metadata.PackageNotFoundError:
        return None
    if Version(found.version) != version:
        return None
    return tuple(Requirement(text) for text in found.requires or ())


def pinned(lock: Lock, name: str, environment: Environment) -> Version | None:
    """Return the version that a lock gives in an environment; None when it gives none."""
    for pin in lock.get(canonicalize_name(name), ()):
        if pin.marker is None or pin.marker.evaluate(environment):
            return pin.version
    return None


def holes(
    roots: Iterable[Requirement], lock: Lock, environment: Environment, asks: Asks
) -> tuple[set[str], set[str]]:
    """Return what is asked for and not in the lock, and the packages that could not be read.

    Args:
        roots: What the project itself asks for.
        lock: Pins by name.
        environment: Python and system to check for.
        asks: Gives the requirements of one version of a package.
    """
    missing, unread, seen = set(), set(), set()
    waiting = [("the project", requirement, frozenset({""})) for requirement in roots]
    while waiting:
        asker, wanted, extras = waiting.pop()
        if not any(_applies(wanted, environment, extra) for extra in extras):
            continue
        version = pinned(lock, wanted.name, environment)
        if version is None or not wanted.specifier.contains(version, prereleases=True):
            missing.add(f"{asker} asks for {wanted}; locked: {version or 'nothing'}")
            continue
        key = (canonicalize_name(wanted.name), frozenset(wanted.extras))
        if key in seen:
            continue
        seen.add(key)
        further = asks(wanted.name, version)
        if further is None:
            unread.add(f"{key[0]} {version}")
        label = f"{key[0]}[{','.join(sorted(wanted.extras))}]" if wanted.extras else key[0]
        waiting += [(label, r, frozenset({"", *wanted.extras})) for r in further or ()]
    return missing, unread


def _applies(wanted: Requirement, environment: Environment, extra: str) -> bool:
    return wanted.marker is None or wanted.marker.evaluate(environment | {"extra": extra})


def roots(pyproject: str, extras: Iterable[str]) -> list[Requirement]:
    """Return what the project asks for with some of its extras."""
    project = tomllib.loads(pyproject)["project"]
    texts = list(project["dependencies"])
    for extra in extras:
        texts += project["optional-dependencies"][extra]
    return [Requirement(text) for text in texts]


def main(lock_file: str, *extras: str) -> int:
    """Check one lock, print what is wrong, and return the exit code."""
    lock = read_lock(Path(lock_file).read_text(encoding="utf-8"))
    wanted = roots((ROOT / "pyproject.toml").read_text(encoding="utf-8"), extras)
    missing: set[str] = set()
    unread: set[str] = set()
    for environment in environments():
        lacking, strange = holes(wanted, lock, environment, installed)
        missing |= lacking
        unread |= strange
    _, unread_here = holes(wanted, lock, _here(), installed)
    problems = sorted(missing) + [f"{name} is not installed here" for name in sorted(unread_here)]
    for problem in problems:
        print(f"{lock_file}: {problem}")
    elsewhere = ", ".join(sorted(unread - unread_here)) or "none"
    print(f"{lock_file}: {len(lock)} packages, {len(problems)} holes; not read here: {elsewhere}")
    return 1 if problems else 0


def _here() -> Environment:
    return {key: str(value) for key, value in default_environment().items()}


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
