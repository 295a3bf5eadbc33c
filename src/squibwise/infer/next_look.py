"""Which look is worth making next, what it saves, and what would turn a decision."""

from collections.abc import Collection, Iterable, Iterator, Mapping

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import CIRCUITS, OUTCOMES
from squibwise.catalog.load import Catalog
from squibwise.history.loose_unit import told_loose
from squibwise.history.signed import (
    is_exposed,
    is_unit_loose,
    signed_results,
    unit_exposed,
    was_flooded,
)
from squibwise.infer.circuits import circuit_table
from squibwise.infer.engine import Engine, Posterior
from squibwise.infer.evidence import look_values
from squibwise.infer.marginals import GroupBelief, PartBelief
from squibwise.infer.network import Likelihood, Network
from squibwise.infer.places import chance_gone_with_load
from squibwise.infer.reports import is_supply_low, unit_is_silent
from squibwise.infer.scan import FOREIGN, UNIT, is_scanned_whole
from squibwise.infer.sights import list_looks
from squibwise.infer.stakes import Candidate, Search, Stakes, Step, calls_for_a_new_one
from squibwise.model.belief import NextLook, SettlingLook
from squibwise.model.case import Case
from squibwise.model.evidence import Circumstance, Look
from squibwise.model.names import split_component, split_loop
from squibwise.model.report import Report

Array = npt.NDArray[np.float64]
_FROM_AFAR = ("not-seen", "missing")
SUBSTITUTE = "substitute-load"
SECOND_SCAN = "second-scan"
LOAD_IN = "load-in-connector"
_PLUG_WORD = "connector-off"


def list_candidates(
    case: Case, net: Network, groups: tuple[GroupBelief, ...], catalog: Catalog
) -> list[Candidate]:
    """Return every look and substitution that the car offers and nobody has made yet.

    None at what water, fire or rust has reached, whatever is seen of it, or what is signed for.
    """
    inspected = {word for word, r in signed_results(net.line).items() if r == "passed"}
    seen = {look for e in case.evidence for look in list_looks(e, catalog)}
    seen |= set(list_answered(net, catalog))
    told = [e for _, e in net.line.all_of(Circumstance) if e.present]
    harmful = [e for e in told if e.what in catalog.firing.conditions.exposure]
    result = []
    for group in groups:
        size = len(group.group.causes)
        for name, part in group.parts.items():
            if any(is_exposed(name, e) for e in harmful):
                continue
            own = {row.word for row in part.part.kind.look}
            for word, row in catalog.looks(part.part.kind.kind).items():
                if (own and word not in own) or f"{name}:inspect" in inspected:
                    continue
                values = look_values(part.part, word, net.rebuilt, catalog)
                if values is None or word in (*_FROM_AFAR, FOREIGN) or (name, word) in seen:
                    continue
                yes = np.broadcast_to(values, (size, len(values)))
                text = f"look at the {part.part.kind.title}: {row.text}?"
                result.append(Candidate(name, word, text, row.minutes, yes))
            load = _substitution(part, group, net, catalog)
            if load is not None:
                result.append(load)
    return result


_NOTHING = ("intact", "not-seen")
_OTHER_ACCESS = (_PLUG_WORD, "confirmed-spent")


def list_answered(net: Network, catalog: Catalog) -> Iterator[tuple[str, str]]:
    """Yield component and look word of what was looked for and not seen, or looked at twice.

    Who looks for one thing sees what takes no longer, behind the same cover. Work on the part
    since then opens it again.
    """
    before: set[tuple[str, str]] = set()
    for at, look in net.line.all_of(Look):
        component, again = split_loop(look.component)[0], (look.component, look.seen) in before
        before.add((look.component, look.seen))
        works = net.line.works_on(frozenset({component}))
        if look.seen not in _NOTHING or any(place > at for place, _ in works):
            continue
        words = catalog.looks(split_component(component).kind)
        asked = words.get(look.asked or (_PLUG_WORD if again else ""))
        if asked is not None:
            longest = max(asked.minutes, words["intact"].minutes)
            near = (w for w, row in words.items() if row.minutes <= longest)
            yield component, asked.word
            yield from ((component, w) for w in near if w not in _OTHER_ACCESS)


_SUSPECT = 0.02


def _substitution(
    part: PartBelief, group: GroupBelief, net: Network, catalog: Catalog
) -> Candidate | None:
    """Return a load in place of the device, for igniter circuits that read faulty or spent."""
    if not part.part.kind.fires:
        return None
    place = len(net.line.entries)
    table = circuit_table(part.part, group.group.causes, place, 0.0)[:, :, 0]
    good = float((part.now * table[:, :, CIRCUITS.index("good")]).sum())
    if good > 1.0 - _SUSPECT:
        return None
    tests = catalog.firing.scans.tests
    return Candidate(
        component=part.part.id,
        look=SUBSTITUTE,
        text="with the power off and the wait over, fit a 2.0 to 2.2 ohm load in place of the "
        "device, power on with nobody inside, and read the codes again: does the code go?",
        minutes=tests.substitute_load_minutes,
        yes=chance_gone_with_load(part.part, table, catalog.firing),
    )


def scan_outcomes(part: PartBelief, group: GroupBelief, place: int, catalog: Catalog) -> Array:
    """Return the joint chance of what a whole scan says of a part's first circuit: (O, M)."""
    rows = np.array([catalog.firing.circuit_rows[c] for c in CIRCUITS])
    table = circuit_table(part.part, group.group.causes, place, 0.0)[:, :, 0]
    said = table @ rows
    joint = np.einsum("cm,cmo->om", part.now, said)
    return np.asarray(joint.reshape(len(OUTCOMES), -1))


_MOST = 24
_LEAST = 1e-9


class Leads(msgspec.Struct, frozen=True):
    """What stands out in the evidence, and is looked into before anything else.

    Attributes:
        loads: Components in whose place a load may stand.
        deciding: By component of which two things are said that do not fit: what settles it.
        set_aside: Is the only report at hand another car's?
        unproven: Charges of parts that fired which nobody saw spent.
        plugs: Chance that the connector of a component is not home, by component.
    """

    loads: frozenset[str]
    deciding: Mapping[str, SettlingLook | None]
    set_aside: bool
    unproven: Collection[str]
    plugs: Mapping[str, float]


def rank_looks(
    case: Case,
    candidates: list[Candidate],
    engine: Engine,
    likelihoods: tuple[Likelihood, ...],
    found: Posterior,
    groups: tuple[GroupBelief, ...],
    stakes: Stakes,
    leads: Leads,
    catalog: Catalog,
) -> tuple[NextLook, ...]:
    """Return what is worth doing next, best first; empty = stop looking and start working.

    First a load that was left in, a report that cannot be used as it is, and what decides a
    contradiction. What is no part of the restraint system comes last: anybody sees it in passing.

    Args:
        case: The case.
        candidates: Looks and substitutions.
        engine: The network.
        likelihoods: All evidence.
        found: The posterior.
        groups: Its beliefs.
        stakes: Losses.
        leads: What stands out in the evidence.
        catalog: Titles and figures.
    """
    search = Search(engine, likelihoods, found, groups, stakes, catalog)
    steps = search.weigh(_shortlist(candidates, groups, stakes, catalog))
    looks = [_look(s, s.rate(stakes.minute)) for s in steps]
    looks = _with_proof(looks, candidates, groups, leads.unproven, stakes, catalog)
    answered = set(list_answered(engine.net, catalog))
    plugs = {part: p for part, p in leads.plugs.items() if (part, _PLUG_WORD) not in answered}
    looks += _plug_looks(plugs, stakes, catalog)
    may_power = not was_flooded(case, catalog) and unit_exposed(engine.net.line) is None
    looks += _second_scan(engine.net, groups, stakes, catalog) if may_power else []
    least = catalog.firing.scans.tests.least_settles
    worth = [look for look in looks if look.saving > _LEAST and look.settles >= least]
    most = max((look.saving for look in worth), default=1.0)
    line = engine.net.line
    is_loose = is_unit_loose(line) or told_loose(line, catalog) is not None
    first = [_mount_look(most, catalog)] if is_loose else []
    first += [_load_look(part, most, catalog) for part in sorted(leads.loads)]
    first += _scan_first(engine.net, leads, most, catalog) if may_power else []
    worth = [look for look in worth if not first or look.look != SECOND_SCAN]
    worth.sort(key=lambda look: _order(look, catalog))
    deciding = _deciding(worth, leads.deciding.keys() - leads.loads, leads, most)
    return (*first, *deciding, *(look for look in worth if look not in deciding))


def _deciding(
    worth: list[NextLook], clashing: Collection[str], leads: Leads, most: float
) -> list[NextLook]:
    """Return for each component of which two things are said that do not fit what decides it.

    The look that saves most there, else the one that says most; dearest first.
    """
    found = []
    for component in sorted(clashing):
        own, settling = (
            [look for look in worth if look.component == component],
            leads.deciding[component],
        )
        if own:
            found.append(own[0])
        elif settling is not None:
            found.append(
                NextLook(
                    component=settling.component,
                    look=settling.look,
                    text=settling.text,
                    minutes=settling.minutes,
                    settles=1.0,
                    saving=_LEAST,
                )
            )
    return sorted(found, key=lambda look: -look.saving)


def _with_proof(
    looks: list[NextLook],
    candidates: list[Candidate],
    groups: tuple[GroupBelief, ...],
    unproven: Iterable[str],
    stakes: Stakes,
    catalog: Catalog,
) -> list[NextLook]:
    """Return the looks with those that would prove spent what codes alone say has fired.

    Until then it is bought on a code's word, and handled and scrapped as live.
    """
    parts = {n: p for g in groups for n, p in g.parts.items()}
    found = {look.component: look for look in looks if look.look != SUBSTITUTE}
    index, share = stakes.names.index, catalog.firing.scans.tests.proof_is_worth.value
    for component in (part for part, stage in map(split_loop, unproven) if stage == 1):
        words = catalog.looks(split_component(component).kind)
        offers = [c for c in candidates if c.component == component and c.look in words]
        seen = [c for c in offers if words[c.look].shows == "spent"]
        if seen:
            best = min(seen, key=lambda c: c.minutes)
            chance = float((parts[component].now * best.yes).sum())
            look = found.get(component) or _look(Step(best, 0.0, chance), -stakes.minute)
            worth = share * float(stakes.needless[index(component)])
            saving = look.saving + chance * worth / best.minutes
            found[component] = msgspec.structs.replace(
                look, saving=saving, settles=max(look.settles, chance)
            )
    return [*found.values(), *(look for look in looks if look.look == SUBSTITUTE)]


def _order(look: NextLook, catalog: Catalog) -> tuple[bool, float, str, str]:
    body = catalog.kinds[split_component(look.component).kind].body
    return body, -round(look.saving, 9), look.component, look.look


def _load_look(part: str, saving: float, catalog: Catalog) -> NextLook:
    """Return the search for what reads good in place of a part: nothing is believed before it."""
    title = catalog.kinds[split_component(part).kind].title
    return NextLook(
        component=part,
        look=LOAD_IN,
        text=f"with the power off and the wait over, open the connector of the {title}: is a load "
        "or a bridge in it?",
        minutes=catalog.firing.scans.tests.open_connector_minutes,
        settles=1.0,
        saving=saving,
    )


def _mount_look(saving: float, catalog: Catalog) -> NextLook:
    """Return the look at what held a loose unit: with power on, a knock may fire everything."""
    return NextLook(
        component=UNIT,
        look="damaged",
        text="with the battery off and the wait over, look at the mount of the airbag control "
        "unit: floor, bracket, studs and connectors sound, so that it can be bolted down?",
        minutes=catalog.looks(split_component(UNIT).kind)["damaged"].minutes,
        settles=1.0,
        saving=saving,
    )


def _scan_first(net: Network, leads: Leads, saving: float, catalog: Catalog) -> list[NextLook]:
    """Return the scan that comes before any look, where the report at hand is no whole one."""
    text = _why_scan_first(net, leads, catalog)
    if not text:
        return []
    return [
        NextLook(
            component=UNIT,
            look=SECOND_SCAN,
            text=text,
            minutes=catalog.firing.scans.tests.second_scan_minutes,
            settles=1.0,
            saving=saving,
        )
    ]


def _why_scan_first(net: Network, leads: Leads, catalog: Catalog) -> str:
    """Return what to do before and while scanning; empty where looks come first.

    The report at hand is of another car, was read with too low a supply, or stopped short.
    """
    last = next((e for _, e in reversed(net.line.all_of(Report))), None)
    scan = "scan every circuit of the restraint unit"
    if last is None:
        return f"{scan} of this car, VIN compared: the report is another's" * leads.set_aside
    if is_supply_low(last, catalog):
        return f"charge the battery, then {scan} once more"
    if last.reading.coverage.complete is not False or is_scanned_whole(net, catalog):
        return ""
    if unit_is_silent(last):
        return f"check fuse, supply, ground, plug and bus of the unit, then {scan} once more"
    return f"{scan} to the end: the report at hand stops short"


def _plug_looks(plugs: Mapping[str, float], stakes: Stakes, catalog: Catalog) -> Iterator[NextLook]:
    """Yield looks at connectors that may be off: each may save the fault finding behind it."""
    tests = catalog.firing.scans.tests
    for component, chance in plugs.items():
        kind = catalog.kinds[split_component(component).kind]
        word = catalog.looks(kind.kind).get(_PLUG_WORD)
        if word is not None:
            saved = chance * tests.trace_minutes / word.minutes - 1.0
            yield NextLook(
                component=component,
                look=_PLUG_WORD,
                text=f"look at the {kind.title}: {word.text}?",
                minutes=word.minutes,
                settles=min(1.0, chance),
                saving=stakes.minute * saved,
            )


def _shortlist(
    candidates: list[Candidate],
    groups: tuple[GroupBelief, ...],
    stakes: Stakes,
    catalog: Catalog,
) -> list[Candidate]:
    """Return the best word per component, then the best components, each weighed by itself."""
    parts = {n: p for g in groups for n, p in g.parts.items()}
    place = {n: i for i, n in enumerate(stakes.names)}
    best: dict[tuple[str, bool], tuple[float, Candidate]] = {}
    for candidate in candidates:
        part, index = parts[candidate.component], place[candidate.component]
        bad = calls_for_a_new_one(part.part, catalog)
        both = [part.now * candidate.yes, part.now * (1.0 - candidate.yes)]
        gone = [float((b * bad).sum()) for b in both]
        whole = [float(b.sum()) for b in both]
        saved = float(stakes.loss(index, sum(gone), 1.0)) - sum(
            stakes.loss(index, g, w) for g, w in zip(gone, whole, strict=True)
        )
        key = (candidate.component, candidate.look == SUBSTITUTE)
        rate = saved / candidate.minutes
        if key not in best or rate > best[key][0]:
            best[key] = (rate, candidate)
    ranked = sorted(best.values(), key=lambda pair: -round(pair[0], 9))
    return [c for rate, c in ranked[:_MOST] if rate > 0.0]


def _look(step: Step, rate: float) -> NextLook:
    one = step.candidate
    return NextLook(
        component=one.component,
        look=one.look,
        text=one.text,
        minutes=one.minutes,
        settles=min(1.0, step.settles),
        saving=rate,
    )


def _second_scan(
    net: Network, groups: tuple[GroupBelief, ...], stakes: Stakes, catalog: Catalog
) -> list[NextLook]:
    """Return a whole scan as a candidate, by what it would say of each part by itself."""
    if is_scanned_whole(net, catalog):
        return []
    place = {n: i for i, n in enumerate(stakes.names)}
    end, saved, settles = len(net.line.entries), 0.0, 0.0
    for group in groups:
        for name, part in group.parts.items():
            if not part.part.stages or part.part.kind.family == "wiring":
                continue
            joint = scan_outcomes(part, group, end, catalog)
            bad = joint @ calls_for_a_new_one(part.part, catalog)
            whole = joint.sum(axis=1)
            saved += stakes.loss(place[name], float(bad.sum()), float(whole.sum()))
            saved -= sum(stakes.loss(place[name], b, w) for b, w in zip(bad, whole, strict=True))
            settles = max(settles, _changed(stakes, place[name], bad, whole))
    minutes = catalog.firing.scans.tests.second_scan_minutes
    again = " once more" if net.line.all_of(Report) else ""
    return [
        NextLook(
            component=UNIT,
            look=SECOND_SCAN,
            text=f"scan every circuit of the restraint unit{again}",
            minutes=minutes,
            settles=settles,
            saving=saved / minutes - stakes.minute,
        )
    ]


def _changed(stakes: Stakes, index: int, bad: Array, whole: Array) -> float:
    """Return the chance that an outcome changes the decision on one part."""
    needless, missed = stakes.needless[index], stakes.missed[index]
    now = bad.sum() * missed > (whole.sum() - bad.sum()) * needless
    after = bad * missed > (whole - bad) * needless
    return float(whole[after != now].sum())
