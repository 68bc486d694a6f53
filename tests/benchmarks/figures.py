"""A measured ratio beside what it should reach, and the table of all."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from .contest import Times


@dataclass(frozen=True, slots=True)
class Figure:
    """One ratio.

    Attributes:
        name: what is divided by what.
        aim: what it should reach, in words.
        best: the ratio of the shortest times.
        median: the median of the ratios within each round.
        is_met: whether the better of both reaches the aim.
    """

    name: str
    aim: str
    best: float
    median: float
    is_met: bool

    @classmethod
    def at_most(cls, name: str, aim: float, times: Times, of: str, base: str) -> Figure:
        """Return a ratio that should be small."""
        best, median = times.ratio(of, base), times.median_ratio(of, base)
        return cls(name, f"at most {aim:g}", best, median, best <= aim)

    @classmethod
    def at_least(cls, name: str, aim: float, times: Times, of: str, base: str) -> Figure:
        """Return a ratio that should be large."""
        best, median = times.ratio(of, base), times.median_ratio(of, base)
        return cls(name, f"at least {aim:g}", best, median, best >= aim)


def table(figures: Sequence[Figure]) -> str:
    """Return the figures as a Markdown table."""
    lines = ["| ratio | aim | at best | median | met |", "| --- | --- | --- | --- | --- |"]
    lines += [
        f"| {f.name} | {f.aim} | {f.best:.3g} | {f.median:.3g} | {'yes' if f.is_met else 'no'} |"
        for f in figures
    ]
    return "\n".join(lines)
