"""What is said of one application over one link."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from fourpair_service.domain.applications.data import Application
from fourpair_service.domain.applications.segment import LimitPoint
from fourpair_service.domain.limits import Basis
from fourpair_service.domain.support import Support

PREDICTED: Final = "predicted"


class Reasoning(StrEnum):
    """How the answer was reached."""

    MEASURED = "measured against the link segment"
    INHERITED = "inherited from the class met"


@dataclass(frozen=True, slots=True, eq=False)
class ApplicationResult:
    """The answer for one application.

    Attributes:
        limiting: the point that decides: the worst failure, else the smallest
            margin in dB, cords included; ``None`` where none was judged.
        inherited_from: title of the class or category that it is inherited from.
        limit_basis: how well the limits are known: of a failure the strongest
            among those that fail, else the weakest of all; ``None`` where the
            wire map alone decides or nothing was judged.
        is_predicted: cords were added, so every figure is a prediction.
        conditions: on what it depends, as sentences.
        missing: what could not be judged, as clauses of a sentence.
        notes: what else to know, as sentences.
        contrast: why it differs from the category asked for, where it does.
    """

    application: Application
    state: Support
    reasoning: Reasoning
    limiting: LimitPoint | None = None
    inherited_from: str | None = None
    limit_basis: Basis | None = None
    is_predicted: bool = False
    stopped_by: tuple[str, ...] = ()
    conditions: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    contrast: str | None = None

    @property
    def headroom_db(self) -> float | None:
        """The smallest margin; ``None`` where what decides is not in dB, or nothing was judged. [dB]."""
        return self.limiting.margin if self.limiting is not None and self.limiting.is_in_db else None

    @property
    def basis(self) -> str | None:
        """``predicted`` where cords were added to what was measured, else how well the limits are known."""
        if self.is_predicted and self.reasoning is Reasoning.MEASURED and self.limit_basis is not None:
            return PREDICTED
        return self.limit_basis.value if self.limit_basis else None

    @property
    def is_provisional(self) -> bool:
        """Whether a limit that decides is known from memory alone."""
        return self.limit_basis is Basis.MEMORY
