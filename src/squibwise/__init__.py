"""Squibwise: what fired, what to replace, in what order, for how much, and the proof of it.

The public functions take and return the records of ``squibwise.model``::

    from pathlib import Path
    import squibwise

    catalog = squibwise.load_catalog()
    case = squibwise.open_case(Path("harrow-07"), catalog)
    work = squibwise.work(case, catalog)
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from squibwise.case import (
        assess,
        cost,
        learn,
        make_case,
        open_case,
        read,
        release,
        sweep,
        trace,
        verdicts,
        verify,
        work,
    )
    from squibwise.catalog.load import Catalog, load_catalog
    from squibwise.documents import record_pdf, waterfall_svg
    from squibwise.errors import InputError, SquibwiseError
    from squibwise.present.rows import (
        list_component_rows,
        list_operation_rows,
        list_order_rows,
    )

__version__ = "0.17.0"

_HOMES = {
    "Catalog": "squibwise.catalog.load",
    "load_catalog": "squibwise.catalog.load",
    "read": "squibwise.case",
    "open_case": "squibwise.case",
    "make_case": "squibwise.case",
    "assess": "squibwise.case",
    "trace": "squibwise.case",
    "work": "squibwise.case",
    "cost": "squibwise.case",
    "learn": "squibwise.case",
    "verdicts": "squibwise.case",
    "release": "squibwise.case",
    "sweep": "squibwise.case",
    "list_component_rows": "squibwise.present.rows",
    "list_operation_rows": "squibwise.present.rows",
    "list_order_rows": "squibwise.present.rows",
    "verify": "squibwise.case",
    "record_pdf": "squibwise.documents",
    "waterfall_svg": "squibwise.documents",
    "InputError": "squibwise.errors",
    "SquibwiseError": "squibwise.errors",
}

__all__ = [
    "Catalog",
    "InputError",
    "SquibwiseError",
    "__version__",
    "assess",
    "cost",
    "learn",
    "list_component_rows",
    "list_operation_rows",
    "list_order_rows",
    "load_catalog",
    "make_case",
    "open_case",
    "read",
    "record_pdf",
    "release",
    "sweep",
    "trace",
    "verdicts",
    "verify",
    "waterfall_svg",
    "work",
]


def __getattr__(name: str) -> Any:  # noqa: ANN401 - a module attribute can be anything
    """Import a public function when it is first asked for, so that starting stays fast."""
    if name not in _HOMES:
        raise AttributeError(f"module 'squibwise' has no attribute '{name}'")
    return getattr(import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    """Return the public names, also those that were not asked for yet."""
    return sorted(__all__)
