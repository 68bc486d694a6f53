"""Margins over frequency, of a measurement held against the limits that the service gives.

Power sums and ACR are the service's to compute: here are the parameters that are
measured as they are judged. Points that the edition leaves out are not left out here.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Protocol

from fourpair._frames import frame
from fourpair._measurement import Measurement
from fourpair._rule_sets import Limits

if TYPE_CHECKING:
    import pandas

MEASURED = ("insertion_loss", "next", "return_loss")
# Of a reflection or transmission of nothing at all. [dB]
DEEPEST_DB = 200.0


class AskLimits(Protocol):
    """Gives a limit at frequencies."""

    def __call__(
        self,
        rule_set: str,
        category: str,
        configuration: str,
        parameter: str,
        *,
        frequency_mhz: Iterable[float] = ...,
    ) -> Limits:
        """Return one limit."""
        ...


@dataclass(frozen=True, slots=True, repr=False)
class MarginCurve:
    """Margins of one parameter at one end; positive is inside the limit.

    Attributes:
        end: ``near`` or ``far``; empty for insertion loss.
        frequency_mhz: (n,) where there is a limit. [MHz]
        margin_db: by pairs, (n,) each. [dB]

    >>> client.grade(link, curves=True).curves[0]
    <MarginCurve insertion loss: 778 frequencies, 12, 36, 45, 78>
    """

    parameter: str
    title: str
    end: str
    frequency_mhz: tuple[float, ...]
    margin_db: Mapping[str, tuple[float, ...]]

    def __repr__(self) -> str:
        end = f" at the {self.end} end" if self.end else ""
        return f"<MarginCurve {self.title}{end}: {len(self.frequency_mhz)} frequencies, {', '.join(self.margin_db)}>"

    def worst(self) -> tuple[float, ...]:
        """Return the smallest margin at each frequency, (n,). [dB].

        >>> curve = client.grade(link, curves=True).curves[0]
        >>> len(curve.worst()) == len(curve.frequency_mhz), min(curve.worst()) > 0
        (True, True)
        """
        return tuple(min(values) for values in zip(*self.margin_db.values(), strict=True))

    def to_frame(self) -> pandas.DataFrame:
        """Return the margins as a pandas frame over ``frequency_mhz``, a column for each of the pairs.

        Raises:
            ImportError: pandas is not installed.

        >>> client.grade(link, curves=True).curves[0].to_frame().columns.tolist()
        ['12', '36', '45', '78']
        """
        columns = {"frequency_mhz": list(self.frequency_mhz), **self.margin_db}
        return frame(columns).set_index("frequency_mhz")


def _loss_db(curve: Any) -> list[float]:
    if not isinstance(curve, Mapping):
        return [float(value) for value in curve]
    if "db" in curve:
        return [float(value) for value in curve["db"]]
    sizes = (math.hypot(re, im) for re, im in zip(curve["re"], curve["im"], strict=True))
    return [-20 * math.log10(size) if size > 0 else DEEPEST_DB for size in sizes]


def margin_curves(
    measurement: Measurement, requirement: Mapping[str, Any], ask: AskLimits
) -> Iterator[MarginCurve]:
    """Yield the margins of what was measured directly.

    Args:
        measurement: with its curves.
        requirement: of the verdict: ``rule_set``, ``category``, ``configuration``.
        ask: gives limits.
    """
    place = (requirement["rule_set"], requirement["category"], requirement["configuration"])
    for parameter in MEASURED:
        by_end: dict[tuple[str, tuple[float, ...]], dict[str, list[float]]] = {}
        for end, pairs, axis, curve in measurement.curves(parameter):
            by_end.setdefault((end, axis), {})[pairs] = _loss_db(curve)
        asked: dict[tuple[float, ...], Limits] = {}
        for (end, axis), values in by_end.items():
            limits = asked.get(axis) or asked.setdefault(axis, ask(*place, parameter, frequency_mhz=axis))
            sign = 1 if limits.inside == "at_least" else -1
            judged = [(i, row.limit) for i, row in enumerate(limits.rows) if row.limit is not None]
            yield MarginCurve(
                parameter,
                limits.title,
                end,
                tuple(axis[i] for i, _ in judged),
                {p: tuple(sign * (v[i] - limit) for i, limit in judged) for p, v in values.items()},
            )
