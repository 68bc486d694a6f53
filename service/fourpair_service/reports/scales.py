"""Axes of drawings: round steps on a linear one, decades on a logarithmic one."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

STEPS: Final = (1.0, 2.0, 5.0, 10.0)
LABELLED: Final = (1, 2, 5)
# The least distance of two labels on the logarithmic axis, as a share of its length.
LABEL_GAP: Final = 0.035


@dataclass(frozen=True, slots=True)
class Linear:
    """A linear axis from ``low`` at ``start`` to ``high`` at ``stop``; all in units of the drawing."""

    low: float
    high: float
    start: float
    stop: float
    step: float

    def __call__(self, value: float) -> float:
        """Return the place of a value."""
        return self.start + (value - self.low) / (self.high - self.low) * (self.stop - self.start)

    def ticks(self) -> list[float]:
        """Return the values that are labelled.

        >>> nice_axis(0, 25, 0, 100).ticks()
        [0.0, 5.0, 10.0, 15.0, 20.0, 25.0]
        """
        count = math.floor((self.high - self.low) / self.step + 1e-9)
        return [self.low + i * self.step for i in range(count + 1)]


def nice_axis(low: float, high: float, start: float, stop: float, *, most: int = 8) -> Linear:
    """Return an axis of round steps that holds ``low`` to ``high``.

    Args:
        low: the least value that the axis must hold.
        high: the largest one.
        start: where the axis begins, in units of the drawing.
        stop: where it ends.
        most: how many steps it may have.
    """
    span = max(high - low, 1e-6)
    size = 10 ** math.floor(math.log10(span / most))
    step = next(s * size for s in STEPS if span / (s * size) <= most)
    return Linear(math.floor(low / step) * step, math.ceil(high / step) * step, start, stop, step)


def axis_to(high: float, start: float, stop: float, *, most: int = 8) -> Linear:
    """Return an axis of round steps from nothing that ends at ``high`` itself, labelled or not.

    >>> axis_to(33.5, 0, 67).ticks(), axis_to(33.5, 0, 67)(33.5)
    ([0.0, 5.0, 10.0, 15.0, 20.0, 25.0, 30.0], 67.0)
    """
    step = nice_axis(0.0, high, start, stop, most=most).step
    return Linear(0.0, max(high, 1e-6), start, stop, step)


@dataclass(frozen=True, slots=True)
class Logarithmic:
    """A logarithmic axis from ``low`` at ``start`` to ``high`` at ``stop``."""

    low: float
    high: float
    start: float
    stop: float

    def __call__(self, value: float) -> float:
        """Return the place of a value."""
        share = math.log(value / self.low) / math.log(self.high / self.low)
        return self.start + share * (self.stop - self.start)

    def lines(self) -> list[float]:
        """Return one to nine times each power of ten within the axis.

        >>> Logarithmic(1, 20, 0, 1).lines()
        [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 10.0, 20.0]
        """
        decades = range(math.floor(math.log10(self.low)), math.ceil(math.log10(self.high)) + 1)
        values = (digit * 10.0**decade for decade in decades for digit in range(1, 10))
        return [value for value in values if self.low <= value <= self.high]

    def labels(self) -> list[float]:
        """Return the labelled values: both ends, and 1, 2, 5 of each decade where there is room.

        >>> Logarithmic(1, 210, 0, 1).labels()
        [1, 2.0, 5.0, 10.0, 20.0, 50.0, 100.0, 210]
        """
        inner = [v for v in self.lines() if int(f"{v:e}"[0]) in LABELLED]
        room = LABEL_GAP * abs(self.stop - self.start)
        ends = (self.low, self.high)
        kept = [v for v in inner if all(abs(self(v) - self(end)) > room for end in ends)]
        return [self.low, *kept, self.high]
