"""A verdict as typed values. Fields that this version does not know stay in ``raw``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import requests

from fourpair._frames import frame
from fourpair._told import Told, unit_in

if TYPE_CHECKING:
    import pandas

    from fourpair._curves import MarginCurve

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
        """Return the point of a verdict document."""
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
        """Return the result of a verdict document."""
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
    """How the link stands to one category or class: ``met``, ``not_met``, ``not_evaluated``."""

    category: str
    title: str
    state: str
    headroom_db: float | None
    stopped_by: tuple[str, ...]
    missing: tuple[str, ...]

    @classmethod
    def from_document(cls, document: Mapping[str, Any]) -> CategoryResult:
        """Return the result of a verdict document."""
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
    """Something to know that decides nothing."""

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
        """Return the fault of a diagnosis document."""
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


@dataclass(frozen=True, slots=True, repr=False)
class Verdict(Told):
    """The answer for one link.

    Attributes:
        outcome: ``pass``, ``marginal_pass``, ``marginal_fail``, ``fail`` or ``incomplete``.
        notices: what must be said before anything else; not empty means provisional.
        reasons: why, as sentences, most important first.
        headroom_db: smallest margin of the judged dB parameters. [dB]
        faults: what is suspected, the strongest suspicion first; beside the verdict.
        assessment: everything that was said beside the verdict, as it arrived.
        curves: margins over frequency, where ``client.grade(..., curves=True)`` asked for them.
    """

    outcome: str
    label: str | None
    notices: tuple[str, ...]
    reasons: tuple[str, ...]
    headroom_db: float | None
    basis: str | None
    provisional: bool
    rule_set_id: str
    rule_set_digest: str
    parameters: tuple[ParameterResult, ...]
    categories: tuple[CategoryResult, ...]
    cautions: tuple[Caution, ...]
    faults: tuple[Fault, ...] = ()
    assessment: Mapping[str, Any] = field(default_factory=dict)
    curves: tuple[MarginCurve, ...] = field(default=(), compare=False)

    @classmethod
    def from_document(
        cls,
        document: Mapping[str, Any],
        *,
        assessment: Mapping[str, Any] | None = None,
        response: requests.Response | None = None,
    ) -> Verdict:
        """Return the verdict of a document that the service sent, with what was said beside it."""
        beside = assessment or {}
        rule_set: Mapping[str, Any] = document.get("rule_set", {})
        return cls(
            document["outcome"],
            document.get("label"),
            tuple(document.get("notices", ())),
            tuple(document.get("reasons", ())),
            document.get("headroom_db"),
            document.get("basis"),
            bool(document.get("provisional", False)),
            rule_set.get("id", ""),
            rule_set.get("digest", ""),
            tuple(ParameterResult.from_document(p) for p in document.get("parameters", ())),
            tuple(CategoryResult.from_document(c) for c in document.get("categories", ())),
            tuple(Caution(c["code"], c["text"]) for c in document.get("cautions", ())),
            tuple(Fault.from_document(f) for f in beside.get("diagnosis", {}).get("faults", ())),
            beside,
            raw=document,
            response=response,
        )

    @property
    def diagnosis(self) -> Mapping[str, Any]:
        """The diagnosis as it arrived, empty where none was asked for."""
        found: Mapping[str, Any] = self.assessment.get("diagnosis", {})
        return found

    @property
    def passed(self) -> bool:
        """Whether the outcome is a pass, marginal or not."""
        return self.outcome in {"pass", "marginal_pass"}

    def parameter(self, name: str, end: str | None = None) -> ParameterResult:
        """Return one result.

        Raises:
            KeyError: the verdict has none of that name and end.
        """
        for result in self.parameters:
            if result.parameter == name and result.end == end:
                return result
        raise KeyError(f"no {name} at {end} in this verdict")

    def failing(self) -> Sequence[ParameterResult]:
        """Return the results that fail, marginally or not."""
        return [r for r in self.parameters if r.outcome in {"fail", "marginal_fail"}]

    @property
    def headline(self) -> str:
        """Label, outcome and headroom in one line."""
        headroom = "" if self.headroom_db is None else f", headroom {self.headroom_db:.1f} dB"
        provisional = ", provisional" if self.provisional else ""
        name = self.label or "(no label)"
        return f"{name}: {OUTCOME_WORDS.get(self.outcome, self.outcome)}{headroom}{provisional}"

    def __repr__(self) -> str:
        failing = [f"{r.name} {r.worst_margin or ''}".strip() for r in self.failing()]
        return f"<Verdict {self.headline}{'; ' if failing else ''}{', '.join(failing)}>"

    def summary(self) -> str:
        """Return the verdict as plain text: notices, outcome, reasons, what is suspected."""
        suspected = [f"Suspected: {fault.text} First: {fault.first}" for fault in self.faults]
        cautions = [f"Caution: {caution.text}" for caution in self.cautions]
        return "\n".join([*self.notices, self.headline, *self.reasons, *suspected, *cautions])

    def to_frame(self) -> pandas.DataFrame:
        """Return the results as a pandas frame, a row for each parameter and end.

        Raises:
            ImportError: pandas is not installed.
        """
        rows = [
            {
                "parameter": each.parameter,
                "end": each.end,
                "status": each.status,
                "outcome": each.outcome,
                "unit": each.unit,
                "margin": each.worst_margin and each.worst_margin.margin,
                "measured": each.worst_margin and each.worst_margin.measured,
                "limit": each.worst_margin and each.worst_margin.limit,
                "frequency_mhz": each.worst_margin and each.worst_margin.frequency_mhz,
                "pairs": each.worst_margin and each.worst_margin.pairs,
            }
            for each in self.parameters
        ]
        return frame(rows)

    def _repr_html_(self) -> str:
        """Return the verdict as a notebook shows it."""
        from fourpair._notebook import verdict_html  # noqa: PLC0415 - only a notebook asks

        return verdict_html(self)
