"""Webhooks: prove that a message comes from the service, and read it.

Deliveries are signed as the Standard Webhooks specification (1.0.0) says: HMAC-SHA256
over ``id.timestamp.body``, in the headers ``webhook-id``, ``webhook-timestamp`` and
``webhook-signature``.

>>> import base64, hashlib, hmac
>>> secret = "whsec_" + base64.b64encode(b"a secret of this example").decode()
>>> body = b'{"type": "record.submitted", "data": {"seq": 7, "previous_seq": 5}}'
>>> headers = {"webhook-id": "d1", "webhook-timestamp": "1767225600"}
>>> headers["webhook-signature"] = signature(secret, "d1", 1767225600, body)
>>> message = verify(body, headers, secret, now_s=1767225610)
>>> message.type, message.seq, message.previous_seq
('record.submitted', 7, 5)
"""

from __future__ import annotations

import base64
import binascii
import hashlib
import hmac
import json
import time
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from fourpair._errors import FourpairError, InvalidSettingError

TOLERANCE_S = 300
SECRET_PREFIX = "whsec_"
SCHEME = "v1"


class InvalidMessageError(FourpairError, ValueError):
    """A message is not proven: answer it with 400 and do nothing else.

    >>> try:
    ...     verify(b"{}", {}, "whsec_AAAA")
    ... except InvalidMessageError as error:
    ...     print(error)
    The header webhook-id is missing: this is no delivery of a webhook
    """


@dataclass(frozen=True, slots=True)
class Message:
    """A message that is proven.

    Attributes:
        id: the same for every try of one message.
        type: what happened, such as ``record.retested``.
        data: what the feed says of it.
        body: the whole document.

    >>> Message("m-1", "record.retested", {"seq": 7, "previous_seq": 5}, {}).seq
    7
    """

    id: str
    type: str
    data: Mapping[str, Any]
    body: Mapping[str, Any] = field(repr=False)

    @property
    def seq(self) -> int | None:
        """Its place in the change feed; ``None`` for a message that is only a test."""
        return self._number("seq")

    @property
    def previous_seq(self) -> int | None:
        """The last entry before it that matched the subscription."""
        return self._number("previous_seq")

    def _number(self, name: str) -> int | None:
        found = self.data.get(name, self.body.get(name))
        return found if isinstance(found, int) else None


def _key(secret: str) -> bytes:
    text = secret.strip().removeprefix(SECRET_PREFIX)
    try:
        key = base64.b64decode(text, validate=True)
    except (binascii.Error, ValueError):
        key = b""
    if not key:
        raise InvalidSettingError(f"The secret of a subscription is {SECRET_PREFIX} and base64")
    return key


def signature(secret: str, message_id: str, timestamp: int, body: bytes) -> str:
    """Return the signature of a message, for tests of a receiver.

    Raises:
        InvalidSettingError: the secret is none.

    >>> signature("whsec_AAAA", "m-1", 1767225600, b"{}")
    'v1,ufANSFGqtWtBMshx8VHq9j+Gg8x8sNifyQh3yOHaDaI='
    """
    signed = b"%s.%d.%s" % (message_id.encode(), timestamp, body)
    made = hmac.new(_key(secret), signed, hashlib.sha256).digest()
    return f"{SCHEME},{base64.b64encode(made).decode()}"


def verify(
    body: bytes,
    headers: Mapping[str, str],
    secrets: str | Iterable[str],
    *,
    tolerance_s: float = TOLERANCE_S,
    now_s: float | None = None,
) -> Message:
    """Return a message that is proven to come from the service.

    Args:
        body: as it arrived, to the byte, before anything parses it.
        headers: of the request, in any case.
        secrets: of the subscription; while one is rotated, the old one and the new one.
        tolerance_s: how far its time may lie from now, so that old ones are not played again. [s]
        now_s: seconds since 1970; the clock where not given. [s]

    Raises:
        InvalidMessageError: a header is missing, no signature fits, or it is too old.
        InvalidSettingError: a secret is none.

    >>> headers = {"webhook-id": "m-1", "webhook-timestamp": "1767225600"}
    >>> headers["webhook-signature"] = signature("whsec_AAAA", "m-1", 1767225600, b'{"type": "test"}')
    >>> verify(b'{"type": "test"}', headers, "whsec_AAAA", now_s=1767225600).type
    'test'
    """
    given = {name.lower(): value for name, value in headers.items()}
    missing = [
        name for name in ("webhook-id", "webhook-timestamp", "webhook-signature") if not given.get(name)
    ]
    if missing:
        raise InvalidMessageError(f"The header {missing[0]} is missing: this is no delivery of a webhook")
    message_id, stamp = given["webhook-id"], given["webhook-timestamp"]
    if not (stamp.isascii() and stamp.isdigit() and len(stamp) <= 12):
        raise InvalidMessageError("webhook-timestamp is no number of seconds")
    known = (secrets,) if isinstance(secrets, str) else tuple(secrets)
    wanted = [signature(secret, message_id, int(stamp), body).encode() for secret in known]
    shown = [each.encode() for each in given["webhook-signature"].split()]
    # Every pair is compared, whether or not an earlier one fits.
    if not any([hmac.compare_digest(a, b) for a in wanted for b in shown]):
        raise InvalidMessageError("No signature fits: another secret, or the body was altered on its way")
    away_s = abs((time.time() if now_s is None else now_s) - int(stamp))
    if away_s > tolerance_s:
        raise InvalidMessageError(
            f"It was sent {away_s:.0f} s from now; at most {tolerance_s:.0f} s are taken"
        )
    return _read(message_id, body)


def _read(message_id: str, body: bytes) -> Message:
    try:
        document = json.loads(body)
    except ValueError as error:
        raise InvalidMessageError("The body is no JSON") from error
    if not isinstance(document, dict):
        raise InvalidMessageError("The body is no object")
    data = document.get("data")
    return Message(
        message_id, str(document.get("type", "")), data if isinstance(data, dict) else {}, document
    )
