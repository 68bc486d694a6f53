"""Whether a frequency axis is wide and fine enough to judge a category with."""

from __future__ import annotations

import numpy as np

from fourpair_service.domain.limits import Category
from fourpair_service.domain.measurement import FloatArray

# Axes are written with rounded steps; this much too coarse is still the step meant.
STEP_TOLERANCE = 0.01


def coverage_gap(frequency_mhz: FloatArray, category: Category) -> str | None:
    """Return what an axis lacks for a category, ``None`` where it is complete.

    The first point must lie at or below the category's lowest frequency, the
    last at or above its highest, and no step within may be coarser than the
    edition allows (with 1 % of tolerance).

    Args:
        frequency_mhz: (n,) strictly increasing. [MHz]
        category: whose range and steps are asked for.
    """
    first, last = float(frequency_mhz[0]), float(frequency_mhz[-1])
    if first > category.from_mhz:
        return f"the sweep starts at {first:g} MHz and must start at {category.from_mhz:g} MHz or below"
    if last < category.to_mhz:
        return f"the sweep ends at {last:g} MHz and must reach {category.to_mhz:g} MHz"
    return _coarse_step(frequency_mhz, category)


def _coarse_step(frequency_mhz: FloatArray, category: Category) -> str | None:
    # Of a step that reaches over an end of the range only the part within counts.
    lower = np.maximum(frequency_mhz[:-1], category.from_mhz)
    step = np.minimum(frequency_mhz[1:], category.to_mhz) - lower
    start = 0.0
    for stretch in category.rules.coverage:
        here = (lower >= start) & (lower < stretch.up_to_mhz)
        coarse = np.flatnonzero(here & (step > stretch.step_mhz * (1 + STEP_TOLERANCE)))
        if coarse.size:
            i = int(coarse[0])
            return (
                f"the sweep steps from {frequency_mhz[i]:g} to {frequency_mhz[i + 1]:g} MHz; "
                f"up to {stretch.up_to_mhz:g} MHz the step must not exceed {stretch.step_mhz:g} MHz"
            )
        start = stretch.up_to_mhz
    return None
