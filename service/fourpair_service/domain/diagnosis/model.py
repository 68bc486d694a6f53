"""What a diagnosis consists of."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from fourpair_service.domain.diagnosis.faults import FAULT_KINDS, FaultCode
from fourpair_service.domain.link import End

# Changes whenever another answer may come out for the same measurement.
DIAGNOSIS_VERSION: Final = "1"


class Confidence(StrEnum):
    """How sure a suspicion is.

    ``certain``: measured as such. ``likely``: two signs that do not depend on each
    other, or a place found from phase. ``possible``: one sign that fits other causes.
    """

    CERTAIN = "certain"
    LIKELY = "likely"
    POSSIBLE = "possible"


@dataclass(frozen=True, slots=True)
class Place:
    """Where on a link.

    Attributes:
        text: the place in words, with the name of the end.
        end: the end that it is at, ``None`` along the cable.
        position_m: from the near end; ``None`` where only the end is known. [m]
        to_m: end of a stretch that begins at ``position_m``. [m]
        uncertainty_m: of either. [m]
    """

    text: str
    end: End | None = None
    position_m: float | None = None
    to_m: float | None = None
    uncertainty_m: float | None = None


@dataclass(frozen=True, slots=True)
class Fault:
    """One suspicion.

    Attributes:
        pairs: pairs concerned, in the order of the trade.
        evidence: what was measured that speaks for it, as sentences.
        could_also_be: what the same evidence fits.
        first: what to do first.
    """

    code: FaultCode
    confidence: Confidence
    evidence: tuple[str, ...]
    pairs: tuple[str, ...] = ()
    place: Place | None = None

    @property
    def title(self) -> str:
        """The fault as a heading."""
        return FAULT_KINDS[self.code].title

    @property
    def first(self) -> str:
        """What to do first."""
        return FAULT_KINDS[self.code].first

    @property
    def could_also_be(self) -> tuple[FaultCode, ...]:
        """What looks alike; nothing where the fault is certain."""
        return () if self.confidence is Confidence.CERTAIN else FAULT_KINDS[self.code].could_also_be

    @property
    def text(self) -> str:
        """The suspicion in one sentence."""
        pairs = f", pair{'s' if len(self.pairs) > 1 else ''} {' and '.join(self.pairs)}" if self.pairs else ""
        place = f", {self.place.text}" if self.place else ""
        return f"{self.title}{pairs}{place}."


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """Everything that is suspected of a link, the strongest suspicion first.

    Attributes:
        notes: what more data would add.
    """

    faults: tuple[Fault, ...]
    notes: tuple[str, ...] = ()
    version: str = DIAGNOSIS_VERSION
