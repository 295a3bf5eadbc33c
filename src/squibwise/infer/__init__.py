"""Posterior over the event and every component's state; explanations; next look."""

from squibwise.infer.assess import assess

__all__ = ["assess"]
