"""Signs that the test itself is at fault: adapter, reference, range of the instrument."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations
from typing import Final

import numpy as np

from fourpair_service.domain.diagnosis.evidence import Evidence
from fourpair_service.domain.diagnosis.faults import FaultCode
from fourpair_service.domain.diagnosis.model import Confidence, Fault
from fourpair_service.domain.measurement import CurveGroup
from fourpair_service.domain.parameters import TRAITS, Parameter

# Own criteria, no published source. A link shorter than this is a reference cord. [m]
SHORTEST_LINK_M: Final = 0.5
# A link of more metres than this loses more than this. [m], [dB]
LOSES_FROM_M: Final = 5.0
NOTHING_LOST_DB: Final = 0.2
# A curve that stays at its own extreme for this share of its points is cut off by the instrument.
CUT_OFF_SHARE: Final = 0.25
FEWEST_POINTS: Final = 20


def setup_faults(evidence: Evidence) -> Iterator[Fault]:
    """Yield one fault with everything that speaks against the test."""
    texts = [*_near_zero(evidence), *_no_loss(evidence), *_identical(evidence), *_cut_off(evidence)]
    if texts:
        confidence = Confidence.LIKELY if len(texts) > 1 else Confidence.POSSIBLE
        yield Fault(FaultCode.TEST_SETUP, confidence, tuple(texts))


def _near_zero(evidence: Evidence) -> Iterator[str]:
    length = evidence.length_m
    if length is not None and length < SHORTEST_LINK_M:
        yield f"The link reads {length:.1f} m long, as if the two adapters were joined directly."


def _no_loss(evidence: Evidence) -> Iterator[str]:
    length = evidence.length_m
    for group in evidence.measurement.curves.get((Parameter.INSERTION_LOSS, None), ()):
        for pair, row in zip(group.keys, group.value_db, strict=True):
            lossless = bool((np.abs(row) < NOTHING_LOST_DB).all())
            if lossless and pair not in evidence.broken and (length or 0.0) > LOSES_FROM_M:
                yield f"Pair {pair} loses nothing at any frequency over {length:.1f} m."


def _groups(evidence: Evidence) -> Iterator[tuple[str, CurveGroup]]:
    for (parameter, end), groups in evidence.measurement.curves.items():
        at = f" at the {end} end" if end else ""
        for group in groups:
            if group.frequency_mhz.size >= FEWEST_POINTS:
                yield f"{TRAITS[parameter].title}{at}", group


def _identical(evidence: Evidence) -> Iterator[str]:
    for name, group in _groups(evidence):
        # The middle of the axis tells nearly all curves apart before they are compared whole.
        middle = group.value_db[:, group.frequency_mhz.size // 2].tolist()
        for (i, first), (j, second) in combinations(enumerate(group.keys), 2):
            if middle[i] != middle[j] or _mirrored(first, second):
                continue
            if np.array_equal(group.value_db[i], group.value_db[j]):
                yield f"{name} of {first} and {second} is the same at every frequency, which no two pairs are."


def _mirrored(first: str, second: str) -> bool:
    """Whether two FEXT combinations are one path in both directions, which may be copied."""
    return first.split(">")[::-1] == second.split(">")


def _cut_off(evidence: Evidence) -> Iterator[str]:
    for name, group in _groups(evidence):
        values = group.value_db
        for extremes, word in ((values.max(axis=1), "above"), (values.min(axis=1), "below")):
            # Few points are extreme, so that finding them is faster than counting row by row.
            at = np.flatnonzero(values == extremes[:, None])
            counts = np.bincount(at // values.shape[1], minlength=len(values))
            for row in np.flatnonzero(counts >= CUT_OFF_SHARE * values.shape[1]).tolist():
                key, extreme = group.keys[row], extremes[row]
                yield f"{name} of {key} never goes {word} {extreme:.1f} dB: the instrument cuts it off."
