"""From what was sent to a verdict: the part that HTTP and the command line share."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

from fourpair_service.domain.errors import InvalidRequirementError
from fourpair_service.domain.grading.link import grade
from fourpair_service.domain.limits import Basis, RuleSet
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.measurement import LinkMeasurement, PairReadings
from fourpair_service.domain.port_order import PortKind, PortOrder
from fourpair_service.domain.verdict import Requirement, Verdict
from fourpair_service.domain.verdict_document import Document, verdict_document
from fourpair_service.http.assessment import (
    ASSESSMENT_VERSION,
    Detail,
    assessment_document,
    supported_document,
)
from fourpair_service.http.canonical import canonical_bytes, digest_of
from fourpair_service.http.schemas.document_errors import FieldError, InvalidDocumentError
from fourpair_service.http.schemas.document_limits import DEFAULT_LIMITS, DocumentLimits
from fourpair_service.http.schemas.measurement import RequirementRequest, read_measurement
from fourpair_service.http.touchstone import TouchstoneDeclaration, TouchstoneFile, measurement_parts
from fourpair_service.rulesets.catalogue import Catalogue
from fourpair_service.rulesets.errors import UnknownRuleSetError

NOTHING_ASKED: Final = RequirementRequest()


@dataclass(frozen=True, slots=True)
class GradeRequest:
    """Everything that was sent to be graded.

    Attributes:
        asked: the requirement given beside the document (query, command line, job).
        detail: how much to say beside the verdict.
        asked_under: where the parts of what is asked stand, for pointers.
        is_kept: the answer is kept, and must be found by what the link supports.
    """

    document: Mapping[str, Any]
    asked: RequirementRequest = NOTHING_ASKED
    files: tuple[TouchstoneFile, ...] = ()
    detail: Detail = Detail.FAULTS
    asked_under: str = "/query"
    is_kept: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class AskedLink:
    """A link, and what it is to be held against."""

    measurement: LinkMeasurement
    rule_set: RuleSet
    requirement: Requirement


@dataclass(frozen=True, slots=True, eq=False)
class Graded:
    """An answer and what it was made from.

    Attributes:
        answer: the verdict document, its digest, and the assessment beside it.
    """

    answer: Document
    measurement: LinkMeasurement
    verdict: Verdict
    rule_set: RuleSet


def grade_document(
    request: GradeRequest,
    catalogue: Catalogue,
    *,
    limits: DocumentLimits = DEFAULT_LIMITS,
    now: datetime | None = None,
) -> Document:
    """Return the answer to one request: the verdict document, its digest, and the assessment beside it.

    Raises:
        ServiceError: whatever is wrong with the document, the files or the requirement.
    """
    return graded(request, catalogue, limits=limits, now=now).answer


def graded(
    request: GradeRequest,
    catalogue: Catalogue,
    *,
    limits: DocumentLimits = DEFAULT_LIMITS,
    now: datetime | None = None,
) -> Graded:
    """Return the answer to one request with what it was made from.

    Raises:
        ServiceError: whatever is wrong with the document, the files or the requirement.
    """
    asked = read_request(request, catalogue, limits=limits)
    measurement, rule_set = asked.measurement, asked.rule_set
    with pointing_into(request):
        verdict = grade(measurement, rule_set, asked.requirement, now=now)
    document = verdict_document(verdict)
    answer = {"verdict": document, "verdict_digest": digest_of(canonical_bytes(document))}
    beside: Document = {}
    if request.detail is not Detail.NONE:
        beside = assessment_document(measurement, verdict, rule_set, request.detail)
    if request.is_kept and "applications" not in beside:
        supported = supported_document(measurement, verdict, rule_set)
        beside = {"version": ASSESSMENT_VERSION, **beside, "supported": supported}
    if beside:
        answer["assessment"] = beside
    return Graded(answer, measurement, verdict, rule_set)


def read_request(
    request: GradeRequest, catalogue: Catalogue, *, limits: DocumentLimits = DEFAULT_LIMITS
) -> AskedLink:
    """Return the link that was sent, and what it is to be held against.

    Raises:
        ServiceError: whatever is wrong with the document, the files or the requirement.
    """
    if not isinstance(request.document, Mapping):
        raise InvalidDocumentError([FieldError("", "Expected an object: one measurement document.")])
    read = read_measurement(request.document, limits)
    measurement = with_files(read.measurement, request.files, read.touchstone)
    asked = _joined(read.requirement, request)
    place = _place(request, "/requirement/configuration")
    requirement = _requirement(asked, measurement.configuration, place)
    try:
        rule_set = catalogue.get(asked.rule_set or "")
    except UnknownRuleSetError as error:
        raise error.at(_place(request, "/requirement/rule_set")) from None
    return AskedLink(measurement, rule_set, requirement)


@contextmanager
def pointing_into(request: GradeRequest) -> Iterator[None]:
    """Let a refused requirement point to where it stands: in the document, or beside it.

    Raises:
        InvalidRequirementError: as raised within, with that pointer.
    """
    try:
        yield
    except InvalidRequirementError as error:
        raise InvalidRequirementError(_place(request, error.pointer), error.detail, error.value) from None


def _place(request: GradeRequest, pointer: str) -> str:
    """Return where a part of the requirement stands: in the document, or beside it in the query."""
    name = pointer.rpartition("/")[2]
    return pointer if getattr(request.asked, name, None) is None else f"{request.asked_under}/{name}"


def _joined(stated: RequirementRequest, request: GradeRequest) -> RequirementRequest:
    """Return one requirement of two, refusing those that contradict each other."""
    errors = []
    merged: dict[str, Any] = {}
    for name in RequirementRequest.__dataclass_fields__:
        first, second = getattr(stated, name), getattr(request.asked, name)
        if first is not None and second is not None and first != second:
            detail = f"The document asks for {first} and the request for {second}; give one of them."
            errors.append(FieldError(f"{request.asked_under}/{name}", detail, str(second)))
        merged[name] = first if second is None else second
    if errors:
        raise InvalidDocumentError(errors)
    return RequirementRequest(**merged)


def _requirement(asked: RequirementRequest, configuration: Configuration, place: str) -> Requirement:
    errors = []
    if not asked.rule_set:
        detail = (
            "Say which edition to judge by: a rule set id, or TIA or ISO for the newest of that standard."
        )
        errors.append(FieldError("/requirement/rule_set", detail))
    if not asked.category:
        errors.append(FieldError("/requirement/category", "Say which category or class the link must meet."))
    if asked.configuration is not None and asked.configuration is not configuration:
        detail = (
            f"The link was measured as {configuration}, and cannot be judged as {asked.configuration}: the "
            f"configuration is a property of the measurement. Leave it out here, or measure anew."
        )
        errors.append(FieldError(place, detail, str(asked.configuration)))
    if errors:
        raise InvalidDocumentError(errors)
    return Requirement(
        category=asked.category or "",
        minimum_basis=Basis(asked.minimum_basis) if asked.minimum_basis else None,
        coverage_is_advisory=asked.coverage == "advisory",
        shield_required=bool(asked.shield_required),
    )


def with_files(
    measurement: LinkMeasurement, files: Sequence[TouchstoneFile], declared: Mapping[str, Any] | None
) -> LinkMeasurement:
    """Return a measurement with the curves and delays of the files that came with it, if any.

    Raises:
        InvalidDocumentError: sweeps stand in the document too.
        ServiceError: the files cannot be read, or do not fit what was declared of them.
    """
    if not files:
        return measurement
    if measurement.curves:
        detail = "Sweeps stand in the document and in files; send them in one of the two."
        raise InvalidDocumentError([FieldError("/sweeps", detail)])
    parts = measurement_parts(tuple(files), _declaration(declared or {}))
    readings = dict(measurement.readings)
    for pair, found in parts.readings.items():
        stated = readings.get(pair, PairReadings())
        if stated.delay_ns is None:
            stated = replace(stated, delay_ns=found.delay_ns, delay_frequency_mhz=found.delay_frequency_mhz)
        readings[pair] = stated
    return replace(measurement, curves=parts.curves, readings=readings)


def _declaration(declared: Mapping[str, Any]) -> TouchstoneDeclaration:
    order = declared.get("order")
    if order is not None and order not in tuple(PortOrder):
        detail = f"Expected one of {', '.join(PortOrder)}, or leave it out to have it recognised."
        raise InvalidDocumentError([FieldError("/touchstone/order", detail, order)])
    return TouchstoneDeclaration(
        pairs=tuple(declared.get("pairs", ())),
        ports=PortKind(declared.get("ports", PortKind.SINGLE_ENDED)),
        order=None if order is None else PortOrder(order),
        reference_ohm=declared.get("reference_ohm"),
    )
