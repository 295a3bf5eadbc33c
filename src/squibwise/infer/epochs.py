"""From before to after the work on a part: what each piece of work does to it."""

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.history.order import History
from squibwise.infer.network import OnComponent
from squibwise.infer.parts import LOOSE, PartModel, has_plug
from squibwise.model.names import split_component

Array = npt.NDArray[np.float64]


class EpochChain(msgspec.Struct, frozen=True):
    """The evidence on one part along its epochs.

    Attributes:
        likelihood: Of all its evidence, by what it was like after the crash: (U, C, M).
        now: Chance of what it is like now, by what it was like after the crash:
            (U, C, M, M); None while nobody worked on it.
    """

    likelihood: Array
    now: Array | None


def work_matrices(
    part: PartModel,
    near: tuple[frozenset[str], frozenset[str]],
    line: History,
    catalog: Catalog,
) -> tuple[tuple[int, Array], ...]:
    """Return the places of work that touched a part and what each does: (M, M) before to after.

    Args:
        part: The part.
        near: Components on its plug, and components beside it.
        line: The case's evidence in order of time.
        catalog: What work does.
    """
    mates, beside = near
    carriers = _carriers(part, catalog) if line.works else frozenset[str]()
    result = []
    for place, work in line.works_on(mates | beside | carriers | {part.id}):
        renewed = work.component in carriers and work.what == "replaced"
        if work.component == part.id or renewed:
            matrix = _work(part, work.what, catalog)
        else:
            figure = "own_disturbed" if work.component in mates else "own_beside"
            matrix = _disturbed(part, work.what, figure, catalog)
        if matrix is not None:
            result.append((place, matrix))
    return tuple(result)


def _carriers(part: PartModel, catalog: Catalog) -> frozenset[str]:
    """Return the components with which a part is replaced, as one: the webbing with its reel."""
    place, kind = split_component(part.id).place, part.kind.kind
    return frozenset(
        f"{place}.{key}"
        for assembly in catalog.assemblies.values()
        if kind in assembly.holds and kind not in assembly.key
        for key in assembly.key
    )


def _work(part: PartModel, what: str, catalog: Catalog) -> Array | None:
    """Return what work on the part itself does; None = nothing."""
    work, plugs = catalog.firing.conditions.work, catalog.firing.conditions.plugs
    if what == "replaced":
        return np.tile(_new_part(part, catalog), (len(part.micros), 1))
    if what == "reseated":
        matrix = _healing(part, ("open", "low"), work["reseat_heals"].value)
        matrix = matrix @ _healing(part, LOOSE, plugs["own_healed"].value)
        return matrix @ _loosening(part, plugs["own_reseated"].value)
    if what == "repaired":
        every = ("open", "low", "leak", "other", "before", "damaged", *LOOSE)
        return _healing(part, every, work["repair_heals"].value)
    figure = "own_disconnected" if what == "disconnected" else "own_disturbed"
    return _disturbed(part, what, figure, catalog)


def _disturbed(part: PartModel, what: str, figure: str, catalog: Catalog) -> Array | None:
    """Return what pulling its plug, or work beside it, does to a part: a loose plug, a fault."""
    if what not in ("disconnected", "replaced", "repaired") or not has_plug(part.kind):
        return None
    plugs = catalog.firing.conditions.plugs
    matrix = _loosening(part, plugs[figure].value)
    faults = [i for i, m in enumerate(part.micros) if m.condition in ("open", "low", "leak")]
    broken = plugs["broken_by_work"].value
    matrix[0, 0] -= broken
    matrix[0, faults] += broken / len(faults)
    return matrix


def _healing(part: PartModel, conditions: tuple[str, ...], chance: float) -> Array:
    matrix = np.eye(len(part.micros))
    for row, micro in enumerate(part.micros):
        if micro.condition in conditions and not micro.fired:
            matrix[row, row] = 1.0 - chance
            matrix[row, 0] += chance
    return matrix


def _loosening(part: PartModel, chance: float) -> Array:
    """Return the chance of leaving a plug loose; a part without a plug of its own stays."""
    matrix = np.eye(len(part.micros))
    if not has_plug(part.kind):
        return matrix
    plugs = [i for i, m in enumerate(part.micros) if m.condition in LOOSE]
    matrix[0, 0] = 1.0 - chance
    matrix[0, plugs] = chance / len(plugs)
    return matrix


def _new_part(part: PartModel, catalog: Catalog) -> Array:
    """Return what a part just fitted is like."""
    work, plugs = catalog.firing.conditions.work, catalog.firing.conditions.plugs
    faulty = [
        i for i, m in enumerate(part.micros) if m.state == "faulty" and m.condition != "before"
    ]
    result = np.zeros(len(part.micros))
    for index, micro in enumerate(part.micros):
        if index in faulty:
            result[index] = work["new_faulty"].value / len(faulty)
        elif micro.condition == "unfit":
            result[index] = work["new_unfit"].value
        elif micro.condition in LOOSE:
            result[index] = plugs["own_new"].value / len(LOOSE)
    result[0] = 1.0 - result.sum()
    return result


def fold_evidence(
    evidence: list[OnComponent], works: tuple[tuple[int, Array], ...], shape: tuple[int, int, int]
) -> EpochChain:
    """Return the evidence on a part folded over its epochs."""
    segments = [np.ones(shape) for _ in range(len(works) + 1)]
    for piece in evidence:
        epoch = sum(1 for place, _ in works if place < piece.place)
        segments[epoch] = segments[epoch] * piece.values
    if not works:
        return EpochChain(segments[0], None)
    backward = segments[-1]
    for (_, matrix), segment in zip(reversed(works), reversed(segments[:-1]), strict=True):
        backward = segment * (backward @ matrix.T)
    return EpochChain(backward, _now(works, segments))


def _now(works: tuple[tuple[int, Array], ...], segments: list[Array]) -> Array:
    """Return the chance of the last micro given the first and all evidence between."""
    size = segments[0].shape[-1]
    forward = segments[0][..., None] * np.eye(size)
    for (_, matrix), segment in zip(works, segments[1:], strict=True):
        forward = (forward @ matrix) * segment[..., None, :]
    total = forward.sum(axis=-1, keepdims=True)
    return np.asarray(np.divide(forward, total, out=np.zeros_like(forward), where=total > 0.0))
