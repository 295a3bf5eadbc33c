"""Show the catalogue: counts, the lists that a case file needs, or one entry."""

from collections.abc import Mapping
from typing import Any

import msgspec
from rich.console import RenderableType
from rich.text import Text

from squibwise.catalog.cars import Template
from squibwise.catalog.checking import check_all
from squibwise.catalog.components import Kind
from squibwise.catalog.facts import Fact, Source
from squibwise.catalog.load import Catalog
from squibwise.cli import page as p
from squibwise.cli.known import nearest
from squibwise.cli.output import as_builtins
from squibwise.errors import InputError


class Page(msgspec.Struct, frozen=True, kw_only=True):
    """One answer of ``catalog``, for a program and for a person."""

    value: Mapping[str, Any]
    blocks: list[Any]


def page(catalog: Catalog, name: str | None, *, strict: bool) -> Page:
    """Return the counts after a full check, one entry, or the overview.

    Raises:
        CatalogError: ``strict``, and something in the catalogue is broken.
        InputError: Nothing is called ``name``.
    """
    if strict:
        return _counts(check_all(catalog))
    return _overview(catalog) if name is None else _entry(catalog, name)


def _counts(counts: Mapping[str, int]) -> Page:
    table = [(name, str(count)) for name, count in counts.items()]
    head = Text("The catalogue is whole: every section loads, every citation exists.", style="bold")
    value = {"valid": True, "counts": dict(counts)}
    return Page(value=value, blocks=[head, p.rows(table, right=(1,))])


def _overview(catalog: Catalog) -> Page:
    kinds = [(k.kind, f"{k.title}: {', '.join(k.places)}") for k in catalog.kinds.values()]
    templates = [(name, t.title) for name, t in catalog.templates.items()]
    profiles = sorted(catalog.rules.profiles)
    value = {
        "kinds": sorted(catalog.kinds),
        "templates": sorted(catalog.templates),
        "profiles": profiles,
        "facts": sorted(catalog.facts),
        "sources": sorted(catalog.sources),
    }
    blocks: list[RenderableType] = [p.heading("Component kinds", "and where they can be")]
    blocks += [p.rows(kinds), p.heading("Equipment templates"), p.rows(templates)]
    blocks += [p.heading("Rule profiles"), p.para(", ".join(profiles))]
    tail = f"{len(catalog.facts)} facts from {len(catalog.sources)} sources. "
    blocks.append(p.para(f"\n{tail}`squibwise catalog NAME` shows one entry.", indent=0))
    return Page(value=value, blocks=blocks)


def _entry(catalog: Catalog, name: str) -> Page:
    if name in catalog.kinds:
        return Page(value=as_builtins(catalog.kinds[name]), blocks=_kind(catalog, name))
    if name in catalog.templates:
        template = catalog.templates[name]
        return Page(value=as_builtins(template), blocks=_template(name, template))
    if name in catalog.facts:
        fact = catalog.facts[name]
        return Page(value=as_builtins(fact), blocks=_fact(catalog, fact))
    if name in catalog.sources:
        return Page(value=as_builtins(catalog.sources[name]), blocks=_source(catalog, name))
    if name in catalog.rules.profiles:
        return _profile(catalog, name)
    names = [*catalog.kinds, *catalog.templates, *catalog.facts, *catalog.sources]
    raise InputError(f"the catalogue has no '{name}'.", remedy=nearest(name, names))


def _kind(catalog: Catalog, name: str) -> list[RenderableType]:
    kind: Kind = catalog.kinds[name]
    about = [("family", kind.family), ("places", ", ".join(kind.places))]
    about += [("sets a code", "yes" if kind.circuit else "no, the unit does not watch it")]
    about += [("holds a charge", f"yes, up to {kind.stages} stages" if kind.fires else "no")]
    looks = [(w.word, w.text, f"{w.minutes:g} min") for w in catalog.looks(name).values()]
    blocks = [p.heading(kind.title, kind.kind), p.rows(about)]
    blocks += [p.heading("What an eye can see", "seen = ..."), p.rows((w, t) for w, t, _ in looks)]
    facts = [f for f in catalog.facts.values() if f.id.startswith(f"{name}.")]
    return blocks + [block for fact in facts for block in _fact(catalog, fact)]


def _template(name: str, template: Template) -> list[RenderableType]:
    blocks = [p.heading(template.title, name), p.para(template.note)]
    blocks += [p.para(f"Extends {template.base}.")] if template.base else []
    blocks.append(p.para(", ".join(template.components)))
    prior = [(f"{y.years[0]}-{y.years[1]}", f"{y.weight:g}", y.basis) for y in template.prior]
    return [*blocks, p.heading("Share of cars by model year", "a prior"), p.rows(prior)]


def _fact(catalog: Catalog, fact: Fact) -> list[RenderableType]:
    spread = "" if fact.low is None else f" ({fact.low:g} to {fact.high:g})"
    unit = "" if fact.unit == "-" else f" {fact.unit}"
    table = [("value", f"{fact.value}{unit}{spread}")]
    table += [("source", p.source_title(fact.source, catalog)), ("at", fact.at)]
    table += [("basis", fact.basis), ("read on", fact.read_on.isoformat())]
    table += [("note", fact.note)] if fact.note else []
    return [p.heading(fact.id), p.rows(table)]


def _source(catalog: Catalog, name: str) -> list[RenderableType]:
    source: Source = catalog.sources[name]
    table = [("by", source.by), ("kind", source.kind), ("url", source.url), ("note", source.note)]
    cited = sorted(f.id for f in catalog.facts.values() if f.source == name)
    table += [("facts", ", ".join(cited))]
    return [p.heading(source.title, name), p.rows(row for row in table if row[1])]


def _profile(catalog: Catalog, name: str) -> Page:
    file = catalog.rules.profiles[name]
    value = as_builtins(file)
    rules = [(str(getattr(rule, "id", "")), str(getattr(rule, "action", ""))) for rule in file.rule]
    return Page(value=value, blocks=[p.heading(name, "rule profile"), p.rows(rules)])
