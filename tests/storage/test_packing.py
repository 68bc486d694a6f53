"""Packed documents come back, those of the first release too, and damage is told."""

from __future__ import annotations

import threading
import zlib

import orjson
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fourpair_service.storage.packing import packed, unpacked
from fourpair_service.storage.told_errors import UNREADABLE

DOCUMENT = {"label": "A-01", "margins_db": [1.5, -0.25, 1e-7], "notes": None, "text": "λ" * 300}

documents = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(-(2**53), 2**53), st.floats(allow_nan=False), st.text()),
    lambda inner: st.one_of(st.lists(inner), st.dictionaries(st.text(), inner)),
)


@given(documents)
def test_a_document_comes_back_as_it_was(document):
    assert orjson.dumps(unpacked(packed(document))) == orjson.dumps(document)


@pytest.mark.parametrize("level", range(1, 10))
def test_what_the_first_release_packed_is_read_for_ever(level):
    assert unpacked(zlib.compress(orjson.dumps(DOCUMENT), level)) == DOCUMENT


@pytest.mark.parametrize("pack", [packed, lambda document: zlib.compress(orjson.dumps(document), 1)])
def test_a_document_that_is_cut_short_is_told_wherever_it_is_cut(pack):
    content = pack(DOCUMENT)

    for length in range(len(content)):
        with pytest.raises(UNREADABLE):
            unpacked(content[:length])


def test_no_altered_byte_gives_another_document():
    content = packed(DOCUMENT)

    for place in range(len(content)):
        for flipped in (1, 16, 128):
            altered = bytearray(content)
            altered[place] ^= flipped
            try:
                found = unpacked(bytes(altered))
            except UNREADABLE:
                continue
            assert found == DOCUMENT


def test_a_frame_that_claims_to_be_vast_is_refused_before_its_memory_is_asked_for():
    # Magic number, a content size of eight bytes in one segment (RFC 8878, 3.1.1.1).
    frame = bytes.fromhex("28b52ffd") + b"\xe0" + (2**50).to_bytes(8, "little") + b"\x01\x00\x00"

    with pytest.raises(ValueError, match="claims more"):
        unpacked(frame)


def test_threads_pack_and_unpack_at_once():
    documents = [{"number": number, "values": list(range(number, number + 4000))} for number in range(8)]
    wrong: list[int] = []

    def work(number: int) -> None:
        if any(unpacked(packed(documents[number])) != documents[number] for _ in range(60)):
            wrong.append(number)

    threads = [threading.Thread(target=work, args=(number,)) for number in range(len(documents))]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()

    assert wrong == []
