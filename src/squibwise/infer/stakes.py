"""What is at stake on each part, and what a look at one of them saves."""

from collections.abc import Collection, Mapping

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.beside import Beside
from squibwise.infer.engine import Engine, Posterior
from squibwise.infer.marginals import GroupBelief, PartBelief
from squibwise.infer.network import Likelihood
from squibwise.infer.parts import OnComponent, PartModel, not_sound
from squibwise.model.belief import Loss, LossTable
from squibwise.model.names import split_component
from squibwise.model.words import STATES

Array = npt.NDArray[np.float64]
NEUTRAL = Loss(needless=1.0, missed=1.0)
NOTHING = Loss(needless=0.0, missed=0.0)


def calls_for_a_new_one(part: PartModel, catalog: Catalog) -> Array:
    """Return how far each micro calls for a new part: 0 to 1.

    The fault of a device's circuit is traced first: mostly it lies beside the device.
    """
    bad = not_sound(part)
    if not part.kind.fires:
        return bad
    faulty = part.states()[:, STATES.index("faulty")] > 0.0
    return np.where(faulty, catalog.firing.scans.tests.device_is_at_fault.value * bad, bad)


class Stakes(msgspec.Struct, frozen=True):
    """What is at stake: parts in one order, and their losses.

    Attributes:
        names: Component ids.
        needless: Loss of replacing a sound part, by part.
        missed: Loss of keeping one that is not.
        minute: Cost of one minute.
    """

    names: tuple[str, ...]
    needless: Array
    missed: Array
    minute: float

    def expected(self, bad: Array) -> Array:
        """Return the expected loss of the better decision, by part, from chances of not sound."""
        return np.minimum((1.0 - bad) * self.needless, bad * self.missed)

    def replaces(self, bad: Array) -> npt.NDArray[np.bool_]:
        """Return for which parts replacing is the better decision."""
        return np.asarray(bad * self.missed > (1.0 - bad) * self.needless)

    def loss(self, index: int, bad: float, whole: float) -> float:
        """Return the expected loss on one part, from joint chances of *not sound* and of all."""
        return float(min((whole - bad) * self.needless[index], bad * self.missed[index]))

    def threshold(self, index: int) -> float | None:
        """Return the chance of not being sound from which replacing is better; None = no stake."""
        total = self.needless[index] + self.missed[index]
        return float(self.needless[index] / total) if total > 0.0 else None


def weigh_stakes(
    groups: tuple[GroupBelief, ...],
    losses: LossTable | None,
    catalog: Catalog,
    apart: Collection[str] = (),
) -> Stakes:
    """Return the stakes of all parts; without a table each wrong decision costs one unit.

    Nothing is at stake on what comes new inside an assembly that is surely replaced.
    A part wrongly kept is still looked at, scanned and gated before the car leaves: of the hazard
    in the table only the share that gets past all that counts when looks are ranked.
    """
    names = tuple(n for g in groups for n in g.parts)
    default = NEUTRAL if losses is None else NOTHING
    table = {} if losses is None else losses.losses
    settled = _come_anyway({n: p for g in groups for n, p in g.parts.items()}, catalog, apart)
    rows = [NOTHING if n in settled else table.get(n, default) for n in names]
    return Stakes(
        names,
        np.array([r.needless for r in rows]),
        np.array([_missed(n, r, catalog) for n, r in zip(names, rows, strict=True)]),
        0.0 if losses is None else losses.minute,
    )


def _missed(component: str, loss: Loss, catalog: Catalog) -> float:
    """Return the loss of keeping a part that is not sound, the later gates counted."""
    tests = catalog.firing.scans.tests
    kind, torn = split_component(component).kind, catalog.firing.conditions.link
    hangs_out = catalog.kinds[kind].family == "bag" or any(row.kind == kind for row in torn)
    past = tests.bag_gets_past_the_gates if hangs_out else tests.gets_past_the_gates
    return loss.needless + past.value * max(0.0, loss.missed - loss.needless)


def _come_anyway(
    parts: Mapping[str, PartBelief], catalog: Catalog, apart: Collection[str]
) -> set[str]:
    """Return the parts inside an assembly of which another part is surely not sound.

    What makes it sure is itself still worth a look: it may be bought on a word or a code.
    """
    sure = catalog.fact("require.sure").number()
    bad = {
        n: float(p.now.sum(axis=0) @ calls_for_a_new_one(p.part, catalog)) for n, p in parts.items()
    }
    found = set()
    for assembly in catalog.assemblies.values():
        for place in () if assembly.instead else assembly.places:
            keys = [f"{place}.{kind}" for kind in assembly.key]
            held = {f"{place}.{kind}" for kind in assembly.holds if kind not in apart}
            certain = {k for k in keys if bad.get(k, 0.0) >= sure}
            found |= {part for part in held & parts.keys() if certain - {part}}
    return found


class Candidate(msgspec.Struct, frozen=True):
    """One thing that could be done to learn more, with two outcomes.

    Attributes:
        component: Component id.
        look: Look word, or ``substitute-load``.
        text: How, in a mechanic's words.
        minutes: What it takes. [min]
        yes: Likelihood of the outcome *yes* over (causes, micros), as things are now.
    """

    component: str
    look: str
    text: str
    minutes: float
    yes: Array

    def item(self, place: int) -> Likelihood:
        """Return the evidence that the outcome *yes* would be, at a place in time."""
        on = OnComponent(self.component, place, self.yes[None])
        return Likelihood("next", self.component, self.look, parts=(on,))


class Step(msgspec.Struct, frozen=True):
    """A candidate weighed.

    Attributes:
        candidate: What would be done.
        saved: Expected loss saved.
        settles: Chance that it changes what is done about that component.
    """

    candidate: Candidate
    saved: float
    settles: float

    def rate(self, minute: float) -> float:
        """Return what it saves per minute, its own time paid."""
        return self.saved / self.candidate.minutes - minute


class Search:
    """Weighs candidates on one posterior. A class because all share its dense tables.

    Args:
        engine: The network.
        likelihoods: All evidence.
        found: The posterior.
        groups: Its beliefs.
        stakes: Losses.
        catalog: What of a fault is the part itself.
    """

    def __init__(
        self,
        engine: Engine,
        likelihoods: tuple[Likelihood, ...],
        found: Posterior,
        groups: tuple[GroupBelief, ...],
        stakes: Stakes,
        catalog: Catalog,
    ) -> None:
        self.engine, self.items, self.found, self.stakes = engine, likelihoods, found, stakes
        self.place = {n: i for i, n in enumerate(stakes.names)}
        self.masks = {
            n: calls_for_a_new_one(p.part, catalog) for g in groups for n, p in g.parts.items()
        }
        self.end = len(engine.net.line.entries)
        self.tables = Beside(found, engine, self.masks)
        (self.now,) = self.tables.by_event(found.weights[None])

    def weigh(self, candidates: list[Candidate]) -> list[Step]:
        """Return the candidates weighed exactly, in their order."""
        pieces = [candidate.item(self.end) for candidate in candidates]
        bad, logs = self.tables.each((piece, (*self.items, piece)) for piece in pieces)
        chances = np.minimum(1.0, np.exp(logs - self.found.log_evidence))
        return [self._step(*each) for each in zip(candidates, chances, bad, strict=True)]

    def _step(self, candidate: Candidate, yes: float, bad_if: Array) -> Step:
        """Return one candidate weighed.

        What is believed after *no* follows from what is believed now and after *yes*.

        Args:
            candidate: What would be done.
            yes: Chance of the outcome *yes*.
            bad_if: Chance of each part not being sound after it.
        """
        chances = np.array([yes, 1.0 - yes])
        rest = np.maximum(0.0, self.now - yes * bad_if) / max(chances[1], _LEAST_CHANCE)
        bad = np.stack([bad_if, np.minimum(rest, 1.0)])
        losses = self.stakes.expected(bad).sum(axis=1)
        saved = float(self.stakes.expected(self.now).sum() - chances @ losses)
        own = self.place[candidate.component]
        changes = (self.stakes.replaces(bad) != self.stakes.replaces(self.now))[:, own]
        return Step(candidate, max(0.0, saved), float(chances @ changes))


_LEAST_CHANCE = 1e-15
