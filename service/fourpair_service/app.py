"""The composition of the service."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

from flask import Flask

from fourpair_service.config import Settings
from fourpair_service.domain.parameters import TRAITS, Parameter
from fourpair_service.http.kit import ProblemApi, describe, harden
from fourpair_service.http.resources import faults, grade, health, pages, rule_sets
from fourpair_service.http.schemas.curves import SWEPT
from fourpair_service.http.services import NAME, Services
from fourpair_service.rulesets.catalogue import Catalogue

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

BLUEPRINTS = (grade.blueprint, faults.blueprint, rule_sets.blueprint, health.blueprint)


def now() -> datetime:
    """Return the present moment."""
    return datetime.now(UTC)


def create_app(settings: Settings | None = None, *, clock: Callable[[], datetime] = now) -> Flask:
    """Return the service as a WSGI application.

    Raises:
        InvalidRuleSetError: a file of own limits is not valid.
    """
    settings = settings or Settings()
    app = Flask(__name__, static_folder=None)
    app.config.update(
        API_TITLE="fourpair",
        API_VERSION="1",
        OPENAPI_VERSION="3.1.0",
        MAX_CONTENT_LENGTH=max(settings.max_part_bytes, settings.max_body_bytes),
    )
    app.extensions[NAME] = Services(settings, Catalogue.load(settings.limits_directory), clock)
    api = ProblemApi(app)
    harden(app)
    api.ma_plugin.converter.add_attribute_function(describe)
    for name, schema in SHARED_SCHEMAS.items():
        api.spec.components.schema(name, schema)
    for blueprint in BLUEPRINTS:
        api.register_blueprint(blueprint)
    app.register_blueprint(pages.blueprint)
    app.extensions["fourpair-api"] = api
    return app
