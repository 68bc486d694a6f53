"""What comes back equals what was sent, bit for bit, whatever the numbers."""

from __future__ import annotations

import json
from base64 import b64decode
from pathlib import Path

import numpy as np
import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pcodec import standalone

from fourpair_service.records.curves import Curve, Parted, join, part
from fourpair_service.storage import codec
from fourpair_service.storage.codec import decimals_of, decode, encode
from fourpair_service.storage.told_errors import UNREADABLE

DAMAGED = {"next": {"near": [1.5] * 9, "far": [1 / 3, 2.5] * 5}, "whole": [1, 2, 3, 4.5] * 5}
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


# Written by the release that wrote the first form.
FIRST_FORM = (
    "QzEAAAB7eAGFzsEOgkAMBNB/2XNJaAtGvqVpiDE1kOCu7mJQv17owcjJ01zeZEaEgFsQkXDJdn9YPL/66/AOCkdAVQVh4M5BWcxuJUCI"
    "9pw9TnkNpIoP7mv3FUJHfwpN+1NA4Hrvx1gsz2OK/ZTKtoi089S4X4Y02fepfgAVLjvCcGNvIQMAAwIEAQgHAAAQAQEAS0AGZIAAAADC"
    "ITXP87kQDgBwY28hAwADAgQBAwcAABABAQBC9f8/BsTqAIBC7qsAoA8CiAxZBgBwY28hAwADAgQBBgcAAAAQAAAAAAAAAAAAAAJVVVVV"
    "VVXVv1VVVVVVVeW/mpmZmZmZ8b//////////fwEAAAAAAACAAAAAAAAAHsAAAAAAAIAgwAAAAAAAQCLAAHBjbyEDAAMCBAEIBwAAEAEB"
    "gAJAAxOAAcA4DLgBAHBjbyEDAAMCBAEIBwAAEAEBAAVAAAqAAA=="
)


def test_what_was_stored_in_the_first_form_is_read_for_ever():
    thirds = [1 / 3, 2 / 3, 1.1, -0.0, 5e-324, 7.5, 8.25, 9.125]
    near = {"12-36": [60.1, 58.25, 55.5, 50.0, 44.75, 41.3, 36.0, 32.125], "12-45": thirds}
    document = {
        "frequency_mhz": [1, 2.5, 4, 10, 20, 31.25, 62.5, 100],
        "sweeps": {
            "next": {"near": near},
            "insertion_loss": {"12": [1.9, 2.5, 3.0, 4.7, 6.6, 8.3, 12.0, 15.2]},
        },
        "whole": [1, 2, 3, 4, 5, 6, 7, 8],
    }

    back = join(Parted(part(document).rest, decode(b64decode(FIRST_FORM))))

    assert json.dumps(back) == json.dumps(document)


def test_what_lies_where_is_understood_once_for_all_links_of_an_instrument():
    rng = np.random.default_rng(9)
    links = [
        [Curve(("sweeps", "next", "near", key), np.round(rng.uniform(0, 90, 50), 2)) for key in "abc"]
        for _ in range(5)
    ]
    before = codec._layout.cache_info()

    for link in links:
        back = decode(encode(link))
        assert [curve.values.tobytes() for curve in back] == [curve.values.tobytes() for curve in link]

    after = codec._layout.cache_info()
    assert (after.misses - before.misses, after.hits - before.hits) == (1, 4)


@pytest.mark.parametrize("form", [lambda: encode(part(DAMAGED).curves), lambda: b64decode(FIRST_FORM)])
def test_curves_that_are_cut_short_are_told_wherever_they_are_cut(form):
    stored = form()

    for length in range(1, len(stored)):
        with pytest.raises(UNREADABLE):
            decode(stored[:length])


def test_a_run_of_other_numbers_than_were_written_is_told_even_where_it_is_one():
    many = encode([Curve(("a", "b"), np.full(9, 1.5))])
    run = standalone.simple_compress(np.array([15], dtype=np.int16), codec.CONFIG)
    size = 2 + codec.SIZE_BYTES + int.from_bytes(many[2 : 2 + codec.SIZE_BYTES], "big")

    with pytest.raises(ValueError, match="not the 9 numbers"):
        decode(many[:size] + len(run).to_bytes(codec.SIZE_BYTES, "big") + run)


def test_a_curve_is_equal_to_itself_alone():
    values = np.arange(9.0)
    one, other = Curve(("a",), values), Curve(("a",), values)

    assert one != other and len({one, other, one}) == 2


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
