"""A verdict as typed values. Fields that this version does not know stay in ``raw``."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import requests

from fourpair._frames import frame
from fourpair._told import Told
from fourpair._verdict_parts import OUTCOME_WORDS, CategoryResult, Caution, Fault, ParameterResult

if TYPE_CHECKING:
    import pandas

    from fourpair._curves import MarginCurve


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

    >>> client.grade(failing)
    <Verdict A-03: fail, headroom -6.9 dB, provisional; NEXT at the far end -6.9 dB on 36-45 at 215 MHz, PS NEXT at the far end -5.1 dB on 36 at 202.5 MHz>
    >>> client.records.verdict(bad.id)
    <Verdict A-02: fail, provisional; The two wires of pair 12 are exchanged (reversed pair)>
    >>> client.records.verdict(record.id).passed
    True
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
        """Return the verdict of a document that the service sent, with what was said beside it.

        >>> Verdict.from_document({"outcome": "pass", "label": "A-01"}).headline
        'A-01: pass'
        """
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
    def wire_map(self) -> Mapping[str, Any]:
        """What was found of the wire map: ``outcome``, and ``findings`` each with ``kind``, ``pairs``, ``text``."""
        found: Mapping[str, Any] = self.raw.get("wire_map") or {}
        return found

    @property
    def passed(self) -> bool:
        """Whether the outcome is a pass, marginal or not."""
        return self.outcome in {"pass", "marginal_pass"}

    def parameter(self, name: str, end: str | None = None) -> ParameterResult:
        """Return one result.

        Raises:
            KeyError: the verdict has none of that name and end.

        >>> client.grade(link).parameter("insertion_loss")
        <insertion loss: pass, +1.1 dB on 36 at 1 MHz>
        """
        for result in self.parameters:
            if result.parameter == name and result.end == end:
                return result
        raise KeyError(f"no {name} at {end} in this verdict")

    def failing(self) -> Sequence[ParameterResult]:
        """Return the results that fail, marginally or not; what fails of the wire map is in ``wire_map``.

        >>> client.grade(failing).failing()
        [<NEXT at the far end: fail, -6.9 dB on 36-45 at 215 MHz>, <PS NEXT at the far end: fail, -5.1 dB on 36 at 202.5 MHz>]
        """
        return [r for r in self.parameters if r.outcome in {"fail", "marginal_fail"}]

    @property
    def headline(self) -> str:
        """Label, outcome and headroom in one line."""
        headroom = "" if self.headroom_db is None else f", headroom {self.headroom_db:.1f} dB"
        provisional = ", provisional" if self.provisional else ""
        name = self.label or "(no label)"
        return f"{name}: {OUTCOME_WORDS.get(self.outcome, self.outcome)}{headroom}{provisional}"

    def __repr__(self) -> str:
        failing = [str(found.get("text", "")).rstrip(".") for found in self.wire_map.get("findings", ())]
        failing += [f"{r.name} {r.worst_margin or ''}".strip() for r in self.failing()]
        return f"<Verdict {self.headline}{'; ' if failing else ''}{', '.join(failing)}>"

    def summary(self) -> str:
        """Return the verdict as plain text: notices, outcome, reasons, what is suspected.

        >>> print(client.grade(failing).summary().splitlines()[1])
        A-03: fail, headroom -6.9 dB, provisional
        """
        suspected = [f"Suspected: {fault.text} First: {fault.first}" for fault in self.faults]
        cautions = [f"Caution: {caution.text}" for caution in self.cautions]
        return "\n".join([*self.notices, self.headline, *self.reasons, *suspected, *cautions])

    def to_frame(self) -> pandas.DataFrame:
        """Return the results as a pandas frame, a row for each parameter and end.

        Raises:
            ImportError: pandas is not installed.

        >>> client.grade(link).to_frame().set_index("parameter").loc["length", ["unit", "outcome"]].tolist()
        ['m', 'pass']
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
