"""/v1/jobs/{id}/handover: the papers of a whole job."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator, Mapping
from hashlib import sha256
from pathlib import Path
from typing import Any, BinaryIO, Final

from flask import Response, request
from flask.views import MethodView

from fourpair_service.http.auth import caller
from fourpair_service.http.body_errors import StreamsFullError
from fourpair_service.http.handovers import (
    MEDIA,
    HandoverForm,
    asked_handover,
    check_reached,
    form_words,
    write_handover,
)
from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.line_stream import STREAMS, Streams
from fourpair_service.http.operation import IDEMPOTENCY, answered, operate
from fourpair_service.http.resources.revisions import asked_format
from fourpair_service.http.revalidation import TAG_LENGTH, tagged, tagged_by_content
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.schemas.handovers import FILE, HANDOVER_CONTENT, HandoverQuery, HandoverSchema
from fourpair_service.http.services import services
from fourpair_service.http.terms import terms
from fourpair_service.records.curves import Document
from fourpair_service.records.desk import visible_job
from fourpair_service.records.handovers.commands import file_pieces, place_order, visible_order
from fourpair_service.records.handovers.model import Order
from fourpair_service.records.keys import Scope

PIECE_BYTES: Final = 65_536

blueprint = StrictBlueprint("handovers", __name__, url_prefix="/v1", description="The papers of a whole job")


def _form(query: Mapping[str, Any]) -> HandoverForm:
    media = asked_format(query.get("format"), MEDIA)
    return asked_handover({**query, "format": media if media in MEDIA else "pdf"})


def _written(job_id: str, form: HandoverForm, alive: Callable[[], None]) -> BinaryIO:
    """Return a file with the handover, which nobody else sees and which goes when it is closed."""
    own = services()
    limits = DocumentLimits(curves=own.settings.max_curves, points_per_curve=own.settings.max_points)
    with tempfile.TemporaryDirectory(prefix="fourpair-handover-") as directory:
        target = Path(directory) / "handover"
        with own.desk.store.reading() as reader:
            job = visible_job(reader, caller(), job_id)
            write_handover(reader, job, form, target, own.catalogue, limits, lambda *_: alive())
        return target.open("rb")


def _pieces(file: BinaryIO) -> Iterator[bytes]:
    with file:
        while piece := file.read(PIECE_BYTES):
            yield piece


def file_response(pieces: Iterator[bytes], size: int, name: str, form: HandoverForm) -> Response:
    """Return a file to be saved."""
    more = "; charset=utf-8; header=present" if form.media == "csv" else ""
    response = Response(pieces, content_type=MEDIA[form.media] + more)
    response.content_length = size
    response.headers.set("Content-Disposition", "attachment", filename=name)
    response.headers["Content-Language"] = form.tongue
    response.headers["Cache-Control"] = "private, no-cache"
    response.vary.add("Accept")
    return response


def sent_handover(job_id: str, form: HandoverForm) -> Response:
    """Return the papers of a job, made while the client waits.

    Raises:
        NotFoundError: there is no such job, or it is not the caller's to see.
        StreamsFullError: as many workers make long answers as may.
    """
    visible_job(services().desk.store, caller(), job_id)
    streams: Streams | None = request.environ.get(STREAMS)
    give_back = (lambda: None) if streams is None else streams.take()
    if give_back is None:
        raise StreamsFullError
    try:
        file = _written(job_id, form, (lambda: None) if streams is None else streams.alive)
    except BaseException:
        give_back()
        raise
    seal = sha256()
    while piece := file.read(PIECE_BYTES):
        seal.update(piece)
    size = file.tell()
    file.seek(0)
    response = file_response(_pieces(file), size, f"{job_id}.{form.media}", form)
    # Also where the client went away before the first piece, when no generator has begun.
    response.call_on_close(file.close)
    response.call_on_close(give_back)
    return tagged(response, seal.hexdigest()[:TAG_LENGTH])


PATH: Final = "/jobs/<job_id>/handovers"


def _answer(order: Order) -> Document:
    return {
        "id": order.id,
        "job": order.job_id,
        "form": dict(order.form),
        "state": order.state.value,
        "done": order.done,
        "total": order.total,
        "size": order.size,
        "sha256": order.sha256,
        "trouble": order.trouble,
        "actor": order.actor,
        "created_at": order.created_at,
        "finished_at": order.finished_at,
    }


@blueprint.route(PATH)
class Handovers(MethodView):
    """Papers that are made beside the requests."""

    @operate(
        blueprint,
        "startHandover",
        scope=Scope.WRITE,
        query=HandoverQuery,
        answer=HandoverSchema,
        status=202,
        headers=[IDEMPOTENCY],
        problems=(404, 406, 409),
    )
    def post(self, query: Mapping[str, Any], job_id: str) -> Response:
        """Order the papers of a job: they are made beside the service, and how far they are can be asked."""
        asked = _form(query)
        form, desk = form_words(asked), services().desk
        with desk.store.reading() as reader:
            check_reached(reader, visible_job(reader, caller(), job_id), asked.as_of)
        with terms(caller(), body=b"", dry_run=False) as own:
            order, is_known = place_order(desk, caller(), job_id, form, own)
        headers = {"Location": f"/v1/jobs/{job_id}/handovers/{order.id}"}
        if is_known:
            headers["Idempotent-Replayed"] = "true"
        return answered(_answer(order), 202, headers)


@blueprint.route(f"{PATH}/<handover_id>")
class OneHandover(MethodView):
    """One order."""

    @operate(blueprint, "getHandoverState", scope=Scope.READ, answer=HandoverSchema, problems=(304, 404))
    def get(self, query: Mapping[str, Any], job_id: str, handover_id: str) -> Response:
        """Tell how far the papers are: how many links are done, of how many."""
        order = visible_order(services().desk.store, caller(), job_id, handover_id)
        return tagged_by_content(answered(_answer(order)))


@blueprint.route(f"{PATH}/<handover_id>/file")
class HandoverFile(MethodView):
    """The papers of an order."""

    @operate(
        blueprint,
        "getHandoverFile",
        scope=Scope.READ,
        answer=FILE,
        answer_kind=MEDIA["pdf"],
        problems=(304, 404, 409),
        doc=HANDOVER_CONTENT,
    )
    def get(self, query: Mapping[str, Any], job_id: str, handover_id: str) -> Response:
        """Give the papers of an order that is done; they are kept for a day."""
        store = services().desk.store
        order = visible_order(store, caller(), job_id, handover_id)
        form = asked_handover(order.form)
        pieces = file_pieces(store, order)
        response = file_response(pieces, order.size or 0, f"{job_id}.{form.media}", form)
        return tagged(response, (order.sha256 or order.id)[:TAG_LENGTH])


@blueprint.route("/jobs/<job_id>/handover")
class JobHandover(MethodView):
    """What a job hands over."""

    @operate(
        blueprint,
        "getHandover",
        scope=Scope.READ,
        query=HandoverQuery,
        answer=FILE,
        answer_kind=MEDIA["pdf"],
        problems=(304, 404, 406, 503),
        doc=HANDOVER_CONTENT,
    )
    def get(self, query: Mapping[str, Any], job_id: str) -> Response:
        """Give the papers of a whole job at once: summary, exceptions, history and the sheet of every link.

        The same state of the records gives the same bytes, and so does the same as_of whenever it is asked for.
        A thousand links take a minute or two.
        """
        return sent_handover(job_id, _form(query))
