"""The sender against real servers: good ones, and some that try to lead it astray."""

from __future__ import annotations

import socket
import ssl
import threading
from contextlib import contextmanager, suppress

import pytest
import trustme

from fourpair_service.webhooks.sending import Sender
from webhook_receiver import LOOPBACK, receiving

BODY = b'{"type":"test","data":{"seq":1}}'
HEADERS = {"webhook-id": "1", "Content-Type": "application/json"}


@pytest.fixture(scope="module")
def authority(tmp_path_factory):
    made = trustme.CA()
    path = tmp_path_factory.mktemp("ca") / "ca.pem"
    made.cert_pem.write_to_path(str(path))
    return made, path


def server_context(certificate):
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    certificate.configure_cert(context)
    return context


def test_a_message_arrives_by_https_under_the_name_of_the_host(authority):
    made, path = authority
    with receiving(server_context(made.issue_cert("localhost"))) as receiver:
        answer = Sender(LOOPBACK, path)(receiver.url, BODY, HEADERS)

        assert (answer.status, answer.error) == (204, None)
        assert receiver.requests[0]["host"] == receiver.url.split("/")[2]
        assert [m["type"] for m in receiver.arrived] == ["test"]


def test_a_certificate_of_another_name_is_refused(authority):
    made, path = authority
    with receiving(server_context(made.issue_cert("other.example"))) as receiver:
        answer = Sender(LOOPBACK, path)(receiver.url, BODY, HEADERS)

        assert answer.status is None
        assert "certificate" in answer.error
        assert receiver.requests == []


def test_a_certificate_of_an_unknown_authority_is_refused(authority):
    _, path = authority
    with receiving(server_context(trustme.CA().issue_cert("localhost"))) as receiver:
        answer = Sender(LOOPBACK, path)(receiver.url, BODY, HEADERS)

        assert "certificate" in answer.error
        assert receiver.requests == []


@pytest.mark.parametrize("status", [301, 302, 303, 307, 308])
def test_a_redirect_is_a_failure_and_is_not_followed(status):
    with receiving() as elsewhere, receiving(status=lambda message: status) as receiver:
        receiver.headers["Location"] = elsewhere.url
        answer = Sender(LOOPBACK)(receiver.url, BODY, HEADERS)

        assert (answer.status, answer.is_good) == (status, False)
        assert elsewhere.requests == []


def test_no_proxy_of_the_environment_is_used(monkeypatch):
    with receiving() as receiver, receiving() as proxy:
        for name in ("http_proxy", "https_proxy", "ALL_PROXY"):
            monkeypatch.setenv(name, proxy.url)
        assert Sender(LOOPBACK)(receiver.url, BODY, HEADERS).is_good
        assert proxy.requests == []


def test_an_answer_that_asks_for_patience_is_heard():
    with receiving(status=lambda message: 503) as receiver:
        receiver.headers["Retry-After"] = "120"
        assert Sender(LOOPBACK)(receiver.url, BODY, HEADERS).retry_after_s == 120
        receiver.headers["Retry-After"] = "soon"
        assert Sender(LOOPBACK)(receiver.url, BODY, HEADERS).retry_after_s is None


@contextmanager
def talking(talk):
    """Run a server that does to each connection what ``talk`` does."""
    listener = socket.create_server(("127.0.0.1", 0))
    ended = threading.Event()

    def serve():
        while not ended.is_set():
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            with connection:
                connection.recv(65536)
                with suppress(OSError):
                    talk(connection, ended)

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield f"http://127.0.0.1:{listener.getsockname()[1]}/"
    finally:
        ended.set()
        listener.shutdown(socket.SHUT_RDWR)
        listener.close()
        thread.join()


def drip(connection, ended):
    connection.sendall(b"HTTP/1.1 200 OK\r\n")
    while not ended.wait(0.05):
        connection.sendall(b"X-More: 1\r\n")


def gush(connection, ended):
    connection.sendall(b"HTTP/1.1 200 OK\r\n\r\n")
    while not ended.is_set():
        connection.sendall(b"x" * 65536)


def test_a_receiver_that_answers_without_end_is_cut_off():
    with talking(drip) as url:
        answer = Sender(LOOPBACK, total_s=0.5)(url, BODY, HEADERS)

        assert (answer.status, answer.error) == (None, "It was not through within 0.5 s.")
    with talking(gush) as url:
        assert Sender(LOOPBACK)(url, BODY, HEADERS).status == 200


def test_a_receiver_that_says_nothing_or_nonsense_is_a_failure_with_a_reason():
    with talking(lambda connection, ended: ended.wait()) as url:
        assert "did not answer" in Sender(LOOPBACK, connect_s=0.2)(url, BODY, HEADERS).error
    with talking(lambda connection, ended: connection.sendall(b"hello\r\n\r\n")) as url:
        assert "cannot be reached" in Sender(LOOPBACK)(url, BODY, HEADERS).error
    with receiving() as receiver:
        gone = receiver.url
    assert "cannot be reached" in Sender(LOOPBACK)(gone, BODY, HEADERS).error
