"""Benchmarks: each figure a ratio of two things measured in turns, in one run, on one machine.

Run as ``.venv/bin/python -m tests.benchmarks`` from the top of the repository.
"""
