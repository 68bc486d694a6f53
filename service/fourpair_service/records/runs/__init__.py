"""Many records looked at again: re-grading moves them, assessing only answers."""
