"""Durable ``POST /v1/records`` against an endpoint that only parses and against a naive route.

The naive route is what one would write first: JSON, marshmallow's ``List(Float)``, the
grading of one category by plain loops, and the document as text in one wide table,
durably. All three run under the same server, with two workers and eight clients.
"""

from __future__ import annotations

import http.client
import json
import sqlite3
import threading
import time
from collections.abc import Callable, Iterator
from itertools import count
from pathlib import Path
from statistics import median, quantiles
from typing import Any, Final

import orjson
import requests
from flask import Flask, Response, request
from marshmallow import fields

from fourpair_service.domain.link import End
from fourpair_service.domain.parameters import Parameter
from fourpair_service.http.schemas.measurement import read_measurement
from fourpair_service.rulesets.catalogue import Catalogue
from fourpair_service.server import Server

from .figures import Figure
from .plain import by_loops, limits_of
from .record import document
from .serving import CLIENTS, PARSE, ParseOnly, served

ROUNDS: Final = 5
ROUND_S: Final = 2.0
NAIVE_ROUND_S: Final = 6.0
JSON: Final = {"Content-Type": "application/json"}
NAIVE: Final = "/naive"
JOB: Final = "bench"
KEPT: Final = "/v1/records?assessment=none"
FOLLOWERS: Final = 50
CATEGORY: Final = "6"


class Naive(Server):
    """The service's own server around the route that one would write first."""

    def load(self) -> Flask:
        """Return the bare application."""
        app, numbers = Flask("naive", static_folder=None), fields.List(fields.Float())
        link = read_measurement(document()).measurement
        rule_set = Catalogue.load(None).get("TIA")
        limits = [each for each in limits_of(rule_set, link) if each.category.name == CATEGORY]
        axis = link.curves[Parameter.INSERTION_LOSS, None][0].frequency_mhz.tolist()

        @app.post(NAIVE)
        def keep() -> Response:
            sent = json.loads(request.get_data(cache=False))
            curves: dict[Any, Any] = {}
            for name, ends in sent["sweeps"].items():
                for end, pairs in (ends if "near" in ends or "far" in ends else {None: ends}).items():
                    for key, curve in pairs.items():
                        place = Parameter(name), End(end) if end else None, key
                        curves[place] = numbers.deserialize(curve)
            worst = by_loops(axis, curves, limits)
            outcome = "pass" if min(margin for margin, _ in worst.values()) >= 0 else "fail"
            self._keep(sent, outcome)
            return Response(json.dumps({"outcome": outcome}), status=201, content_type="application/json")

        return app

    def _keep(self, sent: Any, outcome: str) -> None:
        raw = sqlite3.connect(Path(self._settings.store).with_name("naive.db"), timeout=30)
        with raw:
            raw.execute("PRAGMA synchronous = FULL")
            raw.execute("CREATE TABLE IF NOT EXISTS record (label TEXT, outcome TEXT, document TEXT)")
            raw.execute("INSERT INTO record VALUES (?, ?, ?)", (sent["label"], outcome, json.dumps(sent)))
        raw.close()


def _labelled() -> Callable[[], bytes]:
    """Return what makes the same body under another label each time."""
    own = {**document(), "job": JOB, "label": "@@"}
    before, after = orjson.dumps(own).split(b"@@")
    numbers = count()
    return lambda: b"%b%d%b" % (before, next(numbers), after)


def _client(port: int, path: str, body: Callable[[], bytes], until: float, taken: list[float]) -> None:
    while time.perf_counter() < until:
        raw = body()
        start = time.perf_counter()
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=60)
        connection.request("POST", path, raw, JSON)
        answer = connection.getresponse()
        answer.read()
        connection.close()
        if answer.status not in (200, 201):
            raise RuntimeError(f"{path} answered {answer.status}")
        taken.append(time.perf_counter() - start)


def _round(port: int, path: str, body: Callable[[], bytes], seconds: float = ROUND_S) -> list[float]:
    """Return how long each request took with all clients at work. [s]."""
    taken: list[float] = []
    until = time.perf_counter() + seconds
    clients = [
        threading.Thread(target=_client, args=(port, path, body, until, taken)) for _ in range(CLIENTS)
    ]
    for client in clients:
        client.start()
    for client in clients:
        client.join()
    return taken


def figures() -> Iterator[Figure]:
    """Measure keeping, in turns."""
    body = _labelled()
    with served(Server) as service, served(ParseOnly) as bare, served(Naive) as naive:
        url = f"http://127.0.0.1:{service}"
        requests.post(f"{url}/v1/jobs", json={"id": JOB, "name": "Bench"}, timeout=10).raise_for_status()
        targets = {KEPT: (service, ROUND_S), PARSE: (bare, ROUND_S), NAIVE: (naive, NAIVE_ROUND_S)}
        rounds: list[dict[str, list[float]]] = []
        for _ in range(ROUNDS + 1):
            rounds.append(
                {path: _round(port, path, body, seconds) for path, (port, seconds) in targets.items()}
            )
        yield from _rates(rounds[1:])
        yield _followed(service, body)


def _rates(rounds: list[dict[str, list[float]]]) -> Iterator[Figure]:
    rates = [
        {KEPT: len(t[KEPT]) / ROUND_S, PARSE: len(t[PARSE]) / ROUND_S, NAIVE: len(t[NAIVE]) / NAIVE_ROUND_S}
        for t in rounds
    ]
    best = {path: max(rate[path] for rate in rates) for path in (KEPT, PARSE, NAIVE)}
    for rival, aim, name in (
        (PARSE, 0.20, "of an endpoint that only parses"),
        (NAIVE, 20.0, "of the naive route"),
    ):
        middle = median(rate[KEPT] / rate[rival] for rate in rates)
        ratio = best[KEPT] / best[rival]
        yield Figure(
            f"requests/s of a durable `POST` of a record / {name}",
            f"at least {aim:g}",
            ratio,
            middle,
            ratio >= aim,
        )
    tails = []
    for taken in rounds:
        cuts = quantiles(taken[KEPT], n=100)
        tails.append(cuts[98] / cuts[49])
    name = f"p99 / p50 of that `POST` at {CLIENTS} clients"
    yield Figure(name, "at most 5", min(tails), median(tails), median(tails) <= 5)


def _followed(port: int, body: Callable[[], bytes]) -> Figure:
    """Return the rate of grading with idle followers of the feed over that without, round by round."""
    url, path = f"http://127.0.0.1:{port}", "/v1/grade?assessment=none"
    pairs = []
    for number in range(ROUNDS):
        alone = len(_round(port, path, body))
        last = requests.get(f"{url}/v1/changes?after=0&limit=1", timeout=10).json()["last_seq"]
        waiting = [
            threading.Thread(target=requests.get, args=(f"{url}/v1/changes?after={last}&wait=30",))
            for _ in range(FOLLOWERS)
        ]
        for each in waiting:
            each.start()
        time.sleep(0.5)
        followed = len(_round(port, path, body))
        requests.post(f"{url}/v1/jobs", json={"name": f"wake them {number}"}, timeout=10)
        for each in waiting:
            each.join()
        pairs.append((followed, alone))
    best = max(f for f, _ in pairs) / max(a for _, a in pairs)
    middle = median(followed / alone for followed, alone in pairs)
    name = f"grading rate with {FOLLOWERS} idle followers of the feed / without"
    return Figure(name, "at least 0.9", best, middle, middle >= 0.9)
