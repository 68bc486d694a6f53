"""A body of lines, each answered in its place as it comes, in memory that does not grow with them."""

from __future__ import annotations

import logging
import socket
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Final, Protocol

import orjson
from flask import Response, request, stream_with_context
from werkzeug.exceptions import ClientDisconnected

from fourpair_service.errors import ServiceError
from fourpair_service.http.body_errors import StreamsFullError
from fourpair_service.http.body_stream import check_coding, lines, pieces
from fourpair_service.http.document_body import read_document
from fourpair_service.http.following import CONNECTION
from fourpair_service.http.json_body import BodyTooLargeError, UnreadableBodyError, UnsupportedBodyError
from fourpair_service.http.problems import HTTP_PROBLEMS, document_of_error, problem_document
from fourpair_service.http.services import services
from fourpair_service.http.spool import unhurried
from fourpair_service.records.curves import Document

LOGGER: Final = logging.getLogger("fourpair.stream")
NDJSON: Final = "application/x-ndjson"
# Set by a server that lets only some of its workers stream at a time.
STREAMS: Final = "fourpair.streams"
# How long a client may neither send nor take anything. [s]
SILENCE_S: Final = 20.0

# A description of what such an operation reads and gives.
LINES_IN: Final = {NDJSON: {"schema": {"type": "string", "description": "a measurement document a line"}}}
LINES_OUT: Final = {200: {"content": {NDJSON: {"schema": {"type": "string"}}}}}
REFUSALS: Final = {
    415: "The kind of body is not supported",
    503: "As many streams are open as there may be; Retry-After says when",
}


class Streams(Protocol):
    """How many streams there may be at once."""

    def take(self) -> Callable[[], None] | None:
        """Return what gives the place back; ``None`` where there is none."""
        ...

    def alive(self) -> None:
        """Say that this worker is at work and not stuck."""
        ...


@dataclass(frozen=True, slots=True)
class Lines:
    """What is done with each line.

    Attributes:
        answer: gives the answer to a document, and by which word it is counted.
        refused: gives the answer to a line that an error belongs to; it gets the
            document where there was one, and the problem.
        words: counted in the end, the last one for refused lines.
        most_bytes: of a line.
        ratio: how many times its size a packed body may inflate to.
        as_written: documents are kept, so that ``12`` and ``12.0`` are told apart.
    """

    answer: Callable[[Any], tuple[str, Document]]
    refused: Callable[[Any, Document], Document]
    words: Sequence[str]
    most_bytes: int
    ratio: int
    as_written: bool

    def of(self, raw: bytes | None) -> tuple[str, Document]:
        """Return by which word a line is counted, and its answer."""
        document = None
        try:
            if raw is None:
                most = self.most_bytes
                raise BodyTooLargeError(f"The line has over {most} bytes; one measurement may have so many.")
            document = read_document(raw, as_written=self.as_written)
            return self.answer(document)
        except ServiceError as error:
            problem = document_of_error(error)
        except Exception:
            # One measurement that the service fails at must not take the others with it.
            LOGGER.exception("stream line failed")
            problem = problem_document(HTTP_PROBLEMS[500], HTTP_PROBLEMS[500].remedy)
        return self.words[-1], self.refused(document, problem)


def _answers(own: Lines, coding: str, alive: Callable[[], None]) -> Iterator[bytes]:
    counts = Counter(dict.fromkeys(own.words, 0))
    ended: Document = {}
    parts = pieces(request.stream, coding, ratio=own.ratio)
    try:
        for line in lines(parts, most=own.most_bytes):
            alive()
            if line is not None and not line.strip():
                continue
            word, answer = own.of(line)
            counts[word] += 1
            yield orjson.dumps({"line": counts.total(), **answer}) + b"\n"
    except ServiceError as error:
        ended = {"problem": document_of_error(error)}
    except (OSError, ClientDisconnected):
        silence = UnreadableBodyError(
            f"Nothing came for {SILENCE_S:g} s; send the lines that have no answer again."
        )
        ended = {"problem": document_of_error(silence)}
    told = {"lines": counts.total(), **counts, "complete": not ended}
    yield orjson.dumps({"end": told, **ended}) + b"\n"


def answer_lines(
    answer: Callable[[Any], tuple[str, Document]],
    *,
    words: Sequence[str],
    refused: Callable[[Any, Document], Document] = lambda document, problem: {"problem": problem},
    as_written: bool = False,
) -> Response:
    """Answer the request's body line by line; see :class:`Lines`.

    Raises:
        UnsupportedBodyError: it is no body of lines, or packed in a way that is not read.
        StreamsFullError: as many streams are open as there may be.
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
    settings = services().settings
    own = Lines(answer, refused, words, settings.max_body_bytes, settings.max_inflate_ratio, as_written)
    answers = _answers(own, coding, alive)
    response = Response(stream_with_context(unhurried(answers, connection)), content_type=NDJSON)
    # Also where the client went away before the first line, when no generator has begun.
    response.call_on_close(give_back)
    return response
