"""/v1/jobs/{id}/handover: the papers of a whole job."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, BinaryIO, Final

from flask import Response, request
from flask.views import MethodView

from fourpair_service.http.auth import caller
from fourpair_service.http.body_errors import StreamsFullError
from fourpair_service.http.handovers import MEDIA, HandoverForm, asked_handover, write_handover
from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.line_stream import STREAMS, Streams
from fourpair_service.http.operation import operate
from fourpair_service.http.resources.revisions import asked_format
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.schemas.handovers import FILE, HANDOVER_CONTENT, HandoverQuery
from fourpair_service.http.services import services
from fourpair_service.records.desk import visible_job
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


def _pieces(file: BinaryIO, give_back: Callable[[], None]) -> Iterator[bytes]:
    try:
        with file:
            while piece := file.read(PIECE_BYTES):
                yield piece
    finally:
        give_back()


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
        problems=(404, 406, 503),
        doc=HANDOVER_CONTENT,
    )
    def get(self, query: Mapping[str, Any], job_id: str) -> Response:
        """Give the papers of a whole job at once: summary, exceptions, history and the sheet of every link.

        The same state of the records gives the same bytes. A thousand links take a minute or two.
        """
        form = _form(query)
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
        size = file.seek(0, 2)
        file.seek(0)
        return file_response(_pieces(file, give_back), size, f"{job_id}.{form.media}", form)
