"""The case file that a mechanic writes by hand: read strictly, every mistake told with its line."""

from squibwise.intake.case_file.car_files import read_report_file
from squibwise.intake.case_file.load import load_case, make_case
from squibwise.intake.case_file.schema import schema

__all__ = ["load_case", "make_case", "read_report_file", "schema"]
