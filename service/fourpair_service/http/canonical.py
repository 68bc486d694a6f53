"""The canonical bytes of a verdict by the fast writer."""

from __future__ import annotations

from collections.abc import Mapping
from hashlib import sha256
from typing import Any

import orjson


def canonical_bytes(document: Mapping[str, Any]) -> bytes:
    """Return what ``verdict_document.canonical_bytes`` defines, several times faster.

    Both writers agree on every verdict: its numbers have three decimals and are far
    below 1e16, where their ways of writing an exponent would part.
    """
    return orjson.dumps(document, option=orjson.OPT_SORT_KEYS)


def digest_of(canonical: bytes) -> str:
    """Return ``sha256:`` and the hex digest of canonical bytes."""
    return f"sha256:{sha256(canonical).hexdigest()}"
