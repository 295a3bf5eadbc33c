"""What a crash recorder tells: record, delta-V, occupants and firing commands, as likelihoods."""

from collections.abc import Iterable, Iterator

import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.body import recorder_direction
from squibwise.infer.items import Item, OnPart
from squibwise.infer.network import Network
from squibwise.infer.parts import Part
from squibwise.infer.record import record_chance
from squibwise.infer.told import passenger_words, seat_items
from squibwise.model.evidence import Recorder
from squibwise.model.names import loop_id, split_loop

Array = npt.NDArray[np.float64]
_FRONT = "front-bag"


def recorder_items(entry: Recorder, place: int, net: Network, catalog: Catalog) -> Iterator[Item]:
    """Yield what a crash recorder or a pulse says."""
    figures = catalog.firing.scans.recorder
    rows = recorder_direction(entry, net.rows, catalog)
    text = "delta-V of the crash recorder" if entry.method == "recorder" else "delta-V"
    if entry.record == "locked":
        rows = rows * record_chance(net, catalog)
        text = "locked crash record"
    elif entry.record == "none":
        bags = net.rows.front | (net.rows.others > 0)
        rows = rows * np.where(bags, figures["no_record_if_fired"].value, 1.0)
        text = "no crash record"
    right = catalog.firing.scans.people["recorder_right"].value
    if entry.rollover is not None:
        rows = rows * np.where(net.rows.rollover == entry.rollover, right, 1.0 - right)
    if entry.event_count is not None:
        several = net.rows.holds([len(s.blows) > 1 for s in net.rows.scenarios])
        rows = rows * np.where(several == (entry.event_count > 1), right, 1.0 - right)
    yield Item(entry.id, "", text, rows=rows)
    yield from _recorded_people(entry, net, catalog)
    yield from _commanded(entry, place, net, catalog)


def _recorded_people(entry: Recorder, net: Network, catalog: Catalog) -> Iterator[Item]:
    right = catalog.firing.scans.people["recorder_right"].value
    if entry.driver_belt is not None:
        yield from seat_items(
            entry.id,
            "driver",
            f"recorder: driver {entry.driver_belt}",
            net,
            right,
            entry.driver_belt,
        )
    passenger = passenger_words(None, entry.passenger_class, entry.passenger_belt)
    if entry.passenger_belt is not None or entry.passenger_class is not None:
        yield from seat_items(
            entry.id, "passenger", f"recorder: passenger {passenger}", net, right, passenger
        )


def _commanded(entry: Recorder, place: int, net: Network, catalog: Catalog) -> Iterator[Item]:
    """Yield what the recorded firing commands say of each charge."""
    if entry.complete is False:
        return
    listed = _loops(entry.commanded_ms)
    refused = _loops(entry.not_commanded) - listed
    for _, _, _, part in net.parts():
        own = {loop_id(part.id, s + 1) for s in range(part.stages)}
        if part.kind.fires and own & (listed | refused):
            on = OnPart(part.id, place, _command_values(part, listed, refused, catalog))
            said = "firing commanded" if own & listed else "firing not commanded"
            yield Item(entry.id, part.id, f"recorder: {said}", parts=(on,))


def _loops(names: Iterable[str]) -> set[str]:
    return {loop_id(*split_loop(name)) for name in names}


def _command_values(part: Part, listed: set[str], refused: set[str], catalog: Catalog) -> Array:
    """Return the chance of what a record says of a part's commands: (1, 1, micros).

    A loop the record does not speak of is no evidence: only front bags must be recorded.
    """
    figures = catalog.firing.scans.recorder
    unheard = figures["commanded_if_circuit_open_before"].value
    values = np.ones(len(part.micros))
    for stage in range(1, part.stages + 1):
        loop = loop_id(part.id, stage)
        if loop not in listed | refused:
            continue
        front = part.kind.kind == _FRONT and stage == 1
        quiet = figures["silent_if_fired_front" if front else "silent_if_fired_other"].value
        commanded = figures["commanded_if_fired"].value, figures["commanded_if_not"].value
        hit = commanded if loop in listed else (quiet, 1.0 - commanded[1])
        fired = np.array([m.fired >= stage for m in part.micros])
        silent = np.array([m.condition == "before" for m in part.micros])
        values = values * np.where(fired, hit[0], np.where(silent, unheard, hit[1]))
    return values[None, None, :]
