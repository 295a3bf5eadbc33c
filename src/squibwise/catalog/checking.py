"""Check the whole catalogue: every section loads, every citation exists, every id is known."""

import datetime as dt
from collections.abc import Callable, Iterator, Mapping
from functools import cached_property
from typing import Any

import msgspec

from squibwise.catalog.load import Catalog
from squibwise.errors import CatalogError, ModelError
from squibwise.model.names import split_component


def sections() -> tuple[str, ...]:
    """Return the names of the catalogue's sections."""
    found = (n for n, v in vars(Catalog).items() if isinstance(v, cached_property))
    return tuple(name for name in found if not name.startswith("_"))


def check_all(catalog: Catalog) -> dict[str, int]:
    """Return the number of entries by section, after every check has passed.

    Raises:
        CatalogError: With every problem found, one per line.
    """
    counts = {name: _entries(getattr(catalog, name)) for name in sections()}
    problems = [p for rule in _RULES for p in rule(catalog)]
    if problems:
        raise CatalogError("\n".join(problems), remedy="Correct the named catalogue files.")
    return counts


def _entries(section: object) -> int:
    """Count the entries of a section; parts that load when asked for are asked for."""
    if isinstance(section, Mapping | tuple | list | frozenset):
        return len(section)
    parts = _parts(section)
    return sum(_entries(part) for part in parts) if parts else 1


def _parts(value: object) -> list[object]:
    if isinstance(value, msgspec.Struct):
        parts = [getattr(value, name) for name in value.__struct_fields__]
        return [p for p in parts if isinstance(p, Mapping | tuple | list | msgspec.Struct)]
    lazy = [n for n, v in vars(type(value)).items() if isinstance(v, cached_property)]
    return [getattr(value, name) for name in lazy]


def _unknown_sources(catalog: Catalog) -> Iterator[str]:
    for name in sections():
        for source in sorted(set(_cited(getattr(catalog, name)))):
            if source not in catalog.sources:
                yield f"{name}: source '{source}' is not in sources.toml"


def _cited(value: Any) -> Iterator[str]:  # noqa: ANN401 - walks records of every section
    if isinstance(value, msgspec.Struct):
        for field in value.__struct_fields__:
            item = getattr(value, field)
            if field == "source" and isinstance(item, str) and item:
                yield item
            elif field != "source":
                yield from _cited(item)
    elif isinstance(value, dict):
        for item in value.values():
            yield from _cited(item)
    elif isinstance(value, tuple | list):
        for item in value:
            yield from _cited(item)
    elif value is not None and not isinstance(value, str | int | float | dt.date):
        for part in _parts(value):
            yield from _cited(part)


def _wrong_equipment(catalog: Catalog) -> Iterator[str]:
    for name, template in catalog.templates.items():
        if template.base and template.base not in catalog.templates:
            yield f"equipment/{name}.toml: base '{template.base}' does not exist"
        for component in template.components:
            problem = component_problem(component, catalog)
            if problem:
                yield f"equipment/{name}.toml: {problem}"


def component_problem(component_id: str, catalog: Catalog) -> str | None:
    """Return what is wrong with a component id under this catalogue; None when it is fine."""
    try:
        name = split_component(component_id)
    except ModelError as error:
        return f"{error}; {error.remedy}"
    kind = catalog.kinds.get(name.kind)
    if kind is None:
        return f"'{name.kind}' is not a component kind"
    if name.place not in kind.places:
        return f"a {name.kind} is never at '{name.place}'; places: {', '.join(kind.places)}"
    return None


_RULES: tuple[Callable[[Catalog], Iterator[str]], ...] = (_unknown_sources, _wrong_equipment)
