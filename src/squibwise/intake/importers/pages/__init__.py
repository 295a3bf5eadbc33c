"""Lines and cells from where the letters stand on a page."""
