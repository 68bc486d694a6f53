"""The contract: whatever it describes is true of the running service.

Schemathesis makes requests out of the OpenAPI document alone, so an endpoint
that is added is covered by itself.
"""

from __future__ import annotations

import json
from collections import Counter
from contextlib import ExitStack
from datetime import UTC, datetime
from pathlib import Path

import jsonschema_rs
import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import Bundle, initialize, run_state_machine_as_test
from schemathesis.checks import not_a_server_error
from schemathesis.generation.stateful.state_machine import StepOutput
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
    unsupported_method,
)

from fourpair_service.app import create_app
from fourpair_service.http.links import LINKS
from fourpair_service.http.resources.pages import description
from fourpair_service.records.integrity import first_break
from fourpair_service.storage.memory import MemoryStore
from fourpair_service.storage.postgres import PostgresStore
from postgres_server import SERVICE, database, url

ROOT = Path(__file__).resolve().parents[2]
SAMPLES = sorted((ROOT / "samples" / "links").glob("*.json"))
APP = create_app()
# Sweeps are alike whatever they measure, so a few of each shape stand for all: from the whole
# description, documents would take minutes to make up.
FEW_SWEEPS = {"insertion_loss": ("12", "78"), "next": ("near",), "fext": ("far",)}
FEW_KEYS = 2
LIGHT = ("configuration", "label", "job", "requirement", "external_ids", "tested_by")

ASKED = {
    "type": "object",
    "required": ["rule_set", "category"],
    "additionalProperties": False,
    "properties": {"rule_set": {"enum": ["TIA"]}, "category": {"enum": ["6"]}},
}
# Links and jobs that fit each other, or no record would ever be made of both.
ONE_KIND = {"requirement": ASKED, "configuration": {"enum": ["permanent_link"]}}
# Bodies that are more than JSON have tests of their own; made up they would only be refused.
FORMS_WITH_PARTS = {"multipart/form-data", "application/vnd.fourpair.sweeps"}
# What a walk along the links must have done at least once, so that it proves something.
WALKED = {
    ("createRecord", 201),
    ("retestRecord", 200),
    ("correctRecord", 200),
    ("withdrawRecord", 200),
    ("getRevisionMeasurement", 200),
    ("changeJob", 200),
    ("getSummary", 200),
}


@schemathesis.hook
def before_load_schema(context, raw_schema):
    sweeps = raw_schema["components"]["schemas"]["Sweeps"]["properties"]
    kept = {name: sweeps[name]["properties"] for name in FEW_SWEEPS}
    for name, properties in kept.items():
        sweeps[name] = {**sweeps[name], "properties": {k: properties[k] for k in FEW_SWEEPS[name]}}
    for name, end in (("next", "near"), ("fext", "far")):
        inner = sweeps[name]["properties"][end]
        few = dict(list(inner["properties"].items())[:FEW_KEYS])
        sweeps[name]["properties"][end] = {**inner, "properties": few}
    raw_schema["components"]["schemas"]["Sweeps"]["properties"] = {n: sweeps[n] for n in FEW_SWEEPS}


@schemathesis.hook("before_load_schema")
def measure_little_where_records_are_kept(context, raw_schema):
    # Whole measurements are made up for grading; what keeps them reads them in the same way.
    schemas = raw_schema["components"]["schemas"]
    whole = schemas["Measurement"]
    schemas["LightMeasurement"] = {
        **whole,
        "properties": {name: whole["properties"][name] for name in LIGHT} | ONE_KIND,
        "required": ["configuration", "label", "job", "requirement"],
    }
    schemas["JobRequirement"] = {**ASKED, "required": []}
    schemas["Job"]["properties"]["configuration"] = ONE_KIND["configuration"]
    for path, operations in raw_schema["paths"].items():
        own = [o for o in operations.values() if isinstance(o, dict) and path.startswith("/v1/records")]
        for operation in own:
            body = operation.get("requestBody", {}).get("content", {}).get("application/json", {})
            for holder in (body, body.get("schema", {}).get("properties", {}).get("records", {})):
                for key, value in holder.items():
                    if isinstance(value, dict) and value.get("$ref", "").endswith("/Measurement"):
                        holder[key] = {"$ref": "#/components/schemas/LightMeasurement"}


@schemathesis.serializer("application/x-ndjson")
def as_lines(context, value):
    return value.encode() if isinstance(value, str) else json.dumps(value).encode()


@schemathesis.serializer("application/vnd.fourpair.sweeps")
def as_bytes(context, value):
    return value if isinstance(value, bytes) else str(value).encode()


SCHEMA = schemathesis.openapi.from_wsgi("/openapi.json", APP)
CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
    unsupported_method,
]


@SCHEMA.parametrize()
@settings(
    max_examples=8,
    deadline=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_every_answer_is_one_that_the_contract_describes(case):
    case.call_and_validate(checks=CHECKS)


def walked_along(store, empty, walks):
    """Walk along the links of the contract over a store, and return what was reached how often."""
    linked = {name for name, _ in LINKS} | {each.operation_id for found in LINKS.values() for each in found}
    walked, numbers = Counter(), []

    def make_id():
        numbers.append(len(numbers))
        return f"n{len(numbers)}"

    app = create_app(clock=lambda: datetime(2026, 12, 1, tzinfo=UTC), make_id=make_id, store=store)
    schema = schemathesis.openapi.from_wsgi("/openapi.json", app)
    schema.config.generation.update(modes=[schemathesis.GenerationMode.POSITIVE])
    for operations in schema.raw_schema["paths"].values():
        for operation in operations.values():
            content = (
                operation.get("requestBody", {}).get("content", {}) if isinstance(operation, dict) else {}
            )
            for kind in FORMS_WITH_PARTS & set(content):
                del content[kind]
    schema = schema.include(operation_id=sorted(linked))

    class Walk(schema.as_state_machine()):
        def setup(self):
            # Every walk begins with nothing kept, or none could be walked again.
            empty()
            numbers.clear()

        def begun_with(self, path, body):
            case = schema[path]["POST"].Case(body=body, media_type="application/json")
            self.recorder.record_case(case=case)
            return StepOutput(case.call(), case)

        @initialize(target=Bundle("POST /v1/jobs -> 201"))
        def with_a_job(self):
            return self.begun_with("/v1/jobs", {"id": "first", "name": "First"})

        @initialize(target=Bundle("POST /v1/records -> 201"))
        def with_a_record(self):
            self.begun_with("/v1/jobs", {"id": "second", "name": "Second"})
            requirement = {"rule_set": "TIA", "category": "6"}
            link = {"job": "second", "label": "A", "configuration": "permanent_link"}
            return self.begun_with("/v1/records", {**link, "requirement": requirement})

        def before_call(self, case):
            # Keys that are none are tried in the other test; here they would only end the walk.
            case.headers.pop("Authorization", None)

        def validate_response(self, response, case, additional_checks=(), **kwargs):
            case.validate_response(response, checks=CHECKS)
            walked[(case.operation.definition.raw["operationId"], response.status_code)] += 1
            assert first_break(store) is None

    run_state_machine_as_test(
        Walk,
        settings=settings(
            max_examples=walks,
            stateful_step_count=12,
            deadline=None,
            derandomize=True,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        ),
    )
    return walked


def test_every_answer_on_a_walk_along_the_links_is_one_that_the_contract_describes():
    store = MemoryStore()
    walked = walked_along(store, store.__init__, walks=200)

    assert set(walked) >= WALKED, WALKED - set(walked)


@pytest.mark.postgresql
def test_the_same_walk_over_a_database_reaches_the_same_answers():
    with ExitStack() as databases:
        store = PostgresStore(url(databases.enter_context(database()), SERVICE))

        def empty():
            # Nothing that is kept can be taken out of one, so each walk has a database of its own.
            store.close()
            databases.pop_all().close()
            store.__init__(url(databases.enter_context(database()), SERVICE))

        over_a_database = walked_along(store, empty, walks=200)
        store.close()
    kept = MemoryStore()

    assert over_a_database == walked_along(kept, kept.__init__, walks=200)


@pytest.fixture(scope="module")
def on_postgresql():
    with database() as name:
        store = PostgresStore(url(name, SERVICE))
        app, reached = create_app(store=store), []

        @app.before_request
        def note():
            reached.append(True)

        yield app
        store.close()
        assert reached


@pytest.mark.postgresql
@SCHEMA.parametrize()
@settings(
    max_examples=3,
    deadline=None,
    derandomize=True,
    phases=[Phase.generate],
    suppress_health_check=list(HealthCheck),
)
def test_every_answer_over_a_database_is_one_that_the_contract_describes(case, on_postgresql):
    case.call_and_validate(checks=CHECKS, app=on_postgresql)


def _operations():
    with APP.app_context():
        paths = description()["paths"]
    return [
        (path, method, op)
        for path, methods in paths.items()
        for method, op in methods.items()
        if method in ("get", "post", "put", "patch", "delete")
    ]


@pytest.mark.parametrize(
    ("path", "method", "operation"), _operations(), ids=lambda v: v if isinstance(v, str) else ""
)
def test_every_operation_is_named_explained_and_has_described_answers(path, method, operation):
    assert operation["operationId"]
    assert operation["summary"] or operation["description"]
    assert any(status.startswith("2") for status in operation["responses"])
    assert all(
        response.get("description") or "$ref" in response for response in operation["responses"].values()
    )


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda path: path.stem)
def test_the_description_of_a_measurement_holds_for_every_sample(sample):
    with APP.app_context():
        document = description()
    schema = {"$ref": "#/components/schemas/Measurement", "components": document["components"]}
    validator = jsonschema_rs.validator_for(json.loads(json.dumps(schema)))
    assert list(validator.iter_errors(json.loads(sample.read_bytes()))) == []
