"""prove."""
