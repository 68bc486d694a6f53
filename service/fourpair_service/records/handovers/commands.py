"""Ordering the papers of a job, and reading the file."""

from __future__ import annotations

from base64 import b64decode
from collections.abc import Iterator, Mapping, Sequence
from typing import Final

from fourpair_service.records.desk import Caller, Desk, Subject, Terms, known_key, remember, visible_job
from fourpair_service.records.errors import HandoverNotReadyError, NotFoundError
from fourpair_service.records.handovers.model import (
    KEPT_FOR,
    OPEN_ORDERS,
    ORDERS,
    Order,
    OrderState,
    order_document,
    order_of,
)
from fourpair_service.records.ports import Reader, Writer
from fourpair_service.records.times import instant

PAGE: Final = 200
ID_LENGTH: Final = 8


def keep_order(writer: Writer, order: Order) -> Order:
    """Keep an order as it stands."""
    writer.put_in(ORDERS, order.id, order_document(order))
    if order.is_open:
        writer.put_in(OPEN_ORDERS, order.id, {})
    else:
        writer.take_out(OPEN_ORDERS, order.id)
    return order


def known_order(reader: Reader, order_id: str) -> Order | None:
    """Return an order by its id."""
    document = reader.drawn(ORDERS, order_id)
    return None if document is None else order_of(document)


def visible_order(reader: Reader, caller: Caller, job_id: str, order_id: str) -> Order:
    """Return an order for a job that the caller sees.

    Raises:
        NotFoundError: there is no such job or order, or it is not the caller's to see.
    """
    visible_job(reader, caller, job_id)
    order = known_order(reader, order_id)
    if order is None or order.job_id != job_id:
        raise NotFoundError("handover", order_id)
    return order


def open_orders(reader: Reader) -> Sequence[Order]:
    """Return every order that somebody is to make, the oldest first."""
    found = (known_order(reader, key) for key, _ in reader.drawer(OPEN_ORDERS, limit=PAGE))
    return [order for order in found if order is not None]


def place_order(
    desk: Desk, caller: Caller, job_id: str, form: Mapping[str, str], terms: Terms
) -> tuple[Order, bool]:
    """Order the papers of a job, or return the order that the same request made, and whether it is that one.

    Raises:
        NotFoundError: there is no such job.
    """
    with desk.store.writing() as writer:
        visible_job(writer, caller, job_id)
        known = known_key(writer, caller, terms)
        if known is not None:
            return visible_order(writer, caller, job_id, known.subject_id), True
        drop_old(writer, instant(desk.clock() - KEPT_FOR))
        now = desk.now()
        plain = "".join(character for character in now if character.isdigit())
        order = Order(f"{plain}-{desk.new_id()[:ID_LENGTH]}", job_id, dict(form), caller.actor, now)
        keep_order(writer, order)
        remember(writer, desk, caller, terms, Subject("handover", order.id, status=202))
        return order, False


def drop_old(writer: Writer, before: str) -> None:
    """Drop orders and files that were made before an instant."""
    page = writer.drawer(ORDERS, limit=PAGE)
    while page:
        for order in (order_of(document) for _, document in page):
            if order.finished_at is not None and order.finished_at < before:
                drop_file(writer, order)
                writer.take_out(ORDERS, order.id)
        page = writer.drawer(ORDERS, after=page[-1][0], limit=PAGE)


def drop_file(writer: Writer, order: Order) -> None:
    """Drop what is there of the file of an order."""
    while page := writer.drawer(order.drawer, limit=1):
        writer.take_out(order.drawer, page[0][0])


def file_pieces(reader: Reader, order: Order) -> Iterator[bytes]:
    """Yield the file of an order that is done, one piece in memory at a time.

    Raises:
        HandoverNotReadyError: it is not done.
    """
    if order.state is not OrderState.DONE:
        raise HandoverNotReadyError(order.id, order.state.value, order.trouble)
    return _pieces(reader, order)


def _pieces(reader: Reader, order: Order) -> Iterator[bytes]:
    page = reader.drawer(order.drawer, limit=1)
    while page:
        yield b64decode(page[0][1]["base64"])
        page = reader.drawer(order.drawer, after=page[0][0], limit=1)
