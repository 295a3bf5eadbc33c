"""Squibwise: what fired, what to replace, in what order, for how much, and the proof of it."""
