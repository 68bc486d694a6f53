"""Answers that go to a file piece by piece: whole or not there at all."""

from __future__ import annotations

import threading
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest

from fourpair import Client, TransportError


class Cut(BaseHTTPRequestHandler):
    """Promises more than it sends."""

    def do_GET(self):
        self.send_response(200)
        self.send_header("Content-Length", "1000000")
        self.end_headers()
        self.wfile.write(b"x" * 200_000)

    def log_message(self, *_):
        pass


@pytest.fixture
def url():
    with HTTPServer(("127.0.0.1", 0), Cut) as server:
        thread = threading.Thread(target=server.serve_forever)
        thread.start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()
        thread.join()


def test_an_answer_that_was_cut_off_leaves_no_file_and_the_older_one_as_it_was(url, tmp_path):
    target = tmp_path / "papers.pdf"
    target.write_bytes(b"older")
    with Client(url) as client, pytest.raises(TransportError, match="cut off") as cut:
        client.handovers.save("hall", target)

    assert cut.value.retryable
    assert target.read_bytes() == b"older"
    assert list(tmp_path.iterdir()) == [target]
