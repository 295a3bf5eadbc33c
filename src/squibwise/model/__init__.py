"""Immutable records and their invariants, nothing else."""
