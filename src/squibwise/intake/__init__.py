"""Evidence in: reports of any format to faults, and case files to cases.

Imported when first asked for: the helper process of the importers needs none of it.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from squibwise.intake.case_file import load_case, make_case, read_report_file
    from squibwise.intake.report.reader import read_report

_HOMES = {
    "load_case": "squibwise.intake.case_file",
    "make_case": "squibwise.intake.case_file",
    "read_report_file": "squibwise.intake.case_file",
    "read_lot": "squibwise.intake.lots",
    "read_report": "squibwise.intake.report.reader",
}

__all__ = ["load_case", "make_case", "read_lot", "read_report", "read_report_file"]


def __getattr__(name: str) -> Any:  # noqa: ANN401 - a module attribute can be anything
    """Import a function when it is first asked for."""
    if name not in _HOMES:
        raise AttributeError(f"module 'squibwise.intake' has no attribute '{name}'")
    return getattr(import_module(_HOMES[name]), name)
