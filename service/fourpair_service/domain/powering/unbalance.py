"""Unequal resistance within and between pairs, and what it does to power and data."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from fourpair_service.domain.grading.resistance import between_ohm, loop_ohm, unbalance_within_ohm
from fourpair_service.domain.grading.single_values import intact_pairs
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.powering.facts import PoweringFacts, UnbalanceLimit


@dataclass(frozen=True, slots=True)
class Unbalance:
    """The difference of two resistances, as measured and without cords.

    Attributes:
        kind: ``within_pair`` or ``between_pairs``.
        pairs: the pair, or the two with a hyphen.
        difference_ohm: of the wires, or of the pairs with their wires in parallel. [ohm]
        percent: of the sum; ``None`` where the sum is not known. [%]
        limit_ohm: the largest that is allowed here. [ohm]
        effect: what it does, as a sentence.
    """

    kind: str
    pairs: str
    difference_ohm: float
    percent: float | None
    limit_ohm: float
    effect: str

    @property
    def is_within_limit(self) -> bool:
        """Whether the difference is allowed."""
        return self.difference_ohm <= self.limit_ohm


def unbalances(measurement: LinkMeasurement, facts: PoweringFacts, at_a: float) -> tuple[Unbalance, ...]:
    """Return every unbalance that was measured on unbroken pairs.

    Args:
        measurement: the link.
        facts: with the limits.
        at_a: current through a pair for which the effect is told. [A]
    """
    pairs = intact_pairs(measurement)
    return (
        *_within(measurement, pairs, facts.within_pair, at_a),
        *_between(measurement, pairs, facts.between_pairs),
    )


def _share(difference_ohm: float, total_ohm: float | None) -> float | None:
    return None if not total_ohm else difference_ohm / total_ohm


def _within(
    measurement: LinkMeasurement, pairs: tuple[str, ...], limit: UnbalanceLimit, at_a: float
) -> Iterator[Unbalance]:
    for pair in pairs:
        difference, total = unbalance_within_ohm(measurement, pair), loop_ohm(measurement, pair)
        if difference is not None:
            yield _unbalance("within_pair", pair, difference, total, limit, at_a)


def _between(
    measurement: LinkMeasurement, pairs: tuple[str, ...], limit: UnbalanceLimit
) -> Iterator[Unbalance]:
    for first, second in combinations(pairs, 2):
        found = between_ohm(measurement, first, second) or _from_loops(measurement, first, second)
        if found is not None:
            yield _unbalance("between_pairs", f"{first}-{second}", *found, limit, None)


def _from_loops(measurement: LinkMeasurement, first: str, second: str) -> tuple[float, float] | None:
    """Return the difference of two pairs and their sum, from the loop and the unbalance of each. [ohm].

    Wires a and b in parallel are ab / (a + b) = ((a + b)^2 - (a - b)^2) / 4 (a + b).
    """
    parallel = []
    for pair in (first, second):
        loop, difference = loop_ohm(measurement, pair), unbalance_within_ohm(measurement, pair)
        if not loop or difference is None:
            return None
        parallel.append((loop**2 - difference**2) / (4 * loop))
    return abs(parallel[0] - parallel[1]), sum(parallel)


def _unbalance(
    kind: str,
    pairs: str,
    difference_ohm: float,
    total_ohm: float | None,
    limit: UnbalanceLimit,
    at_a: float | None,
) -> Unbalance:
    share = _share(difference_ohm, total_ohm)
    largest = limit.largest_ohm(total_ohm or 0.0)
    percent = None if share is None else 100 * share
    return Unbalance(kind, pairs, difference_ohm, percent, largest, _effect(pairs, share, at_a))


def _effect(pairs: str, share: float | None, at_a: float | None) -> str:
    if share is None:
        return "The resistance itself is not known, so the effect is not either."
    if at_a is not None:
        return (
            f"Of {at_a:g} A through pair {pairs}, the wires differ by {1000 * at_a * share:.1f} mA, which "
            "magnetises the transformers at both ends; much of it spoils the data while power is on."
        )
    first, second = pairs.split("-")
    return (
        f"With power on all four pairs, the better of {first} and {second} carries {50 * (1 + share):.1f} % "
        "of their current instead of half, and warms more."
    )
