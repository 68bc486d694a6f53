"""The shapes that limit curves have. f is in MHz, the result in dB (delay: ns).

A standard that writes a known shape with other constants is a new row of data,
never a new function.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final, Protocol, TypeAlias

import numpy as np
from numpy.typing import NDArray

FloatArray: TypeAlias = NDArray[np.float64]
Coefficients: TypeAlias = Mapping[str, Any]


class Evaluable(Protocol):
    """A limit that another one refers to."""

    def at(self, frequency_mhz: FloatArray) -> FloatArray:
        """Return the limit at (n,) frequencies."""


class SegmentLike(Protocol):
    """What ``evaluate`` needs of a segment."""

    @property
    def form(self) -> str: ...  # noqa: D102
    @property
    def coefficients(self) -> Coefficients: ...  # noqa: D102
    @property
    def cap(self) -> float | None: ...  # noqa: D102
    @property
    def cap_rule(self) -> str | None: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class Form:
    """A shape and the names of its coefficients.

    Attributes:
        required: coefficients that it cannot do without.
        optional: coefficients that are 0 (scale: 1) when absent.
    """

    function: Callable[[FloatArray, Coefficients], FloatArray]
    required: tuple[str, ...]
    optional: tuple[str, ...] = ()


def _constant(f: FloatArray, c: Coefficients) -> FloatArray:
    return np.full_like(f, c["value"])


def _log_slope(f: FloatArray, c: Coefficients) -> FloatArray:
    value: FloatArray = c["at_reference"] + c["per_decade"] * np.log10(f / c["reference_mhz"])
    return value


def _cable_and_connectors(f: FloatArray, c: Coefficients) -> FloatArray:
    root = np.sqrt(f)
    cable = c.get("sqrt", 0.0) * root + c.get("linear", 0.0) * f + c.get("inverse_sqrt", 0.0) / root
    connector = c.get("connector_sqrt", 0.0) * root + c.get("connector_constant", 0.0)
    deviation = c.get("three_halves", 0.0) * f * root
    value: FloatArray = c.get("scale", 1.0) * cable + c.get("connectors", 0.0) * connector + deviation
    return value


def _delay(f: FloatArray, c: Coefficients) -> FloatArray:
    cable = c["constant"] + c["inverse_sqrt"] / np.sqrt(f)
    value: FloatArray = c.get("scale", 1.0) * cable + c.get("connectors", 0.0) * c.get("connector_ns", 0.0)
    return value


def _voltage_sum(f: FloatArray, c: Coefficients) -> FloatArray:
    total = np.zeros_like(f)
    for term in c["terms"]:
        loss = term["at_reference"] + term["per_decade"] * np.log10(f / term["reference_mhz"])
        total += term.get("count", 1) * 10 ** (-loss / 20)
    value: FloatArray = -20 * np.log10(total)
    return value


def _power(f: FloatArray, c: Coefficients) -> FloatArray:
    value: FloatArray = c["factor"] * f ** c["exponent"] + c.get("inverse", 0.0) / f
    return value


CABLE: Final = (
    "scale",
    "sqrt",
    "linear",
    "inverse_sqrt",
    "connectors",
    "connector_sqrt",
    "connector_constant",
    "three_halves",
)

FORMS: Final[Mapping[str, Form]] = {
    "constant": Form(_constant, ("value",)),
    # at_reference + per_decade log10(f / reference_mhz)
    "log_slope": Form(_log_slope, ("at_reference", "per_decade", "reference_mhz")),
    # scale (sqrt f^1/2 + linear f + inverse_sqrt f^-1/2)
    #   + connectors (connector_sqrt f^1/2 + connector_constant) + three_halves f^3/2
    "cable_and_connectors": Form(_cable_and_connectors, (), CABLE),
    # scale (constant + inverse_sqrt f^-1/2) + connectors connector_ns
    "delay": Form(_delay, ("constant", "inverse_sqrt"), ("scale", "connectors", "connector_ns")),
    # -20 log10 of the sum of count 10^(-(at_reference + per_decade log10(f/reference_mhz))/20)
    "voltage_sum": Form(_voltage_sum, ("terms",)),
    # factor f^exponent + inverse / f
    "power": Form(_power, ("factor", "exponent"), ("inverse",)),
}

# The difference of two limits of the same category and configuration, each with
# its caps. Not in FORMS, since it needs those limits and not only coefficients.
DIFFERENCE: Final = "difference"


def evaluate(
    segment: SegmentLike, frequency_mhz: FloatArray, operands: Mapping[str, Evaluable]
) -> FloatArray:
    """Return the limit of one segment at (n,) frequencies, its cap applied.

    Args:
        segment: form, coefficients and cap.
        frequency_mhz: (n,) within the segment. [MHz]
        operands: by parameter, the limits that a difference refers to.
    """
    if segment.form == DIFFERENCE:
        minuend = operands[segment.coefficients["minuend"]].at(frequency_mhz)
        return np.asarray(minuend - operands[segment.coefficients["subtrahend"]].at(frequency_mhz))
    value = FORMS[segment.form].function(frequency_mhz, segment.coefficients)
    if segment.cap is None:
        return value
    bound = np.minimum if segment.cap_rule == "ceiling" else np.maximum
    return np.asarray(bound(value, segment.cap))
