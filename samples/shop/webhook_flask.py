"""A receiver of webhooks with Flask.

    FOURPAIR_WEBHOOK_SECRET=whsec_... flask --app webhook_flask run

It deals with each change once and in order, whatever the network does to deliveries:
what was missed is read from the feed. ``seq`` of the last one that was dealt with is
kept in a file, written after the work is done.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

from flask import Flask, Response, request

from fourpair import Change, Client
from fourpair.webhooks import InvalidMessageError, verify


def create_app(
    client: Client, secrets: list[str], seq_file: Path, deal: Callable[[Change], object] = print
) -> Flask:
    """Return the receiver.

    Args:
        client: of the service, to fill gaps.
        secrets: of the subscription; two while one is rotated.
        seq_file: remembers the last change that was dealt with.
        deal: what to do with a change.
    """
    app = Flask(__name__)

    def done(change: Change) -> None:
        deal(change)
        beside = seq_file.with_suffix(".new")
        beside.write_text(str(change.seq))
        beside.replace(seq_file)

    inbox = client.changes.inbox(done, after=int(seq_file.read_text()) if seq_file.exists() else 0)
    inbox.catch_up()

    @app.post("/fourpair")
    def receive() -> Response:
        try:
            # The bytes as they came: a body that was parsed and written again has another signature.
            message = verify(request.get_data(), dict(request.headers), secrets)
        except InvalidMessageError as error:
            return Response(f"{error}\n", 400, content_type="text/plain")
        inbox.receive(message)
        return Response(status=204)

    return app


if "FOURPAIR_WEBHOOK_SECRET" in os.environ:
    app = create_app(Client(), os.environ["FOURPAIR_WEBHOOK_SECRET"].split(), Path("fourpair.seq"))
