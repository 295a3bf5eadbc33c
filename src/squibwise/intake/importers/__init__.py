"""intake/importers."""
