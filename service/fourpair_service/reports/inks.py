"""The colours of papers and pictures, in one place.

Each tells by its lightness what its hue tells, so that nothing is lost in grey or to a reader who
sees fewer hues; `tests/reports/test_inks.py` holds them to it.
"""

from __future__ import annotations

from typing import Final

# What is written and measured.
INK: Final = "#1d2730"
# What is beside it: names of axes, heads of columns.
MUTED: Final = "#5b6874"
# Inside a limit, and the near end.
INSIDE: Final = "#0b777f"
INSIDE_FILL: Final = "#e2f1f1"
# Outside a limit, and whatever is wrong.
OUTSIDE: Final = "#8a2d12"
OUTSIDE_FILL: Final = "#f6e4dc"
# Lines that only guide the eye; nothing is lost without them.
GRID: Final = "#d5dde2"
RULE: Final = "#b9c4cb"
# The ground of every other row, and of a picture's plain parts.
FAINT: Final = "#f1f4f6"
WHITE: Final = "#ffffff"
