"""From before to after the work on a part: what each piece of work does to it."""

import msgspec
import numpy as np
import numpy.typing as npt

from squibwise.catalog.load import Catalog
from squibwise.infer.items import OnPart
from squibwise.infer.parts import Part
from squibwise.infer.timeline import Timeline

Array = npt.NDArray[np.float64]


class Chain(msgspec.Struct, frozen=True):
    """The evidence on one part along its epochs.

    Attributes:
        likelihood: Of all its evidence, by what it was like after the crash: (U, C, M).
        now: Chance of what it is like now, by what it was like after the crash:
            (U, C, M, M); None while nobody worked on it.
    """

    likelihood: Array
    now: Array | None


def work_matrices(part: Part, line: Timeline, catalog: Catalog) -> tuple[tuple[int, Array], ...]:
    """Return the places of work on a part and what each does: (M, M) from before to after."""
    result = []
    for place, work in line.works_on(frozenset({part.id})):
        matrix = _work_matrix(part, work.what, catalog)
        if matrix is not None:
            result.append((place, matrix))
    return tuple(result)


def _work_matrix(part: Part, what: str, catalog: Catalog) -> Array | None:
    work = catalog.firing.conditions.work
    size = len(part.micros)
    if what == "replaced":
        return np.tile(_new_part(part, catalog), (size, 1))
    heals = {"reseated": work["reseat_heals"].value, "repaired": work["repair_heals"].value}
    if what not in heals:
        return None
    healed = (
        ("open", "low")
        if what == "reseated"
        else ("open", "low", "leak", "other", "before", "damaged")
    )
    matrix = np.eye(size)
    for row, micro in enumerate(part.micros):
        if micro.condition in healed and not micro.fired:
            matrix[row, row] = 1.0 - heals[what]
            matrix[row, 0] += heals[what]
    return matrix


def _new_part(part: Part, catalog: Catalog) -> Array:
    """Return what a part just fitted is like."""
    work = catalog.firing.conditions.work
    faulty = [
        i for i, m in enumerate(part.micros) if m.state == "faulty" and m.condition != "before"
    ]
    result = np.zeros(len(part.micros))
    for index in faulty:
        result[index] = work["new_faulty"].value / len(faulty)
    unfit = [m.condition for m in part.micros].index("unfit")
    result[unfit] = work["new_unfit"].value
    result[0] = 1.0 - result.sum()
    return result


def chain(
    evidence: list[OnPart], works: tuple[tuple[int, Array], ...], shape: tuple[int, int, int]
) -> Chain:
    """Return the evidence on a part folded over its epochs."""
    segments = [np.ones(shape) for _ in range(len(works) + 1)]
    for item in evidence:
        epoch = sum(1 for place, _ in works if place < item.place)
        segments[epoch] = segments[epoch] * item.values
    if not works:
        return Chain(segments[0], None)
    backward = segments[-1]
    futures = [backward]
    for (_, matrix), segment in zip(reversed(works), reversed(segments[:-1]), strict=True):
        backward = segment * (backward @ matrix.T)
        futures.append(backward)
    return Chain(backward, _now(works, segments))


def _now(works: tuple[tuple[int, Array], ...], segments: list[Array]) -> Array:
    """Return the chance of the last micro given the first and all evidence between."""
    size = segments[0].shape[-1]
    forward = segments[0][..., None] * np.eye(size)
    for (_, matrix), segment in zip(works, segments[1:], strict=True):
        forward = (forward @ matrix) * segment[..., None, :]
    total = forward.sum(axis=-1, keepdims=True)
    return np.asarray(np.divide(forward, total, out=np.zeros_like(forward), where=total > 0.0))
