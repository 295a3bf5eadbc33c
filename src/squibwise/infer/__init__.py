"""Posterior over the event and every component's state; explanations; next look."""

from squibwise.infer.assess import assess
from squibwise.infer.pattern import firing_patterns

__all__ = ["assess", "firing_patterns"]
