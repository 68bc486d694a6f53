"""Holding a measured link against a rule set: margins, excuses, outcomes, the verdict."""
