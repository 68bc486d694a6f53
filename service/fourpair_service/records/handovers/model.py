"""An order for the papers of a job: in which form, how far it is, and where the file lies when it is done."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import timedelta
from enum import StrEnum
from typing import Any, Final

from fourpair_service.records.curves import Document

ORDERS: Final = "handovers"
OPEN_ORDERS: Final = "handovers-open"
FILE_OF: Final = "handover-file "
# How long a file is kept after it was made.
KEPT_FOR: Final = timedelta(hours=24)


class OrderState(StrEnum):
    """How far an order has come."""

    WAITING = "waiting"
    RUNNING = "running"
    DONE = "done"
    FAILED = "failed"


@dataclass(frozen=True, slots=True)
class Order:
    """An order for the papers of a job.

    Attributes:
        form: as it was asked for, in words.
        done, total: of how many links.
        size: of the file. [bytes]
        sha256: of the file.
        trouble: why it failed.
        holder: who is making it, until ``held_until`` unless that is renewed.
    """

    id: str
    job_id: str
    form: Mapping[str, str]
    actor: str
    created_at: str
    state: OrderState = OrderState.WAITING
    done: int = 0
    total: int = 0
    size: int | None = None
    sha256: str | None = None
    trouble: str | None = None
    holder: str | None = None
    held_until: str | None = None
    finished_at: str | None = None

    @property
    def drawer(self) -> str:
        """Where the pieces of the file lie."""
        return f"{FILE_OF}{self.id}"

    @property
    def is_open(self) -> bool:
        """Whether somebody is to make it."""
        return self.state in (OrderState.WAITING, OrderState.RUNNING)


def order_document(order: Order) -> Document:
    """Return an order as a document to be kept."""
    return asdict(order)


def order_of(document: Mapping[str, Any]) -> Order:
    """Return the order of a document."""
    return Order(**{**document, "state": OrderState(document["state"])})


def is_short_lived(drawer: str) -> bool:
    """Return whether a drawer holds nothing that another store would need."""
    return drawer in (ORDERS, OPEN_ORDERS) or drawer.startswith(FILE_OF)
