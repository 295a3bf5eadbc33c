"""What was measured, tested, read off a label or done to a part, as likelihoods."""

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from squibwise.catalog.firing import CIRCUITS
from squibwise.catalog.load import Catalog
from squibwise.history.order import VERIFIED
from squibwise.infer.circuits import circuit_table, gone_with_a_load
from squibwise.infer.network import Group, Likelihood, Network, OnComponent
from squibwise.infer.parts import PartModel
from squibwise.model.evidence import LampCheck, PartLabel, Reading, TestOutcome
from squibwise.model.names import split_loop

Array = npt.NDArray[np.float64]
_HALF_LATER = 0.5


def weigh_lamp(
    entry: LampCheck, place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield what the lamp says: out means that no watched circuit is at fault."""
    figures = catalog.firing.scans.lamp
    if not entry.lit:
        found = net.find("centre.warning-lamp")
        if found is not None:
            good, bad = 1.0 - figures["out_if_good"].value, 1.0 - figures["out_if_faulty"].value
            values = np.array([good if m.condition == "ok" else bad for m in found[1].micros])
            on = OnComponent(found[1].id, place, values[None, None, :])
            yield Likelihood(entry.id, found[1].id, "lamp never lit", parts=(on,))
        return
    if not entry.stayed_out:
        return
    for g, _, _, part in net.parts():
        if part.stages:
            values = _lamp_values(part, net.groups[g], place, net, catalog)
            on = OnComponent(part.id, place, values)
            text = "lamp lit, went out and stayed out"
            yield Likelihood(entry.id, part.id, text, parts=(on,), broad=True)


def _lamp_values(
    part: PartModel, group: Group, place: int, net: Network, catalog: Catalog
) -> Array:
    """Return the chance of the lamp going out with this one part: (unit, causes, micros)."""
    figures = catalog.firing.scans.lamp
    good, bad = figures["out_if_good"].value, figures["out_if_faulty"].value
    mild = {"damaged", "unfit"}
    table = np.ones((len(group.causes), len(part.micros)))
    for c, cause in enumerate(group.causes):
        opens = cause.opens if cause.active(place) and part.id in cause.members else 0.0
        for m, micro in enumerate(part.micros):
            for stage in range(1, part.stages + 1):
                circuit = micro.circuit(stage)
                own = good if circuit == "good" else 0.5 if circuit in mild else bad
                table[c, m] *= opens * min(own, bad) + (1.0 - opens) * own
    states = [table] + [np.ones_like(table)] * (net.unit.shape[1] - 1)
    return np.stack(states)


def weigh_reading(
    entry: Reading, place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield what a live loop resistance says of the circuit."""
    if entry.unit != "ohm" or entry.quantity != "loop-resistance":
        return
    if entry.method == "substitute-load" or entry.where:
        return
    component, stage = split_loop(entry.component)
    found = net.find(component)
    if found is None or stage > found[1].stages or not found[1].kind.fires:
        return
    window, events = catalog.firing.scans.reading, catalog.firing.circuit_rows
    outcome = 1 if entry.value > window.high_ohm else 2 if entry.value < window.low_ohm else 0
    values = np.array([events[m.circuit(stage)][outcome] for m in found[1].micros])
    text = f"loop reads {entry.value:g} ohm"
    on = OnComponent(component, place, values[None, None, :])
    yield Likelihood(entry.id, component, text, parts=(on,))


def weigh_label(
    entry: PartLabel, place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield what provenance says of a part being the right one."""
    found = net.find(entry.component)
    if found is None or entry.provenance not in ("recycled", "donor", "repaired", "unknown"):
        return
    if entry.recall_checked:
        return
    work = catalog.firing.conditions.work
    ratio = work["unchecked_recycled_unfit"].value / work["new_unfit"].value
    values = np.array([1.0 if m.condition == "unfit" else 1.0 / ratio for m in found[1].micros])
    on = OnComponent(entry.component, place, values[None, None, :])
    text = f"{entry.provenance} part, recalls not checked"
    yield Likelihood(entry.id, entry.component, text, parts=(on,))


_AT_THE_DEVICE = "load-at:device-plug"


def weigh_test(
    entry: TestOutcome, place: int, net: Network, catalog: Catalog
) -> Iterator[Likelihood]:
    """Yield what a fault-finding test says of the device itself; the rest is for isolation."""
    component, stage = split_loop(entry.loop)
    found = net.find(component)
    if found is None or stage > found[1].stages:
        return
    group, part = found
    table = circuit_table(part, group.causes, place, 0.0)[:, :, stage - 1]
    text = f"{entry.test}: {entry.outcome}"
    values: Array | None = None
    at: float = place
    if entry.test == _AT_THE_DEVICE and entry.outcome in ("gone", "stays"):
        gone = gone_with_a_load(part, table, catalog.firing)
        values = gone if entry.outcome == "gone" else 1.0 - gone
    elif entry.outcome == VERIFIED:
        sure, at = catalog.firing.scans.tests.good_if_fixed.value, place + _HALF_LATER
        good = table[:, :, CIRCUITS.index("good")]
        values = good * sure + (1.0 - good) * (1.0 - sure)
    if values is not None:
        on = OnComponent(component, at, np.maximum(values, catalog.firing.scans.floor)[None])
        yield Likelihood(entry.id, component, text, parts=(on,))
