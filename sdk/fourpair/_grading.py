"""Grading and predicting through a client; nothing is stored."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from fourpair._curves import margin_curves
from fourpair._errors import ApiError, InvalidMeasurementError, api_error
from fourpair._lines import answered_lines
from fourpair._measurement import Measurement, checked
from fourpair._models import Verdict
from fourpair._predictions import Prediction, prediction
from fourpair._reference import Reference
from fourpair._sent import TouchstoneSource, sent
from fourpair._sheet_query import sheet_query
from fourpair._transport import operation


class Grading(Reference):
    """What a client asks of links that are not kept."""

    @operation("gradeMeasurement")
    def grade(
        self,
        measurement: Mapping[str, Any],
        *,
        rule_set: str | None = None,
        category: str | None = None,
        configuration: str | None = None,
        minimum_basis: str | None = None,
        coverage: str | None = None,
        touchstone: Mapping[str, TouchstoneSource] | None = None,
        assessment: str | None = None,
        curves: bool = False,
    ) -> Verdict:
        """Grade one link; nothing is stored.

        Args:
            measurement: a :class:`Measurement` or its document.
            rule_set: id of an edition, or ``"TIA"`` or ``"ISO"`` for the newest
                of that standard; may stand in the document's ``requirement`` instead.
            category: category or class; likewise.
            configuration: refused where the measurement is of another.
            minimum_basis: ``"memory"``, ``"cross_checked"`` or ``"published"``; likewise.
            coverage: ``"strict"``, or ``"advisory"`` for laboratory data.
            touchstone: Touchstone files by file name, sent as they are and
                converted by the service. The document's ``touchstone`` object
                says which pairs and ports they hold.
            assessment: how much to say beside the verdict: ``"none"``, ``"faults"`` (the
                usual), ``"all"`` (also what the link can carry, powering and the port) or
                ``"along"`` (also distances on any link).
            curves: also ask for the limits, so that ``verdict.curves`` holds margins over
                frequency and a notebook draws them.

        Raises:
            InvalidMeasurementError: it cannot be right, and was not sent.
            InvalidDocumentError: the document or requirement is not valid.
            TransportError: no answer arrived.
            ApiError: the service refused otherwise.

        >>> verdict = client.grade(link)
        >>> verdict.outcome, verdict.headroom_db
        ('pass', 1.103)
        >>> client.grade(link.with_changes(requirement=None), rule_set="TIA", category="6A").outcome
        'incomplete'
        """
        query = {
            "rule_set": rule_set,
            "category": category,
            "configuration": configuration,
            "minimum_basis": minimum_basis,
            "coverage": coverage,
            "assessment": assessment,
        }
        document = checked(measurement)
        body = sent(document, touchstone)
        answer = self._send("POST", "/v1/grade", params=query, is_write=False, **body)
        found = answer.json()
        verdict = Verdict.from_document(found["verdict"], assessment=found.get("assessment"), response=answer)
        if not curves:
            return verdict
        asked = found["verdict"]["requirement"]
        return replace(verdict, curves=tuple(margin_curves(Measurement(document), asked, self.limits)))

    def sheet(
        self,
        measurement: Mapping[str, Any],
        *,
        media: str = "pdf",
        extent: str | None = None,
        language: str | None = None,
        length_unit: str | None = None,
        paper: str | None = None,
        picture: str | None = None,
        width_px: int | None = None,
        **asked: str | None,
    ) -> bytes:
        """Grade one link and return its sheet; nothing is stored.

        Args:
            measurement: a :class:`Measurement` or its document.
            media: ``"pdf"``, ``"html"``, ``"text"``, or of one picture ``"svg"`` or ``"png"``.
            extent: ``"sheet"``, or ``"receipt"`` for half a page.
            language: ``"en"`` or ``"de"``.
            length_unit: ``"m"`` or ``"ft"``.
            paper: ``"a4"`` or ``"letter"``.
            picture: which: ``"wires"``, ``"run"``, or ``"margin-next"`` and the like.
            width_px: of a PNG, 100 to 4000.
            asked: ``rule_set``, ``category`` and the others of ``grade``.

        Raises:
            InvalidDocumentError: the document or what is asked is not valid.

        >>> client.sheet(link, media="text").decode().splitlines()[0]
        'A-03: PASS'
        >>> client.sheet(link)[:5]
        b'%PDF-'
        """
        drawn = sheet_query(
            media,
            extent=extent,
            language=language,
            length_unit=length_unit,
            paper=paper,
            picture=picture,
            width_px=width_px,
        )
        query = {**asked, **drawn}
        body = sent(checked(measurement))
        return self._send("POST", "/v1/grade", params=query, is_write=False, **body).content

    @operation("gradeStream")
    def grade_many(
        self,
        measurements: Iterable[Mapping[str, Any]],
        *,
        rule_set: str | None = None,
        category: str | None = None,
        configuration: str | None = None,
        minimum_basis: str | None = None,
        coverage: str | None = None,
        assessment: str | None = None,
    ) -> Iterator[Verdict | ApiError | InvalidMeasurementError]:
        """Yield a verdict for each of many links, in order; for one that is refused, the error, not raised.

        Measurements are taken as they are needed and sent by the dozen.

        Args:
            measurements: as of ``grade``.
            rule_set: as of ``grade``.
            category: as of ``grade``.
            configuration: as of ``grade``.
            minimum_basis: as of ``grade``.
            coverage: as of ``grade``.
            assessment: as of ``grade``.

        Raises:
            TransportError: no answer arrived, or it was cut; links of earlier parts have had their verdicts.

        >>> [verdict.outcome for verdict in client.grade_many([link, failing])]
        ['pass', 'fail']
        """
        query = {
            "rule_set": rule_set,
            "category": category,
            "configuration": configuration,
            "minimum_basis": minimum_basis,
            "coverage": coverage,
            "assessment": assessment,
        }
        for _, line in answered_lines(self._send, "/v1/grade/stream", query, measurements):
            yield line if isinstance(line, InvalidMeasurementError) else graded_line(line)

    @operation("predictLink")
    def what_if(
        self,
        measurement: Mapping[str, Any],
        *,
        temperature_c: float | None = None,
        added_cord_m: float | None = None,
        without_m: float | None = None,
        rule_set: str | None = None,
        category: str | None = None,
        configuration: str | None = None,
        minimum_basis: str | None = None,
        coverage: str | None = None,
        touchstone: Mapping[str, TouchstoneSource] | None = None,
    ) -> Prediction:
        """Predict a link under other circumstances, by the design rules of the standards; nothing is stored.

        Args:
            measurement: a :class:`Measurement` or its document.
            temperature_c: of the cable. [°C]
            added_cord_m: stranded cord in addition to what was measured. [m]
            without_m: a place, from the near end, whose connector is thought away; it
                needs sweeps with phase. [m]
            rule_set: as of ``grade``.
            category: as of ``grade``.
            configuration: as of ``grade``.
            minimum_basis: as of ``grade``.
            coverage: as of ``grade``.
            touchstone: as of ``grade``.

        Raises:
            InvalidDocumentError: nothing is asked, or it lies outside of what the rules print.

        >>> (far,) = (
        ...     margin
        ...     for margin in client.what_if(failing, without_m=51.6).margins
        ...     if (margin.parameter, margin.end) == ("next", "far")
        ... )
        >>> f"{far.margin:+.1f} {far.unit}, as measured {far.as_measured:+.1f}"
        '+7.1 dB, as measured -6.9'
        """
        query = {
            "temperature_c": temperature_c,
            "added_cord_m": added_cord_m,
            "without_m": without_m,
            "rule_set": rule_set,
            "category": category,
            "configuration": configuration,
            "minimum_basis": minimum_basis,
            "coverage": coverage,
        }
        body = sent(checked(measurement), touchstone)
        answer = self._send("POST", "/v1/what-if", params=query, is_write=False, **body)
        return prediction(answer.json(), response=answer)


def graded_line(line: Mapping[str, Any]) -> Verdict | ApiError:
    """Return the verdict that a line of a stream tells, or the error."""
    problem = line.get("problem")
    if problem is not None:
        return api_error(problem["status"], problem)
    return Verdict.from_document(line["verdict"], assessment=line.get("assessment"))
