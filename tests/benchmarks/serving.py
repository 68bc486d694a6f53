"""``POST /v1/grade`` against an endpoint that only parses the same body, under the same server."""

from __future__ import annotations

import http.client
import multiprocessing
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from multiprocessing.connection import Connection
from pathlib import Path
from statistics import median, quantiles
from tempfile import TemporaryDirectory
from typing import Final

import orjson
from flask import Flask, Response, request

from fourpair_service.app import create_app
from fourpair_service.config import Settings
from fourpair_service.http.services import NAME
from fourpair_service.server import Server

from .figures import Figure
from .record import body

CLIENTS: Final = 8
ROUNDS: Final = 7
ROUND_S: Final = 2.0
HEADERS: Final = {"Content-Type": "application/json"}
GRADE: Final = "/v1/grade"
GRADE_ALONE: Final = "/v1/grade?assessment=none"
PARSE: Final = "/parse"


class ParseOnly(Server):
    """The service's own server around one view that parses and answers with nothing."""

    def load(self) -> Flask:
        """Return the bare application."""
        app = Flask("parse_only", static_folder=None)

        @app.post(PARSE)
        def parse() -> Response:
            orjson.loads(request.get_data(cache=False))
            return Response(b"{}", content_type="application/json")

        return app


def _run(kind: type[Server], ready: Connection) -> None:
    with TemporaryDirectory() as directory:
        settings = Settings(port=0, workers=2, store=str(Path(directory) / "bench.db"))
        app = create_app(settings)
        app.extensions[NAME].desk.store.close()
        kind(settings, app, ready.send).run()


@contextmanager
def served(kind: type[Server]) -> Iterator[int]:
    """Run a server in a process of its own; yield its port."""
    ours, theirs = multiprocessing.Pipe()
    process = multiprocessing.get_context("spawn").Process(target=_run, args=(kind, theirs))
    process.start()
    try:
        if not ours.poll(30):
            raise RuntimeError(f"{kind.__name__} did not start within 30 s")
        yield int(ours.recv().rpartition(":")[2])
    finally:
        process.terminate()
        process.join()


def _client(port: int, path: str, raw: bytes, until: float, taken: list[float]) -> None:
    while time.perf_counter() < until:
        start = time.perf_counter()
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=30)
        connection.request("POST", path, raw, HEADERS)
        answer = connection.getresponse()
        answer.read()
        connection.close()
        if answer.status != 200:
            raise RuntimeError(f"{path} answered {answer.status}")
        taken.append(time.perf_counter() - start)


def _round(port: int, path: str, raw: bytes) -> list[float]:
    """Return how long each request took with all clients at work. [s]."""
    taken: list[float] = []
    until = time.perf_counter() + ROUND_S
    clients = [threading.Thread(target=_client, args=(port, path, raw, until, taken)) for _ in range(CLIENTS)]
    for client in clients:
        client.start()
    for client in clients:
        client.join()
    return taken


def figures() -> list[Figure]:
    """Measure serving, in turns."""
    raw = body()
    with served(Server) as service, served(ParseOnly) as bare:
        targets = {GRADE: service, GRADE_ALONE: service, PARSE: bare}
        for path, port in targets.items():
            _round(port, path, raw)
        rounds = [{path: _round(port, path, raw) for path, port in targets.items()} for _ in range(ROUNDS)]
    return [*(_rate(path, rounds) for path in (GRADE_ALONE, GRADE)), *_tails(rounds)]


def _rate(path: str, rounds: list[dict[str, list[float]]]) -> Figure:
    ratios = [len(taken[path]) / len(taken[PARSE]) for taken in rounds]
    best = max(len(t[path]) for t in rounds) / max(len(t[PARSE]) for t in rounds)
    name = f"requests/s of `POST {path}` / of an endpoint that only parses"
    return Figure(name, "at least 0.32", best, median(ratios), best >= 0.32)


def _tails(rounds: list[dict[str, list[float]]]) -> Iterator[Figure]:
    for path in (GRADE_ALONE, GRADE):
        tails = []
        for taken in rounds:
            cuts = quantiles(taken[path], n=100)
            tails.append(cuts[98] / cuts[49])
        name = f"p99 / p50 of `POST {path}` at {CLIENTS} clients"
        yield Figure(name, "at most 5", min(tails), median(tails), median(tails) <= 5)
