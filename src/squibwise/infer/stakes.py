"""What is at stake: losses of wrong decisions, and the better decision on each part."""

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.marginals import GroupMarginal
from squibwise.infer.parts import Part
from squibwise.model.belief import Loss, LossTable

Array = npt.NDArray[np.float64]
NEUTRAL = Loss(needless=1.0, missed=1.0)
NOTHING = Loss(needless=0.0, missed=0.0)


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


def stakes_of(
    groups: tuple[GroupMarginal, ...], losses: LossTable | None, catalog: Catalog
) -> Stakes:
    """Return the stakes of all parts; without a table each wrong decision costs one unit.

    A part wrongly kept is still looked at, scanned and gated before the car leaves: of the hazard
    in the table only the share that gets past all that counts when looks are ranked.
    """
    past = catalog.firing.scans.tests.gets_past_the_gates.value
    names = tuple(n for g in groups for n in g.parts)
    default = NEUTRAL if losses is None else NOTHING
    table = {} if losses is None else losses.losses
    rows = [table.get(n, default) for n in names]
    return Stakes(
        names,
        np.array([r.needless for r in rows]),
        np.array([r.needless + past * max(0.0, r.missed - r.needless) for r in rows]),
        0.0 if losses is None else losses.minute,
    )


def not_sound(part: Part) -> Array:
    """Return which micros call for replacing the part: 0 or 1."""
    return np.array([float(m.state != "sound") for m in part.micros])
