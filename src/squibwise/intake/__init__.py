"""Evidence in: reports of any format to faults, and case files to cases."""

from squibwise.intake.case_file import load_case, read_report_file

__all__ = ["load_case", "read_report_file"]
