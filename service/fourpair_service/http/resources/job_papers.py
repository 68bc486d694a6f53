"""/v1/jobs/{id}/schedule and /attachments."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any, Final

from flask import Response, request
from flask.views import MethodView
from marshmallow import ValidationError, fields

from fourpair_service.http.auth import caller
from fourpair_service.http.body_errors import InvalidBodyError
from fourpair_service.http.json_body import UnsupportedBodyError
from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.operation import (
    IDEMPOTENCY,
    JSON,
    answered,
    if_match,
    json_object,
    loaded,
    operate,
)
from fourpair_service.http.record_documents import attachment_document, schedule_document
from fourpair_service.http.resources.grade import body_bytes
from fourpair_service.http.resources.jobs import CHANGE
from fourpair_service.http.resources.revisions import CSV, CSV_DOC, asked_format
from fourpair_service.http.revalidation import document_tag, tagged_by_content
from fourpair_service.http.schemas.document_errors import FieldError
from fourpair_service.http.schemas.fields import Items
from fourpair_service.http.schemas.job_answers import (
    AttachmentListSchema,
    AttachmentSchema,
    ScheduleAnswerSchema,
)
from fourpair_service.http.schemas.jobs import MOST_LINKS, ScheduledLinkSchema
from fourpair_service.http.schemas.queries import AttachmentQuery, FormatQuery, WriteQuery
from fourpair_service.http.schemas.strict import StrictSchema
from fourpair_service.http.services import services
from fourpair_service.http.terms import expected_tags, terms
from fourpair_service.records import job_commands
from fourpair_service.records.curves import Document
from fourpair_service.records.desk import job_tag, visible_job
from fourpair_service.records.keys import Scope
from fourpair_service.records.model import Job, ScheduledLink
from fourpair_service.reports.spreadsheet import csv_text, plain_text

HEADER: Final = ("label", "item_code")
OCTETS: Final = "application/octet-stream"

blueprint = StrictBlueprint("job-papers", __name__, url_prefix="/v1", description="Schedules and attachments")


class ScheduleSchema(StrictSchema):
    """The links that must exist."""

    schedule = Items(fields.Nested(ScheduledLinkSchema), most=MOST_LINKS, required=True)


def _csv_rows(raw: bytes) -> Iterator[tuple[int, list[str]]]:
    try:
        text = raw.decode("utf-8-sig")
        yield from enumerate(csv.reader(io.StringIO(text, newline=""), strict=True), 1)
    except (UnicodeDecodeError, csv.Error) as error:
        raise InvalidBodyError([FieldError("", f"This is no CSV in UTF-8 ({error}).")]) from None


def _csv_link(line: int, cells: list[str]) -> tuple[ScheduledLink | None, list[FieldError]]:
    if len(cells) > len(HEADER):
        return None, [FieldError(f"/line/{line}", f"Expected {', '.join(HEADER)}, got {len(cells)} columns.")]
    sent = {name: plain_text(cell) for name, cell in zip(HEADER, cells, strict=False) if cell}
    try:
        return ScheduledLink(**ScheduledLinkSchema().load(sent)), []
    except ValidationError as error:
        messages: dict[str, list[str]] = error.messages_dict
        return None, [
            FieldError(f"/line/{line}/{name}", str(told[0])) for name, told in messages.items() if told
        ]


def _read_csv(raw: bytes) -> list[tuple[int, ScheduledLink]]:
    """Return the links of a CSV with the lines they stand on; all that is wrong is told at once."""
    links: list[tuple[int, ScheduledLink]] = []
    errors: list[FieldError] = []
    seen: dict[str, int] = {}
    for line, cells in _csv_rows(raw):
        if line == 1:
            if [cell.strip().casefold() for cell in cells] not in (list(HEADER), list(HEADER[:1])):
                raise InvalidBodyError([FieldError("/line/1", "The first line must say label,item_code.")])
            continue
        if not any(cells):
            continue
        link, found = _csv_link(line, cells)
        errors += found
        if link is not None and link.label in seen:
            errors.append(
                FieldError(f"/line/{line}/label", f"It stands on line {seen[link.label]} too.", link.label)
            )
        elif link is not None:
            seen[link.label] = line
            links.append((line, link))
    if len(links) > MOST_LINKS:
        errors.append(FieldError("", f"Expected at most {MOST_LINKS} links, got {len(links)}."))
    if errors:
        raise InvalidBodyError(errors[:50])
    return links


def _report(before: Job, links: list[tuple[int, ScheduledLink]]) -> Document:
    known = {link.label: link.item_code for link in before.schedule}

    def word(link: ScheduledLink) -> str:
        if link.label not in known:
            return "added"
        return "same" if known[link.label] == link.item_code else "changed"

    kept = {link.label for _, link in links}
    return {
        "schedule": [{"label": link.label, "item_code": link.item_code} for _, link in links],
        "lines": [{"line": line, "label": link.label, "result": word(link)} for line, link in links],
        "removed": [label for label in known if label not in kept],
    }


def _told(job: Job) -> Document:
    return {"schedule": schedule_document(job), "lines": [], "removed": []}


@blueprint.route("/jobs/<job_id>/schedule")
class Schedule(MethodView):
    """The links that a job must have."""

    @operate(
        blueprint,
        "getSchedule",
        scope=Scope.READ,
        query=FormatQuery,
        answer=ScheduleAnswerSchema,
        problems=(304, 404, 406),
        doc=CSV_DOC,
    )
    def get(self, query: Mapping[str, Any], job_id: str) -> Response:
        """Give the schedule as JSON or CSV."""
        job = visible_job(services().desk.store, caller(), job_id)
        form = asked_format(query.get("format"), {"json": JSON, "csv": CSV})
        if form == "csv":
            rows = [(link.label, link.item_code or "") for link in job.schedule]
            response = Response(csv_text(HEADER, rows), content_type=f"{CSV}; charset=utf-8; header=present")
        else:
            response = answered(_told(job))
        response.vary.add("Accept")
        return tagged_by_content(response, job_tag(job))

    @operate(
        blueprint,
        "putSchedule",
        scope=Scope.WRITE,
        query=WriteQuery,
        body=ScheduleSchema,
        answer=ScheduleAnswerSchema,
        headers=[if_match(required=True)],
        problems=CHANGE,
        doc={"requestBody": {"content": {CSV: {"schema": {"type": "string"}}}}},
    )
    def put(self, query: Mapping[str, Any], job_id: str) -> Response:
        """Replace the schedule, as JSON or as CSV with label and item_code; says what became of each line."""
        if request.mimetype not in (JSON, CSV):
            raise UnsupportedBodyError(f"Send {JSON} or {CSV}.")
        raw = body_bytes(services().settings)
        expected = expected_tags("job", job_id, required=True)
        if request.mimetype == CSV:
            links = _read_csv(raw)
        else:
            sent = loaded(ScheduleSchema(), json_object(raw))["schedule"]
            links = [(index, ScheduledLink(**link)) for index, link in enumerate(sent, 1)]
        desk, dry_run = services().desk, query["dry_run"]
        report = _report(visible_job(desk.store, caller(), job_id), links)
        values = {"schedule": tuple(link for _, link in links)}
        with terms(caller(), body=raw, dry_run=dry_run, expected=expected) as own:
            written = job_commands.change_job(desk, caller(), job_id, values, own)
        tag = document_tag(_told(written.job), job_tag(written.job))
        return answered(report, headers={"ETag": f'"{tag}"'})


@blueprint.route("/jobs/<job_id>/attachments")
class Attachments(MethodView):
    """The documents of a job."""

    @operate(blueprint, "listAttachments", scope=Scope.READ, answer=AttachmentListSchema, problems=(304, 404))
    def get(self, query: Mapping[str, Any], job_id: str) -> Response:
        """List the documents of a job with their digests."""
        with services().desk.store.reading() as reader:
            visible_job(reader, caller(), job_id)
            found = [attachment_document(attachment) for attachment in reader.attachments(job_id)]
        return tagged_by_content(answered({"attachments": found}))

    @operate(
        blueprint,
        "addAttachment",
        scope=Scope.WRITE,
        query=AttachmentQuery,
        body={"type": "string", "contentMediaType": OCTETS},
        media=(OCTETS,),
        answer=AttachmentSchema,
        status=201,
        also={200: AttachmentSchema},
        headers=[IDEMPOTENCY],
        problems=(404, 409),
    )
    def post(self, query: Mapping[str, Any], job_id: str) -> Response:
        """Keep a document of a job: a plan, a photograph, a signed sheet. Any media type will do."""
        if not request.mimetype:
            raise UnsupportedBodyError("Say what the document is: send a Content-Type.")
        settings, dry_run = services().settings, query["dry_run"]
        raw = body_bytes(replace(settings, max_body_bytes=settings.max_part_bytes))
        with terms(caller(), body=raw, dry_run=dry_run) as own:
            written = job_commands.attach(
                services().desk, caller(), job_id, raw, own, name=query["name"], media_type=request.mimetype
            )
        headers = {"Idempotent-Replayed": "true"} if written.replayed else {}
        if not dry_run:
            headers["Location"] = f"/v1/jobs/{job_id}/attachments/{written.attachment.id}"
        return answered(attachment_document(written.attachment), 200 if dry_run else 201, headers)


@blueprint.route("/jobs/<job_id>/attachments/<attachment_id>")
class OneAttachment(MethodView):
    """One document."""

    @operate(
        blueprint,
        "getAttachment",
        scope=Scope.READ,
        answer={"type": "string", "contentMediaType": OCTETS},
        answer_kind=OCTETS,
        problems=(304, 404),
    )
    def get(self, query: Mapping[str, Any], job_id: str, attachment_id: str) -> Response:
        """Give the bytes of a document, always to be saved and never shown in place."""
        with services().desk.store.reading() as reader:
            visible_job(reader, caller(), job_id)
            attachment = job_commands.attachment_of(reader, job_id, attachment_id)
            content = job_commands.attached_bytes(reader, attachment)
        response = Response(content, content_type=OCTETS)
        response.headers.set("Content-Disposition", "attachment", filename=attachment.name)
        return tagged_by_content(response)
