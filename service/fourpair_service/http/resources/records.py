"""/v1/records: the certification records of links."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from flask import Response
from flask.views import MethodView

from fourpair_service.http.assessment import Detail
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
from fourpair_service.http.record_documents import record_document, revision_document, written_document
from fourpair_service.http.record_grader import RecordGrader
from fourpair_service.http.resources.grade import OTHER_FORMS
from fourpair_service.http.revalidation import document_tag, tagged_by_content
from fourpair_service.http.schemas.jobs import WithdrawalSchema
from fourpair_service.http.schemas.measurement import MeasurementSchema
from fourpair_service.http.schemas.queries import (
    AsOfQuery,
    CorrectionQuery,
    GradedWriteQuery,
    RecordsQuery,
    RetestQuery,
    WriteQuery,
)
from fourpair_service.http.schemas.record_answers import RecordAnswerSchema, RecordListSchema, WrittenSchema
from fourpair_service.http.sent_measurement import sent_measurement
from fourpair_service.http.services import services
from fourpair_service.http.terms import expected_tags, terms
from fourpair_service.records import commands, search, upserts
from fourpair_service.records.appending import Written
from fourpair_service.records.commands import CORRECTABLE
from fourpair_service.records.desk import (
    Desk,
    record_tag,
    visible_record,
    visible_revision,
    visible_revision_as_of,
)
from fourpair_service.records.errors import NotFoundError
from fourpair_service.records.keys import Scope
from fourpair_service.records.model import PartyKind, Record, Revision
from fourpair_service.records.ports import Reader
from fourpair_service.records.times import instant
from fourpair_service.rulesets.errors import UnknownRuleSetError

WITHDRAWN: Final = {"no": False, "only": True, "also": None}
NO_ONE: Final = "no-one"
CREATION: Final = (404, 409)
CHANGE: Final = (404, 409, 412, 428)

blueprint = StrictBlueprint(
    "records", __name__, url_prefix="/v1", description="The certification record of each link"
)

CORRECTION_BODY: Final = {
    "type": "object",
    "description": "A merge patch (RFC 7396) of how the link is called and described",
    "additionalProperties": False,
    "properties": {
        "label": {"type": "string", "minLength": 1, "maxLength": 200},
        "job": {"type": "string", "minLength": 1, "maxLength": 200},
        "tested_by": {"type": ["string", "null"]},
        "notes": {"type": ["string", "null"]},
        "ends": {"type": ["object", "null"]},
        "cable": {"type": ["object", "null"]},
        "external_ids": {
            "type": ["object", "null"],
            "description": "by system; null takes one away",
            "additionalProperties": {"type": ["string", "null"]},
        },
    },
}
assert set(CORRECTION_BODY["properties"]) == set(CORRECTABLE)  # type: ignore[call-overload]


def desk_of(query: Mapping[str, Any]) -> Desk:
    """Return the desk, saying as much beside the verdict as the query asks."""
    desk = services().desk
    if query.get("assessment") is None or not isinstance(desk.grade, RecordGrader):
        return desk
    return replace(desk, grade=replace(desk.grade, detail=Detail(query["assessment"])))


def written_response(written: Written, *, dry_run: bool) -> Response:
    """Return what a write did, with the ETag that the next one can rest on."""
    store = services().desk.store
    document = written_document(store, written, dry_run=dry_run)
    is_new = document["result"] == "created" and not dry_run
    read = {name: document[name] for name in ("record", "revision")}
    headers = {"ETag": f'"{document_tag(read, record_tag(written.revision))}"'}
    if written.replayed:
        headers["Idempotent-Replayed"] = "true"
    if is_new:
        headers["Location"] = f"/v1/records/{written.record.id}"
    return answered(document, 201 if is_new else 200, headers)


def record_response(reader: Reader, record: Record, revision: Revision) -> Response:
    """Return a record and one of its revisions."""
    seq = reader.revision_seqs(record.id)[revision.number]
    document = {"record": record_document(reader, record), "revision": revision_document(revision, seq)}
    return tagged_by_content(answered(document), record_tag(revision))


def revision_at(reader: Reader, record: Record, as_of: int | None) -> Revision:
    """Return the newest revision, or the newest at a ``seq``.

    Raises:
        NotFoundError: the record did not exist then, or not where the caller sees it.
    """
    if as_of is None:
        return visible_revision(reader, caller(), record.id, record.revision)
    return visible_revision_as_of(reader, caller(), record.id, as_of)


def _instant(query: Mapping[str, Any], name: str) -> str | None:
    return instant(query[name]) if name in query else None


def _rule_set_id(name: str | None) -> str | None:
    """Return the id of a rule set: TIA and ISO mean what they mean where a link is graded.

    A record may rest on one that is not loaded any more, so an unknown name is taken as an id.
    """
    try:
        return None if name is None else services().catalogue.get(name).id
    except UnknownRuleSetError:
        return name


def filter_of(query: Mapping[str, Any]) -> search.Filter:
    """Return the filter of a query, within what the caller sees."""
    tester = None
    if "tested_by" in query:
        party = services().desk.store.party_named(PartyKind.PERSON, query["tested_by"])
        tester = party.id if party else NO_ONE
    return search.Filter(
        visible_jobs=caller().jobs,
        job_id=query.get("job"),
        label_prefix=query.get("label_prefix"),
        outcomes=query.get("outcome"),
        category=query.get("category"),
        category_met=query.get("category_met"),
        margin_min_db=query.get("margin_min_db"),
        margin_max_db=query.get("margin_max_db"),
        tester_id=tester,
        tested_from=_instant(query, "tested_from"),
        tested_to=_instant(query, "tested_to"),
        changed_from=_instant(query, "changed_from"),
        changed_to=_instant(query, "changed_to"),
        external_system=query.get("external_system"),
        external_value=query.get("external_id"),
        application=query.get("application"),
        power_type=query.get("power_type"),
        fault=query.get("fault"),
        rule_set_id=_rule_set_id(query.get("rule_set")),
        provisional=query.get("provisional"),
        withdrawn=WITHDRAWN[query.get("withdrawn", "no")],
    )


@blueprint.route("/records")
class Records(MethodView):
    """The records of all jobs that a caller sees."""

    @operate(
        blueprint,
        "createRecord",
        scope=Scope.WRITE,
        query=GradedWriteQuery,
        body=MeasurementSchema,
        other_media=OTHER_FORMS,
        answer=WrittenSchema,
        status=201,
        also={200: WrittenSchema},
        headers=[IDEMPOTENCY],
        problems=CREATION,
    )
    def post(self, query: Mapping[str, Any]) -> Response:
        """Grade a link and keep its record.

        The document names its job and its label. Sweeps may come as Touchstone or CSV
        files beside it, or as numbers behind it; the record keeps them in its document.
        With dry_run the same checks are made, the same verdict is given, and nothing is kept.
        """
        raw, document = sent_measurement()
        dry_run = query["dry_run"]
        with terms(caller(), body=raw, dry_run=dry_run) as own:
            written = commands.submit(desk_of(query), caller(), document, own)
        return written_response(written, dry_run=dry_run)

    @operate(
        blueprint,
        "listRecords",
        scope=Scope.READ,
        query=RecordsQuery,
        answer=RecordListSchema,
        problems=(304,),
    )
    def get(self, query: Mapping[str, Any]) -> Response:
        """List records; every filter can be combined with every other."""
        store, sort, limit = services().desk.store, search.sort_of(query["sort"]), query["limit"]
        after = search.position_of(query["cursor"], sort) if "cursor" in query else None
        with store.reading() as reader:
            found = reader.records(filter_of(query), sort, after=after, limit=limit + 1)
            page = [record_document(reader, record) for record in found[:limit]]
        cursor = search.cursor(found[limit - 1], sort) if len(found) > limit else None
        return tagged_by_content(linked(answered({"records": page, "next_cursor": cursor}), cursor))


@blueprint.route("/records/<record_id>")
class OneRecord(MethodView):
    """One record."""

    @operate(
        blueprint,
        "getRecord",
        scope=Scope.READ,
        query=AsOfQuery,
        answer=RecordAnswerSchema,
        problems=(304, 404),
    )
    def get(self, query: Mapping[str, Any], record_id: str) -> Response:
        """Show a record with its newest revision, or the newest at a moment of the feed."""
        with services().desk.store.reading() as reader:
            record = visible_record(reader, caller(), record_id)
            return record_response(reader, record, revision_at(reader, record, query.get("as_of")))

    @operate(
        blueprint,
        "correctRecord",
        scope=Scope.WRITE,
        query=CorrectionQuery,
        body=CORRECTION_BODY,
        media=(MERGE_PATCH, JSON),
        answer=WrittenSchema,
        headers=[if_match(required=True)],
        problems=CHANGE,
    )
    def patch(self, query: Mapping[str, Any], record_id: str) -> Response:
        """Correct how a link is called or described; what was measured changes by a retest alone."""
        raw = raw_body((MERGE_PATCH, JSON))
        expected = expected_tags("record", record_id, required=True)
        patch, dry_run = json_object(raw), query["dry_run"]
        with terms(caller(), body=raw, dry_run=dry_run, expected=expected) as own:
            written = commands.correct(
                services().desk, caller(), record_id, patch, own, reason=query["reason"]
            )
        return written_response(written, dry_run=dry_run)


@blueprint.route("/records/<record_id>/retests")
class Retests(MethodView):
    """New measurements of a link."""

    @operate(
        blueprint,
        "retestRecord",
        scope=Scope.WRITE,
        query=RetestQuery,
        body=MeasurementSchema,
        other_media=OTHER_FORMS,
        answer=WrittenSchema,
        headers=[IDEMPOTENCY, if_match(required=True)],
        problems=CHANGE,
    )
    def post(self, query: Mapping[str, Any], record_id: str) -> Response:
        """Keep a new measurement of the same link."""
        raw, document = sent_measurement()
        expected = expected_tags("record", record_id, required=True)
        dry_run = query["dry_run"]
        with terms(caller(), body=raw, dry_run=dry_run, expected=expected) as own:
            written = commands.retest(
                desk_of(query), caller(), record_id, document, own, reason=query.get("reason")
            )
        return written_response(written, dry_run=dry_run)


@blueprint.route("/records/<record_id>/withdrawal")
class Withdrawal(MethodView):
    """Taking a record out of the count."""

    @operate(
        blueprint,
        "withdrawRecord",
        scope=Scope.WRITE,
        query=WriteQuery,
        body=WithdrawalSchema,
        answer=WrittenSchema,
        headers=[IDEMPOTENCY, if_match(required=True)],
        problems=CHANGE,
    )
    def post(self, query: Mapping[str, Any], record_id: str) -> Response:
        """Withdraw a record; its chain stays, its label is free again."""
        raw = raw_body((JSON,))
        expected = expected_tags("record", record_id, required=True)
        asked, dry_run = loaded(WithdrawalSchema(), json_object(raw)), query["dry_run"]
        with terms(caller(), body=raw, dry_run=dry_run, expected=expected) as own:
            written = commands.withdraw(services().desk, caller(), record_id, own, reason=asked["reason"])
        return written_response(written, dry_run=dry_run)


@blueprint.route("/records/by-external-id/<system>/<external_id>")
class ByExternalId(MethodView):
    """A record by what another system calls it."""

    @operate(
        blueprint, "getRecordByExternalId", scope=Scope.READ, answer=RecordAnswerSchema, problems=(304, 404)
    )
    def get(self, query: Mapping[str, Any], system: str, external_id: str) -> Response:
        """Show the record that has an external id and is not withdrawn."""
        with services().desk.store.reading() as reader:
            record = reader.record_with_external_id(system, external_id)
            if record is None or not caller().sees(record.job_id):
                raise NotFoundError("record with external id", f"{system}:{external_id}")
            return record_response(reader, record, revision_at(reader, record, None))

    @operate(
        blueprint,
        "upsertRecord",
        scope=Scope.WRITE,
        query=GradedWriteQuery,
        body=MeasurementSchema,
        other_media=OTHER_FORMS,
        answer=WrittenSchema,
        also={201: WrittenSchema},
        headers=[IDEMPOTENCY, if_match(required=False)],
        problems=(404, 409, 412),
    )
    def put(self, query: Mapping[str, Any], system: str, external_id: str) -> Response:
        """Make the record of an external id, or retest it; the same measurement once more changes nothing."""
        raw, document = sent_measurement()
        expected = expected_tags("record", external_id, required=False)
        dry_run = query["dry_run"]
        external = upserts.ExternalId(system, external_id)
        with terms(caller(), body=raw, dry_run=dry_run, expected=expected) as own:
            written = upserts.upsert(desk_of(query), caller(), document, own, external)
        return written_response(written, dry_run=dry_run)
