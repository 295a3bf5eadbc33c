"""Reasons and titles in a mechanic's words."""

from collections.abc import Iterable, Mapping

from squibwise.catalog.load import Catalog, component_title
from squibwise.model.belief import Because
from squibwise.model.names import split_component
from squibwise.model.words import WEAK_BASES
from squibwise.model.work import Caution
from squibwise.require.conditions import Trigger
from squibwise.require.demands import CALIBRATE, Reason, RuledDemand

_VERBS = {
    "replace": "Replace",
    "inspect": "Inspect",
    "trace": "Trace the circuit of",
    "keep": "Keep",
}
_STATES = {
    "fired": "fired",
    "damaged": "damaged",
    "faulty": "circuit at fault",
    "missing": "missing",
    "unfit": "wrong part or not configured",
    "replaced": "is replaced",
    "struck": "struck",
    "sound": "sound",
}


def pick_cautions(ids: Iterable[str], catalog: Catalog) -> tuple[Caution, ...]:
    """Return cautions of the catalogue as they are printed beside an operation."""
    found = (catalog.cautions[i] for i in ids)
    return tuple(
        Caution(id=c.id, text=c.text, short=c.short, source=c.source, basis=c.basis) for c in found
    )


def name_item(demand: RuledDemand, catalog: Catalog) -> str:
    """Return the title of a demand, saying so when a look decides first."""
    if demand.action == CALIBRATE:
        setting = catalog.tasks.settings.get(split_component(demand.component).kind)
        unit = demand.component == "centre.control-unit"
        tail = "; no crash record in it may be left" if unit else ""
        return f"{setting.title}{tail}" if setting else f"Set up {demand.component}"
    title = f"{_VERBS[demand.action]} the {component_title(demand.component, catalog)}"
    return f"{title}, unless the inspection rules it out" if demand.doubtful else title


def name_chance(probability: float, catalog: Catalog) -> str:
    """Return a probability as a word with the figure, such as ``likely (0.82)``."""
    word = next(w for w in catalog.rules.chances if probability >= w.at_least)
    return f"{word.text} ({probability:.2f})"


def give_reasons(demand: RuledDemand, catalog: Catalog) -> tuple[Because, ...]:
    """Return the reasons of a demand, each text once, the strongest first."""
    rules: dict[str, Because] = {}
    for reason in demand.reasons:
        rules.setdefault(reason.ask.text, _because(reason, catalog))
    return tuple(rules.values())


def tell_profiles(
    demand: RuledDemand, by_profile: Mapping[str, Mapping[str, RuledDemand]]
) -> tuple[Because, ...]:
    """Return which profiles ask for an item; nothing when all of them surely do."""
    found = {n: asked[demand.id] for n, asked in by_profile.items() if demand.id in asked}
    sure = [n for n, d in found.items() if not d.doubtful]
    doubtful = [n for n, d in found.items() if d.doubtful]
    if len(sure) == len(by_profile) or not found:
        return ()
    parts = [f"Rule profiles that ask for it: {', '.join(sure)}."] if sure else []
    if doubtful:
        parts.append(f"Only if a look says so, under: {', '.join(doubtful)}.")
    return (Because(text=" ".join(parts), sources=("judgement",), weak="judgement"),)


def _because(reason: Reason, catalog: Catalog) -> Because:
    told = "; ".join(
        _trigger(t, c.text, catalog)
        for t, c in zip(reason.triggers, reason.ask.conditions, strict=True)
    )
    return Because(
        text=f"{reason.ask.text} Here: {told}.",
        evidence=tuple(dict.fromkeys(e for t in reason.triggers for e in t.evidence)),
        sources=reason.ask.sources,
        weak=reason.ask.basis if reason.ask.basis in WEAK_BASES else None,
    )


def _trigger(trigger: Trigger, condition: str, catalog: Catalog) -> str:
    chance = name_chance(trigger.probability, catalog)
    if not trigger.what:
        return f"{condition}: {chance}"
    if trigger.state == "struck":
        return f"{trigger.what} struck: {chance}"
    return f"{component_title(trigger.what, catalog)} {_STATES[trigger.state]}: {chance}"
