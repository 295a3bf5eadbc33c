"""Numbered lines of a report to faults: code grammar, words, meaning, layout, coverage.

In all rooms ``lexicon`` holds all phrases and ``catalog`` the reviewed facts; ``language`` is the
one that a text is read in beside English, ``usual`` that of the whole report; ``sheet`` is the
report in the making, with what the steps before have set (``reader`` and ``sorting`` call them).
"""
