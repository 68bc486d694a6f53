"""The port of the measurement document: what is let through, and what is advised."""

from __future__ import annotations

import pytest

from fourpair_service.http.schemas.document_errors import InvalidDocumentError
from fourpair_service.http.schemas.measurement import read_measurement


def port_of(port):
    return read_measurement({"configuration": "channel", "port": port}).measurement.port


@pytest.mark.parametrize("word", ["0x45E1", "0X45e1", 17889])
def test_a_word_is_text_in_hexadecimal_or_a_whole_number(word):
    assert port_of({"ability_word": word}) == {"ability_word": 0x45E1}


def test_everything_lands_in_the_measurement_under_its_own_name():
    port = {
        "advertised": ["1000BASE-T/full"],
        "ability_word": 0xC1E1,
        "next_pages": [0xA008, 0x0808],
        "extended_next_pages": [0x123456782009],
        "registers": {"7.32": 0x1180, "7.33": 0x0860, "10": 0x0800},
        "negotiates": True,
        "duplex": "full",
        "mdi": "auto",
        "partner": {"ability_word": 0x45E1, "duplex": "half"},
        "signals": {"fast_link_pulses": True, "burst_period_ms": 16.0, "pulses_per_burst": 33},
        "link_up": None,
        "poe": {"type": 4, "class": 8, "voltage_v": 53.0, "positive_pairs": ["12"]},
    }

    assert port_of(port) == port


@pytest.mark.parametrize(
    ("port", "pointer", "advice"),
    [
        ({"ability_word": "45E1"}, "/port/ability_word", 'write "0x45E1"'),
        ({"ability_word": "many"}, "/port/ability_word", 'write it as "0x45E1"'),
        ({"ability_word": 65536}, "/port/ability_word", "got 65536"),
        ({"ability_word": True}, "/port/ability_word", "got a boolean"),
        ({"next_pages": ["0x10000"]}, "/port/next_pages/0", "hexadecimal"),
        (
            {"extended_next_pages": ["0x1234567890ABC"]},
            "/port/extended_next_pages/0",
            "48 bits in hexadecimal",
        ),
        ({"extended_next_pages": ["123456782009"]}, "/port/extended_next_pages/0", 'write "0x123456782009"'),
        ({"extended_next_pages": [2**48]}, "/port/extended_next_pages/0", "got 281474976710656"),
        ({"registers": {"7.32": "0x10000"}}, "/port/registers/7.32", "16 bits in hexadecimal"),
        ({"registers": {"7.23": 1}}, "/port/registers/7.23", "did you mean 7."),
        ({"registers": [1]}, "/port/registers", "Expected an object"),
        ({"partner": {"ability_word": -1}}, "/port/partner/ability_word", "got -1"),
        ({"poe": {"class": 9}}, "/port/poe/class", "from 0 to 8"),
        (
            {"poe": {"positive_pairs": ["12"], "negative_pairs": ["12"]}},
            "/port/poe/negative_pairs",
            "positive and negative at once",
        ),
        ({"link_up": "100BASE-TX/full", "duplex": "half"}, "/port/duplex", "cannot be half"),
        (
            {"negotiates": False, "signals": {"fast_link_pulses": True}},
            "/port/negotiates",
            "contradicts signals.fast_link_pulses",
        ),
        (
            {"signals": {"fast_link_pulses": False, "pulses_per_burst": 17}},
            "/port/signals/pulses_per_burst",
            "fast_link_pulses is false",
        ),
        (
            {"levels": [{"pair": "12", "signal": "link_pulse", "peak_v": 2400}]},
            "/port/levels/0/peak_v",
            "2400 mV are 2.4 V",
        ),
        (
            {"levels": [{"pair": "12", "signal": "link_pulse", "peak_v": 90000}]},
            "/port/levels/0/peak_v",
            "from 0 to 100 V",
        ),
        ({"ability_words": 1}, "/port/ability_words", "did you mean ability_word?"),
    ],
)
def test_what_cannot_be_is_refused_with_advice(port, pointer, advice):
    with pytest.raises(InvalidDocumentError) as caught:
        port_of(port)

    assert caught.value.errors[0].pointer == pointer
    assert advice in caught.value.errors[0].detail
