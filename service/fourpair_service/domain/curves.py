"""The shapes that limit curves have, as functions of frequency.

A data file names a shape and gives its coefficients; nothing is evaluated from
text. ``FORMS`` is the whole list, with the coefficients that each one takes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Final, Protocol, TypeAlias, cast

import numpy as np

from fourpair_service.domain.measurement import FloatArray


class SegmentLike(Protocol):
    """What ``evaluate`` needs of a segment."""

    @property
    def form(self) -> str:
        """A name in ``FORMS``."""

    @property
    def coefficients(self) -> Mapping[str, object]:
        """What the form needs."""

    @property
    def cap(self) -> float | None:
        """Bound on the computed value."""

    @property
    def cap_rule(self) -> str | None:
        """A name in ``CAP_RULES`` wherever there is a cap."""


class CurveLike(Protocol):
    """What ``difference`` needs of the curves that it refers to."""

    def at(self, frequency_mhz: FloatArray) -> FloatArray:
        """Return the value at (n,) frequencies, caps applied."""


Coefficients: TypeAlias = Mapping[str, object]
Operands: TypeAlias = Mapping[str, CurveLike]


@dataclass(frozen=True, slots=True)
class Form:
    """One shape.

    Attributes:
        compute: gives the value at (n,) frequencies from coefficients and operands.
        numbers: the numeric coefficients, each with its default; ``None``
            where it must be given.
        lists: coefficients that are lists of tables, with the numbers of each row.
        roles: coefficients that name another limit of the same category and
            configuration.
    """

    compute: Callable[[Coefficients, FloatArray, Operands], FloatArray]
    numbers: Mapping[str, float | None] = field(default_factory=dict)
    lists: Mapping[str, Mapping[str, float | None]] = field(default_factory=dict)
    roles: tuple[str, ...] = ()


def _numbers(coefficients: Coefficients, form: str) -> dict[str, float]:
    given = {name: coefficients.get(name, default) for name, default in FORMS[form].numbers.items()}
    return cast(dict[str, float], given)


def _constant(coefficients: Coefficients, f: FloatArray, _: Operands) -> FloatArray:
    return np.full(f.shape, _numbers(coefficients, "constant")["value"])


def _log_slope(coefficients: Coefficients, f: FloatArray, _: Operands) -> FloatArray:
    return _slope(_numbers(coefficients, "log_slope"), f)


def _slope(c: Mapping[str, float], f: FloatArray) -> FloatArray:
    decades = np.log10(f / c["reference_mhz"])
    return np.asarray(c["at_db"] + c["slope_db_per_decade"] * decades, dtype=np.float64)


def _voltage_sum(coefficients: Coefficients, f: FloatArray, _: Operands) -> FloatArray:
    terms = cast(list[dict[str, float]], coefficients["terms"])
    voltage = sum((term["count"] * 10 ** (-_slope(term, f) / 20) for term in terms), np.zeros(f.shape))
    return np.asarray(-20 * np.log10(voltage), dtype=np.float64)


def _cable_and_connectors(coefficients: Coefficients, f: FloatArray, _: Operands) -> FloatArray:
    c = _numbers(coefficients, "cable_and_connectors")
    root = np.sqrt(f)
    cable = c["scale"] * (c["sqrt"] * root + c["linear"] * f + c["inverse_sqrt"] / root)
    connectors = c["connectors"] * (c["connector_sqrt"] * root + c["connector_constant"])
    return np.asarray(cable + connectors + c["three_halves"] * f**1.5, dtype=np.float64)


def _delay(coefficients: Coefficients, f: FloatArray, _: Operands) -> FloatArray:
    c = _numbers(coefficients, "delay")
    cable = c["scale"] * (c["constant_ns"] + c["inverse_sqrt"] / np.sqrt(f))
    return np.asarray(cable + c["connectors"] * c["connector_ns"], dtype=np.float64)


def _power(coefficients: Coefficients, f: FloatArray, _: Operands) -> FloatArray:
    c = _numbers(coefficients, "power")
    return np.asarray(c["factor"] * f ** c["exponent"] + c["inverse"] / f, dtype=np.float64)


def _difference(coefficients: Coefficients, f: FloatArray, operands: Operands) -> FloatArray:
    minuend, subtrahend = (operands[str(coefficients[role])] for role in ("minuend", "subtrahend"))
    return np.asarray(minuend.at(f) - subtrahend.at(f), dtype=np.float64)


_SLOPE: Final = {"at_db": None, "slope_db_per_decade": None, "reference_mhz": 1.0}

FORMS: Final[dict[str, Form]] = {
    # value
    "constant": Form(_constant, {"value": None}),
    # at_db + slope_db_per_decade * log10(f / reference_mhz)
    "log_slope": Form(_log_slope, _SLOPE),
    # -20 log10 of the sum of count * 10^(-x/20), each x a log_slope: crosstalk
    # voltages of cable and connectors added in phase, the worst case
    "voltage_sum": Form(_voltage_sum, lists={"terms": {"count": None, **_SLOPE}}),
    # scale * (sqrt √f + linear f + inverse_sqrt / √f)
    #   + connectors * (connector_sqrt √f + connector_constant) + three_halves f^1.5
    "cable_and_connectors": Form(
        _cable_and_connectors,
        {
            "scale": 1.0,
            "sqrt": None,
            "linear": 0.0,
            "inverse_sqrt": 0.0,
            "connectors": 0.0,
            "connector_sqrt": 0.0,
            "connector_constant": 0.0,
            "three_halves": 0.0,
        },
    ),
    # scale * (constant_ns + inverse_sqrt / √f) + connectors * connector_ns
    "delay": Form(
        _delay,
        {"scale": 1.0, "constant_ns": None, "inverse_sqrt": None, "connectors": 0.0, "connector_ns": 0.0},
    ),
    # factor * f^exponent + inverse / f
    "power": Form(_power, {"factor": None, "exponent": None, "inverse": 0.0}),
    # one limit minus another, both with their caps
    "difference": Form(_difference, roles=("minuend", "subtrahend")),
}

# A ceiling is never exceeded by the limit, a floor never undercut.
CAP_RULES: Final = {"ceiling": np.minimum, "floor": np.maximum}


def evaluate(segment: SegmentLike, frequency_mhz: FloatArray, operands: Operands) -> FloatArray:
    """Return the value of a segment, its cap applied after its form.

    Args:
        segment: which form, its coefficients, its cap.
        frequency_mhz: (n,) frequencies, all above zero. [MHz]
        operands: the curves that a ``difference`` names, by parameter.

    Returns:
        (n,) values in the unit of the limit.

    Raises:
        KeyError: the form, a coefficient without default or an operand is missing.

    The NEXT of a category 5e channel, cable and two connectors, ANSI/TIA-568.2-D
    clause 6; 30.1 dB at 100 MHz is printed in TIA/EIA-568-B.1:

    >>> from types import SimpleNamespace
    >>> cable = {"count": 1, "at_db": 35.3, "slope_db_per_decade": -15, "reference_mhz": 100}
    >>> connectors = {"count": 2, "at_db": 43, "slope_db_per_decade": -20, "reference_mhz": 100}
    >>> next_limit = SimpleNamespace(
    ...     form="voltage_sum", coefficients={"terms": [cable, connectors]}, cap=60, cap_rule="ceiling"
    ... )
    >>> evaluate(next_limit, np.array([1.0, 100.0]), {}).round(1).tolist()
    [60.0, 30.1]
    """
    value = FORMS[segment.form].compute(segment.coefficients, frequency_mhz, operands)
    if segment.cap is None:
        return value
    bounded = CAP_RULES[str(segment.cap_rule)](value, segment.cap)
    return np.asarray(bounded, dtype=np.float64)
