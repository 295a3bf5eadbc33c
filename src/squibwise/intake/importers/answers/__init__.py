"""Recorded answers of control units to the request for fault codes. Read only, never sent."""
