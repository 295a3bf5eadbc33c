"""Derives the shipped priors from open crash data. Not part of the installed program."""
