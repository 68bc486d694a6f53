"""The parts of a verdict as typed values: points, parameters, categories, cautions, suspected faults."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fourpair._told import Told, unit_in

UNIT_WORDS = {"db": "dB"}
# A pass or fail that the accuracy of the measurement cannot tell apart carries an asterisk.
OUTCOME_WORDS = {
    "pass": "pass",
    "marginal_pass": "pass*",
    "marginal_fail": "fail*",
    "fail": "fail",
    "incomplete": "incomplete",
    None: "shown only",
}


@dataclass(frozen=True, slots=True)
class Point:
    """A value held against its limit; a positive margin is inside the limit.

    Attributes:
        unit: ``db``, ``ns``, ``m`` or ``ohm``.
        margin, measured, limit: in that unit.
        frequency_mhz: where on the curve. [MHz]

    >>> point = client.grade(failing).parameter("next", "far").worst_margin
    >>> print(point)
    -6.9 dB on 36-45 at 215 MHz
    >>> point.outcome, point.limit, point.unit
    ('fail', 36.413, 'db')
    """

    unit: str
    margin: float | None
    measured: float | None
    limit: float | None
    frequency_mhz: float | None
    pairs: str | None
    end: str | None
    outcome: str | None = None

    @classmethod
    def from_document(cls, document: Mapping[str, Any]) -> Point:
        """Return the point of a verdict document.

        >>> print(Point.from_document({"margin_db": 1.25, "measured_db": 41.25, "limit_db": 40.0, "pairs": "12-36"}))
        +1.2 dB on 12-36
        """
        unit = unit_in(document, "measured") or "db"
        return cls(
            unit,
            document.get(f"margin_{unit}"),
            document.get(f"measured_{unit}"),
            document.get(f"limit_{unit}"),
            document.get("frequency_mhz"),
            document.get("pairs"),
            document.get("end"),
            document.get("outcome"),
        )

    def __str__(self) -> str:
        unit = UNIT_WORDS.get(self.unit, self.unit)
        words = [] if self.margin is None else [f"{self.margin:+.1f} {unit}"]
        words += [f"on {self.pairs}"] if self.pairs else []
        words += [f"at {self.frequency_mhz:.4g} MHz"] if self.frequency_mhz is not None else []
        return " ".join(words)


def _point(document: Any) -> Point | None:
    return Point.from_document(document) if isinstance(document, Mapping) else None


@dataclass(frozen=True, slots=True, repr=False)
class ParameterResult(Told):
    """One parameter at one end.

    Attributes:
        outcome: ``None`` for a parameter that is shown and not judged.

    >>> result = client.grade(failing).parameter("return_loss", "near")
    >>> result
    <return loss at the near end: pass, +6.4 dB on 78 at 191 MHz>
    >>> result.status, result.outcome, result.points_judged
    ('required', 'pass', 2877)
    """

    parameter: str
    title: str
    end: str | None
    status: str
    outcome: str | None
    unit: str
    worst_margin: Point | None
    worst_value: Point | None
    by_pair: tuple[Point, ...]
    points_judged: int
    incomplete_because: tuple[str, ...]

    @classmethod
    def from_document(cls, document: Mapping[str, Any]) -> ParameterResult:
        """Return the result of a verdict document.

        >>> ParameterResult.from_document({"parameter": "next", "title": "NEXT", "end": "near", "outcome": "pass"})
        <NEXT at the near end: pass>
        """
        return cls(
            document["parameter"],
            document.get("title", document["parameter"]),
            document.get("end"),
            document.get("status", ""),
            document.get("outcome"),
            document.get("unit", "db"),
            _point(document.get("worst_margin")),
            _point(document.get("worst_value")),
            tuple(Point.from_document(p) for p in document.get("by_pair", ())),
            document.get("points_judged", 0),
            tuple(document.get("incomplete_because", ())),
            raw=document,
        )

    @property
    def name(self) -> str:
        """Title and end, as in a sentence."""
        return f"{self.title} at the {self.end} end" if self.end else self.title

    def __repr__(self) -> str:
        outcome = OUTCOME_WORDS.get(self.outcome, self.outcome)
        point = f", {self.worst_margin}" if self.worst_margin is not None else ""
        return f"<{self.name}: {outcome}{point}>"


@dataclass(frozen=True, slots=True, repr=False)
class CategoryResult(Told):
    """How the link stands to one category or class: ``met``, ``not_met``, ``not_evaluated``.

    >>> [category for category in client.grade(link).categories if category.state == "met"]
    [<category 3: met, headroom 1.8 dB>, <category 5e: met, headroom 1.2 dB>, <category 6: met, headroom 1.1 dB>]
    """

    category: str
    title: str
    state: str
    headroom_db: float | None
    stopped_by: tuple[str, ...]
    missing: tuple[str, ...]

    @classmethod
    def from_document(cls, document: Mapping[str, Any]) -> CategoryResult:
        """Return the result of a verdict document.

        >>> CategoryResult.from_document({"category": "6", "state": "met", "headroom_db": 2.25})
        <6: met, headroom 2.2 dB>
        """
        return cls(
            document["category"],
            document.get("title", document["category"]),
            document["state"],
            document.get("headroom_db"),
            tuple(document.get("stopped_by", ())),
            tuple(document.get("missing", ())),
            raw=document,
        )

    def __repr__(self) -> str:
        headroom = "" if self.headroom_db is None else f", headroom {self.headroom_db:.1f} dB"
        return f"<{self.title}: {self.state.replace('_', ' ')}{headroom}>"


@dataclass(frozen=True, slots=True)
class Caution:
    """Something to know that decides nothing.

    >>> [caution.code for caution in client.grade(failing).cautions]
    ['tested-in-future']
    """

    code: str
    text: str


@dataclass(frozen=True, slots=True, repr=False)
class Fault(Told):
    """What is suspected of a link; never part of its verdict.

    Attributes:
        code: its name; ``/v1/faults/<code>`` explains it.
        confidence: ``certain``, ``likely`` or ``possible``.
        place: in words, ``None`` where it is not known.
        position_m: from the near end, ``None`` where it is not known. [m]
        uncertainty_m: of the position. [m]
        first: what to do first.

    >>> fault = client.grade(failing).faults[0]
    >>> fault
    <Bad connector or termination (likely), at the far end (operating theatre, anaesthesia column)>
    >>> fault.code, fault.pairs, round(fault.position_m), fault.first
    ('bad_connector', ('36', '45', '78'), 52, 'Re-terminate this end with the twist kept up to the contacts; if it stays, replace the connector.')
    """

    code: str
    title: str
    text: str
    confidence: str
    pairs: tuple[str, ...]
    place: str | None
    position_m: float | None
    uncertainty_m: float | None
    evidence: tuple[str, ...]
    could_also_be: tuple[str, ...]
    first: str

    @classmethod
    def from_document(cls, document: Mapping[str, Any]) -> Fault:
        """Return the fault of a diagnosis document.

        >>> Fault.from_document({"code": "split_pair", "title": "Split pair", "confidence": "certain"})
        <Split pair (certain)>
        """
        place: Mapping[str, Any] = document.get("place") or {}
        return cls(
            document["code"],
            document.get("title", document["code"]),
            document.get("text", ""),
            document.get("confidence", ""),
            tuple(document.get("pairs", ())),
            place.get("text"),
            place.get("position_m"),
            place.get("uncertainty_m"),
            tuple(document.get("evidence", ())),
            tuple(document.get("could_also_be", ())),
            document.get("first", ""),
            raw=document,
        )

    def __repr__(self) -> str:
        place = f", {self.place}" if self.place else ""
        return f"<{self.title} ({self.confidence}){place}>"
