"""Requests that meet each problem of jobs, records and keys."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any

from werkzeug.test import Client, TestResponse

from fourpair_service.app import create_app
from fourpair_service.background import Background
from fourpair_service.config import Settings
from fourpair_service.http.line_stream import STREAMS
from fourpair_service.records.errors import (
    ImportRefusedError,
    NotSupersedingError,
    RunHeldError,
    SchemaFromFutureError,
    StoreBusyError,
    StoreCorruptError,
    StoreError,
    StoreFullError,
    StoreReadOnlyError,
)
from fourpair_service.records.key_commands import KeyGrant, make_key
from fourpair_service.records.keys import Scope
from fourpair_service.storage.memory import MemoryStore
from fourpair_service.streams import StreamPlaces

LINK = {
    "label": "A",
    "job": "hall",
    "configuration": "channel",
    "requirement": {"rule_set": "TIA", "category": "6"},
}
CREATE = {"method": "POST", "path": "/v1/records", "json": LINK}
ANY = {"If-Match": "*"}


class FailingStore(MemoryStore):
    """A store that fails as a disk or a neighbour would."""

    def __init__(self, failure: Exception) -> None:
        super().__init__()
        self._failure = failure

    def prove_writing(self) -> None:
        """Fail."""
        raise self._failure


def _app(store: MemoryStore | None = None) -> Any:
    return create_app(clock=lambda: datetime(2026, 12, 1, tzinfo=UTC), store=store or MemoryStore())


def _client() -> Client:
    client = _app().test_client()
    client.post("/v1/jobs", json={"id": "hall", "name": "Hall"})
    return client


def _kept() -> tuple[Client, str]:
    client = _client()
    return client, client.post("/v1/records", json=LINK | {"external_ids": {"costing": "1"}}).headers[
        "Location"
    ]


def _keyed(*scopes: Scope, asked: int = 1, **more: Any) -> TestResponse:
    store = MemoryStore()
    grant = KeyGrant("k", frozenset(scopes), **more)
    made = make_key(store, grant, key_id="k", randomness=bytes(32), now="2026-11-01T00:00:00.000000Z")
    client = _app(store).test_client()
    headers = {"Authorization": f"Bearer {made.text}"}
    return [client.get("/v1/jobs", headers=headers) for _ in range(asked)][-1]


def _without_a_key() -> TestResponse:
    store = MemoryStore()
    grant = KeyGrant("k", frozenset({Scope.READ}))
    make_key(store, grant, key_id="k", randomness=bytes(32), now="2026-11-01T00:00:00.000000Z")
    return _app(store).test_client().get("/v1/jobs")


def _again(**changes: Any) -> TestResponse:
    client, _ = _kept()
    return client.post("/v1/records", json=LINK | changes)


def _key_used_twice() -> TestResponse:
    client, headers = _client(), {"Idempotency-Key": "k"}
    client.post("/v1/records", json=LINK, headers=headers)
    return client.post("/v1/records", json=LINK | {"label": "B"}, headers=headers)


def _running() -> TestResponse:
    app = _app()
    with app.extensions["fourpair"].running.claimed("anyone", "k"):
        return app.test_client().post("/v1/records", json=LINK, headers={"Idempotency-Key": "k"})


def _withdrawn() -> TestResponse:
    client, url = _kept()
    client.post(f"{url}/withdrawal", json={"reason": "x"}, headers=ANY)
    return client.post(f"{url}/withdrawal", json={"reason": "x"}, headers=ANY)


def _stale() -> TestResponse:
    client, url = _kept()
    return client.post(f"{url}/withdrawal", json={"reason": "x"}, headers={"If-Match": '"0-0"'})


def _unconditional() -> TestResponse:
    client, url = _kept()
    return client.post(f"{url}/withdrawal", json={"reason": "x"})


def _batch() -> TestResponse:
    return _client().post(
        "/v1/records:batch?mode=atomic", json={"records": [LINK, {"label": "B", "job": "hall"}]}
    )


def _failing(failure: Exception) -> Callable[[], TestResponse]:
    return lambda: _app(FailingStore(failure)).test_client().get("/readyz")


def _ended_run() -> TestResponse:
    app = _app()
    client = app.test_client()
    asked = {"requirement": {"rule_set": "TIA", "category": "6"}}
    url = client.post("/v1/assessments", json=asked).headers["Location"]
    Background(Settings(), app.extensions["fourpair"].desk).round()
    return client.post(f"{url}/stop")


def _streams_full() -> TestResponse:
    places = StreamPlaces(1)
    give_back = places.take()
    assert give_back is not None
    own = {"content_type": "application/x-ndjson", "environ_overrides": {STREAMS: places}}
    response = _client().post("/v1/grade/stream", data=b"{}", **own)
    give_back()
    places.close()
    return response


TRIGGERS: dict[str, Callable[[], TestResponse]] = {
    "not-kept": lambda: _client().get("/v1/jobs/none"),
    "revision-conflict": _stale,
    "precondition-missing": _unconditional,
    "idempotency-running": _running,
    "idempotency-mismatch": _key_used_twice,
    "label-taken": _again,
    "external-id-taken": lambda: _again(label="B", external_ids={"costing": "1"}),
    "job-exists": lambda: _client().post("/v1/jobs", json={"id": "hall", "name": "Hall"}),
    "record-withdrawn": _withdrawn,
    "invalid-record": lambda: _client().post("/v1/records", json={**LINK, "label": None}),
    "invalid-list": lambda: _client().get("/v1/records?cursor=none"),
    "invalid-key": lambda: _client().get("/v1/jobs", headers={"Authorization": "Bearer fpk_1"}),
    "key-missing": _without_a_key,
    "scope-missing": lambda: _keyed(Scope.GRADE),
    "rate-limited": lambda: _keyed(Scope.READ, asked=4, requests_per_minute=2),
    "batch-refused": _batch,
    "invalid-body": lambda: _client().post("/v1/jobs", json={}),
    "store-busy": _failing(StoreBusyError("Others are writing.")),
    "store-full": _failing(StoreFullError("There is no room left.")),
    "store-read-only": _failing(StoreReadOnlyError("It cannot be written.")),
    "store-corrupt": _failing(StoreCorruptError("It is damaged.")),
    "schema-from-future": _failing(SchemaFromFutureError("It is of a newer release.")),
    "store-failed": _failing(StoreError("It failed.")),
    "run-finished": _ended_run,
    "streams-full": _streams_full,
    "target-refused": lambda: _client().post("/v1/subscriptions", json={"url": "https://127.0.0.1/"}),
    # Met on the command line and by the commands of the core alone, told over HTTP all the same.
    "import-refused": _failing(ImportRefusedError("It was cut.")),
    "not-superseding": _failing(NotSupersedingError("r", current="a", proposed="b")),
    "run-held": _failing(RunHeldError("1", "night:1", "2026-12-01T00:00:00.000000Z")),
}
