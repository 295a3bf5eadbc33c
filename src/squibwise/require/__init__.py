"""require."""
