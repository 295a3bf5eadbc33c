"""Posterior over the event and every component's state; explanations; next look."""

from squibwise.infer.assess import assess, believe
from squibwise.infer.learn import firing_patterns, learn_shifts
from squibwise.infer.screening import Screened, assess_worlds, screen

__all__ = [
    "Screened",
    "assess",
    "assess_worlds",
    "believe",
    "firing_patterns",
    "learn_shifts",
    "screen",
]
