"""The margin of every swept parameter over frequency, for pictures: what the verdict is the minimum of."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fourpair_service.domain.grading.link import category_table, check_requirement
from fourpair_service.domain.grading.merging import keys_of
from fourpair_service.domain.grading.swept import LinkCurves, Question
from fourpair_service.domain.limits import RuleSet
from fourpair_service.domain.link import End
from fourpair_service.domain.measurement import FloatArray, LinkMeasurement
from fourpair_service.domain.parameters import Parameter


@dataclass(frozen=True, slots=True, eq=False)
class MarginCurve:
    """How far one parameter lies inside its limit over frequency.

    Attributes:
        end: ``None`` for a parameter without ends.
        frequency_mhz: (n,) where something is judged. [MHz]
        margin_db: (n,) the smallest of all pairs, positive inside. [dB]
    """

    parameter: Parameter
    end: End | None
    frequency_mhz: FloatArray
    margin_db: FloatArray


def margin_curves(measurement: LinkMeasurement, rule_set: RuleSet, category: str) -> tuple[MarginCurve, ...]:
    """Return the margins of a link under one category, excused points left out.

    A parameter that was measured on several axes has a curve for each.

    Raises:
        InvalidRequirementError: as ``grade``.
    """
    asked = rule_set.category(category)
    check_requirement(rule_set, asked, measurement.configuration)
    tables = category_table([measurement], rule_set, asked.rules.acr_f_loss_of).margins
    keys = keys_of([margins.table for margins in tables])
    question = Question(rule_set, asked, measurement.configuration, {})
    curves = []
    for margins in tables:
        for parameter, end, frequency_mhz, margin in LinkCurves(margins, 0, question, keys).margins():
            smallest = margin.min(axis=0)
            judged = np.isfinite(smallest)
            if judged.any():
                curves.append(MarginCurve(parameter, end, frequency_mhz[judged], smallest[judged]))
    return tuple(curves)
