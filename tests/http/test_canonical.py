"""The fast writer of canonical bytes agrees with the one that defines them."""

from pathlib import Path

import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fourpair_service.domain.verdict_document import canonical_bytes, digest, rounded
from fourpair_service.http.canonical import canonical_bytes as fast_bytes
from fourpair_service.http.canonical import digest_of
from fourpair_service.http.grading import GradeRequest, grade_document
from fourpair_service.rulesets.catalogue import Catalogue

SAMPLES = Path(__file__).resolve().parents[2] / "samples" / "links"

numbers = st.floats(-1e12, 1e12).map(rounded) | st.integers(-(2**53), 2**53) | st.none() | st.booleans()
documents = st.recursive(
    numbers | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=20,
)


@given(st.dictionaries(st.text(), documents, max_size=5))
def test_both_writers_give_the_same_bytes(document: dict[str, object]) -> None:
    assert fast_bytes(document) == canonical_bytes(document)


@pytest.mark.parametrize("path", sorted(SAMPLES.glob("*.json")), ids=lambda path: path.stem)
def test_the_answer_carries_the_digest_that_the_domain_defines(path: Path) -> None:
    answer = grade_document(GradeRequest(orjson.loads(path.read_bytes())), Catalogue.load(None))
    assert answer["verdict_digest"] == digest(answer["verdict"]) == digest_of(fast_bytes(answer["verdict"]))
