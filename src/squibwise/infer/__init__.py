"""infer."""
