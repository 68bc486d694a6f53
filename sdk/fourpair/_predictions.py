"""Predictions: a link under other circumstances, with margins and no outcome."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fourpair._told import Told, told, unit_in


@dataclass(frozen=True, slots=True, kw_only=True)
class PredictedMargin(Told):
    """The smallest margin of one parameter and end, predicted and as it was measured.

    Attributes:
        unit: of the three values below.
        margin: predicted, positive inside the limit.
        predicted: the value.
        limit: of the edition.
        as_measured: the margin that was measured; ``None`` where there is none.
    """

    parameter: str
    title: str
    unit: str
    margin: float | None
    predicted: float | None
    limit: float | None
    as_measured: float | None = None
    end: str | None = None
    pairs: str | None = None
    frequency_mhz: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Prediction(Told):
    """A link as it would be; never a verdict.

    Attributes:
        notice: that it is a prediction, in words.
        configuration: that it then is; a link with cords is a channel.
        assumptions: what was changed and by which rule, as sentences.
        rule_set: whose limits the margins are held against.
    """

    notice: str
    configuration: str
    label: str | None = None
    assumptions: tuple[str, ...] = ()
    margins: tuple[PredictedMargin, ...] = ()
    rule_set: Mapping[str, Any] = field(default_factory=dict)

    def summary(self) -> str:
        """Return it as text: the notice, the assumptions, and each margin beside the measured one."""
        lines = [f"{self.label or 'The link'}: {self.notice}", *self.assumptions]
        for margin in self.margins:
            end = f" at the {margin.end} end" if margin.end else ""
            now, was = _signed(margin.margin), _signed(margin.as_measured)
            lines.append(f"{margin.title}{end}: {now} {margin.unit}, as measured {was}")
        return "\n".join(lines)


def _signed(value: float | None) -> str:
    return "-" if value is None else f"{value:+.1f}"


def prediction(document: Mapping[str, Any], **own: Any) -> Prediction:
    """Return the prediction that a document tells."""
    margins = tuple(_margin(each) for each in document["margins"])
    return told(Prediction, document, **{**own, "margins": margins})


def _margin(document: Mapping[str, Any]) -> PredictedMargin:
    unit = unit_in(document, "margin")
    return told(
        PredictedMargin,
        document,
        unit={"db": "dB"}.get(unit, unit),
        margin=document.get(f"margin_{unit}"),
        predicted=document.get(f"predicted_{unit}"),
        limit=document.get(f"limit_{unit}"),
        as_measured=document.get(f"margin_as_measured_{unit}"),
    )
