"""What could be looked at or tested next, and how likely each outcome is."""

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import CIRCUITS, OUTCOMES
from squibwise.catalog.load import Catalog
from squibwise.infer.circuits import circuit_table, gone_with_a_load
from squibwise.infer.items import Item, OnPart
from squibwise.infer.marginals import GroupMarginal, PartMarginal
from squibwise.infer.network import Network
from squibwise.infer.observe import look_values
from squibwise.model.case import Case
from squibwise.model.evidence import Look

Array = npt.NDArray[np.float64]
_FROM_AFAR = ("not-seen", "missing")
SUBSTITUTE = "substitute-load"
SECOND_SCAN = "second-scan"


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

    def item(self, outcome: bool, place: int) -> Item:
        """Return the evidence that an outcome would be, at a place in time."""
        values = self.yes if outcome else 1.0 - self.yes
        on = OnPart(self.component, place, values[None])
        return Item("next", self.component, self.look, parts=(on,))


def candidates(
    case: Case, net: Network, groups: tuple[GroupMarginal, ...], catalog: Catalog
) -> list[Candidate]:
    """Return every look and substitution that the car offers and nobody has made yet."""
    seen = {(e.component, e.seen) for e in case.evidence if isinstance(e, Look)}
    result = []
    for group in groups:
        size = len(group.group.causes)
        for name, part in group.parts.items():
            own = {row.word for row in part.part.kind.look}
            for word, row in catalog.looks(part.part.kind.kind).items():
                if own and word not in own:
                    continue
                values = look_values(part.part, word, catalog)
                if values is None or word in _FROM_AFAR or (name, word) in seen:
                    continue
                yes = np.broadcast_to(values, (size, len(values)))
                text = f"look at the {part.part.kind.title}: {row.text}?"
                result.append(Candidate(name, word, text, row.minutes, yes))
            load = _substitution(part, group, net, catalog)
            if load is not None:
                result.append(load)
    return result


_SUSPECT = 0.02


def _substitution(
    part: PartMarginal, group: GroupMarginal, net: Network, catalog: Catalog
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
        yes=gone_with_a_load(part.part, table, catalog.firing),
    )


def scan_outcomes(part: PartMarginal, group: GroupMarginal, place: int, catalog: Catalog) -> Array:
    """Return the joint chance of what a whole scan says of a part's first circuit: (O, M)."""
    rows = np.array([catalog.firing.circuit_rows[c] for c in CIRCUITS])
    table = circuit_table(part.part, group.group.causes, place, 0.0)[:, :, 0]
    said = table @ rows
    joint = np.einsum("cm,cmo->om", part.now, said)
    return np.asarray(joint.reshape(len(OUTCOMES), -1))
