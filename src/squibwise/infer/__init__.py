"""Posterior over the event and every component's state; explanations; next look."""

from squibwise.infer.assess import assess
from squibwise.infer.learned import learned_shifts
from squibwise.infer.pattern import firing_patterns

__all__ = ["assess", "firing_patterns", "learned_shifts"]
