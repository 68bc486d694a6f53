"""What comes back equals what was sent, bit for bit, whatever the numbers."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fourpair_service.records.curves import Curve, Parted, join, part
from fourpair_service.storage.codec import decimals_of, decode, encode

SAMPLES = sorted((Path(__file__).parents[2] / "samples" / "links").glob("*.json"))

decimal = st.builds(lambda n, d: n / 10**d, st.integers(-(10**9), 10**9), st.integers(0, 9))
number = st.one_of(
    st.floats(allow_nan=False, allow_infinity=False),
    decimal,
    st.integers(-(2**60), 2**60),
    st.sampled_from([0, 0.0, -0.0, 1e308, 5e-324, 0.1 + 0.2]),
)
curve = st.one_of(
    st.lists(number, min_size=1, max_size=12),
    st.lists(st.integers(-20000, 20000).map(lambda n: n / 100), min_size=8, max_size=12),
)
documents = st.fixed_dictionaries({"a": curve, "b": st.fixed_dictionaries({"c/~": curve}), "": curve})


@given(documents)
def test_any_document_comes_back_as_it_was_sent(document):
    parted = part(document)

    back = join(Parted(parted.rest, decode(encode(parted.curves))))

    assert json.dumps(back, sort_keys=True) == json.dumps(document, sort_keys=True)


@given(st.lists(st.integers(-(2**40), 2**40), min_size=1, max_size=30), st.integers(0, 3))
def test_decimals_are_found_where_they_are_exact(whole, decimals):
    values = np.array(whole, dtype=float) / 10.0**decimals

    assert 0 <= decimals_of(values) <= decimals


@pytest.mark.parametrize("path", SAMPLES, ids=lambda p: p.stem)
def test_every_sample_is_kept_losslessly_and_in_a_fraction_of_its_json(path):
    document = json.loads(path.read_bytes())
    parted = part(document)
    stored = encode(parted.curves)

    assert orjson.dumps(join(Parted(parted.rest, decode(stored)))) == orjson.dumps(document)
    if parted.curves:
        sent = orjson.dumps(document["sweeps"])
        assert len(stored) <= (0.45 if b'"re"' in sent else 0.20) * len(sent)


def test_complex_sweeps_take_less_than_half_of_their_json():
    rng = np.random.default_rng(7)
    turns = np.exp(1j * np.cumsum(rng.normal(0.3, 0.05, (8, 600)), axis=1)) * 10 ** (
        rng.normal(-2, 0.2, (8, 1))
    )
    document = {
        "sweeps": {str(i): {"re": c.real.tolist(), "im": c.imag.tolist()} for i, c in enumerate(turns)}
    }

    stored = encode(part(document).curves)

    assert len(stored) <= 0.45 * len(orjson.dumps(document))


def test_what_is_no_store_of_curves_is_refused():
    with pytest.raises(ValueError, match="no curves of ours"):
        decode(b"\x00\x00\x00\x00\x00\x00")


def test_curves_of_one_parameter_may_differ_in_decimals_and_in_being_decimals_at_all():
    rng = np.random.default_rng(5)
    made = [
        ("sweeps", "next", "near", "12-36", np.round(rng.uniform(0, 90, 50), 1)),
        ("sweeps", "next", "near", "12-45", rng.uniform(0, 90, 50)),
        ("sweeps", "next", "far", "12-36", np.round(rng.uniform(0, 90, 50), 3)),
        ("sweeps", "fext", "near", "12>36", np.round(rng.uniform(0, 90, 50), 2)),
    ]
    curves = [Curve(tuple(path), values) for *path, values in made]

    back = {curve.path: curve.values for curve in decode(encode(curves))}

    assert len(back) == len(curves)
    for curve in curves:
        assert back[curve.path].tobytes() == curve.values.tobytes()
