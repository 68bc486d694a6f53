"""POST /v1/grade/stream: many measurements in, one a line; a verdict for each comes back, in order."""

from __future__ import annotations

import logging
import socket
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final, Protocol

import orjson
from flask import Response, request, stream_with_context
from flask.views import MethodView

from fourpair_service.errors import ServiceError
from fourpair_service.http.assessment import Detail
from fourpair_service.http.body_errors import StreamsFullError
from fourpair_service.http.body_stream import check_coding, lines, pieces
from fourpair_service.http.document_body import read_document
from fourpair_service.http.following import CONNECTION
from fourpair_service.http.grading import GradeRequest, grade_document
from fourpair_service.http.json_body import BodyTooLargeError, UnreadableBodyError, UnsupportedBodyError
from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.problems import HTTP_PROBLEMS, document_of_error, problem_document
from fourpair_service.http.resources.batch import NDJSON
from fourpair_service.http.resources.grade import GradeQuery
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.schemas.measurement import RequirementRequest
from fourpair_service.http.services import Services, services
from fourpair_service.http.spool import unhurried
from fourpair_service.records.curves import Document

LOGGER: Final = logging.getLogger("fourpair.stream")
# Set by a server that lets only some of its workers stream at a time.
STREAMS: Final = "fourpair.streams"
# How long a client may neither send nor take anything. [s]
SILENCE_S: Final = 20.0

blueprint = StrictBlueprint(
    "grade-stream", __name__, url_prefix="/v1", description="Grading many, one a line"
)


class Streams(Protocol):
    """How many streams there may be at once."""

    def take(self) -> Callable[[], None] | None:
        """Return what gives the place back; ``None`` where there is none."""
        ...

    def alive(self) -> None:
        """Say that this worker is at work and not stuck."""
        ...


def _graded(own: Services, query: Mapping[str, Any], raw: bytes | None) -> Document:
    most = own.settings.max_body_bytes
    if raw is None:
        raise BodyTooLargeError(f"The line has over {most} bytes; one measurement may have so many.")
    asked = {name: value for name, value in query.items() if name != "assessment"}
    return grade_document(
        GradeRequest(
            read_document(raw),
            RequirementRequest(**asked),
            detail=Detail(query.get("assessment", Detail.FAULTS)),
        ),
        own.catalogue,
        limits=DocumentLimits(curves=own.settings.max_curves, points_per_curve=own.settings.max_points),
        now=own.clock(),
    )


def _answer(own: Services, query: Mapping[str, Any], raw: bytes | None) -> Document:
    try:
        return _graded(own, query, raw)
    except ServiceError as error:
        return {"problem": document_of_error(error)}
    except Exception:
        # One measurement that the service fails at must not take the others with it.
        LOGGER.exception("stream line failed")
        return {"problem": problem_document(HTTP_PROBLEMS[500], HTTP_PROBLEMS[500].remedy)}


def _answers(
    own: Services, query: Mapping[str, Any], coding: str, alive: Callable[[], None]
) -> Iterator[bytes]:
    number = graded = 0
    ended: Document = {}
    parts = pieces(request.stream, coding, ratio=own.settings.max_inflate_ratio)
    try:
        for line in lines(parts, most=own.settings.max_body_bytes):
            alive()
            if line is not None and not line.strip():
                continue
            number += 1
            answer = _answer(own, query, line)
            graded += "problem" not in answer
            yield orjson.dumps({"line": number, **answer}) + b"\n"
    except ServiceError as error:
        ended = {"problem": document_of_error(error)}
    except OSError:
        silence = UnreadableBodyError(
            f"Nothing came for {SILENCE_S:g} s; send the lines that have no answer again."
        )
        ended = {"problem": document_of_error(silence)}
    told = {"lines": number, "graded": graded, "problems": number - graded, "complete": not ended}
    yield orjson.dumps({"end": told, **ended}) + b"\n"


def _held(answers: Iterator[bytes], give_back: Callable[[], None]) -> Iterator[bytes]:
    try:
        yield from answers
    finally:
        give_back()


@blueprint.route("/grade/stream")
class GradeStream(MethodView):
    """Grading of many measurements."""

    @blueprint.arguments(GradeQuery, location="query")
    @blueprint.response(
        200, description="One object a line: an answer as of POST /v1/grade or a problem, and an end"
    )
    @blueprint.alt_response(415, description="The kind of body is not supported")
    @blueprint.alt_response(
        503, description="As many streams are open as there may be; Retry-After says when"
    )
    @blueprint.doc(
        operationId="gradeStream",
        requestBody={
            "required": True,
            "content": {
                NDJSON: {"schema": {"type": "string", "description": "a measurement document a line"}}
            },
        },
        responses={200: {"content": {NDJSON: {"schema": {"type": "string"}}}}},
    )
    def post(self, query: Mapping[str, Any]) -> Response:
        """Grade many measurements, one a line, each answered in its place; nothing is stored.

        A line that cannot be graded gets a problem in its place and the stream goes
        on. The last line is the end, with the number of lines: without it, the stream was cut.
        """
        if request.mimetype != NDJSON:
            raise UnsupportedBodyError(f"Send {NDJSON}: one measurement document a line.")
        coding = check_coding(request.headers.get("Content-Encoding", "identity"))
        streams: Streams | None = request.environ.get(STREAMS)
        give_back = (lambda: None) if streams is None else streams.take()
        if give_back is None:
            raise StreamsFullError
        connection: socket.socket | None = request.environ.get(CONNECTION)
        if connection is not None:
            connection.settimeout(SILENCE_S)
        # The whole is not bounded; each line is.
        request.max_content_length = None
        alive = (lambda: None) if streams is None else streams.alive
        answers = _answers(services(), query, coding, alive)
        content = stream_with_context(_held(unhurried(answers, connection), give_back))
        return Response(content, content_type=NDJSON)
