"""What was seen of a part against what its circuit reads: the eye comes first, and looks again."""

from collections.abc import Iterator
from functools import reduce

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.components import LookWord
from squibwise.catalog.load import Catalog
from squibwise.history.apart import find_off, tell_off
from squibwise.history.order import History
from squibwise.history.signed import as_look, find_loads
from squibwise.history.told_events import list_commanded
from squibwise.infer.engine import Engine, Posterior
from squibwise.infer.marginals import group_belief
from squibwise.infer.network import Likelihood, Network
from squibwise.infer.parts import OnComponent, PartModel, has_plug, taken_off_at
from squibwise.infer.reports import chance_whole, load_fitted, one_cause, unit_able
from squibwise.infer.scan import is_past_of_another, lines_about, read_stage, seen_foreign
from squibwise.model.belief import Contradiction
from squibwise.model.evidence import DoneWork, Evidence, LampCheck, Look, Reading, TestOutcome
from squibwise.model.names import split_component, split_loop
from squibwise.model.report import Report

Array = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]


def weigh_sights(
    engine: Engine, likelihoods: tuple[Likelihood, ...], catalog: Catalog
) -> tuple[Likelihood, ...]:
    """Return the likelihoods, sights of parts with charges trusted and doubted as eyes are."""
    return _doubt_lone_sights(engine, _trust_sights(engine, likelihoods, catalog), catalog)


def _trust_sights(
    engine: Engine, likelihoods: tuple[Likelihood, ...], catalog: Catalog
) -> tuple[Likelihood, ...]:
    """Return the likelihoods, a sight of a mechanism wrong no oftener than such sights are.

    Locked, short, scored, marked or out of its cover is what the mechanism is like. Lamp, scan and
    reading tell of its circuit, and the record of the crash: they say whether the part fired or is
    hurt, but not that the eye was wrong. Only another look at the part says that.
    """
    net, found = engine.net, engine.run(likelihoods)
    wrong = catalog.firing.scans.clash.lone_look_wrong
    result = list(likelihoods)
    for part, sights in _sights_of_mechanisms(net, catalog):
        index = engine.place[part.id][0]
        if all(_share_wrong(found, index, part, shown) <= wrong for shown in sights.values()):
            continue
        looked = {e.id for e in net.line.entries if _looks_at(e, part.id, catalog)}
        rest = tuple(p for p in result if p.evidence not in looked)
        chance = group_belief(engine.run(rest), index).parts[part.id].now.sum(axis=0)
        for at, piece in enumerate(result):
            if piece.evidence in sights and piece.about == part.id:
                result[at] = _at_most_wrong(piece, chance, sights[piece.evidence], wrong)
    return tuple(result)


def _share_wrong(found: Posterior, index: int, part: PartModel, shown: Bools) -> float:
    """Return the chance that a part is not what a sight shows."""
    return float(group_belief(found, index).parts[part.id].now.sum(axis=0) @ ~shown)


def _at_most_wrong(piece: Likelihood, chance: Array, shown: Bools, wrong: float) -> Likelihood:
    """Return a sight that is wrong in no more than a share of cases, whatever else is believed."""
    (on,) = piece.parts
    told = (chance * on.values).reshape(-1, len(chance)).sum(axis=0)
    right, other = float(told @ shown), float(told @ ~shown)
    most = right * wrong / (1.0 - wrong)
    if other <= most:
        return piece
    trusted = OnComponent(on.part, on.place, np.where(shown, on.values, on.values * most / other))
    return msgspec.structs.replace(piece, parts=(trusted,))


def _sights_of_mechanisms(
    net: Network, catalog: Catalog
) -> Iterator[tuple[PartModel, dict[str, Bools]]]:
    """Yield parts with charges whose mechanism somebody saw since work on them: spent, or hurt.

    With the micros that each look shows: of a part that was broken as well, where that looks alike.
    """
    for part in (p for _, _, _, p in net.parts() if p.stages and p.kind.fires):
        words, since = catalog.looks(part.kind.kind), net.line.last_work_on(part.id)
        taken = taken_off_at(part, net.line, catalog)
        sights = {
            e.id: _shown(part, e, words[e.seen])
            for at, e in net.line.all_of(Look)
            if at > max(since, taken if taken is not None else since)
            if split_loop(e.component)[0] == part.id and e.seen in words
            if words[e.seen].shows in ("spent", "hurt")
        }
        if sights:
            yield part, sights


def _shown(part: PartModel, look: Look, word: LookWord) -> Bools:
    """Return the micros of which a look is right."""
    stage = split_loop(look.component)[1] if "/" in look.component else 1
    broken = () if word.proves_spent else _HURT
    return np.array([m.fired >= stage or m.condition in broken for m in part.micros])


_HURT = ("damaged", "unfit")


def list_looks(entry: Evidence, catalog: Catalog) -> tuple[tuple[str, str], ...]:
    """Return the component and look word of a look, or of what is one.

    A signed inspection is one, and a test outcome: that shows one of several things has a word for
    each.
    """
    if (look := as_look(entry)) is not None:
        return ((look.component, look.seen),)
    if not isinstance(entry, TestOutcome):
        return ()
    component = split_loop(entry.loop)[0]
    test = next((t for t in catalog.loops.tests if t.id == entry.test), None)
    shows = () if test is None else test.shows.get(entry.outcome, ())
    return tuple((component, _word_that(s, component, catalog)) for s in shows)


def _word_that(shows: str, component: str, catalog: Catalog) -> str:
    """Return the look word of a component that shows this; its kind's own word first."""
    words = catalog.looks(split_component(component).kind)
    fitting = [w for w, row in words.items() if row.shows == shows]
    own = [w.word for w in catalog.kinds[split_component(component).kind].look]
    return next((w for w in fitting if w in own), next(iter(fitting), "intact"))


def _looks_at(entry: Evidence, component: str, catalog: Catalog) -> bool:
    return component in {split_loop(c)[0] for c, _ in list_looks(entry, catalog)}


def _doubt_lone_sights(
    engine: Engine, likelihoods: tuple[Likelihood, ...], catalog: Catalog
) -> tuple[Likelihood, ...]:
    """Return the likelihoods, sights that may be wrong believed so far only.

    Whoever was alone in seeing a part spent, against its own circuit, may have looked at another
    part, or named it wrong; and in a car that was put back together what looks whole may be covered
    anew. That is left a fixed chance, whatever else speaks: one look must not be surer than the
    codes make it doubtful, and not the codes but the rebuilding raises the doubt.
    """
    wrong = dict(_doubted(engine.net, catalog))
    result = list(likelihoods)
    for at, piece in enumerate(likelihoods):
        if piece.evidence not in wrong:
            continue
        rest = tuple(p for p in likelihoods if p is not piece)
        part = group_belief(engine.run(rest), engine.place[piece.about][0]).parts[piece.about]
        (on,) = piece.parts
        expected = float((part.now * on.values[0]).sum())
        left = wrong[piece.evidence] / (1.0 - wrong[piece.evidence])
        doubted = np.minimum(1.0, on.values + expected * left)
        parts = (OnComponent(on.part, on.place, doubted),)
        result[at] = msgspec.structs.replace(piece, parts=parts)
    return tuple(result)


def _doubted(net: Network, catalog: Catalog) -> Iterator[tuple[str, float]]:
    """Yield the looks that may be wrong whatever else speaks, with the chance of it."""
    for look in filter(None, map(as_look, net.line.entries)):
        found = net.find(look.component)
        words = {} if found is None else catalog.looks(found[1].kind.kind)
        covered = words[look.seen].fired_if_rebuilt if look.seen in words else None
        if is_lone_sight(look, net, catalog):
            yield look.id, catalog.firing.scans.clash.lone_look_wrong
        elif net.rebuilt and covered is not None:
            yield look.id, covered


def is_lone_sight(look: Look, net: Network, catalog: Catalog) -> bool:
    """Return whether a look is the only one that saw a part spent whose circuit reads good."""
    found = net.find(look.component)
    if found is None:
        return False
    part, words = found[1], catalog.looks(found[1].kind.kind)
    since = net.line.last_work_on(part.id)
    seen = [
        e
        for at, e in net.line.all_of(Look)
        if at > since and split_loop(e.component)[0] == part.id and e.seen in words
    ]
    spent = [e for e in seen if words[e.seen].shows == "spent"]
    if spent != [look] or not (part.stages and part.kind.fires):
        return False
    return last_read_good(part, since, net, catalog) is not None


def count_circuits_once(
    likelihoods: tuple[Likelihood, ...], net: Network, catalog: Catalog
) -> tuple[Likelihood, ...]:
    """Return the likelihoods, those that read the circuit of a part seen spent or gone as one.

    A load in its place makes scan, lamp and live reading good alike: together they say no more than
    the one of them that says most.
    """
    result = list(likelihoods)
    for part in (p for _, _, _, p in net.parts() if p.stages and p.kind.fires):
        seen, since = _last_sight(part, net.line, catalog), net.line.last_work_on(part.id)
        good = {
            e.id
            for e in net.line.entries[since + 1 :]
            if seen is not None and _says_good(e, part, net, catalog)
        }
        mine = [p for p in result if p.about == part.id and p.evidence in good]
        if len(mine) > 1:
            result = [p for p in result if not any(p is other for other in mine[1:])]
            result[next(n for n, p in enumerate(result) if p is mine[0])] = _as_one(mine)
    return tuple(result)


def _as_one(pieces: list[Likelihood]) -> Likelihood:
    """Return what pieces on one part say as one observation: of each state what says most."""
    values = reduce(np.minimum, (p.parts[0].values for p in pieces))
    on = OnComponent(pieces[0].about, pieces[-1].parts[0].place, values)
    text = "; ".join(p.text for p in pieces)
    return msgspec.structs.replace(pieces[0], text=text, parts=(on,))


def stand_on_loads(net: Network, catalog: Catalog) -> set[str]:
    """Return parts fitted, plugged in or read as good while a load in their place is not back."""
    found = set()
    for load in find_loads(net.line).out:
        component, issued = split_loop(load.loop)[0], net.line.place_of(load.id)
        works = net.line.works_on(frozenset({component}))
        fitted = any(at > issued and work.what in ("replaced", "reseated") for at, work in works)
        if fitted or _is_called_good(component, issued, net, catalog):
            found.add(component)
    return found


def _is_called_good(component: str, since: int, net: Network, catalog: Catalog) -> bool:
    """Return whether a report after the repair, later than a place in time, finds a part good."""
    found = net.find(component)
    return found is not None and any(
        at > since and e.when == "after-repair" and shows_good(e, found[1], net, catalog)
        for at, e in net.line.all_of(Report)
    )


def loads_left_in(net: Network, catalog: Catalog) -> dict[str, Contradiction]:
    """Return the parts seen gone, spent or off whose circuits read good, whatever else was stated.

    Gone, locked, a short stalk, a scored tongue or a cushion outside is what an eye saw; a circuit
    that reads good beside it has a load or a bridge in it, or was read from another unit.
    """
    result = _read_while_off(net, catalog)
    for _, _, _, part in net.parts():
        seen = _last_sight(part, net.line, catalog) if part.stages and part.kind.fires else None
        since = net.line.last_work_on(part.id)
        good = None if seen is None else last_read_good(part, since, net, catalog)
        if seen is None or good is None:
            continue
        look = seen[1]
        word = catalog.looks(part.kind.kind)[look.seen]
        text = (
            f"{part.id}: seen {word.text}, yet its circuit reads good ({good.id}): a load or a "
            "bridge was left in, or the scan is not of this car's unit"
        )
        again = _LOOK_AGAIN if is_lone_sight(look, net, catalog) else ""
        result[part.id] = Contradiction(
            text=text, evidence=(look.id, good.id), remedy=again + _LOAD_REMEDY, component=part.id
        )
    return result


def _read_while_off(net: Network, catalog: Catalog) -> dict[str, Contradiction]:
    """Return the parts on record as off their circuit that something read as good afterwards."""
    result = {}
    off = find_off(net.line, catalog)
    for part in (p for _, _, _, p in net.parts() if p.id in off and _answers(p)):
        told = off[part.id]
        good = last_read_good(part, net.line.place_of(told.id), net, catalog)
        if good is None:
            continue
        words = catalog.looks(part.kind.kind)
        how = words[told.seen].text if isinstance(told, Look) else tell_off(told)
        text = (
            f"{part.id}: {how} ({told.id}), yet its circuit reads good ({good.id}) and nothing "
            "says that it was put right: a load or a bridge is in its place, or that was not "
            "written down"
        )
        result[part.id] = Contradiction(
            text=text, evidence=(told.id, good.id), remedy=_OFF_REMEDY, component=part.id
        )
    return result


def _answers(part: PartModel) -> bool:
    """Return whether a part answers by its own connector; a lamp is watched and does not."""
    return has_plug(part.kind) and part.kind.family != "lamp"


_OFF_REMEDY = (
    "Look at its connector with the power off and the wait over. Take out what sits in it, plug "
    "the part in, and record it as reseated; then check the lamp and scan again."
)
_LOOK_AGAIN = (
    "One look against its own circuit: look once more, or let somebody else, and photograph it. "
)
_LOAD_REMEDY = (
    "Do not drive and do not release the car. Open its connector with the power off and the wait "
    "over: take the load out and fit the part. A resistor left in is fraud and leaves the seat "
    "unprotected; look at every other connector of the car too."
)


def _last_sight(part: PartModel, line: History, catalog: Catalog) -> tuple[int, Look] | None:
    """Return the last look since work on a part that saw it gone or spent; None when none did."""
    since = line.last_work_on(part.id)
    words = catalog.looks(part.kind.kind)
    found = None
    for place, entry in enumerate(line.entries):
        if isinstance(entry, Look) and place > since and entry.seen in words:
            own = split_loop(entry.component)[0] == part.id
            if own and words[entry.seen].shows in ("spent", "gone", "tampered"):
                found = (place, entry)
    return found


def seen_spent(part: PartModel, line: History, catalog: Catalog) -> Look | None:
    """Return the last look since work on a part at what only a spent one looks like, or None."""
    since, words = line.last_work_on(part.id), catalog.looks(part.kind.kind)
    proving = {w for w, row in words.items() if row.proves_spent}
    looks = [e for at, e in line.all_of(Look) if at > since and e.component == part.id]
    return next((e for e in reversed(looks) if e.seen in proving), None)


def last_read_good(part: PartModel, since: int, net: Network, catalog: Catalog) -> Evidence | None:
    """Return the last that reads a part's circuit as good after a place; None = nothing does.

    A load that was issued and is not back yet is no contradiction: it is counted elsewhere.
    """
    if load_fitted(part, len(net.line.entries), net):
        return None
    for at, entry in reversed(tuple(enumerate(net.line.entries))):
        if at <= since:
            return None
        if _says_good(entry, part, net, catalog):
            return entry
    return None


def _says_good(entry: Evidence, part: PartModel, net: Network, catalog: Catalog) -> bool:
    """Return whether a report, a live reading or the lamp says that a part's circuit is good."""
    if isinstance(entry, Report):
        return shows_good(entry, part, net, catalog)
    if isinstance(entry, Reading):
        return _is_good(entry, part, catalog)
    return isinstance(entry, LampCheck) and entry.lit and entry.stayed_out is True


def shows_good(report: Report, part: PartModel, net: Network, catalog: Catalog) -> bool:
    """Return whether a report says of a circuit that it is good, or is whole and silent on it."""
    coverage = report.reading.coverage
    if lines_about(part, report, {}, net, catalog):
        return False
    if any(c.component == part.id for c in coverage.clean):
        return True
    able = unit_able(report, catalog) is not False and part.id not in coverage.not_tested
    whole = coverage.complete is True and chance_whole(report, net.line, catalog) > 0.0
    return whole and able and not one_cause(report)


def _is_good(entry: Reading, part: PartModel, catalog: Catalog) -> bool:
    """Return whether a reading of the loop itself lies in the window of a good circuit."""
    window = catalog.firing.scans.reading
    return read_stage(entry, part) is not None and window.low_ohm <= entry.value <= window.high_ohm


def find_live_but_open(net: Network, catalog: Catalog) -> list[Contradiction]:
    """Return parts seen whole whose circuits read open: the eye is believed, the circuit traced."""
    result = []
    for _, _, _, part in net.parts():
        words = catalog.looks(part.kind.kind)
        looks = [
            e
            for e in net.line.entries
            if isinstance(e, Look) and e.component == part.id and e.seen in words
        ]
        if (
            not looks
            or words[looks[-1].seen].shows != "live"
            or net.line.works_on(frozenset({part.id}))
        ):
            continue
        cured = _cured_at(part, net, catalog)
        for report in (e for e in net.line.entries[cured:] if isinstance(e, Report)):
            lines = [c for c, told in lines_about(part, report, {}, net, catalog) if told.outcome]
            if lines:
                text = (
                    f"{part.id}: seen {words[looks[-1].seen].text}, yet its circuit reads "
                    f"{lines[0].fault}: the eye is believed, the fault is in its circuit"
                )
                ids = (looks[-1].id, report.id)
                result.append(
                    Contradiction(text=text, evidence=ids, remedy=_LIVE_REMEDY, component=part.id)
                )
    return result


def find_whole_but_commanded(net: Network, catalog: Catalog) -> list[Contradiction]:
    """Return parts that look as if they had not fired, whose firing a record lists as commanded."""
    result, listed = [], list_commanded(net.line)
    for part in (p for *_, p in net.parts() if p.id in listed):
        words, since = catalog.looks(part.kind.kind), net.line.last_work_on(part.id)
        looks = [
            e
            for at, e in net.line.all_of(Look)
            if at > since and split_loop(e.component)[0] == part.id and e.seen in words
        ]
        row = words[looks[-1].seen] if looks else None
        if row is None or row.sound < _MUCH_OFTENER * row.fired:
            continue
        text = f"{part.id}: seen {row.text}, yet a record lists that it was commanded to fire"
        ids = (looks[-1].id, listed[part.id].id)
        result.append(
            Contradiction(text=text, evidence=ids, remedy=_COMMANDED_REMEDY, component=part.id)
        )
    return result


_MUCH_OFTENER = 10.0
_COMMANDED_REMEDY = (
    "Read the commanded time and the part's name in the record again, and compare the unit's "
    "number and the VIN: it may be of another part, event or car. Look closely whether the part "
    "was covered or fitted anew. A charge that was commanded and did not go is live, and nobody "
    "can tell when it goes: power off and the whole wait, then renew it and scrap it as live."
)


def find_codes_of_another_car(net: Network) -> list[Contradiction]:
    """Return reports with stored codes of a unit that was seen to be another car's."""
    look = seen_foreign(net)
    if look is None:
        return []
    return [
        Contradiction(
            text=f"the unit is another car's ({look.id}): what {entry.id} has as stored may be of "
            "that car",
            evidence=(look.id, entry.id),
            remedy=_FOREIGN_REMEDY,
        )
        for entry in (e for _, e in net.line.all_of(Report))
        if any(
            c.present and c.candidates and is_past_of_another(c, entry, net)
            for c in entry.reading.own
        )
    ]


_FOREIGN_REMEDY = (
    "Save what is stored, then see which codes are present with this car's circuits plugged in: "
    "those are this car's. Look at covers and belts before anything is bought by a stored code."
)


def _cured_at(part: PartModel, net: Network, catalog: Catalog) -> int:
    """Return the place of the last report that reads a circuit good after a repair; else 0.

    One that reads it good with nothing repaired since the fault takes nothing back: that may come
    and go.
    """
    reports = [(at, e) for at, e in enumerate(net.line.entries) if isinstance(e, Report)]
    faults = [at for at, e in reports if lines_about(part, e, {}, net, catalog)]
    repairs = [
        at
        for at, e in enumerate(net.line.entries)
        if isinstance(e, DoneWork) and e.what in _REPAIRS and at > max(faults, default=at)
    ]
    good = (at for at, e in reports if repairs and at > repairs[0])
    return max((at for at in good if _reads_good(at, part, net, catalog)), default=0)


def _reads_good(place: int, part: PartModel, net: Network, catalog: Catalog) -> bool:
    entry = net.line.entries[place]
    return isinstance(entry, Report) and shows_good(entry, part, net, catalog)


_REPAIRS = ("replaced", "reseated", "repaired")
_LIVE_REMEDY = (
    "Handle it as live: power off and the whole wait before its connector is touched. Codes that "
    "share a connector are one observation. Trace the circuit, connector first; buy nothing for it "
    "yet. In a car that was put back together look closely at gap, grain and screws of the cover."
)
