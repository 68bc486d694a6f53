"""The measured cable: its conversion against scikit-rf, and what stands beside it."""

import json
from pathlib import Path

import numpy as np
import pytest
import skrf

from generate import HERE
from line_model.writing import file_text
from measured_cable import FILES, cable_document, differential, read_touchstone

MEASURED = Path(__file__).resolve().parents[2] / "samples" / "measured"


@pytest.mark.parametrize("name", FILES.values())
def test_the_differential_parameters_are_those_of_scikit_rf(name):
    frequency, single_ended = read_touchstone(MEASURED / name)
    network = skrf.Network(str(MEASURED / name))
    assert np.allclose(network.f / 1e6, frequency)
    assert np.allclose(network.s, single_ended, atol=1e-12)
    ours = differential(single_ended)
    # se2gmm counts both near pairs' wires first: near plus, far plus, near minus, far minus.
    ordered = skrf.Network(f=network.f, s=network.s[:, [0, 2, 1, 3]][:, :, [0, 2, 1, 3]], z0=50, f_unit="Hz")
    ordered.se2gmm(p=2)
    assert np.allclose(ordered.s[:, :2, :2], ours, atol=1e-9)


def test_the_document_is_made_from_the_files_beside_it():
    assert file_text(cable_document(HERE / "measured")).encode() == (MEASURED / "cable1.json").read_bytes()


def test_the_document_covers_two_pairs_from_10_mhz_and_no_crosstalk():
    document = json.loads((MEASURED / "cable1.json").read_text(encoding="utf-8"))
    assert document["frequency_mhz"][0] == 10.0
    assert set(document["sweeps"]["insertion_loss"]) == {"12", "36"}
    assert "next" not in document["sweeps"]
    assert "wire_map" not in document


def test_a_three_metre_cable_delays_by_some_14_ns():
    # Delay of the same file by a fit over the band: 14.27 ns; a little more at 10 MHz, as in any cable.
    document = json.loads((MEASURED / "cable1.json").read_text(encoding="utf-8"))
    for pair in document["pairs"].values():
        assert 14.27 < pair["delay_ns"] < 15.2


def test_licence_and_source_stand_beside_the_files():
    assert "BSD-3-Clause" in (MEASURED / "LICENSE").read_text(encoding="utf-8")
    read_me = (MEASURED / "README.md").read_text(encoding="utf-8")
    assert "1b53c061c2fa78b56addb755d200cf073fb0853b" in read_me
    assert all(name in read_me for name in FILES.values())
