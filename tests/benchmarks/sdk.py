"""The SDK beside bare ``requests``: one link at a time, and many; and what importing it takes.

Times are those of the clock on the wall, with the service at work as in use.
"""

from __future__ import annotations

import json
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from statistics import median
from typing import Any, Final

import requests

from fourpair import Client
from fourpair_service.server import Server

from .figures import Figure
from .record import document
from .serving import served

GRADES: Final = 60
THREADS: Final = 2
ROUNDS: Final = 10
LINKS_A_ROUND: Final = 100
PART: Final = 31
IMPORTS: Final = 7
NDJSON: Final = {"Content-Type": "application/x-ndjson"}


def _seconds(work: Callable[[], Any]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def _overhead(url: str) -> Figure:
    measurement, session = document(), requests.Session()
    with Client(url) as client:

        def bare() -> Any:
            answer = session.post(f"{url}/v1/grade", json=measurement, timeout=30)
            answer.raise_for_status()
            return answer.json()

        def ours() -> Any:
            return client.grade(measurement)

        for work in (bare, ours):
            work()
        taken = [(_seconds(ours), _seconds(bare)) for _ in range(GRADES)]
    best = min(own for own, _ in taken) / min(other for _, other in taken)
    middle = median(own for own, _ in taken) / median(other for _, other in taken)
    name = "`client.grade` / a bare `requests` call of the same body"
    return Figure(name, "at most 1.15", best, middle, middle <= 1.15)


def _links(job: str, round_number: int) -> Iterator[dict[str, Any]]:
    for number in range(LINKS_A_ROUND):
        yield {**document(number % 8), "job": job, "label": f"{round_number}-{number}"}


def _by_hand(url: str, session: requests.Session, links: list[dict[str, Any]]) -> None:
    def send(part: list[dict[str, Any]]) -> int:
        lines = b"\n".join(json.dumps(link, separators=(",", ":")).encode() for link in part)
        answer = session.post(f"{url}/v1/records:batch", data=lines, headers=NDJSON, timeout=120)
        answer.raise_for_status()
        return len([item for item in answer.json()["items"] if item["result"] == "created"])

    parts = [links[i : i + PART] for i in range(0, len(links), PART)]
    with ThreadPoolExecutor(THREADS) as pool:
        if sum(pool.map(send, parts)) != len(links):
            raise RuntimeError("not every link was kept")


def _upload(url: str) -> Figure:
    taken: list[tuple[float, float]] = []
    with Client(url, read_timeout_s=120) as client, requests.Session() as session:
        for job in ("sdk", "hand"):
            client.jobs.create(job, name=job)

        def ours(links: list[dict[str, Any]]) -> None:
            items = client.records.upload(links, threads=THREADS, most_items=PART)
            if {item.result for item in items} != {"created"}:
                raise RuntimeError("not every link was kept")

        for number in range(ROUNDS):
            own, others = list(_links("sdk", number)), list(_links("hand", number))
            by_hand = _seconds(lambda links=others: _by_hand(url, session, links))
            taken.append((_seconds(lambda links=own: ours(links)), by_hand))
    best = min(other for _, other in taken) / min(own for own, _ in taken)
    middle = median(other / own for own, other in taken)
    name = f"links/s of `upload` over {ROUNDS * LINKS_A_ROUND} full links / of a loop by hand, {THREADS} threads each"
    return Figure(name, "at least 0.8", best, middle, middle >= 0.8)


def _importing() -> Figure:
    def run(code: str) -> float:
        return _seconds(lambda: subprocess.run([sys.executable, "-c", code], check=True))

    taken = [run("import fourpair") - run("pass") for _ in range(IMPORTS)]
    return Figure(
        "s to `import fourpair`, beside what Python itself takes",
        "at most 0.3",
        min(taken),
        median(taken),
        median(taken) <= 0.3,
    )


def figures() -> list[Figure]:
    """Measure the SDK against the real service."""
    with served(Server) as port:
        url = f"http://127.0.0.1:{port}"
        return [_overhead(url), _upload(url), _importing()]
