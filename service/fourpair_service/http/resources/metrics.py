"""GET /metrics: for Prometheus."""

from __future__ import annotations

import os

from flask import Blueprint, Response

from fourpair_service.http.auth import caller, needs
from fourpair_service.http.metrics import gauge
from fourpair_service.http.services import services
from fourpair_service.records.keys import Scope
from fourpair_service.records.search import Filter, GroupBy

MEDIA_TYPE = "text/plain; version=0.0.4; charset=utf-8"

blueprint = Blueprint("metrics", __name__)


@blueprint.get("/metrics")
@needs(Scope.READ)
def metrics() -> Response:
    """Give what the service tells of itself."""
    own = services()
    with own.desk.store.reading() as reader:
        last = reader.last_change()
        groups = reader.stats(Filter(visible_jobs=caller().jobs), [GroupBy.OUTCOME])
    lines = [
        *own.metrics.lines(str(os.getpid())),
        *gauge("fourpair_change_seq", "The last entry of the change feed.", {(): last.seq if last else 0}),
        *gauge(
            "fourpair_records",
            "Records that are not withdrawn, by outcome.",
            {(("outcome", str(group.values[0])),): group.links for group in groups},
        ),
    ]
    return Response("\n".join(lines) + "\n", content_type=MEDIA_TYPE)
