"""Posterior over the event and every component's state; explanations; next look."""

from squibwise.infer.assess import assess
from squibwise.infer.learned import learned_shifts
from squibwise.infer.pattern import firing_patterns
from squibwise.infer.screening import Screened, screen

__all__ = ["Screened", "assess", "firing_patterns", "learned_shifts", "screen"]
