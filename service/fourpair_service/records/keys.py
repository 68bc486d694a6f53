"""API keys: made once, shown once, kept as a digest.

``fpk_<id>_<secret><check>``: a typed prefix that scanners know, an id to find
the row, 32 random bytes, and six check digits so that a typing mistake is told
apart from a wrong key without a look into the store. The secret is as random as
its digest, so a fast hash serves (OWASP ASVS 5, 11.5.1: at least 128 bits).
"""

from __future__ import annotations

import hmac
import zlib
from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum
from hashlib import sha256
from typing import Final

from fourpair_service.records.errors import InvalidKeyError

PREFIX: Final = "fpk"
ALPHABET: Final = "0123456789ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz"
SECRET_BYTES: Final = 32
SECRET_LENGTH: Final = 43
CHECK_LENGTH: Final = 6


class Scope(StrEnum):
    """What a key may do."""

    GRADE = "grade"
    READ = "read"
    WRITE = "write"
    ADMIN = "admin"


@dataclass(frozen=True, slots=True)
class ApiKey:
    """A key as it is kept.

    Attributes:
        digest: of the secret.
        jobs: the only jobs it sees; ``None`` for all.
        replaces: id of the key that it was rotated from; both work until that
            one expires.
        requests_per_minute: its own rate; ``None`` for the service's.
    """

    id: str
    name: str
    digest: str
    scopes: frozenset[Scope]
    created_at: str
    jobs: frozenset[str] | None = None
    expires_at: str | None = None
    revoked_at: str | None = None
    last_used_at: str | None = None
    replaces: str | None = None
    requests_per_minute: int | None = None

    def allows(self, scope: Scope) -> bool:
        """Return whether the key may do this; an admin key may do everything."""
        return scope in self.scopes or Scope.ADMIN in self.scopes


def _base62(number: int, length: int) -> str:
    digits = ""
    for _ in range(length):
        number, digit = divmod(number, len(ALPHABET))
        digits = ALPHABET[digit] + digits
    return digits


def _check(text: str) -> str:
    return _base62(zlib.crc32(text.encode()), CHECK_LENGTH)


def secret_digest(secret: str) -> str:
    """Return what is kept of a secret."""
    return f"sha256:{sha256(secret.encode()).hexdigest()}"


def token(key_id: str, randomness: bytes) -> tuple[str, str]:
    """Return the text of a new key and the digest to keep.

    >>> text, kept = token("7Hq2", bytes(32))
    >>> text[:9], parse(text) == ("7Hq2", kept)
    ('fpk_7Hq2_', True)
    """
    if len(randomness) != SECRET_BYTES or not key_id.isalnum() or not key_id.isascii():
        raise ValueError("a key needs 32 random bytes and an id of letters and digits")
    secret = _base62(int.from_bytes(randomness, "big"), SECRET_LENGTH)
    text = f"{PREFIX}_{key_id}_{secret}"
    return text + _check(text), secret_digest(secret)


def parse(text: str) -> tuple[str, str]:
    """Return id and secret digest of a key as it was typed.

    Raises:
        InvalidKeyError: mistyped or cut; no store was asked.
    """
    body, check = text[:-CHECK_LENGTH], text[-CHECK_LENGTH:]
    parts = body.split("_")
    if len(parts) != 3 or parts[0] != PREFIX or len(parts[2]) != SECRET_LENGTH:
        raise InvalidKeyError("This is no API key: it starts with fpk_ and has three parts joined by _.")
    if not text.isascii() or not hmac.compare_digest(_check(body), check):
        raise InvalidKeyError("The API key is mistyped or cut: its check digits do not fit.")
    return parts[1], secret_digest(parts[2])


def admit(key: ApiKey | None, digest: str, now: str) -> ApiKey:
    """Return the key when it opens the door at ``now``.

    Raises:
        InvalidKeyError: unknown, wrong, revoked or expired. The first two read
            alike, so that nobody learns which ids exist.
    """
    if key is None or not hmac.compare_digest(key.digest, digest):
        raise InvalidKeyError("The API key is not known here.")
    if key.revoked_at is not None:
        raise InvalidKeyError(f"The API key {key.id} was revoked on {key.revoked_at}.")
    if key.expires_at is not None and key.expires_at <= now:
        raise InvalidKeyError(f"The API key {key.id} expired on {key.expires_at}.")
    return key


def visible_jobs(key: ApiKey | None, asked: Collection[str] | None = None) -> frozenset[str] | None:
    """Return the jobs that a caller sees; ``None`` for all. The one place where this is decided."""
    own = key.jobs if key else None
    if asked is None or own is None:
        return own if asked is None else frozenset(asked)
    return own & frozenset(asked)
