"""What arguments of the command line must be; whatever is not is told before anything is asked."""

from __future__ import annotations

import math
from argparse import ArgumentTypeError
from collections.abc import Callable


def whole(least: int) -> Callable[[str], int]:
    """Return what reads a whole number.

    >>> whole(1)("12")
    12
    """

    def read(text: str) -> int:
        if not (text.isascii() and text.isdigit() and int(text) >= least):
            raise ArgumentTypeError(f"{text!r} is no whole number from {least} up")
        return int(text)

    return read


def seconds(text: str) -> float:
    """Return seconds above 0. [s].

    >>> seconds("2.5")
    2.5
    """
    try:
        found = float(text)
    except ValueError:
        found = math.nan
    if not found > 0:
        raise ArgumentTypeError(f"{text!r} is no number of seconds above 0")
    return found
