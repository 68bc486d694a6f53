"""Digests that are put together from parts are those of the whole canonical bytes."""

from __future__ import annotations

from dataclasses import asdict, replace
from hashlib import sha256

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from fourpair_service.records.curves import Curve
from fourpair_service.records.integrity import (
    CIRCUMSTANCES,
    NO_CURVES,
    canonical_json,
    curves_digest,
    measurement_digests,
    sealed,
)
from fourpair_service.records.model import Kind, Revision

values = st.recursive(
    st.one_of(
        st.none(), st.booleans(), st.integers(), st.floats(allow_nan=False, allow_infinity=False), st.text()
    ),
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(st.text(), inner, max_size=3)),
    max_leaves=6,
)
rests = st.dictionaries(st.one_of(st.sampled_from(sorted(CIRCUMSTANCES)), st.text()), values, max_size=6)


def of(value: object) -> str:
    return f"sha256:{sha256(canonical_json(value)).hexdigest()}"


@given(rests, st.sampled_from([NO_CURVES, "sha256:" + "5" * 64]))
def test_a_measurement_is_digested_as_its_canonical_bytes(rest, curves):
    whole, measured = measurement_digests(rest, curves)

    assert whole == of([rest, curves])
    bare = {name: value for name, value in rest.items() if name not in CIRCUMSTANCES}
    assert measured == (whole if curves == NO_CURVES else of([bare, curves]))


@given(st.dictionaries(st.text("ab"), st.text("cd"), max_size=3))
def test_a_seal_covers_every_field_but_itself(external_ids):
    texts = dict.fromkeys(Revision.__dataclass_fields__, "x")
    revision = Revision(
        **texts | {"number": 2, "kind": Kind.RETESTED, "external_ids": external_ids, "headroom_db": 1.5}
    )

    fields = asdict(revision)
    del fields["digest"]

    assert sealed(revision).digest == of(fields)
    for name in fields:
        other = {"number": 3, "headroom_db": 1.25, "external_ids": {"e": "f"}, "kind": Kind.CORRECTED}.get(
            name, "y"
        )
        assert sealed(replace(revision, **{name: other})).digest != of(fields)


def test_curves_are_digested_by_their_numbers_however_an_array_holds_them():
    numbers = np.arange(20.0)
    forms = [numbers, np.arange(40.0)[::2] / 2, numbers.astype(">f8"), numbers.astype(np.float32)]

    assert len({curves_digest([Curve(("a",), form)]) for form in forms}) == 1
