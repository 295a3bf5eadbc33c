"""The catalogue: counts, the lists that a case file needs, or one entry."""

from collections.abc import Iterable, Mapping

from squibwise.catalog.components import Template, whole_template
from squibwise.catalog.facts import Fact, Source
from squibwise.catalog.load import Catalog
from squibwise.present.phrases import source_title
from squibwise.present.telling import Section, Table, Telling, Text, section

WHOLE = "The catalogue is whole: every section loads, every citation exists."


def tell_counts(counts: Mapping[str, int]) -> Telling:
    """Return how much each section holds, after a full check."""
    table = Table(rows=tuple((name, str(count)) for name, count in counts.items()), right=(1,))
    return Telling(title=WHOLE, sections=(Section(blocks=(table,)),))


def tell_overview(catalog: Catalog) -> Telling:
    """Return the lists that a case file needs."""
    kinds = tuple((k.kind, f"{k.title}: {', '.join(k.places)}") for k in catalog.kinds.values())
    templates = tuple((name, t.title) for name, t in catalog.templates.items())
    tail = f"{len(catalog.facts)} facts from {len(catalog.sources)} sources. "
    return Telling(
        sections=(
            section("Component kinds", Table(rows=kinds), note="and where they can be"),
            section("Equipment templates", Table(rows=templates)),
            section("Rule profiles", Text(text=", ".join(sorted(catalog.rules.profiles)))),
        ),
        closing=(Text(text=f"{tail}`squibwise catalog NAME` shows one entry."),),
    )


def tell_kind(name: str, catalog: Catalog) -> Telling:
    """Return a component kind with the words for what an eye can see, and its facts."""
    kind = catalog.kinds[name]
    about = (
        ("family", kind.family),
        ("places", ", ".join(kind.places)),
        ("sets a code", "yes" if kind.circuit else "no, the unit does not watch it"),
        ("holds an inflator", f"yes, up to {kind.stages} stages" if kind.fires else "no"),
    )
    looks = Table(rows=tuple((w.word, w.text) for w in catalog.looks(name).values()))
    facts = (f for f in catalog.facts.values() if f.id.startswith(f"{name}."))
    return Telling(
        sections=(
            section(kind.title, Table(rows=about), note=kind.kind),
            section("What an eye can see", looks, note="seen = ..."),
            *(_fact(fact, catalog) for fact in facts),
        )
    )


def tell_template(name: str, templates: Mapping[str, Template]) -> Telling:
    """Return an equipment template with every component it implies."""
    template, whole = templates[name], whole_template(name, templates)
    base = (Text(text=f"Extends {template.base}."),) if template.base else ()
    parts = Text(text=", ".join(whole.components))
    prior = tuple(
        (f"{y.years[0]}-{y.years[1]}", y.market.replace("-", " "), f"{y.weight:g}", y.basis)
        for y in whole.prior
    )
    return Telling(
        sections=(
            section(template.title, Text(text=template.note), *base, parts, note=name),
            section("Share of cars by model year", Table(rows=prior), note="a prior, by market"),
        )
    )


def tell_fact(fact: Fact, catalog: Catalog) -> Telling:
    """Return one fact with its source."""
    return Telling(sections=(_fact(fact, catalog),))


def _fact(fact: Fact, catalog: Catalog) -> Section:
    spread = "" if fact.low is None else f" ({fact.low:g} to {fact.high:g})"
    unit = "" if fact.unit == "-" else f" {fact.unit}"
    rows = [("value", f"{fact.value}{unit}{spread}")]
    rows += [("source", source_title(fact.source, catalog)), ("at", fact.at)]
    rows += [("basis", fact.basis), ("read on", fact.read_on.isoformat())]
    rows += [("note", fact.note)] if fact.note else []
    return section(fact.id, Table(rows=tuple(rows)))


def tell_source(source: Source, facts: Iterable[Fact]) -> Telling:
    """Return a citation with the facts that lean on it."""
    cited = ", ".join(sorted(f.id for f in facts if f.source == source.id))
    rows = [("by", source.by), ("kind", source.kind), ("url", source.url), ("note", source.note)]
    rows += [("facts", cited)]
    told = tuple(row for row in rows if row[1])
    return Telling(sections=(section(source.title, Table(rows=told), note=source.id),))


def tell_profile(name: str, catalog: Catalog) -> Telling:
    """Return the rules of a profile."""
    rows = tuple(
        (str(getattr(rule, "id", "")), str(getattr(rule, "action", "")))
        for rule in catalog.rules.profiles[name].rule
    )
    return Telling(sections=(section(name, Table(rows=rows), note="rule profile"),))
