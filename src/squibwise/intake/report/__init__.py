"""Numbered lines of a report to faults: code grammar, words, meaning, layout, coverage."""
