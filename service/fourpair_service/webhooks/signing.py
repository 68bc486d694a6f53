"""Signatures of the Standard Webhooks form (https://www.standardwebhooks.com, version 1.0.0)."""

from __future__ import annotations

import hmac
from base64 import b64decode, b64encode
from collections.abc import Iterable
from hashlib import sha256
from typing import Final

PREFIX: Final = "whsec_"
# "between 24 bytes (192 bits) and 64 bytes (512 bits)".
SECRET_BYTES: Final = 32


def secret_of(randomness: bytes) -> str:
    """Return a secret in its text form."""
    return f"{PREFIX}{b64encode(randomness).decode()}"


def _signature(secret: str, content: bytes) -> str:
    key = b64decode(secret.removeprefix(PREFIX), validate=True)
    return f"v1,{b64encode(hmac.digest(key, content, sha256)).decode()}"


def signed_headers(message_id: str, at_s: int, body: bytes, secrets: Iterable[str]) -> dict[str, str]:
    """Return the headers that prove a message: one signature for each secret that still holds.

    Args:
        message_id: the same however often the message is sent.
        at_s: seconds since 1970 of this attempt.
        body: as it is sent.
        secrets: the newest one first.
    """
    content = f"{message_id}.{at_s}.".encode() + body
    return {
        "webhook-id": message_id,
        "webhook-timestamp": str(at_s),
        "webhook-signature": " ".join(_signature(secret, content) for secret in secrets),
    }
