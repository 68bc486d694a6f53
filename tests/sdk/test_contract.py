"""Every operation of the contract has one method of the SDK, and the reverse."""

from __future__ import annotations

import inspect
import re
from collections import Counter
from pathlib import Path

import pytest
import yaml

import fourpair
from fourpair._changes import Changes
from fourpair._checking import CONDUCTORS, CONNECTORS, CORDS, ENDS, FIELDS, KEYS, WITHOUT_ENDS
from fourpair._client import Client
from fourpair._handovers import Handovers
from fourpair._jobs import Jobs
from fourpair._records import Records
from fourpair._runs import Assessments, Regrades
from fourpair._subscriptions import Subscriptions

ROOT = Path(__file__).resolve().parents[2]
CONTRACT = yaml.safe_load((ROOT / "openapi.yaml").read_text())
OPERATIONS = {
    operation["operationId"]: (method.upper(), path)
    for path, methods in CONTRACT["paths"].items()
    for method, operation in methods.items()
    if method != "parameters"
}
PARTS = {
    "": Client,
    "handovers": Handovers,
    "jobs": Jobs,
    "records": Records,
    "changes": Changes,
    "regrades": Regrades,
    "assessments": Assessments,
    "subscriptions": Subscriptions,
}
METHODS = {
    f"{name}.{method_name}".lstrip("."): method
    for name, part in PARTS.items()
    for method_name, method in inspect.getmembers(part, inspect.isfunction)
    if not method_name.startswith("_")
}
CARRYING = {name: method for name, method in METHODS.items() if hasattr(method, "operation_id")}
# Methods that rest on those of operations, or on none.
COMPOSED = {
    "close",
    "with_options",
    "request",
    "limits_as",
    "sheet",
    "records.upload",
    "records.measurement_csv",
    "records.verify",
    "changes.list",
    "changes.follow",
    "changes.newest",
    "changes.inbox",
    "regrades.findings_as",
    "regrades.wait",
    "regrades.progress",
    "assessments.findings_as",
    "assessments.wait",
    "assessments.progress",
}
# What the methods without default values are called with.
ARGUMENTS = {
    "changes": {"label": "B"},
    "configuration": "channel",
    "held": {},
    "links": [],
    "measurement": {"configuration": "channel"},
    "measurements": [{"configuration": "channel"}],
    "content": b"x",
    "number": 1,
    "question": {},
}


class RecordedError(Exception):
    """Ends a call once its request is known."""


def test_every_operation_has_one_method_and_every_method_an_operation():
    carried = Counter(method.operation_id for method in CARRYING.values())

    assert carried == Counter(list(OPERATIONS))
    assert set(METHODS) - set(CARRYING) == COMPOSED


@pytest.mark.parametrize("name", CARRYING)
def test_a_method_sends_the_operation_that_it_names(name):
    seen = []

    def record(method, path, **_):
        seen.append((method, path))
        raise RecordedError

    part, _, method_name = name.rpartition(".")
    client = Client()
    client._send = record
    target = client if not part else PARTS[part](record)
    method = getattr(target, method_name)
    needed = [
        p
        for p in inspect.signature(method).parameters.values()
        if p.default is p.empty and p.kind not in (p.VAR_KEYWORD, p.VAR_POSITIONAL)
    ]
    by_place = [ARGUMENTS.get(p.name, "x") for p in needed if p.kind is not p.KEYWORD_ONLY]
    by_name = {p.name: ARGUMENTS.get(p.name, "x") for p in needed if p.kind is p.KEYWORD_ONLY}
    with pytest.raises(RecordedError):
        for _ in method(*by_place, **by_name):
            break
    client.close()

    wanted_method, path = OPERATIONS[CARRYING[name].operation_id]
    (sent_method, sent_path) = seen[0]
    assert sent_method == wanted_method
    assert re.fullmatch(re.sub(r"\\\{\w+\\\}", "[^/]+", re.escape(path)), sent_path)


@pytest.mark.parametrize("name", CARRYING)
def test_a_method_knows_every_parameter_of_its_operation(name):
    method, path = OPERATIONS[CARRYING[name].operation_id]
    described = CONTRACT["paths"][path][method.lower()].get("parameters", [])
    asked = {p["name"] for p in described if p.get("in") == "query"}
    # Forms are chosen by the method, a filter is passed on as it is given.
    signature = inspect.signature(CARRYING[name]).parameters
    own = {"wait": "wait_s"}
    if any(p.kind is p.VAR_KEYWORD for p in signature.values()) and name != "jobs.create":
        return
    state = {"include_closed": {"state"}}.get(
        "include_closed" if "include_closed" in signature else "", set()
    )

    # The sheet of a link that is graded has a method of its own.
    drawn = (
        {"extent", "language", "length_unit", "paper", "picture", "width_px"} if name == "grade" else set()
    )
    hidden = {"format", "cursor"} | state | drawn
    assert {own.get(parameter, parameter) for parameter in asked - hidden} <= set(signature)


def test_what_is_checked_before_sending_is_what_the_contract_knows():
    schemas = CONTRACT["components"]["schemas"]
    sweeps = schemas["Sweeps"]["properties"]

    assert set(FIELDS) == set(schemas["Measurement"]["properties"])
    assert set(KEYS) == set(sweeps)
    assert set(CORDS) == set(schemas["Cords"]["properties"])
    assert set(CONDUCTORS) == set(schemas["Cords"]["properties"]["conductor"]["enum"])
    assert set(CONNECTORS) == set(schemas["Connectors"]["properties"])
    for name, keys in KEYS.items():
        own = sweeps[name]["properties"]
        by_end = [own] if name in WITHOUT_ENDS else [own[end]["properties"] for end in ENDS]
        assert all(set(keys) == set(described) for described in by_end)


def test_all_that_is_public_is_listed_once_and_told():
    names = fourpair.__all__

    assert names == sorted(set(names), key=lambda name: (not name.isupper(), name))
    assert all(
        inspect.getdoc(getattr(fourpair, name)) for name in names if inspect.isclass(getattr(fourpair, name))
    )
    for name, method in METHODS.items():
        assert inspect.getdoc(method), name
