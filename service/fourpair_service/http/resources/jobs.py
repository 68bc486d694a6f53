"""/v1/jobs: contracts, and what is asked of their links."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from flask import Response
from flask.views import MethodView

from fourpair_service.http.auth import caller
from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.operation import (
    IDEMPOTENCY,
    JSON,
    MERGE_PATCH,
    answered,
    if_match,
    json_object,
    loaded,
    operate,
    raw_body,
)
from fourpair_service.http.paging import linked
from fourpair_service.http.record_documents import job_document
from fourpair_service.http.revalidation import document_tag, tagged_by_content
from fourpair_service.http.schemas.job_answers import JobAnswerSchema, JobListSchema
from fourpair_service.http.schemas.jobs import AcceptanceSchema, JobChangeSchema, JobSchema
from fourpair_service.http.schemas.queries import AsOfQuery, CursorQuery, WriteQuery
from fourpair_service.http.services import services
from fourpair_service.http.terms import expected_tags, terms
from fourpair_service.records import job_commands
from fourpair_service.records.curves import Document
from fourpair_service.records.desk import job_tag, visible_job
from fourpair_service.records.documents import merged
from fourpair_service.records.job_commands import JobWritten
from fourpair_service.records.keys import Scope
from fourpair_service.records.model import Job, ScheduledLink
from fourpair_service.records.views.past import job_at

CHANGE: Final = (404, 409, 412, 428)
# What a job has where nothing was said.
UNSAID: Final[Document] = {
    "customer": None,
    "site": None,
    "requirement": {},
    "configuration": None,
    "applications": (),
    "power_type": None,
    "cords": {},
    "minimum_basis": None,
    "marginal_pass_billable": False,
    "schedule": (),
    "external_ids": {},
    "metadata": {},
}
ANSWERED_ONLY: Final = ("id", "revision", "acceptance", "changed_at")

blueprint = StrictBlueprint("jobs", __name__, url_prefix="/v1", description="Contracts")


def job_response(written: JobWritten, *, dry_run: bool = False) -> Response:
    """Return a job as a write left it, with the ETag that the next one can rest on."""
    job = written.job
    is_new = job.revision == 1 and not dry_run
    document = job_document(services().desk.store, job)
    headers = {"ETag": f'"{document_tag(document, job_tag(job))}"'}
    if written.replayed:
        headers["Idempotent-Replayed"] = "true"
    if is_new:
        headers["Location"] = f"/v1/jobs/{job.id}"
    return answered(document, 201 if is_new else 200, headers)


def values_of(read: Mapping[str, Any]) -> Document:
    """Return the fields of a job from what was sent; what was left out is as if never said."""
    values = {**UNSAID, **{name: value for name, value in read.items() if name != "id"}}
    values["applications"] = tuple(values["applications"])
    values["schedule"] = tuple(ScheduledLink(**link) for link in values["schedule"])
    for name in ("configuration", "minimum_basis"):
        values[name] = None if values[name] is None else str(values[name])
    return values


def writable(document: Document) -> Document:
    """Return of an answered job what could have been sent."""

    def said(value: Any) -> bool:
        return value is not None and value not in ([], {})

    own = {name: value for name, value in document.items() if name not in ANSWERED_ONLY and said(value)}
    if "schedule" in own:
        own["schedule"] = [{n: v for n, v in link.items() if v is not None} for link in own["schedule"]]
    return own


def check_requirement(values: Mapping[str, Any]) -> None:
    """Refuse a requirement that names no rule set that is known.

    Raises:
        UnknownRuleSetError: there is no such edition or standard.
    """
    name = values["requirement"].get("rule_set")
    if name is not None:
        services().catalogue.get(name)


@blueprint.route("/jobs")
class Jobs(MethodView):
    """All jobs that a caller sees."""

    @operate(
        blueprint,
        "createJob",
        scope=Scope.WRITE,
        query=WriteQuery,
        body=JobSchema,
        answer=JobAnswerSchema,
        status=201,
        also={200: JobAnswerSchema},
        headers=[IDEMPOTENCY],
        problems=(409,),
    )
    def post(self, query: Mapping[str, Any]) -> Response:
        """Make a job; its id is taken from the document, or made."""
        raw = raw_body((JSON,))
        read = loaded(JobSchema(), json_object(raw))
        desk, dry_run, values = services().desk, query["dry_run"], values_of(read)
        check_requirement(values)
        with terms(caller(), body=raw, dry_run=dry_run) as own:
            job_id = read.get("id") or desk.new_id()
            written = job_commands.create_job(desk, caller(), job_id, values, own)
        return job_response(written, dry_run=dry_run)

    @operate(
        blueprint, "listJobs", scope=Scope.READ, query=CursorQuery, answer=JobListSchema, problems=(304,)
    )
    def get(self, query: Mapping[str, Any]) -> Response:
        """List jobs in the order of their ids."""
        limit = query["limit"]
        with services().desk.store.reading() as reader:
            found = reader.jobs(after=query.get("cursor", ""), limit=limit + 1, visible=caller().jobs)
            page = [job_document(reader, job) for job in found[:limit]]
        cursor = found[limit - 1].id if len(found) > limit else None
        return tagged_by_content(linked(answered({"jobs": page, "next_cursor": cursor}), cursor))


@blueprint.route("/jobs/<job_id>")
class OneJob(MethodView):
    """One job."""

    @operate(
        blueprint, "getJob", scope=Scope.READ, query=AsOfQuery, answer=JobAnswerSchema, problems=(304, 404)
    )
    def get(self, query: Mapping[str, Any], job_id: str) -> Response:
        """Show a job as it stands, or stood at a moment of the feed."""
        with services().desk.store.reading() as reader:
            job = visible_job(reader, caller(), job_id)
            if "as_of" in query:
                job = job_at(reader, job.id, query["as_of"])
            return tagged_by_content(answered(job_document(reader, job)), job_tag(job))

    @operate(
        blueprint,
        "changeJob",
        scope=Scope.WRITE,
        query=WriteQuery,
        body=JobChangeSchema(partial=True),
        media=(MERGE_PATCH, JSON),
        answer=JobAnswerSchema,
        headers=[if_match(required=True)],
        problems=CHANGE,
    )
    def patch(self, query: Mapping[str, Any], job_id: str) -> Response:
        """Change a job by a merge patch (RFC 7396); null takes a field away."""
        raw = raw_body((MERGE_PATCH, JSON))
        expected = expected_tags("job", job_id, required=True)
        patch, desk, dry_run = json_object(raw), services().desk, query["dry_run"]
        with desk.store.reading() as reader:
            job: Job = visible_job(reader, caller(), job_id)
            document = merged(writable(job_document(reader, job)), patch)
        values = values_of(loaded(JobChangeSchema(), document))
        check_requirement(values)
        # The patch was applied to this revision: with If-Match: * too, another one must not slip between.
        expected = frozenset({job_tag(job)}) if expected is None else expected
        with terms(caller(), body=raw, dry_run=dry_run, expected=expected) as own:
            written = job_commands.change_job(desk, caller(), job_id, values, own)
        return job_response(written, dry_run=dry_run)


@blueprint.route("/jobs/<job_id>/acceptance")
class JobAcceptance(MethodView):
    """Taking a job over."""

    @operate(
        blueprint,
        "acceptJob",
        scope=Scope.WRITE,
        query=WriteQuery,
        body=AcceptanceSchema,
        answer=JobAnswerSchema,
        headers=[IDEMPOTENCY, if_match(required=True)],
        problems=CHANGE,
    )
    def post(self, query: Mapping[str, Any], job_id: str) -> Response:
        """Note who took the job over and when; later changes are shown as after acceptance."""
        raw = raw_body((JSON,))
        expected = expected_tags("job", job_id, required=True)
        asked, dry_run = loaded(AcceptanceSchema(), json_object(raw)), query["dry_run"]
        with terms(caller(), body=raw, dry_run=dry_run, expected=expected) as own:
            written = job_commands.accept_job(
                services().desk, caller(), job_id, own, by=asked["by"], on=asked["on"].isoformat()
            )
        return job_response(written, dry_run=dry_run)
