"""Phrases that several answers share: states, reasons and their weight, findings, the car."""

from collections.abc import Iterable, Mapping, Sequence

from squibwise.catalog.load import Catalog, component_title, load_catalog
from squibwise.model.belief import Because
from squibwise.model.case import Case, Experience
from squibwise.model.names import split_component
from squibwise.model.origin import Finding, Origin
from squibwise.model.report import Report
from squibwise.present.figures import percent
from squibwise.present.telling import Bullets, Section, Table, Text, Tone, section

LIKELY = 0.5  # likelier than not
STRONG_DB, FAIR_DB, TELLING_DB = 10.0, 5.0, 1.0
"""Source: H. Jeffreys, Theory of Probability (1961), appendix B: a factor of 10 is strong, of
the root of 10 substantial (from memory). Below 1 dB our own: nobody notices it."""
_PLAIN = ("judgement", "common-practice")  # sources that are no more than their basis
_SEVERITY = {"error": "ERROR", "warning": "CHECK", "note": "note"}
_TONE: dict[str, Tone] = {"error": "alarm", "warning": "check", "note": "plain"}
_RANK = {"error": 0, "warning": 1, "note": 2}


def tell_from(word: str) -> float:
    """Return from which probability on something is told: a figure of the shipped catalogue."""
    return load_catalog().fact(f"present.{word}").number()


def tell_states(states: Mapping[str, float], least: float | None = None) -> str:
    """Return the states that are not negligible, the likeliest first: ``fired 97%``."""
    least = tell_from("state-from") if least is None else least
    ranked = sorted(states.items(), key=lambda s: (-s[1], s[0]))
    told = [f"{word} {percent(p)}" for word, p in ranked if p >= least]
    return ", ".join(told or [ranked[0][0]])


def tell_stage(number: str, fired: float, live: float, faulty: float) -> str:
    """Return what one stage of a part most likely is: ``stage 1 fired 97%``."""
    pairs = (("fired", fired), ("live", live), ("faulty", faulty))
    word, p = max(pairs, key=lambda pair: pair[1])
    return f"stage {number} {word} {percent(p)}"


def name(component: str, catalog: Catalog) -> str:
    """Return a component in words; an id that is none, as it stands."""
    try:
        kind = split_component(component).kind
    except ValueError:
        return component
    return component_title(component, catalog) if kind in catalog.kinds else component


def tell_grouped(components: Iterable[str], catalog: Catalog) -> str:
    """Return components by kind: ``front airbag (driver, passenger), clock spring``."""
    groups: dict[str, list[str]] = {}
    for component in components:
        split = split_component(component)
        kind = catalog.kinds.get(split.kind)
        groups.setdefault(kind.title if kind else split.kind, []).append(split.place)
    return ", ".join(
        title if places == ["centre"] else f"{title} ({', '.join(map(in_words, places))})"
        for title, places in groups.items()
    )


def tell_car(case: Case) -> tuple[str, ...]:
    """Return the car in one line."""
    car = case.car
    known = [str(car.model_year)] if car.model_year else []
    known += [car.vin] if car.vin else []
    guessed = " (assumed, nobody stated it)" if car.assumed else ""
    known += [f"driver on the {car.drive_hand}", f"equipment '{car.equipment}'{guessed}"]
    return (", ".join(known),)


def tell_findings(found: Iterable[Finding], heading: str = "About the input") -> Section | None:
    """Return what is wrong or remarkable, the worst first; None when there is nothing."""
    told = list(dict.fromkeys((f.severity, _finding(f)) for f in found))
    told.sort(key=lambda one: _RANK[one[0]])
    tables = [
        Table(rows=tuple((_SEVERITY[s], t) for s, t in told if s == severity), tone=_TONE[severity])
        for severity in dict.fromkeys(s for s, _ in told)
    ]
    return section(heading, *tables) if tables else None


def _finding(finding: Finding) -> str:
    if finding.origin.file or finding.origin.line:
        return finding.text()
    return f"{finding.message} {finding.remedy}".strip()


def tell_reasons(
    reasons: Sequence[Because], case: Case, catalog: Catalog, *, figures: bool = False
) -> Table | Bullets:
    """Return reasons with how much each weighs, where it stands and what it leans on.

    Args:
        reasons: Strongest first.
        case: Where their evidence stands.
        catalog: Titles of their sources.
        figures: Weights in decibans too, alone and with everything else known.
    """
    told = tuple(_grounded(b, case, catalog) for b in reasons)
    weights = [weigh(b, figures=figures) for b in reasons]
    if not any(weights):
        return Bullets(items=told)
    return Table(rows=tuple(zip(weights, told, strict=True)))


def weigh(reason: Because, *, figures: bool = False) -> str:
    """Return in a word how much a reason weighs by itself; empty when it was not weighed."""
    if reason.alone_db is None:
        return ""
    size = abs(reason.alone_db)
    word = "strong" if size >= STRONG_DB else "fair" if size >= FAIR_DB else "weak"
    told = word if reason.alone_db > 0 else f"against, {word}"
    if size < TELLING_DB:
        told = "would not change it"
    last = "" if reason.last_db is None else f" / {reason.last_db:+.1f}"
    return f"{told} ({reason.alone_db:+.1f}{last} dB)" if figures else told


def _grounded(reason: Because, case: Case, catalog: Catalog) -> str:
    tail = [_where(e, case) for e in reason.evidence]
    tail += [f"source: {source_title(s, catalog)}" for s in reason.sources if s not in _PLAIN]
    tail += [reason.weak.replace("-", " ")] if reason.weak else []
    if is_told_already(reason):
        tail.insert(0, "the rest says it already")
    return f"{reason.text} ({'; '.join(tail)})" if tail else reason.text


def is_told_already(reason: Because) -> bool:
    """Return whether a reason that weighs something alone adds nothing to all the others."""
    if reason.alone_db is None or reason.last_db is None:
        return False
    return abs(reason.alone_db) >= TELLING_DB > abs(reason.last_db)


def _where(evidence_id: str, case: Case) -> str:
    """Return an evidence id with the file and line it stands in."""
    for one in case.evidence:
        part_of = isinstance(one, Report) and evidence_id.startswith(f"{one.id}:")
        if one.id == evidence_id or part_of:
            return f"{evidence_id}, {one.origin.where()}"
    return evidence_id


def tell_grounds(source: str, basis: str, catalog: Catalog) -> str:
    """Return basis and source in a few words; a source that only repeats the basis is left out."""
    title = source_title(source, catalog) if source and source not in _PLAIN else ""
    return "; ".join(part for part in (basis.replace("-", " "), title) if part)


def source_title(source: str, catalog: Catalog) -> str:
    """Return a source's title, or its id when the catalogue does not have it."""
    known = catalog.sources.get(source)
    return known.title if known else source


def tell_origin(origin: Origin) -> str:
    """Return where something stands, as far as known; empty when it came from a caller."""
    return origin.where() if origin.file else ""


def standing(catalog: Catalog) -> tuple[Text, ...]:
    """Return the notice that stands below everything that leads to work."""
    return (Text(text=catalog.record_texts["screen"].text, tone="quiet"),)


def tell_cautions(texts: Iterable[str], heading: str = "Cautions") -> Section | None:
    """Return cautions, each once; None when there are none."""
    told = tuple(dict.fromkeys(texts))
    listed = Bullets(items=told, mark="!", tone="alarm")
    return section(heading, listed, tone="alarm") if told else None


def say_state(state: str) -> str:
    """Return a state as a mechanic says it."""
    return "wrong part or not configured" if state == "unfit" else state


def in_words(word: str) -> str:
    """Return a word of the catalogue or the case file as people read it."""
    return word.replace("-", " ").replace(".", " ").replace("re covered", "re-covered")


def tell_experience(own: Experience) -> str:
    """Return what the user's own finished cases moved, in one line."""
    told = f"Learned from {own.cases} of your own finished cases"
    moved = ", ".join(f"{curve} {shift:+.2f}" for curve, shift in own.shifts.items())
    return f"{told}: shift of log odds {moved}." if moved else f"{told}; no curve was shifted."
