"""/v1/jobs/{id}/summary, /billing and /faults."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from flask import Response
from flask.views import MethodView

from fourpair_service.http.auth import caller
from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.operation import answered, operate
from fourpair_service.http.revalidation import tagged_by_content
from fourpair_service.http.schemas.job_answers import BillingSchema, JobFaultListSchema, JobSummarySchema
from fourpair_service.http.schemas.queries import AsOfQuery, BillingQuery, FaultsQuery
from fourpair_service.http.services import services
from fourpair_service.records.curves import Document
from fourpair_service.records.desk import visible_job
from fourpair_service.records.keys import Scope
from fourpair_service.records.model import Job
from fourpair_service.records.ports import Reader
from fourpair_service.records.views.billing import billing
from fourpair_service.records.views.faults import faults
from fourpair_service.records.views.past import job_at
from fourpair_service.records.views.summary import summary

blueprint = StrictBlueprint("job-views", __name__, url_prefix="/v1", description="What a shop asks of a job")


def _told(job_id: str, view: Callable[[Reader, Job], Document]) -> Response:
    with services().desk.store.reading() as reader:
        document = view(reader, visible_job(reader, caller(), job_id))
    return tagged_by_content(answered(document))


@blueprint.route("/jobs/<job_id>/summary")
class Summary(MethodView):
    """Where a job stands."""

    @operate(
        blueprint,
        "getSummary",
        scope=Scope.READ,
        query=AsOfQuery,
        answer=JobSummarySchema,
        problems=(304, 404),
    )
    def get(self, query: Mapping[str, Any], job_id: str) -> Response:
        """Count links, name what is missing, and group them: fine, look again, redo; now, or at a moment of the feed."""
        as_of = query.get("as_of")

        def view(reader: Reader, job: Job) -> Document:
            then = job if as_of is None else job_at(reader, job.id, as_of)
            return summary(reader, then, as_of=as_of)

        return _told(job_id, view)


@blueprint.route("/jobs/<job_id>/billing")
class Billing(MethodView):
    """What can be billed."""

    @operate(
        blueprint,
        "getBilling",
        scope=Scope.READ,
        query=BillingQuery,
        answer=BillingSchema,
        problems=(304, 404),
    )
    def get(self, query: Mapping[str, Any], job_id: str) -> Response:
        """Give signed quantities by item code for a period of the feed; never prices.

        What was billed before ``since`` and no longer counts is a credit that names
        the ``seq`` it credits. ``state_digest`` seals all that an invoice rests on.
        """
        since, until = query["since"], query.get("until")
        return _told(job_id, lambda reader, job: billing(reader, job, since=since, until=until))


@blueprint.route("/jobs/<job_id>/faults")
class JobFaults(MethodView):
    """What is to be mended."""

    @operate(
        blueprint,
        "listJobFaults",
        scope=Scope.READ,
        query=FaultsQuery,
        answer=JobFaultListSchema,
        problems=(304, 404),
    )
    def get(self, query: Mapping[str, Any], job_id: str) -> Response:
        """List what fails, each under a key that stays across retests and with the text of a ticket."""
        include_closed = query["state"] == "all"
        return _told(job_id, lambda reader, job: faults(reader, job, include_closed=include_closed))
