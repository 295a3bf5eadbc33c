"""Posterior over the event and every component's state; explanations; next look."""

from squibwise.infer.assess import assess, assess_plainly, believe
from squibwise.infer.many_cars import Screened, assess_worlds, firing_patterns, learn_shifts, screen

__all__ = [
    "Screened",
    "assess",
    "assess_plainly",
    "assess_worlds",
    "believe",
    "firing_patterns",
    "learn_shifts",
    "screen",
]
