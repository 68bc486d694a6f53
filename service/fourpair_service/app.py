"""The composition of the service."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable
from datetime import UTC, datetime

from flask import Flask

from fourpair_service.config import Settings
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.http.assessment import Detail
from fourpair_service.http.auth import SCHEMES, KeyUses, describe_scopes, guard
from fourpair_service.http.following import HandingOver
from fourpair_service.http.kit import ProblemApi, describe, harden
from fourpair_service.http.links import describe_links
from fourpair_service.http.metrics import Metrics
from fourpair_service.http.office import screen as office
from fourpair_service.http.office.browser import session_of_browser
from fourpair_service.http.rate_limit import SIZE, RateLimit
from fourpair_service.http.record_grader import RecordGrader
from fourpair_service.http.request_log import log_requests
from fourpair_service.http.resources import (
    batch,
    changes,
    faults,
    grade,
    grade_stream,
    handovers,
    health,
    job_papers,
    job_views,
    jobs,
    metrics,
    pages,
    parties,
    records,
    revisions,
    rule_sets,
    runs,
    subscriptions,
    what_if,
)
from fourpair_service.http.revalidation import describe_tags
from fourpair_service.http.running import Running
from fourpair_service.http.schemas.curves import SWEPT
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.schemas.subscriptions import MessageSchema
from fourpair_service.http.services import NAME, Services
from fourpair_service.http.shared_file import Shared, shared_beside
from fourpair_service.records.desk import Desk
from fourpair_service.records.model import ChangeKind
from fourpair_service.records.ports import Store
from fourpair_service.rulesets.catalogue import Catalogue
from fourpair_service.storage.opening import IN_MEMORY, open_store

NUMBERS = {"type": "array", "items": {"type": "number"}}
STRETCH = {
    "type": "object",
    "required": ["start", "step", "stop"],
    "additionalProperties": False,
    "properties": {name: {"type": "number", "exclusiveMinimum": 0} for name in ("start", "step", "stop")},
}
AXIS = {"anyOf": [NUMBERS, {"type": "array", "items": STRETCH}]}
SWEEP = {
    "anyOf": [
        NUMBERS,
        {
            "type": "object",
            "additionalProperties": False,
            "properties": {
                "db": NUMBERS,
                "re": NUMBERS,
                "im": NUMBERS,
                "frequency_mhz": {"$ref": "#/components/schemas/FrequencyAxis"},
            },
        },
    ]
}


def _curves(parameter: Parameter) -> dict[str, object]:
    traits = TRAITS[parameter]
    pairs = {
        "type": "object",
        "additionalProperties": False,
        "properties": dict.fromkeys(traits.keys, SWEEP),
    }
    if not traits.has_ends:
        return pairs
    return {"type": "object", "additionalProperties": False, "properties": {"near": pairs, "far": pairs}}


# What the bulk fields read: described once, referred to by name.
SHARED_SCHEMAS = {
    "FrequencyAxis": AXIS,
    "Sweeps": {
        "type": "object",
        "additionalProperties": False,
        "properties": {name: _curves(parameter) for name, parameter in SWEPT.items()},
    },
}

BLUEPRINTS = (
    grade.blueprint,
    grade_stream.blueprint,
    what_if.blueprint,
    jobs.blueprint,
    job_papers.blueprint,
    job_views.blueprint,
    handovers.blueprint,
    records.blueprint,
    batch.blueprint,
    revisions.blueprint,
    changes.blueprint,
    runs.blueprint,
    subscriptions.blueprint,
    parties.blueprint,
    faults.blueprint,
    rule_sets.blueprint,
    health.blueprint,
)
# Random bytes in the id of whatever is kept: nobody guesses one or makes it twice.
ID_BYTES = 9


def described_messages() -> dict[str, object]:
    """Return what the OpenAPI document says of the messages to subscribers (OpenAPI 3.1.0, 4.8.1)."""
    names = ("webhook-id", "webhook-timestamp", "webhook-signature")
    headers = [{"in": "header", "name": n, "required": True, "schema": {"type": "string"}} for n in names]
    content = {"application/json": {"schema": {"$ref": "#/components/schemas/Message"}}}
    return {
        kind.value: {
            "post": {
                "summary": f"Tells that there was {kind.value}; the content is read from the service",
                "parameters": headers,
                "requestBody": {"required": True, "content": content},
                "responses": {
                    "2XX": {"description": "It has arrived"},
                    "410": {"description": "Send no more: the subscription is paused"},
                },
            }
        }
        for kind in ChangeKind
    }


def now() -> datetime:
    """Return the present moment."""
    return datetime.now(UTC)


def new_id() -> str:
    """Return an id that nobody can guess."""
    return secrets.token_hex(ID_BYTES)


def record_grader(settings: Settings, clock: Callable[[], datetime] = now) -> RecordGrader:
    """Return what grades records."""
    limits = DocumentLimits(curves=settings.max_curves, points_per_curve=settings.max_points)
    return RecordGrader(Catalogue.load(settings.limits_directory), limits, clock, Detail.FAULTS)


def services_of(
    settings: Settings,
    store: Store,
    clock: Callable[[], datetime],
    make_id: Callable[[], str],
    shared: Shared,
) -> Services:
    """Return what the resources need."""
    grader = record_grader(settings, clock)
    return Services(
        settings=settings,
        catalogue=grader.catalogue,
        clock=clock,
        desk=Desk(store, clock, make_id, grader),
        rate_limit=RateLimit(shared),
        key_uses=KeyUses(),
        running=Running(shared),
        metrics=Metrics(),
        monotonic=time.monotonic,
        sleep=time.sleep,
    )


def create_app(
    settings: Settings | None = None,
    *,
    clock: Callable[[], datetime] = now,
    make_id: Callable[[], str] = new_id,
    store: Store | None = None,
) -> Flask:
    """Return the service as a WSGI application.

    Args:
        settings: how it runs; as in :class:`Settings` where not given.
        clock: tells the time.
        make_id: makes ids.
        store: where records are kept; as the settings say where not given.

    Raises:
        InvalidRuleSetError: a file of own limits is not valid.
        StoreError: the store cannot be opened.
    """
    settings = settings or Settings()
    is_file = store is None and settings.store != IN_MEMORY
    store = store or open_store(settings.store)
    shared = shared_beside(settings.store if is_file else None, SIZE)
    app = Flask(__name__, static_folder=None)
    app.config.update(
        API_TITLE="fourpair",
        API_VERSION="1",
        OPENAPI_VERSION="3.1.0",
        MAX_CONTENT_LENGTH=max(settings.max_part_bytes, settings.max_body_bytes),
    )
    app.extensions[NAME] = services_of(settings, store, clock, make_id, shared)
    api = ProblemApi(app, spec_kwargs={"components": {"securitySchemes": SCHEMES}})
    log_requests(app)
    harden(app)
    guard(app, {office.blueprint.name: session_of_browser})
    api.ma_plugin.converter.add_attribute_function(describe)
    for name, schema in SHARED_SCHEMAS.items():
        api.spec.components.schema(name, schema)
    api.spec.components.schema("Message", schema=MessageSchema)
    api.spec.options["webhooks"] = described_messages()
    for blueprint in BLUEPRINTS:
        api.register_blueprint(blueprint)
    app.register_blueprint(pages.blueprint)
    app.register_blueprint(metrics.blueprint)
    app.register_blueprint(office.blueprint)
    describe_scopes(app, api)
    describe_tags(api)
    describe_links(api)
    app.wsgi_app = HandingOver(app.wsgi_app)  # type: ignore[method-assign]
    app.extensions["fourpair-api"] = api
    return app
