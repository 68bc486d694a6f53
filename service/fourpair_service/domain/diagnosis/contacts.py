"""Faults that DC resistance shows."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

import numpy as np

from fourpair_service.domain.diagnosis.evidence import Evidence
from fourpair_service.domain.diagnosis.faults import FaultCode
from fourpair_service.domain.diagnosis.model import Confidence, Fault
from fourpair_service.domain.parameters import Parameter

P = Parameter
# One pair is odd where it lies this much over the median of the others; pairs of one cable
# differ by a few percent in length of lay. Own criteria, no published source.
ODD_SHARE: Final = 0.08
ODD_OHM: Final = 0.3
# With more pairs than this it is the cable, not a contact.
MOST_PAIRS: Final = 2


def contact_faults(evidence: Evidence) -> Iterator[Fault]:
    """Yield a poor contact for the pairs whose resistance departs from that of the others."""
    texts: dict[str, list[str]] = {}
    for pair in evidence.failing_keys(P.RESISTANCE_UNBALANCE_WITHIN_PAIR):
        texts.setdefault(pair, []).append(f"The two wires of pair {pair} differ in resistance.")
    if evidence.failing(P.RESISTANCE_UNBALANCE_BETWEEN_PAIRS, P.DC_LOOP_RESISTANCE) or texts:
        for pair, more_ohm in _odd(evidence).items():
            sentence = f"Pair {pair} has {more_ohm:.2f} ohm more than the median of the others."
            texts.setdefault(pair, []).append(sentence)
    if texts and len(texts) <= MOST_PAIRS:
        pairs = tuple(sorted(texts))
        sentences = tuple(sentence for pair in pairs for sentence in texts[pair])
        confidence = Confidence.LIKELY if len(sentences) > len(pairs) else Confidence.POSSIBLE
        yield Fault(FaultCode.POOR_CONTACT, confidence, sentences, pairs)


def _odd(evidence: Evidence) -> dict[str, float]:
    """Return by how much pairs lie over the median of the others. [ohm]."""
    loops = evidence.loop_resistance_ohm
    odd = {}
    for pair, ohm in loops.items():
        others = [value for other, value in loops.items() if other != pair]
        median = float(np.median(others)) if others else ohm
        if ohm - median > max(ODD_OHM, ODD_SHARE * median):
            odd[pair] = ohm - median
    return odd
