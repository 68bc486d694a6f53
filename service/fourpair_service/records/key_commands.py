"""API keys: made, rotated, revoked."""

from __future__ import annotations

from dataclasses import dataclass, replace

from fourpair_service.records.errors import NotFoundError
from fourpair_service.records.keys import ApiKey, Scope, token
from fourpair_service.records.ports import Store


@dataclass(frozen=True, slots=True)
class NewKey:
    """A key as it was made: the only time that its text is there.

    Attributes:
        text: what the holder sends; not kept.
    """

    key: ApiKey
    text: str


@dataclass(frozen=True, slots=True)
class KeyGrant:
    """What a new key may do.

    Attributes:
        jobs: the only jobs it sees; ``None`` for all.
        expires_at: an instant; ``None`` for never.
    """

    name: str
    scopes: frozenset[Scope]
    jobs: frozenset[str] | None = None
    expires_at: str | None = None
    requests_per_minute: int | None = None


def make_key(store: Store, grant: KeyGrant, *, key_id: str, randomness: bytes, now: str) -> NewKey:
    """Make a key."""
    text, kept = token(key_id, randomness)
    key = ApiKey(
        id=key_id,
        name=grant.name,
        digest=kept,
        scopes=grant.scopes,
        created_at=now,
        jobs=grant.jobs,
        expires_at=grant.expires_at,
        requests_per_minute=grant.requests_per_minute,
    )
    with store.writing() as writer:
        writer.put_api_key(key)
    return NewKey(key, text)


def rotate_key(
    store: Store, old_id: str, *, key_id: str, randomness: bytes, now: str, old_expires_at: str
) -> NewKey:
    """Make a key that may do the same; the old one works on until it expires.

    Raises:
        NotFoundError: there is no such key.
    """
    text, kept = token(key_id, randomness)
    with store.writing() as writer:
        old = writer.api_key(old_id)
        if old is None:
            raise NotFoundError("API key", old_id)
        ends = [moment for moment in (old.expires_at, old_expires_at) if moment is not None]
        writer.put_api_key(replace(old, expires_at=min(ends)))
        key = replace(old, id=key_id, digest=kept, created_at=now, replaces=old_id, last_used_at=None)
        writer.put_api_key(key)
    return NewKey(key, text)


def revoke_key(store: Store, key_id: str, *, now: str) -> ApiKey:
    """Close a key at once.

    Raises:
        NotFoundError: there is no such key.
    """
    with store.writing() as writer:
        key = writer.api_key(key_id)
        if key is None:
            raise NotFoundError("API key", key_id)
        if key.revoked_at is None:
            key = replace(key, revoked_at=now)
            writer.put_api_key(key)
        return key
