"""isolate."""
