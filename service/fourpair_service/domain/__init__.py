"""Grading and diagnosis: numpy and the standard library only."""
