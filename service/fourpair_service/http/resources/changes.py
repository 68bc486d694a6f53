"""/v1/changes, /v1/stats, /v1/idempotency, /v1/reconcile: what other systems follow."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from flask import Response, request
from flask.views import MethodView

from fourpair_service.http.auth import caller
from fourpair_service.http.kit import StrictBlueprint
from fourpair_service.http.operation import JSON, answered, json_object, loaded, operate, raw_body
from fourpair_service.http.record_documents import change_document
from fourpair_service.http.resources.records import filter_of
from fourpair_service.http.revalidation import tagged_by_content
from fourpair_service.http.schemas.change_answers import (
    ChangesSchema,
    IdempotencySchema,
    ReconciledSchema,
    StatsSchema,
)
from fourpair_service.http.schemas.jobs import ReconcileSchema
from fourpair_service.http.schemas.queries import ChangesQuery, StatsQuery
from fourpair_service.http.services import services
from fourpair_service.records.curves import Document
from fourpair_service.records.errors import InvalidQueryError
from fourpair_service.records.keys import Scope
from fourpair_service.records.model import Change
from fourpair_service.records.ports import Reader
from fourpair_service.records.reconciling import reconcile
from fourpair_service.records.search import GroupBy

# How long a waiting reader sleeps between two looks. [s]
NAP_S: Final = 0.2
# Set by a server that keeps waiting readers apart from its workers.
TAKE_WAITING: Final = "fourpair.take_waiting"
HANDED_OVER: Final = "fourpair.handed_over"

# Whoever followed a store that was put back to a backup would else wait in silence, and then miss what comes.
AHEAD: Final = (
    "The feed has come to {last}: {after} was given by another store, or by this one before a backup was put "
    "back. Go on from a seq before that, and compare with POST /v1/reconcile what you hold."
)

blueprint = StrictBlueprint("changes", __name__, url_prefix="/v1", description="What other systems follow")


def _page(query: Mapping[str, Any]) -> tuple[Sequence[Change], int]:
    jobs = caller().asked([query["job"]] if "job" in query else None)
    with services().desk.store.reading() as reader:
        newest = reader.last_change()
        last = newest.seq if newest else 0
        if query["after"] > last:
            raise InvalidQueryError("after", AHEAD.format(last=last, after=query["after"]))
        return reader.changes(after=query["after"], limit=query["limit"], jobs=jobs), last


def waited(query: Mapping[str, Any]) -> tuple[Sequence[Change], int]:
    """Return the entries of the feed that a query asks for, as soon as there are any, and its last ``seq``."""
    found, last = _page(query)
    take = request.environ.get(TAKE_WAITING)
    if found or not query["wait"]:
        return found, last
    if take is not None and take(request.environ, query["wait"], last):
        request.environ[HANDED_OVER] = True
        return found, last
    for _ in range(round(query["wait"] / NAP_S) if take is None else 0):
        services().sleep(NAP_S)
        found, last = _page(query)
        if found:
            break
    return found, last


def reached(found: Sequence[Change], last: int, query: Mapping[str, Any]) -> int:
    """Return after which ``seq`` a reader goes on who was given these entries."""
    # An entry committed since must not be skipped: a full page ends with its own last one.
    return found[-1].seq if len(found) >= query["limit"] else max(last, query["after"])


@blueprint.route("/changes")
class Changes(MethodView):
    """The change feed."""

    @operate(
        blueprint, "listChanges", scope=Scope.READ, query=ChangesQuery, answer=ChangesSchema, problems=(304,)
    )
    def get(self, query: Mapping[str, Any]) -> Response:
        """Give what was committed after a ``seq``, in order and without gaps; with wait, as soon as there is any.

        A key that sees some jobs alone gets their entries; ``seq`` then skips those of
        others. An empty answer before the wait is over means: ask again.
        """
        found, last = waited(query)
        changes = [change_document(change, caller()) for change in found]
        document = {"changes": changes, "next_after": reached(found, last, query), "last_seq": last}
        return tagged_by_content(answered(document))


def _values(reader: Reader, by: Sequence[GroupBy], values: Sequence[str | None]) -> dict[str, str | None]:
    told = dict(zip((each.value for each in by), values, strict=True))
    tester = told.get(GroupBy.TESTER.value)
    if tester is not None:
        party = reader.party(tester)
        told[GroupBy.TESTER.value] = party.name if party else None
    return told


@blueprint.route("/stats")
class Stats(MethodView):
    """Counts."""

    @operate(blueprint, "getStats", scope=Scope.READ, query=StatsQuery, answer=StatsSchema, problems=(304,))
    def get(self, query: Mapping[str, Any]) -> Response:
        """Count records by job, outcome, category, tester or month, with the worst headroom of each group."""
        by = [each for each in GroupBy if each.value in query["by"]]
        with services().desk.store.reading() as reader:
            last = reader.last_change()
            groups = [
                {
                    "values": _values(reader, by, group.values),
                    "records": group.links,
                    "worst_headroom_db": group.worst_headroom_db,
                }
                for group in reader.stats(filter_of(query), by)
            ]
        document = {"seq": last.seq if last else 0, "groups": groups}
        return tagged_by_content(answered(document))


@blueprint.route("/idempotency/<key>")
class Idempotency(MethodView):
    """What became of a request."""

    @operate(blueprint, "getIdempotency", scope=Scope.WRITE, answer=IdempotencySchema, problems=(304,))
    def get(self, query: Mapping[str, Any], key: str) -> Response:
        """Say what became of an idempotency key: landed, running, or not landed so far.

        Sending the request again with the same key is safe in all three.
        """
        own = services()
        is_running = own.running.has(caller().actor, key)
        entry = own.desk.store.idempotency(caller().actor, key)
        state = "landed" if entry else "running" if is_running else "not_landed"
        return tagged_by_content(
            answered(
                {
                    "key": key,
                    "state": state,
                    "subject": entry.subject if entry else None,
                    "subject_id": entry.subject_id if entry else None,
                    "revision": entry.number if entry else None,
                    "seq": entry.seq if entry else None,
                    "at": entry.at if entry else None,
                }
            )
        )


@blueprint.route("/reconcile")
class Reconcile(MethodView):
    """Whether two systems hold the same."""

    @operate(blueprint, "reconcile", scope=Scope.READ, body=ReconcileSchema, answer=ReconciledSchema)
    def post(self, query: Mapping[str, Any]) -> Response:
        """Compare external ids and measurement digests with what is kept: same, changed, missing, extra."""
        asked: Document = loaded(ReconcileSchema(), json_object(raw_body((JSON,))))
        with services().desk.store.reading() as reader:
            return answered(
                reconcile(reader, caller(), asked["system"], asked["records"], job_id=asked.get("job"))
            )
