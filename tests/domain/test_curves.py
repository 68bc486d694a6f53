"""The shapes of limit curves, by values computed by hand."""

from dataclasses import dataclass, field

import numpy as np
import pytest

from fourpair_service.domain.curves import FORMS, evaluate


@dataclass
class Stretch:
    form: str
    coefficients: dict = field(default_factory=dict)
    cap: float | None = None
    cap_rule: str | None = None


def value(form, at=100.0, **coefficients):
    return float(evaluate(Stretch(form, coefficients), np.array([at]), {})[0])


@pytest.mark.parametrize(
    ("form", "coefficients", "expected"),
    [
        ("constant", {"value": 21.0}, 21.0),
        ("log_slope", {"at_reference": 30.0, "per_decade": -20.0, "reference_mhz": 10.0}, 10.0),
        ("cable_and_connectors", {"sqrt": 2.0, "linear": 0.01, "inverse_sqrt": 5.0}, 21.5),
        ("cable_and_connectors", {"sqrt": 2.0, "scale": 0.9, "connectors": 3, "connector_sqrt": 0.02}, 18.6),
        ("cable_and_connectors", {"connectors": 2, "connector_constant": 0.1, "three_halves": 0.001}, 1.2),
        ("delay", {"constant": 534.0, "inverse_sqrt": 36.0}, 537.6),
        ("delay", {"constant": 534.0, "inverse_sqrt": 36.0, "connectors": 4, "connector_ns": 2.5}, 547.6),
        # Two equal voltages: 6.02 dB.
        (
            "voltage_sum",
            {"terms": [{"at_reference": 40.0, "per_decade": 0.0, "reference_mhz": 1.0, "count": 2}]},
            40.0 - 20 * np.log10(2),
        ),
        ("power", {"factor": 2.0, "exponent": 0.5, "inverse": 50.0}, 20.5),
        ("power", {"factor": 2.0, "exponent": 0.5}, 20.0),
    ],
)
def test_each_form_gives_what_its_expression_says(form, coefficients, expected):
    assert value(form, **coefficients) == pytest.approx(expected)
    known = FORMS[form]
    assert set(coefficients) <= {*known.required, *known.optional}


@pytest.mark.parametrize(("rule", "expected"), [("ceiling", 25.0), ("floor", 30.0)])
def test_a_cap_is_a_ceiling_or_a_floor(rule, expected):
    cap = 25.0 if rule == "ceiling" else 30.0
    stretch = Stretch("constant", {"value": 28.0}, cap, rule)

    assert evaluate(stretch, np.array([1.0]), {}).tolist() == [expected]
