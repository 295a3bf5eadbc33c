"""Why: what each piece of evidence contributed, what settles a doubt, what would turn it."""

from collections.abc import Iterator

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import Figure
from squibwise.catalog.load import Catalog
from squibwise.infer.beside import Beside
from squibwise.infer.engine import Engine, Posterior
from squibwise.infer.marginals import GroupBelief, PartBelief, group_beliefs
from squibwise.infer.network import Likelihood
from squibwise.infer.parts import not_sound
from squibwise.infer.stakes import Candidate, Stakes
from squibwise.model.belief import Because, SettlingLook, StateRange
from squibwise.model.case import Case
from squibwise.model.evidence import Evidence, Impact, LampCheck, Look, Recorder
from squibwise.model.names import split_component, split_loop
from squibwise.model.report import Report
from squibwise.model.words import STATES, State

Array = npt.NDArray[np.float64]
_SHOWN = 6
_LEAST_DB = 0.3
_EDGE = 1e-12
DECIBANS = 10.0
_USUAL = Because(
    text="nothing of this car speaks of it: the usual rate for parts of its kind",
    sources=("judgement",),
    weak="judgement",
)


class Reason(msgspec.Struct, frozen=True):
    """Why one component is believed to be what it is.

    Attributes:
        state: The likeliest state, which the weights speak of.
        prior_db: Its log odds before any evidence. [dB]
        prior_fired: Chance of having fired before any evidence.
        posterior_db: The same with all evidence. [dB]
        because: Strongest first.
        opposing: Strongest evidence against that state; None when there is none.
    """

    state: State
    prior_db: float
    prior_fired: float
    posterior_db: float
    because: tuple[Because, ...]
    opposing: Because | None


class Reasons(msgspec.Struct, frozen=True):
    """Reasons by component, and how badly the evidence fits together as a whole. [dB]."""

    by_part: dict[str, Reason]
    surprise_db: float

    def of(self, component: str) -> Reason:
        """Return the reasons of one component."""
        return self.by_part[component]


def decibans(p: Array | float) -> Array:
    """Return log odds in decibans, 10 log10(p / (1 - p))."""
    clipped = np.clip(p, _EDGE, 1.0 - _EDGE)
    return np.asarray(DECIBANS * np.log10(clipped / (1.0 - clipped)))


class _Weights(msgspec.Struct, frozen=True):
    """Log odds of each part's likeliest state without each piece, and with it alone.

    ``log_alone`` is the log probability of each piece alone.
    """

    names: list[str]
    states: list[State]
    prior: Array
    full: Array
    without: Array
    alone: Array
    log_alone: Array


def explain_components(
    engine: Engine,
    likelihoods: tuple[Likelihood, ...],
    found: Posterior,
    groups: tuple[GroupBelief, ...],
) -> Reasons:
    """Return the reasons of every component."""
    blank = engine.run(())
    before = group_beliefs(blank)
    weights = _weights(engine, likelihoods, found, blank, groups, before)
    engine.forget()  # nothing is asked without evidence any more
    fired = _chance_of(before, "fired")
    by_part = {}
    for column, name in enumerate(weights.names):
        by_part[name] = Reason(
            state=weights.states[column],
            prior_db=float(weights.prior[column]),
            prior_fired=fired[name],
            posterior_db=float(weights.full[column]),
            because=_because(name, column, likelihoods, weights),
            opposing=_opposing(name, column, likelihoods, weights),
        )
    alone = float((weights.log_alone - blank.log_evidence).sum())
    joint = found.log_evidence - blank.log_evidence
    return Reasons(by_part, float(DECIBANS / np.log(10.0) * (alone - joint)))


def _chance_of(groups: tuple[GroupBelief, ...], state: State) -> dict[str, float]:
    column = STATES.index(state)
    return {
        name: float((part.now.sum(axis=0) @ part.part.states())[column])
        for group in groups
        for name, part in group.parts.items()
    }


def _weights(
    engine: Engine,
    likelihoods: tuple[Likelihood, ...],
    found: Posterior,
    blank: Posterior,
    groups: tuple[GroupBelief, ...],
    before: tuple[GroupBelief, ...],
) -> _Weights:
    """Return every weight of evidence, without and alone, for every part."""
    names, states, masks = [], [], []
    for group in groups:
        for name, part in group.parts.items():
            values = part.now.sum(axis=0) @ part.part.states()
            best = int(np.argmax(values))
            names.append(name)
            states.append(STATES[best])
            masks.append(part.part.states()[:, best])
    prior, full = _odds(before, names, masks), _odds(groups, names, masks)
    by_name = dict(zip(names, masks, strict=True))
    rest = [tuple(i for i in likelihoods if i is not piece) for piece in likelihoods]
    without, _ = Beside(found, engine, by_name).each(zip(likelihoods, rest, strict=True))
    single = ((piece, (piece,)) for piece in likelihoods)
    alone, log_alone = Beside(blank, engine, by_name).each(single)
    return _Weights(names, states, prior, full, decibans(without), decibans(alone), log_alone)


def _odds(groups: tuple[GroupBelief, ...], names: list[str], masks: list[Array]) -> Array:
    chances = {n: p.now.sum(axis=0) for g in groups for n, p in g.parts.items()}
    return decibans(np.array([chances[n] @ m for n, m in zip(names, masks, strict=True)]))


def _because(
    name: str, column: int, likelihoods: tuple[Likelihood, ...], weights: _Weights
) -> tuple[Because, ...]:
    """Return the strongest reasons of one component, for and against."""
    last = weights.full[column] - weights.without[:, column]
    alone = weights.alone[:, column] - weights.prior[column]
    size = np.maximum(np.abs(last), np.abs(alone))
    order = np.argsort(-np.round(size, 6), kind="stable")  # equal weights: as they were told
    rows = [r for r in order[:_SHOWN] if size[r] >= _LEAST_DB]
    return tuple(_one(name, likelihoods[r], alone[r], last[r]) for r in rows) or (_USUAL,)


def _opposing(
    name: str, column: int, likelihoods: tuple[Likelihood, ...], weights: _Weights
) -> Because | None:
    """Return the evidence that speaks most against the conclusion once all else is known."""
    last = weights.full[column] - weights.without[:, column]
    if not len(last) or last.min() > -_LEAST_DB:
        return None
    row = int(np.argmin(last))
    return _one(
        name, likelihoods[row], weights.alone[row, column] - weights.prior[column], last[row]
    )


def _one(name: str, piece: Likelihood, alone: float, last: float) -> Because:
    """Return one reason, with its weight in decibans alone and last-in."""
    where = "" if piece.about in ("", name) else f"{piece.about}: "
    return Because(
        text=where + piece.text,
        evidence=(piece.evidence,),
        sources=piece.sources,
        weak=piece.weak,
        alone_db=round(float(alone), 2),
        last_db=round(float(last), 2),
    )


Bools = npt.NDArray[np.bool_]
_TOLD: tuple[State, ...] = ("fired", "damaged")


def find_ranges(part: PartBelief, case: Case, catalog: Catalog) -> dict[State, StateRange]:
    """Return by state how far its probability moves, where that crosses a limit of decision.

    The few figures that move it most, of those that speak of this part alone, are taken together
    to the ends of their ranges that lower it, and to those that raise it, everything else as it
    is: the odds of the micros a figure speaks of move with it.
    """
    limits = catalog.firing.scans.tests.decision_limits
    chance, states = part.after.sum(axis=0), part.part.states()
    result: dict[State, StateRange] = {}
    for state in _TOLD:
        column = states[:, STATES.index(state)]
        base = float(chance @ column)
        ends = [
            (name, sorted((_moved(chance, column, micros, r), r) for r in ratios), micros)
            for name, micros, ratios in _figures(part, case, catalog)
        ]
        ends.sort(key=lambda e: e[1][0][0] - e[1][-1][0])
        down, up = chance, chance
        for _, moved, micros in ends[:_FEW]:
            down = np.where(micros, moved[0][1] * down, down)
            up = np.where(micros, moved[-1][1] * up, up)
        low = min(base, float(down @ column / down.sum()))
        high = max(base, float(up @ column / up.sum()))
        if any(low < limit <= high for limit in limits):
            names = dict.fromkeys(name for name, moved, _ in ends[:_FEW] if moved[0] < moved[-1])
            result[state] = StateRange(low=low, high=high, figure=" and ".join(names))
    return result


_FEW = 3


def _moved(chance: Array, column: Array, micros: Bools, ratio: float) -> float:
    """Return the chance of a state when the odds of some micros change by a ratio."""
    weighed = np.where(micros, ratio * chance, chance)
    return float(weighed @ column / weighed.sum())


def _figures(
    part: PartBelief, case: Case, catalog: Catalog
) -> Iterator[tuple[str, Bools, tuple[float, float]]]:
    """Yield figures that speak of a part: in words, the micros they raise, and their two ends."""
    kind, events = part.part.kind.kind, catalog.firing.events
    fired = np.array([m.fired > 0 for m in part.part.micros])
    damaged = np.array([m.condition == "damaged" for m in part.part.micros])
    words = catalog.looks(kind)
    for entry in case.evidence:
        if isinstance(entry, Look) and entry.component == part.part.id and entry.seen in words:
            row = words[entry.seen]
            ends = (1.0 / row.range_factor, row.range_factor)
            yield f"how often '{row.text}' is seen of a part that fired", fired, ends
    if part.part.kind.fires and _is_told_by_the_body_alone(part.part.id, case):
        factor = catalog.firing.scans.range_factor
        yield "how hard a blow was that looks so", fired, (1.0 / factor, factor)
    if kind in events.follow:
        yield "how often it fires with the belts of its seat", fired, _ends(events.follow[kind])
    if kind == "knee-bag":
        ends = _ends(events.chances["knee_with_front"])
        yield "how often it goes with its front bag", fired, ends
    for charge in events.charge:
        figures = (charge.front, charge.other, charge.belts, charge.rear, charge.rollover)
        known = [f for f in figures if f is not None]
        if charge.kind == kind and known:
            widest = max(known, key=lambda f: f.high - f.low)
            yield "how often it fires with the bags and belts", fired, _ends(widest)
    conditions = catalog.firing.conditions
    for struck in conditions.struck:
        if struck.kind == kind:
            yield "how often a crash hurts it", damaged, _ends(struck.moderate)
    for link in conditions.link:
        if link.kind == kind:
            by = split_component(link.by).kind if "." in link.by else link.by
            yield f"how often a {by} hurts it", damaged, _ends(link.damaged)


def _is_told_by_the_body_alone(component: str, case: Case) -> bool:
    """Return whether crush as an eye judged it is all that tells whether a part fired.

    Nobody read the unit or its record, and nobody saw or measured the part itself.
    """
    judged = any(isinstance(e, Impact) and e.extent not in (None, "none") for e in case.evidence)
    return judged and not any(_speaks_of(e, component) for e in case.evidence)


def _speaks_of(entry: Evidence, component: str) -> bool:
    """Return whether an entry tells of the circuits of the car, of its speed, or of a part."""
    if isinstance(entry, Report | Recorder | LampCheck):
        return True
    about = getattr(entry, "component", None) or getattr(entry, "loop", None) or ""
    return bool(about) and split_loop(about)[0] == component


def _ends(figure: Figure) -> tuple[float, float]:
    """Return by how much the odds of a figure change towards both ends of its range."""
    ends = (figure.low, figure.value, figure.high)
    low, value, high = (p / (1.0 - p) for p in (min(max(p, 1e-6), 1.0 - 1e-6) for p in ends))
    return low / value, high / value


class Flip(msgspec.Struct, frozen=True):
    """What would change the decision on one part.

    Attributes:
        text: The one observation that most likely would; empty when none does by itself.
        move_db: How far the odds of not being sound could move before it changes; None = no stake.
        settled_by: What settles the doubt about it.
        ranges: Where the figures behind a state carry it across a limit of decision.
    """

    text: str
    move_db: float | None
    settled_by: SettlingLook | None
    ranges: dict[State, StateRange]


def find_flips(
    candidates: list[Candidate],
    case: Case,
    groups: tuple[GroupBelief, ...],
    stakes: Stakes,
    catalog: Catalog,
) -> dict[str, Flip]:
    """Return for every part what would change the decision on it."""
    offers: dict[str, list[Candidate]] = {}
    for candidate in candidates:
        offers.setdefault(candidate.component, []).append(candidate)
    place = {n: i for i, n in enumerate(stakes.names)}
    result = {}
    for group in groups:
        for name, part in group.parts.items():
            ranges, own = find_ranges(part, case, catalog), offers.get(name, [])
            settling = choose_settling(part, own, catalog, in_doubt=bool(ranges))
            text, move_db = _flip(part, own, place[name], stakes)
            result[name] = Flip(text, move_db, settling, ranges)
    return result


def choose_settling(
    part: PartBelief, offers: list[Candidate], catalog: Catalog, *, in_doubt: bool = False
) -> SettlingLook | None:
    """Return the one thing to do that says most about a part in doubt; None when none is needed.

    That of the largest expected information about its state; of two alike the shorter one. A part
    is in doubt, sure as it looks, where the ranges behind it carry it across a limit.
    """
    states = part.part.states()
    limits = catalog.firing.scans.tests
    if not in_doubt and float((part.now.sum(axis=0) @ states).max()) >= limits.settled_from:
        return None
    told = [(_information(part, offer, states), -offer.minutes, offer) for offer in offers]
    best = max(told, key=lambda t: t[:2], default=None)
    if best is None or best[0] < limits.least_information:
        return None
    offer = best[2]
    return SettlingLook(
        component=offer.component, look=offer.look, text=offer.text, minutes=offer.minutes
    )


def _information(part: PartBelief, offer: Candidate, states: Array) -> float:
    """Return the expected information of both outcomes about a part's state. [bit]."""
    prior = part.now.sum(axis=0) @ states
    found = 0.0
    for likelihood in (offer.yes, 1.0 - offer.yes):
        joint = (part.now * likelihood).sum(axis=0) @ states
        chance = float(joint.sum())
        positive = (joint > 0.0) & (prior > 0.0)
        ratio = joint[positive] / (chance * prior[positive])
        found += float(joint[positive] @ np.log2(ratio))
    return found


def _flip(
    part: PartBelief, offers: list[Candidate], index: int, stakes: Stakes
) -> tuple[str, float | None]:
    threshold = stakes.threshold(index)
    if threshold is None:
        return "", None
    bad = not_sound(part.part)
    now = float((part.now * bad).sum())
    best = max(_turning(part, offers, bad, threshold), default=(0.0, ""))
    return best[1], round(float(decibans(threshold) - decibans(now)), 2)


def _turning(
    part: PartBelief, offers: list[Candidate], bad: Array, threshold: float
) -> list[tuple[float, str]]:
    """Return outcomes that would turn the decision, each with its chance."""
    replaces = float((part.now * bad).sum()) > threshold
    result = []
    for offer in offers:
        for seen, likelihood in ((True, offer.yes), (False, 1.0 - offer.yes)):
            joint = part.now * likelihood
            chance = float(joint.sum())
            if chance > 0.0 and (float((joint * bad).sum()) / chance > threshold) != replaces:
                word = "yes" if seen else "no"
                result.append((chance, f"{offer.text} - if {word}"))
    return result
