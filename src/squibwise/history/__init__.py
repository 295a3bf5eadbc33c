"""Questions about the case as a course of events, each answered once; no probabilities."""
