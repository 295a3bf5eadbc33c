"""The case as a course of events: what came after what, what was done, signed for and is out."""
