"""Records as PDF, SVG and text; no decisions."""

from squibwise.documents.attached import attached_record, check_file, verify_file
from squibwise.documents.drivers import drivers_svg
from squibwise.documents.record import record_pdf
from squibwise.documents.waterfall import waterfall_svg

__all__ = [
    "attached_record",
    "check_file",
    "drivers_svg",
    "record_pdf",
    "verify_file",
    "waterfall_svg",
]
