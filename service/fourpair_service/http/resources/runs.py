"""/v1/regrades and /v1/assessments: many records looked at again."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any, Final

import orjson
from flask import Response
from flask.views import MethodView

from fourpair_service.http.auth import caller
from fourpair_service.http.body_errors import InvalidBodyError
from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.line_stream import NDJSON
from fourpair_service.http.operation import (
    IDEMPOTENCY,
    JSON,
    answered,
    json_object,
    loaded,
    operate,
    raw_body,
)
from fourpair_service.http.paging import linked
from fourpair_service.http.resources.records import filter_of
from fourpair_service.http.resources.revisions import CSV, asked_format
from fourpair_service.http.revalidation import tagged_by_content, tagged_by_seals
from fourpair_service.http.run_documents import (
    finding_document,
    findings,
    run_answer,
    table_header,
    table_row,
)
from fourpair_service.http.schemas.document_errors import FieldError
from fourpair_service.http.schemas.queries import CursorQuery
from fourpair_service.http.schemas.runs import (
    AnswersFoundSchema,
    AssessmentRequestSchema,
    ChangesFoundSchema,
    FindingsQuery,
    RegradeSchema,
    RunListSchema,
    RunQuery,
    RunSchema,
)
from fourpair_service.http.services import services
from fourpair_service.http.terms import terms
from fourpair_service.records.curves import Document
from fourpair_service.records.errors import InvalidQueryError
from fourpair_service.records.keys import Scope
from fourpair_service.records.runs.commands import (
    resume_run,
    start_run,
    stop_run,
    visible_run,
    visible_runs,
)
from fourpair_service.records.runs.model import Question, Run, RunKind
from fourpair_service.reports.spreadsheet import csv_lines
from fourpair_service.rulesets.application_reader import read_applications

PLACE: Final = re.compile(r"[0-9a-zA-Z-]{1,64}")
FORMS: Final = {"json": JSON, "ndjson": NDJSON, "csv": CSV}
FORMS_DOC: Final = {
    "responses": {200: {"content": {kind: {"schema": {"type": "string"}} for kind in (NDJSON, CSV)}}}
}

blueprint = StrictBlueprint("runs", __name__, url_prefix="/v1", description="Many records looked at again")


def _regrade_question(asked: Document) -> Question:
    catalogue = services().catalogue
    rule_set = catalogue.get(asked["rule_set"])
    older = catalogue.all_superseded(rule_set)
    if not older:
        detail = (
            f"{rule_set.id} supersedes no other rule set, so no record can be moved to it; "
            "ask for an assessment under it instead, which moves nothing."
        )
        raise InvalidBodyError([FieldError("/rule_set", detail, asked["rule_set"])])
    return Question(RunKind.REGRADE, rule_set=rule_set.id, supersedes=older)


def _requirement(asked: Mapping[str, str]) -> Document:
    rule_set = services().catalogue.get(asked["rule_set"])
    rule_set.category(asked["category"])
    return {"rule_set": rule_set.id, "category": asked["category"]}


def _assessment_question(asked: Document) -> Question:
    given = [name for name in ("requirement", "application", "power_type") if name in asked]
    if len(given) != 1:
        detail = f"Ask exactly one of requirement, application and power_type, not {' and '.join(given) or 'none'}."
        raise InvalidBodyError([FieldError("", detail)])
    if "application" in asked:
        data = read_applications()
        known = [*data.applications, *(each.name for each in data.unjudged)]
        if asked["application"] not in known:
            detail = f"Expected one of {', '.join(known)}."
            raise InvalidBodyError([FieldError("/application", detail, asked["application"])])
    if asked.get("keep") and "requirement" in asked:
        detail = (
            "Only what a link carries is kept beside it; leave keep out: the run itself keeps what it finds."
        )
        raise InvalidBodyError([FieldError("/keep", detail)])
    own = {**asked, "requirement": _requirement(asked["requirement"])} if "requirement" in asked else asked
    return Question(RunKind.ASSESSMENT, **own)


def _started(query: Mapping[str, Any], raw: bytes, question: Question, reason: str | None = None) -> Response:
    with terms(caller(), body=raw, dry_run=False) as sent:
        own = replace(sent, dry_run=query["dry_run"])
        run, is_known = start_run(services().desk, caller(), question, filter_of(query), own, reason=reason)
    headers = {"Location": f"/v1/{PATHS[question.kind]}/{run.id}"}
    if is_known:
        headers["Idempotent-Replayed"] = "true"
    return answered(run_answer(run), 202, headers)


def _listed(kind: RunKind, query: Mapping[str, Any]) -> Response:
    limit = query["limit"]
    with services().desk.store.reading() as reader:
        found = visible_runs(reader, caller(), kind, after=_place(query), limit=limit + 1)
    cursor = found[limit - 1].id if len(found) > limit else None
    told = {"runs": [run_answer(run) for run in found[:limit]], "next_cursor": cursor}
    return tagged_by_content(linked(answered(told), cursor))


def _place(query: Mapping[str, Any]) -> str:
    given: str = query.get("cursor", "")
    if given and not PLACE.fullmatch(given):
        raise InvalidQueryError("cursor", "this is no cursor of this list; start from the first page")
    return given


def _run(kind: RunKind, run_id: str) -> Run:
    return visible_run(services().desk.store, caller(), kind, run_id)


def _found(kind: RunKind, run_id: str, query: Mapping[str, Any]) -> Response:
    run, after = _run(kind, run_id), _place(query)
    form = asked_format(query.get("format"), FORMS)
    response = _page(run, after, query["limit"]) if form == "json" else _whole(run, after, form)
    response.vary.add("Accept")
    if form == "json":
        return tagged_by_content(response)
    # Written while it is sent, so not sealed by its bytes: what a run has found up to a place never changes.
    return tagged_by_seals(response, run.id, form, after, str(run.position))


def _page(run: Run, after: str, limit: int) -> Response:
    page = services().desk.store.drawer(run.drawer, after=after, limit=limit + 1)
    cursor = page[limit - 1][0] if len(page) > limit else None
    told = [finding_document(run.question.kind, found) for _, found in page[:limit]]
    return linked(answered({"findings": told, "next_cursor": cursor}), cursor)


def _whole(run: Run, after: str, form: str) -> Response:
    kind, found = run.question.kind, findings(services().desk.store, run, after)
    if form == "ndjson":
        return Response((orjson.dumps(each) + b"\n" for each in found), content_type=NDJSON)
    rows = (table_row(kind, each) for each in found)
    response = Response(
        _encoded(csv_lines(table_header(kind), rows)), content_type=f"{CSV}; charset=utf-8; header=present"
    )
    response.headers.set("Content-Disposition", "attachment", filename=f"{run.id}.csv")
    return response


def _encoded(lines: Iterator[str]) -> Iterator[bytes]:
    return (line.encode() for line in lines)


PATHS: Final = {RunKind.REGRADE: "regrades", RunKind.ASSESSMENT: "assessments"}


@blueprint.route("/regrades")
class Regrades(MethodView):
    """Records graded again under a rule set that supersedes theirs."""

    @operate(
        blueprint,
        "startRegrade",
        scope=Scope.WRITE,
        query=RunQuery,
        body=RegradeSchema,
        answer=RunSchema,
        status=202,
        headers=[IDEMPOTENCY],
        problems=(409,),
    )
    def post(self, query: Mapping[str, Any]) -> Response:
        """Grade the records that the query names again, under a rule set that supersedes theirs.

        The run is carried on beside the service; a revision is appended only where
        something has changed. With dry_run everything is found out and nothing moves.
        """
        raw = raw_body((JSON,))
        asked = loaded(RegradeSchema(), json_object(raw))
        return _started(query, raw, _regrade_question(asked), asked.get("reason"))

    @operate(
        blueprint, "listRegrades", scope=Scope.READ, query=CursorQuery, answer=RunListSchema, problems=(304,)
    )
    def get(self, query: Mapping[str, Any]) -> Response:
        """List re-gradings in the order in which they began."""
        return _listed(RunKind.REGRADE, query)


@blueprint.route("/assessments")
class Assessments(MethodView):
    """Records held against something else than their own requirement."""

    @operate(
        blueprint,
        "startAssessment",
        scope=Scope.WRITE,
        query=RunQuery,
        body=AssessmentRequestSchema,
        answer=RunSchema,
        status=202,
        headers=[IDEMPOTENCY],
        problems=(409,),
    )
    def post(self, query: Mapping[str, Any]) -> Response:
        """Ask of the records that the query names whether they would meet, run or carry something.

        No outcome, bill, fault or entry of the feed is moved by it.
        """
        raw = raw_body((JSON,))
        asked = loaded(AssessmentRequestSchema(), json_object(raw))
        return _started(query, raw, _assessment_question(asked))

    @operate(
        blueprint,
        "listAssessments",
        scope=Scope.READ,
        query=CursorQuery,
        answer=RunListSchema,
        problems=(304,),
    )
    def get(self, query: Mapping[str, Any]) -> Response:
        """List assessments in the order in which they began."""
        return _listed(RunKind.ASSESSMENT, query)


@blueprint.route("/regrades/<run_id>")
class OneRegrade(MethodView):
    """One re-grading."""

    @operate(blueprint, "getRegrade", scope=Scope.READ, answer=RunSchema, problems=(304, 404))
    def get(self, query: Mapping[str, Any], run_id: str) -> Response:
        """Tell how far a re-grading has come."""
        return tagged_by_content(answered(run_answer(_run(RunKind.REGRADE, run_id))))


@blueprint.route("/assessments/<run_id>")
class OneAssessment(MethodView):
    """One assessment."""

    @operate(blueprint, "getAssessmentRun", scope=Scope.READ, answer=RunSchema, problems=(304, 404))
    def get(self, query: Mapping[str, Any], run_id: str) -> Response:
        """Tell how far an assessment has come."""
        return tagged_by_content(answered(run_answer(_run(RunKind.ASSESSMENT, run_id))))


@blueprint.route("/regrades/<run_id>/findings")
class RegradeFindings(MethodView):
    """What a re-grading found."""

    @operate(
        blueprint,
        "listRegradeFindings",
        scope=Scope.READ,
        query=FindingsQuery,
        answer=ChangesFoundSchema,
        problems=(304, 404, 406),
        doc=FORMS_DOC,
    )
    def get(self, query: Mapping[str, Any], run_id: str) -> Response:
        """Tell which records change: from what to what, by how many dB, and because of which limit."""
        return _found(RunKind.REGRADE, run_id, query)


@blueprint.route("/assessments/<run_id>/findings")
class AssessmentFindings(MethodView):
    """What an assessment found."""

    @operate(
        blueprint,
        "listAssessmentFindings",
        scope=Scope.READ,
        query=FindingsQuery,
        answer=AnswersFoundSchema,
        problems=(304, 404, 406),
        doc=FORMS_DOC,
    )
    def get(self, query: Mapping[str, Any], run_id: str) -> Response:
        """Tell what each record answers, and what limits it."""
        return _found(RunKind.ASSESSMENT, run_id, query)


def _stopped(kind: RunKind, run_id: str) -> Response:
    return answered(run_answer(stop_run(services().desk, caller(), kind, run_id)))


def _resumed(kind: RunKind, run_id: str) -> Response:
    return answered(run_answer(resume_run(services().desk, caller(), kind, run_id)))


@blueprint.route("/regrades/<run_id>/stop")
class StopRegrade(MethodView):
    """Stopping."""

    @operate(blueprint, "stopRegrade", scope=Scope.WRITE, answer=RunSchema, problems=(404, 409))
    def post(self, query: Mapping[str, Any], run_id: str) -> Response:
        """Stop a re-grading; what it has moved stays moved."""
        return _stopped(RunKind.REGRADE, run_id)


@blueprint.route("/assessments/<run_id>/stop")
class StopAssessment(MethodView):
    """Stopping."""

    @operate(blueprint, "stopAssessment", scope=Scope.WRITE, answer=RunSchema, problems=(404, 409))
    def post(self, query: Mapping[str, Any], run_id: str) -> Response:
        """Stop an assessment; what it has found stays."""
        return _stopped(RunKind.ASSESSMENT, run_id)


@blueprint.route("/regrades/<run_id>/resume")
class ResumeRegrade(MethodView):
    """Going on."""

    @operate(blueprint, "resumeRegrade", scope=Scope.WRITE, answer=RunSchema, problems=(404, 409))
    def post(self, query: Mapping[str, Any], run_id: str) -> Response:
        """Let a stopped re-grading go on where it stopped."""
        return _resumed(RunKind.REGRADE, run_id)


@blueprint.route("/assessments/<run_id>/resume")
class ResumeAssessment(MethodView):
    """Going on."""

    @operate(blueprint, "resumeAssessment", scope=Scope.WRITE, answer=RunSchema, problems=(404, 409))
    def post(self, query: Mapping[str, Any], run_id: str) -> Response:
        """Let a stopped assessment go on where it stopped."""
        return _resumed(RunKind.ASSESSMENT, run_id)
