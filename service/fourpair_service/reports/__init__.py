"""Verdicts for people: plain text now, pages later."""
