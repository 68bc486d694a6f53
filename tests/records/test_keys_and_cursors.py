from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fourpair_service.records.errors import InvalidKeyError, InvalidQueryError
from fourpair_service.records.key_commands import KeyGrant, make_key, revoke_key, rotate_key
from fourpair_service.records.keys import Scope, admit, parse, token
from fourpair_service.records.search import Sort, position_of, sort_of
from fourpair_service.records.times import instant
from fourpair_service.storage.memory import MemoryStore
from record_factory import START

NOW = instant(START)
LATER = "2027-01-01T00:00:00.000000Z"


@given(st.binary(min_size=32, max_size=32), st.integers(0, 60), st.characters(codec="ascii"))
def test_any_mistyped_character_of_a_key_is_noticed_without_the_store(randomness, place, character):
    text, _ = token("Ab1", randomness)
    typed = text[:place] + character + text[place + 1 :]

    if typed == text:
        assert parse(typed)[0] == "Ab1"
    else:
        with pytest.raises(InvalidKeyError):
            parse(typed)


@pytest.fixture
def made():
    store = MemoryStore()
    grant = KeyGrant("costing", frozenset({Scope.READ, Scope.WRITE}))
    return store, make_key(store, grant, key_id="Ab1", randomness=bytes(range(32)), now=NOW)


def test_a_key_opens_what_it_was_made_for_and_no_more(made):
    store, new = made
    key_id, digest = parse(new.text)
    key = admit(store.api_key(key_id), digest, NOW)

    assert key.allows(Scope.WRITE)
    assert not key.allows(Scope.ADMIN)


def test_both_keys_work_until_the_rotated_one_expires(made):
    store, new = made
    second = rotate_key(store, "Ab1", key_id="Ab2", randomness=bytes(32), now=NOW, old_expires_at=LATER)

    for text in (new.text, second.text):
        key_id, digest = parse(text)
        admit(store.api_key(key_id), digest, NOW)
    with pytest.raises(InvalidKeyError, match="expired"):
        admit(store.api_key("Ab1"), parse(new.text)[1], LATER)


def test_a_revoked_key_and_a_wrong_one_are_refused(made):
    store, new = made
    with pytest.raises(InvalidKeyError, match="not known"):
        admit(store.api_key("Ab1"), "sha256:other", NOW)
    with pytest.raises(InvalidKeyError, match="not known"):
        admit(store.api_key("none"), "sha256:other", NOW)
    revoke_key(store, "Ab1", now=NOW)

    with pytest.raises(InvalidKeyError, match="revoked"):
        admit(store.api_key("Ab1"), parse(new.text)[1], NOW)


@pytest.mark.parametrize("text", ["", "x", "!!!!", "eyJhIjoxfQ", "WzEsMl0", "W251bGwsbnVsbCxudWxsXQ"])
def test_a_cursor_that_is_none_is_refused(text):
    with pytest.raises(InvalidQueryError):
        position_of(text, Sort())


@pytest.mark.parametrize("text", ["", "-", "labels", "--label"])
def test_an_order_that_is_none_is_refused(text):
    with pytest.raises(InvalidQueryError):
        sort_of(text)
