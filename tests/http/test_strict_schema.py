"""The short way through a schema gives what the library's own loading gives."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from marshmallow import Schema, ValidationError

from fourpair_service.http.schemas.document_errors import InvalidDocumentError
from fourpair_service.http.schemas.document_limits import DocumentLimits
from fourpair_service.http.schemas.fields import Float, Nested, Text
from fourpair_service.http.schemas.measurement import (
    CableSchema,
    EndsSchema,
    InstrumentSchema,
    MeasurementSchema,
    WireMapSchema,
    read_measurement,
)
from fourpair_service.http.schemas.strict import StrictSchema

LINKS = sorted((Path(__file__).resolve().parents[2] / "samples" / "links").glob("*.json"))
PARTS = {
    "cable": CableSchema,
    "ends": EndsSchema,
    "instrument": InstrumentSchema,
    "wire_map": WireMapSchema,
}


@pytest.mark.parametrize("path", LINKS, ids=lambda path: path.stem)
@pytest.mark.parametrize("part", PARTS)
def test_every_part_of_every_sample_loads_alike_and_in_the_same_order(path, part):
    document = json.loads(path.read_bytes())
    if part in document:
        schema = PARTS[part]()
        short, long = schema.load(document[part]), Schema.load(schema, document[part])

        assert json.dumps(short, default=str) == json.dumps(long, default=str)


class Inner(StrictSchema):
    length_m = Float(low=0, high=10, required=True)


class Outer(StrictSchema):
    name = Text(load_default="none")
    made = Text(load_default=lambda: "now")
    inner = Nested(Inner)


@pytest.mark.parametrize("document", [{}, {"name": "A"}, {"inner": {"length_m": 3}, "made": "then"}])
def test_what_is_missing_takes_its_default_on_both_ways(document):
    assert Outer().load(document) == Schema.load(Outer(), document)


@pytest.mark.parametrize(
    "document",
    [
        {"nam": "A"},
        {"name": 3, "inner": {"length_m": 11}},
        {"inner": {}},
        {"inner": None},
        {"inner": [1]},
        {"name": "A", "nam": "A", "inner": {"length": 1}},
    ],
)
def test_what_is_wrong_is_told_as_the_long_way_tells_it(document):
    with pytest.raises(ValidationError) as short:
        Outer().load(document)
    with pytest.raises(ValidationError) as long:
        Schema.load(Outer(), document)

    assert short.value.messages == long.value.messages


def test_an_unknown_field_may_be_let_through_only_where_it_is_asked_for():
    assert Outer().load({"more": 1, "name": "A", "made": "B"}, unknown="include")["more"] == 1
    with pytest.raises(ValidationError):
        MeasurementSchema().load({"more": 1, "configuration": "channel"})


def test_what_is_remembered_of_one_document_tells_nothing_of_another():
    wire_map = {"contacts": [["1", "1"], ["2", "2"]]}
    document = {"configuration": "channel", "wire_map": wire_map, "cable": {"nvp": 0.7, "awg": 23}}
    first, again = read_measurement(document).measurement, read_measurement(document).measurement
    other = read_measurement({**document, "wire_map": {**wire_map, "shield": "open"}}).measurement

    assert (first.wire_map, first.cable) == (again.wire_map, again.cable)
    assert (first.wire_map.shield_tested, other.wire_map.shield_tested) == (False, True)
    # Equal in Python, and not the same in JSON.
    for wrong in ({"nvp": 0.7, "awg": True}, {"nvp": "0.7"}, {"nvp": 0.7, "awg": 23.5}, None, [], {"x": 1}):
        with pytest.raises(InvalidDocumentError):
            read_measurement({**document, "cable": wrong})
    with pytest.raises(InvalidDocumentError):
        read_measurement({**document, "cable": {"maker": "x" * 300}})
    assert (
        read_measurement(
            {**document, "cable": {"maker": "x" * 300}}, DocumentLimits(name_characters=400)
        ).measurement.cable.maker
        == "x" * 300
    )
    with pytest.raises(InvalidDocumentError):
        read_measurement({**document, "cable": {"maker": "x" * 300}})
