"""Sessions of the office screen: a browser that once showed a key, and may go on as that key.

What a browser holds is random and says nothing; the store keeps its digest, the id of
the key and when it ends. The key itself is looked at again on every request, so that a
session never lives longer, sees more or may do more than its key.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from hashlib import sha256
from typing import Final

from fourpair_service.records.errors import InvalidKeyError
from fourpair_service.records.keys import ApiKey, admit
from fourpair_service.records.ports import Store, Writer
from fourpair_service.records.times import instant

DRAWER: Final = "office-session"
# A working day: nobody stays signed in over night.
LASTS: Final = timedelta(hours=12)
PAGE: Final = 500


def _name(token: str) -> str:
    return sha256(token.encode()).hexdigest()


def begin_session(store: Store, key: ApiKey, token: str, now: datetime) -> None:
    """Let whoever holds a token go on as a key; sessions that are over are dropped.

    Args:
        store: where sessions are kept.
        key: as it was admitted.
        token: new, random, known to one browser.
        now: the present moment.
    """
    document = {"key": key.id, "key_digest": key.digest, "ends_at": instant(now + LASTS)}
    with store.writing() as writer:
        _drop_ended(writer, instant(now))
        writer.put_in(DRAWER, _name(token), document)


def _drop_ended(writer: Writer, now: str) -> None:
    page = writer.drawer(DRAWER, limit=PAGE)
    while page:
        for name, document in page:
            if document["ends_at"] <= now:
                writer.take_out(DRAWER, name)
        page = writer.drawer(DRAWER, after=page[-1][0], limit=PAGE)


def session_key(store: Store, token: str, now: datetime) -> ApiKey | None:
    """Return the key that a session goes on as; ``None`` where there is no such session.

    Raises:
        InvalidKeyError: the session is over, or its key was revoked, has expired or is gone.
    """
    document = store.drawn(DRAWER, _name(token))
    if document is None:
        return None
    if document["ends_at"] <= instant(now):
        raise InvalidKeyError("The session is over.")
    return admit(store.api_key(document["key"]), document["key_digest"], instant(now))


def end_session(store: Store, token: str) -> None:
    """Forget a session, where there is one."""
    if store.drawn(DRAWER, _name(token)) is None:
        return
    with store.writing() as writer:
        writer.take_out(DRAWER, _name(token))
