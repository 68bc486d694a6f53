"""The described answers hold the documents of powering and port, every field of them."""

from __future__ import annotations

import pytest

from domain.port.ports import FACTS as PORT
from domain.port.ports import cable, carries, read
from domain.powering.links import FACTS, link, powered, straight
from fourpair_service.domain.link import PINS, Configuration
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.domain.port.document import port_document
from fourpair_service.domain.powering.document import powering_document
from fourpair_service.http.schemas.port_reading import PortReadingSchema
from fourpair_service.http.schemas.powering import PoweringSchema

WIRES = LinkMeasurement(Configuration.CHANNEL, conductor_resistance_ohm=dict.fromkeys(PINS, 8.0))
LEVEL = {"pair": "12", "signal": "link_pulse", "peak_v": 2.4, "termination_ohm": 100.0, "at": "port"}
PORTS = [
    None,
    {},
    {"ability_word": 0xC1E1, "next_pages": [0xA008, 0x0808], "partner": {"ability_word": 0x45E1}},
    {
        "extended_next_pages": [0x123456782009],
        "registers": {"7.32": 0xFFFF, "7.33": 0x8020, "7.60": 6, "7.61": 6},
    },
    {"levels": [LEVEL, LEVEL | {"signal": "multi_level"}], "poe": {"class": 4, "voltage_v": 53.0}},
]


@pytest.mark.parametrize(
    "measurement", [link(21.0), link(), link(200.0), WIRES, link(9.0, wire_map=straight(without="12"))]
)
def test_powering_is_described_whole(measurement):
    document = powering_document(powered(measurement), FACTS.heating)

    assert PoweringSchema().validate(document) == {}


@pytest.mark.parametrize("port", PORTS)
def test_a_port_is_described_whole(port):
    document = port_document(read(cable(7.0, port=port), carries("1000BASE-T"), {4: "conditional"}), PORT)

    assert PortReadingSchema().validate(document) == {}
