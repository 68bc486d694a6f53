"""The grading of records: the same as of a single measurement, by what its job asks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from fourpair_service.domain.grading.standing import standing
from fourpair_service.domain.limits import Basis, RuleSet
from fourpair_service.domain.link import Configuration
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.verdict import Requirement
from fourpair_service.errors import ServiceError
from fourpair_service.http.assessment import Detail
from fourpair_service.http.grading import GradeRequest, grade_document, read_request
from fourpair_service.http.schemas.document_errors import FieldError, InvalidDocumentError
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.schemas.measurement import RequirementRequest
from fourpair_service.records.curves import Document
from fourpair_service.records.desk import Grading
from fourpair_service.records.model import Assessment
from fourpair_service.records.runs.examining import Held
from fourpair_service.records.runs.model import Question
from fourpair_service.rulesets.catalogue import Catalogue


def requirement_request(requirement: dict[str, Any]) -> RequirementRequest:
    """Return a requirement that was kept as plain words in the words of the domain."""
    own: dict[str, Any] = dict(requirement)
    for name, kind in (("configuration", Configuration), ("minimum_basis", Basis)):
        if own.get(name) is not None:
            own[name] = kind(own[name])
    return RequirementRequest(**own)


@dataclass(frozen=True, slots=True)
class RecordGrader:
    """See :class:`~fourpair_service.records.desk.Grader`.

    Attributes:
        detail: how much to say beside the verdict.
        is_kept: the record must be found by what its link supports, however little is said.
    """

    catalogue: Catalogue
    limits: DocumentLimits
    clock: Callable[[], datetime]
    detail: Detail
    is_kept: bool = True

    def __call__(self, document: Document, requirement: Document) -> Grading:
        """Return the verdict and what is said beside it.

        Raises:
            ServiceError: the document, or what is asked, is not valid.
        """
        if "touchstone" in document:
            detail = "A record keeps the sweeps themselves: leave this out and send them in sweeps."
            raise InvalidDocumentError([FieldError("/touchstone", detail)])
        request = GradeRequest(
            self._one_name(document),
            requirement_request(self._by_id(requirement)),
            detail=self.detail,
            asked_under="/requirement",
            is_kept=self.is_kept,
        )
        answer = grade_document(request, self.catalogue, limits=self.limits, now=self.clock())
        told = answer.get("assessment")
        assessment = None if told is None else Assessment(told["version"], told)
        return Grading(answer["verdict"], assessment, answer["verdict_digest"])

    def _one_name(self, document: Document) -> Document:
        """Return the document with its rule set by id: TIA and the newest edition of TIA are no contradiction."""
        own = document.get("requirement")
        return {**document, "requirement": self._by_id(own)} if isinstance(own, dict) else document

    def _by_id(self, requirement: dict[str, Any]) -> dict[str, Any]:
        name = requirement.get("rule_set")
        if not isinstance(name, str) or not name:
            return requirement
        return {**requirement, "rule_set": self.catalogue.get(name).id}

    def standing(self, held: Sequence[Held]) -> list[bool]:
        """Return of which measurements it is certain that grading finds what their verdicts say."""
        found = [False] * len(held)
        for (rule_set, requirement), some in self._asked_alike(held).items():
            numbers, links = [number for number, _ in some], [link for _, link in some]
            verdicts = [held[number].verdict for number in numbers]
            try:
                stands = standing(links, rule_set, requirement, verdicts)
            except ServiceError:
                continue  # the grading of each says what is wrong, and with which
            for number, is_so in zip(numbers, stands, strict=True):
                found[number] = is_so
        return found

    def _asked_alike(
        self, held: Sequence[Held]
    ) -> dict[tuple[RuleSet, Requirement], list[tuple[int, LinkMeasurement]]]:
        alike: dict[tuple[RuleSet, Requirement], list[tuple[int, LinkMeasurement]]] = {}
        for number, each in enumerate(held):
            try:
                requirement = requirement_request(self._by_id(each.asked))
                request = GradeRequest(each.document, requirement, is_kept=True)
                asked = read_request(request, self.catalogue, limits=self.limits)
            except ServiceError:
                continue
            alike.setdefault((asked.rule_set, asked.requirement), []).append((number, asked.measurement))
        return alike

    def for_question(self, question: Question) -> RecordGrader:
        """Return the grader for what a run asks: what a link carries is worked out only where it is asked."""
        is_carrying = question.application is not None or question.power_type is not None
        return replace(self, detail=Detail.ALL if is_carrying else Detail.NONE, is_kept=is_carrying)
