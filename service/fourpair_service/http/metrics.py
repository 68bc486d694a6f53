"""What the service tells of itself, in the text format of Prometheus (exposition format 0.0.4).

Counters are those of the process that answers, which ``worker`` names; what is
kept is the same in all of them.
"""

from __future__ import annotations

import threading
from collections.abc import Iterable, Mapping
from typing import Final

BUCKETS_S: Final = (0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1.0, 2.5, 10.0)
NAME: Final = "fourpair_http_request_duration_seconds"

Labels = tuple[tuple[str, str], ...]


def _labels(labels: Iterable[tuple[str, str]]) -> str:
    told = ",".join(f'{name}="{value}"' for name, value in labels)
    return f"{{{told}}}" if told else ""


class Metrics:
    """How long requests took, by method, route and status; may be told by several threads."""

    def __init__(self) -> None:
        self._counts: dict[Labels, list[int]] = {}
        self._sums: dict[Labels, float] = {}
        self._lock = threading.Lock()

    def observe(self, method: str, route: str, status: int, seconds: float) -> None:
        """Count one request."""
        labels = (("method", method), ("route", route), ("status", str(status)))
        with self._lock:
            counts = self._counts.setdefault(labels, [0] * (len(BUCKETS_S) + 1))
            counts[next((i for i, edge in enumerate(BUCKETS_S) if seconds <= edge), len(BUCKETS_S))] += 1
            self._sums[labels] = self._sums.get(labels, 0.0) + seconds

    def lines(self, worker: str) -> list[str]:
        """Return the histogram as lines."""
        lines = [f"# HELP {NAME} How long requests took.", f"# TYPE {NAME} histogram"]
        with self._lock:
            for labels, counts in sorted(self._counts.items()):
                own, total = (("worker", worker), *labels), 0
                for edge, count in zip((*map(str, BUCKETS_S), "+Inf"), counts, strict=True):
                    total += count
                    lines.append(f"{NAME}_bucket{_labels((*own, ('le', edge)))} {total}")
                lines.append(f"{NAME}_sum{_labels(own)} {self._sums[labels]:.6f}")
                lines.append(f"{NAME}_count{_labels(own)} {total}")
        return lines


def gauge(name: str, help_text: str, values: Mapping[Labels, float]) -> list[str]:
    """Return a gauge as lines."""
    own = [f"{name}{_labels(labels)} {value:g}" for labels, value in values.items()]
    return [f"# HELP {name} {help_text}", f"# TYPE {name} gauge", *own]
