"""On what terms a write is asked for: idempotency, preconditions, dry run."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from hashlib import sha256
from typing import Final

from flask import request

from fourpair_service.http.revalidation import revision_part
from fourpair_service.http.services import services
from fourpair_service.records.desk import Caller, Terms
from fourpair_service.records.errors import (
    InvalidRecordError,
    PreconditionMissingError,
)

KEY_HEADER: Final = "Idempotency-Key"
# A structured-field string or the bare word (draft-ietf-httpapi-idempotency-key-header-07).
KEY: Final = re.compile(
    r'"(?P<quoted>[\x21\x23-\x5b\x5d-\x7e]{1,200})"|(?P<bare>[\x21\x23-\x5b\x5d-\x7e]{1,200})'
)


def idempotency_key() -> str | None:
    """Return the key that the request carries.

    Raises:
        InvalidRecordError: it carries one that cannot be a key.
    """
    given = request.headers.get(KEY_HEADER)
    if given is None:
        return None
    match = KEY.fullmatch(given.strip())
    if match is None:
        detail = "Send 1 to 200 visible ASCII characters without quotes and backslashes inside."
        raise InvalidRecordError(f"/header/{KEY_HEADER}", detail, given[:80])
    return match["quoted"] or match["bare"]


def _fingerprint(body: bytes) -> str:
    total = sha256()
    query = "&".join(sorted(f"{name}={value}" for name, value in request.args.items(multi=True)))
    for part in (request.method, request.path, query, request.mimetype):
        total.update(part.encode() + b"\n")
    total.update(body)
    return f"sha256:{total.hexdigest()}"


def expected_tags(what: str, name: str, *, required: bool) -> frozenset[str] | None:
    """Return the entity tags of If-Match, ``None`` for whichever.

    A tag that a proxy made weak counts: compressing is no other revision.

    Raises:
        PreconditionMissingError: it is required and was not sent.
    """
    if "If-Match" not in request.headers:
        if required:
            raise PreconditionMissingError(what, name)
        return None
    found = request.if_match
    if found.star_tag:
        return None
    # What cannot be read as a tag becomes None there, and matches nothing.
    return frozenset(revision_part(tag) for tag in found.as_set(include_weak=True) if isinstance(tag, str))


@contextmanager
def terms(
    caller: Caller, *, body: bytes, dry_run: bool, expected: frozenset[str] | None = None
) -> Iterator[Terms]:
    """Give the terms of the request; its key is held for as long as it takes.

    Raises:
        IdempotencyRunningError: the same key is being carried out.
    """
    key = idempotency_key()
    with services().running.claimed(caller.actor, None if dry_run else key):
        fingerprint = _fingerprint(body) if key else ""
        yield Terms(key=key, fingerprint=fingerprint, dry_run=dry_run, expected=expected)
