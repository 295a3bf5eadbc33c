"""Records as PDF, SVG and text; no decisions.

Imported when first asked for: the helper process that opens a PDF needs none of it.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from squibwise.documents.attached import attached_record, check_file, verify_file
    from squibwise.documents.drivers import drivers_svg
    from squibwise.documents.record import record_pdf
    from squibwise.documents.waterfall import waterfall_svg

_HOMES = {
    "attached_record": "attached",
    "check_file": "attached",
    "drivers_svg": "drivers",
    "record_pdf": "record",
    "verify_file": "attached",
    "waterfall_svg": "waterfall",
}

__all__ = [
    "attached_record",
    "check_file",
    "drivers_svg",
    "record_pdf",
    "verify_file",
    "waterfall_svg",
]


def __getattr__(name: str) -> Any:  # noqa: ANN401 - a module attribute can be anything
    """Import a function when it is first asked for."""
    if name not in _HOMES:
        raise AttributeError(f"module 'squibwise.documents' has no attribute '{name}'")
    return getattr(import_module(f"squibwise.documents.{_HOMES[name]}"), name)
