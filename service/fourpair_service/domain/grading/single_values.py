"""What a parameter that is not a curve in dB has to judge: values and their limits."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from fourpair_service.domain.grading.swept import Question
from fourpair_service.domain.limits import Basis, ReadingLimit
from fourpair_service.domain.link import PAIRS
from fourpair_service.domain.measurement import LinkMeasurement, WireMap
from fourpair_service.domain.parameters import Parameter
from fourpair_service.domain.wiremap import broken_pairs


@dataclass(frozen=True, slots=True)
class Reading:
    """A value of a pair, a combination or the link, and the limit it is held against.

    Attributes:
        key: the pair or combination, ``None`` for the link.
        measured: of a value over frequency the one nearest to its limit.
        limit: an upper one, ``None`` where the value is shown and not judged.
        points: how many values were held against the limit.
        largest: of a value over frequency the largest and its frequency.
    """

    key: str | None
    measured: float
    limit: float | None
    frequency_mhz: float | None = None
    points: int = 1
    largest: Reading | None = None

    @property
    def margin(self) -> float | None:
        """What is left to the limit, negative outside; ``None`` without a limit."""
        return None if self.limit is None else self.limit - self.measured


@dataclass(frozen=True, slots=True)
class Readings:
    """What one parameter has to judge.

    Attributes:
        missing: what is not there, as sentences.
        note: how the values came about.
    """

    values: tuple[Reading, ...]
    basis: Basis | None = None
    source: str | None = None
    clause: str | None = None
    missing: tuple[str, ...] = ()
    note: str | None = None


NO_LIMIT = Readings((), missing=("no limit is built in",))


def limited_by(
    limit: ReadingLimit,
    values: tuple[Reading, ...] = (),
    *,
    missing: tuple[str, ...] = (),
    note: str | None = None,
) -> Readings:
    """Return values with the provenance of their limit."""
    return Readings(values, limit.basis, limit.source, limit.clause, missing, note)


def limit_of(question: Question, parameter: Parameter) -> ReadingLimit | None:
    """Return the single-value limit that a question asks for."""
    return question.rule_set.reading(question.category.name, question.configuration, parameter)


def intact_pairs(measurement: LinkMeasurement) -> tuple[str, ...]:
    """Return the pairs that reach the far end: on the others a length is that to the fault."""
    return _intact(measurement.wire_map)


@lru_cache(maxsize=1024)
def _intact(wire_map: WireMap | None) -> tuple[str, ...]:
    broken = broken_pairs(wire_map) if wire_map else frozenset()
    return tuple(pair for pair in PAIRS if pair not in broken)
