"""Find one entry of the catalogue, for a program and for a person."""

from collections.abc import Mapping
from typing import Any

import msgspec

from squibwise.catalog.load import Catalog, check_all, load_catalog
from squibwise.cli.opening import suggest
from squibwise.cli.output import as_builtins
from squibwise.errors import InputError
from squibwise.present import tell_catalog as told
from squibwise.present.telling import Telling


class CatalogEntry(msgspec.Struct, frozen=True, kw_only=True):
    """One answer of ``catalog``: plain values, and what a person is told."""

    value: Mapping[str, Any]
    telling: Telling


def find_entry(name: str | None, *, strict: bool) -> CatalogEntry:
    """Return the counts after a full check, one entry, or the overview.

    Raises:
        CatalogError: ``strict``, and something in the catalogue is broken.
        InputError: Nothing is called ``name``.
    """
    catalog = load_catalog()
    if strict:
        counts = dict(check_all(catalog))
        value = {"valid": True, "counts": counts}
        return CatalogEntry(value=value, telling=told.tell_counts(counts))
    return _overview(catalog) if name is None else _named(name, catalog)


def _overview(catalog: Catalog) -> CatalogEntry:
    value = {
        "kinds": sorted(catalog.kinds),
        "templates": sorted(catalog.templates),
        "profiles": sorted(catalog.rules.profiles),
        "facts": sorted(catalog.facts),
        "sources": sorted(catalog.sources),
    }
    return CatalogEntry(value=value, telling=told.tell_overview(catalog))


def _named(name: str, catalog: Catalog) -> CatalogEntry:
    record, telling = _entry(name, catalog)
    return CatalogEntry(value=as_builtins(record), telling=telling)


def _entry(name: str, catalog: Catalog) -> tuple[object, Telling]:
    if name in catalog.kinds:
        return catalog.kinds[name], told.tell_kind(name, catalog)
    if name in catalog.templates:
        template = catalog.templates[name]
        return template, told.tell_template(name, catalog.templates)
    if name in catalog.facts:
        fact = catalog.facts[name]
        return fact, told.tell_fact(fact, catalog)
    if name in catalog.sources:
        source = catalog.sources[name]
        return source, told.tell_source(source, catalog.facts.values())
    if name in catalog.rules.profiles:
        return catalog.rules.profiles[name], told.tell_profile(name, catalog)
    names = [*catalog.kinds, *catalog.templates, *catalog.facts, *catalog.sources]
    raise InputError(f"the catalogue has no '{name}'.", remedy=suggest(name, names))
