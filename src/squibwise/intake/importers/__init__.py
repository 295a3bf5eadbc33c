"""Bytes of any format to numbered lines. One file per format; its library loads when it is met."""

from squibwise.intake.importers.base import Extract, RawLine
from squibwise.intake.importers.choose import claimants, extract

__all__ = ["Extract", "RawLine", "claimants", "extract"]
