"""Signatures, held against the library of the standard."""

from __future__ import annotations

import time

import pytest
from standardwebhooks.webhooks import Webhook, WebhookVerificationError

from fourpair_service.webhooks.signing import secret_of, signed_headers

OLD, NEW = secret_of(bytes(range(32))), secret_of(bytes(range(32, 64)))
BODY = b'{"type":"record.submitted"}'


@pytest.mark.parametrize("secret", [OLD, NEW])
def test_a_message_is_proven_by_each_secret_that_holds(secret):
    headers = signed_headers("m-1", int(time.time()), BODY, (NEW, OLD))

    assert Webhook(secret).verify(BODY, headers) == {"type": "record.submitted"}


@pytest.mark.parametrize("change", [("webhook-id", "m-2"), ("webhook-timestamp", str(int(time.time()) - 1))])
def test_a_changed_message_is_not_proven(change):
    headers = signed_headers("m-1", int(time.time()), BODY, (OLD,))

    with pytest.raises(WebhookVerificationError):
        Webhook(OLD).verify(BODY, headers | dict([change]))
    with pytest.raises(WebhookVerificationError):
        Webhook(OLD).verify(BODY + b" ", headers)
    with pytest.raises(WebhookVerificationError):
        Webhook(NEW).verify(BODY, headers)


def test_the_example_of_the_standard_comes_out():
    # https://github.com/standard-webhooks/standard-webhooks, libraries: the vector of their tests, from memory.
    headers = signed_headers(
        "msg_p5jXN8AQM9LWM0D4loKWxJek",
        1614265330,
        b'{"test": 2432232314}',
        ("whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw",),
    )
    assert headers["webhook-signature"] == "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE="
