"""How far a report reached, and whether the unit was able to test."""

from squibwise.catalog.load import Catalog
from squibwise.intake.report.entries import Gathered
from squibwise.model.report import CodeLine, Coverage


def coverage(read: list[CodeLine], gathered: Gathered, catalog: Catalog) -> Coverage:
    """Return what was covered, as far as the report itself tells.

    ``able`` is False when the unit could not run its tests, None when that is not known: a report
    alone never proves that every circuit was tested.
    """
    able, why = _able(read, gathered.volts, catalog)
    return Coverage(
        able=able,
        unit_volts=gathered.volts,
        modules=tuple(gathered.modules),
        not_tested=_not_tested(read),
        why=why,
    )


def _not_tested(read: list[CodeLine]) -> tuple[str, ...]:
    ids = (ln.component for ln in read if "not-tested" in ln.status)
    return tuple(dict.fromkeys(i for i in ids if i is not None))


def _able(
    read: list[CodeLine], volts: float | None, catalog: Catalog
) -> tuple[bool | None, tuple[str, ...]]:
    why = list(_voltage(volts, catalog))
    unable = bool(why)
    for line in read:
        if line.component != "centre.control-unit":
            continue
        if line.fault in ("configuration", "identity"):
            unable = True
            why.append(
                f"Line {line.line}: the unit is not configured for this car; "
                "until it is, it may not test any circuit."
            )
        elif line.fault == "event-recorded":
            why.append(
                f"Line {line.line}: the unit holds a crash record; "
                "some units stop testing circuits once they do."
            )
        elif line.fault == "internal":
            why.append(f"Line {line.line}: a unit with an internal fault may not test circuits.")
        elif line.fault == "voltage":
            why.append(f"Line {line.line}: the unit's supply was at fault; tests may not have run.")
    if any("not-tested" in ln.status for ln in read):
        why.append("Some tests had not completed since the memory was last cleared.")
    return (False if unable else None), tuple(why)


def _voltage(volts: float | None, catalog: Catalog) -> tuple[str, ...]:
    if volts is None:
        return ()
    low = catalog.fact("supply.test-low").number()
    high = catalog.fact("supply.test-high").number()
    if low <= volts <= high:
        return ()
    return (
        f"Supply {volts:g} V is outside {low:g} to {high:g} V: the unit may not run its tests.",
    )
