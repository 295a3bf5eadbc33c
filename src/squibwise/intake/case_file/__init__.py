"""The case file that a mechanic writes by hand: read strictly, every mistake told with its line."""

from squibwise.intake.case_file.load import load_case
from squibwise.intake.case_file.records import schema
from squibwise.intake.case_file.reports import read_report_file

__all__ = ["load_case", "read_report_file", "schema"]
