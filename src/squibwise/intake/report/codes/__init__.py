"""Codes on the lines: as a camera sees, a voice says, a lamp blinks them; numbers that are none."""
