"""POST /v1/records:batch and /v1/records:stream: many links at once, in one transaction or one by one."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from flask import Response, request
from flask.views import MethodView

from fourpair_service.errors import ServiceError
from fourpair_service.http.auth import caller
from fourpair_service.http.body_errors import BatchRefusedError, InvalidBodyError
from fourpair_service.http.document_body import read_document
from fourpair_service.http.json_body import BodyTooLargeError, UnreadableBodyError, UnsupportedBodyError
from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.line_stream import LINES_IN, NDJSON, answer_lines
from fourpair_service.http.operation import (
    IDEMPOTENCY,
    JSON,
    answered,
    json_object,
    operate,
)
from fourpair_service.http.problems import document_of_error
from fourpair_service.http.record_documents import result_word
from fourpair_service.http.resources.grade import body_bytes
from fourpair_service.http.resources.records import desk_of
from fourpair_service.http.schemas.document_errors import FieldError
from fourpair_service.http.schemas.queries import BatchQuery, GradedWriteQuery
from fourpair_service.http.schemas.record_answers import BatchAnswerSchema
from fourpair_service.http.services import services
from fourpair_service.http.terms import terms
from fourpair_service.records.appending import Written
from fourpair_service.records.curves import Document
from fourpair_service.records.desk import Terms
from fourpair_service.records.documents import first_reason
from fourpair_service.records.keys import Scope
from fourpair_service.records.upserts import ATOMIC, ItemResult, batch, upsert

MOST_ITEMS: Final = 1000
RESULTS: Final = ("created", "revised", "unchanged", "refused")

blueprint = StrictBlueprint("batch", __name__, url_prefix="/v1", description="Many links at once")


def _too_large(line: int, most: int) -> BodyTooLargeError:
    return BodyTooLargeError(f"Line {line} has over {most} bytes; one record may have so many.")


def _line(index: int, number: int, line: bytes, most: int) -> Any:
    """Return what a line holds, or the error that belongs in its place."""
    try:
        if len(line) > most:
            raise _too_large(number, most)
        return read_document(line, as_written=True)
    except UnreadableBodyError as error:
        told = f"Line {number}: {error.detail}"
        return UnreadableBodyError(told, f"/records/{index}{error.pointer}", error.value)
    except ServiceError as error:
        return error


def _lines(raw: bytes, most: int) -> list[Any]:
    """Return what each line holds, or why it cannot be read."""
    filled = [(number, line) for number, line in enumerate(raw.split(b"\n"), 1) if line.strip()]
    return [_line(index, number, line, most) for index, (number, line) in enumerate(filled)]


def _sent() -> tuple[bytes, list[Any]]:
    settings = services().settings
    if request.mimetype == NDJSON:
        raw = body_bytes(replace(settings, max_body_bytes=settings.max_part_bytes))
        return raw, _lines(raw, settings.max_body_bytes)
    if request.mimetype != JSON:
        raise UnsupportedBodyError(f"Send {JSON} with records, or {NDJSON} with a record a line.")
    raw = body_bytes(settings)
    document = json_object(raw)
    unknown = sorted(set(document) - {"records"})
    if unknown or not isinstance(document.get("records"), list):
        detail = "Send an object with records, a list of measurement documents, and nothing else."
        raise InvalidBodyError([FieldError(f"/{unknown[0]}" if unknown else "/records", detail)])
    return raw, document["records"]


def _checked(documents: list[Any], mode: str) -> list[Document | ServiceError]:
    """Return the documents, and of a partial batch what is none as the error that its item gets.

    Raises:
        InvalidBodyError: there are too many or none, or one of an atomic batch is no object.
        UnreadableBodyError: a line of an atomic batch cannot be read.
    """
    if not 1 <= len(documents) <= MOST_ITEMS:
        detail = (
            f"Send 1 to {MOST_ITEMS} records, not {len(documents)}; any number goes to /v1/records:stream."
        )
        raise InvalidBodyError([FieldError("/records", detail)])
    checked = [_object(document, f"/records/{index}") for index, document in enumerate(documents)]
    broken = next((each for each in checked if isinstance(each, ServiceError)), None)
    if broken is not None and mode == ATOMIC:
        raise broken
    return checked


def _object(document: Any, pointer: str) -> Document | ServiceError:
    if isinstance(document, dict | ServiceError):
        return document
    return InvalidBodyError([FieldError(pointer, "Expected an object.")])


def _named(sent: Any) -> Document:
    """Return what an item calls itself, for its answer."""
    own = sent if isinstance(sent, dict) else {}
    label, ids = own.get("label"), own.get("external_ids")
    return {
        "label": label if isinstance(label, str) else None,
        "external_ids": ids if isinstance(ids, dict) else {},
    }


def _told(sent: Any, written: Written | None, problem: Document | None) -> Document:
    return {
        **_named(sent),
        "result": "refused" if written is None else result_word(written),
        "record": written.record.id if written else None,
        "revision": written.revision.number if written else None,
        "outcome": written.revision.outcome if written else None,
        "reason": first_reason(written.verdict) if written else None,
        "problem": problem,
    }


def _item(documents: Sequence[Document | ServiceError], item: ItemResult) -> Document:
    problem = document_of_error(item.error) if item.error else None
    return {"index": item.index, **_told(documents[item.index], item.written, problem)}


@blueprint.route("/records:batch")
class Batch(MethodView):
    """Many records."""

    @operate(
        blueprint,
        "upsertRecords",
        scope=Scope.WRITE,
        query=BatchQuery,
        body={
            "type": "object",
            "required": ["records"],
            "additionalProperties": False,
            "properties": {
                "records": {
                    "type": "array",
                    "minItems": 1,
                    "maxItems": MOST_ITEMS,
                    "items": {"$ref": "#/components/schemas/Measurement"},
                }
            },
        },
        answer=BatchAnswerSchema,
        headers=[IDEMPOTENCY],
        problems=(404, 409),
        other_media={NDJSON: {"type": "string", "description": "a measurement document a line"}},
    )
    def post(self, query: Mapping[str, Any]) -> Response:
        """Make or retest up to 1000 records in one transaction, each with its own result.

        A record is found by its first external id, else by job and label; the same
        measurement once more changes nothing. ``mode=atomic`` keeps all or nothing;
        otherwise an item or line that cannot be kept gets a problem in its place.
        """
        raw, sent = _sent()
        documents, dry_run = _checked(sent, query["mode"]), query["dry_run"]

        def told(items: Sequence[ItemResult]) -> Document:
            return {"kept": not dry_run, "dry_run": dry_run, "items": [_item(documents, i) for i in items]}

        with terms(caller(), body=raw, dry_run=dry_run) as own:
            result = batch(desk_of(query), caller(), documents, own, mode=query["mode"], told=told)
        if result.known is not None:
            return answered(result.known.answer, headers={"Idempotent-Replayed": "true"})
        if query["mode"] == ATOMIC and any(item.error for item in result.items):
            raise BatchRefusedError(
                [FieldError(f"/records/{i.index}", str(i.error)) for i in result.items if i.error]
            )
        return answered(told(result.items))


@blueprint.route("/records:stream")
class RecordStream(MethodView):
    """Any number of records."""

    @operate(
        blueprint,
        "streamRecords",
        scope=Scope.WRITE,
        query=GradedWriteQuery,
        body=LINES_IN[NDJSON]["schema"],
        media=(NDJSON,),
        answer={"type": "string", "description": "an item a line, as of records:batch, and an end"},
        answer_kind=NDJSON,
        problems=(503,),
    )
    def post(self, query: Mapping[str, Any]) -> Response:
        """Make or retest any number of records, one a line, each kept by itself and answered in its place.

        A line is answered once its record is safe; a line that cannot be kept gets a
        problem in its place and the stream goes on. A record is found as by records:batch, so
        that lines may be sent again: the same measurement changes nothing, whatever
        Idempotency-Key says. The last line is the end, with the number of lines: without it, the stream was cut.
        """
        desk, own = desk_of(query), caller()
        terms_ = Terms(dry_run=query["dry_run"])

        def kept(document: Any) -> tuple[str, Document]:
            if not isinstance(document, dict):
                raise InvalidBodyError([FieldError("", "Expected an object: one measurement document.")])
            written = upsert(desk, own, document, terms_)
            return result_word(written), _told(document, written, None)

        return answer_lines(
            kept,
            words=RESULTS,
            refused=lambda document, problem: _told(document, None, problem),
            as_written=True,
        )
