"""Evidence in: reports of any format to faults, and case files to cases."""

from squibwise.intake.case_file import load_case, read_report_file
from squibwise.intake.report.entry import read_report

__all__ = ["load_case", "read_report", "read_report_file"]
