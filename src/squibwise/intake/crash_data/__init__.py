"""Crash data files: recorder elements as text, series of delta-V, acceleration pulses."""

from squibwise.intake.crash_data.crash_file import read_crash_data, read_crash_events
from squibwise.intake.crash_data.settings import CrashData

__all__ = ["CrashData", "read_crash_data", "read_crash_events"]
