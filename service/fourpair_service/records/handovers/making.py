"""Making what was ordered: the file first, beside the store; then into it, piece by piece.

The papers are written from one state of the store. Meanwhile another thread tells how far
they are, since a thread that reads one state cannot write into the next.
"""

from __future__ import annotations

import logging
import time
from base64 import b64encode
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from datetime import timedelta
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final

from fourpair_service.errors import ServiceError
from fourpair_service.records.desk import Desk
from fourpair_service.records.errors import StoreError
from fourpair_service.records.handovers.commands import drop_file, keep_order, known_order
from fourpair_service.records.handovers.model import Order, OrderState
from fourpair_service.records.model import Job
from fourpair_service.records.ports import Reader, Writer
from fourpair_service.records.times import instant, lies_ahead

HELD_FOR: Final = timedelta(seconds=60)
# Clocks of several machines differ a little.
LONGEST_HOLD: Final = 2 * HELD_FOR
PIECE_BYTES: Final = 1 << 19
# How often it is told how far the papers are. [s]
TELL_EVERY_S: Final = 0.5
LOGGER: Final = logging.getLogger("fourpair.handovers")

Progress = Callable[[int, int], None]
Write = Callable[[Reader, Job, Mapping[str, str], Path, Progress], None]


class GivenUpError(Exception):
    """Somebody else makes it, or this process is to end."""


def claim_order(
    writer: Writer, desk: Desk, order_id: str, holder: str, is_gone: Callable[[str], bool]
) -> Order | None:
    """Take an order over, unless somebody alive has it; ``None`` where there is nothing to be made."""
    now, order = desk.clock(), known_order(writer, order_id)
    if order is None or not order.is_open:
        return None
    is_held = order.holder not in (None, holder) and lies_ahead(order.held_until, now, LONGEST_HOLD)
    if is_held and not is_gone(order.holder or ""):
        return None
    until = instant(now + HELD_FOR)
    taken = replace(order, state=OrderState.RUNNING, holder=holder, held_until=until, done=0, total=0)
    return keep_order(writer, taken)


def make(desk: Desk, order: Order, write: Write, go_on: Callable[[], bool] = lambda: True) -> Order | None:
    """Make a claimed order; return it as it stands then, ``None`` where it was given up.

    Args:
        desk: where it is done.
        order: as :func:`claim_order` gave it.
        write: writes the papers of a job into a file.
        go_on: asked now and then; where it says no, the order waits for somebody else.
    """
    try:
        with TemporaryDirectory(prefix="fourpair-handover-") as directory:
            target = Path(directory) / "handover"
            _write(desk, order, write, target, go_on)
            return _kept(desk, order, target)
    except GivenUpError:
        _changed(desk, order, state=OrderState.WAITING, holder=None, held_until=None)
        return None
    except StoreError:
        raise
    except Exception as error:
        # What cannot be written now cannot be written again: it is told, and not tried for ever.
        LOGGER.exception("handover=%s", order.id)
        said = (
            str(error) if isinstance(error, ServiceError) else "The service failed at it; its log says more."
        )
        return _changed(
            desk, order, state=OrderState.FAILED, trouble=said, finished_at=desk.now(), holder=None
        )


def _write(desk: Desk, order: Order, write: Write, target: Path, go_on: Callable[[], bool]) -> None:
    with ThreadPoolExecutor(1) as clerk:
        teller = _Teller(desk, order, clerk, go_on)
        with desk.store.reading() as reader:
            job = reader.job(order.job_id)
            assert job is not None, "no job is ever dropped"
            write(reader, job, order.form, target, teller)
        teller.end()


class _Teller:
    """Tells how far the papers are, now and then."""

    def __init__(
        self, desk: Desk, order: Order, clerk: ThreadPoolExecutor, go_on: Callable[[], bool]
    ) -> None:
        self._desk, self._order, self._clerk, self._go_on = desk, order, clerk, go_on
        self._told_s: float | None = None
        self._telling: Future[Order | None] | None = None

    def __call__(self, done: int, total: int) -> None:
        """Note how many links are done.

        Raises:
            GivenUpError: it is not to be gone on with.
        """
        if not self._go_on():
            raise GivenUpError
        if self._told_s is not None and time.monotonic() - self._told_s < TELL_EVERY_S:
            return
        if self._telling is not None and not self._telling.done():
            return
        self.end()
        self._told_s = time.monotonic()
        self._telling = self._clerk.submit(self._tell, done, total)

    def _tell(self, done: int, total: int) -> Order | None:
        until = instant(self._desk.clock() + HELD_FOR)
        return _changed(self._desk, self._order, done=done, total=total, held_until=until)

    def end(self) -> None:
        """Wait for the last word.

        Raises:
            GivenUpError: somebody else has taken the order over.
        """
        if self._telling is not None and self._telling.result() is None:
            raise GivenUpError


def _changed(desk: Desk, order: Order, **values: object) -> Order | None:
    """Change an order that is still ours; ``None`` where it is not."""
    with desk.store.writing() as writer:
        now = known_order(writer, order.id)
        if now is None or now.state is not OrderState.RUNNING or now.holder != order.holder:
            return None
        return keep_order(writer, replace(now, **values))  # type: ignore[arg-type] # fields by name


def _kept(desk: Desk, order: Order, target: Path) -> Order | None:
    """Keep the file, a piece in a transaction, and then that it is done."""
    with desk.store.writing() as writer:
        drop_file(writer, order)
    seal, size = sha256(), 0
    for number, piece in enumerate(_read(target)):
        seal.update(piece)
        size += len(piece)
        with desk.store.writing() as writer:
            writer.put_in(order.drawer, f"{number:08}", {"base64": b64encode(piece).decode()})
    now = known_order(desk.store, order.id) or order
    ended = {"state": OrderState.DONE, "holder": None, "held_until": None, "finished_at": desk.now()}
    return _changed(desk, order, **ended, size=size, sha256=seal.hexdigest(), done=now.total)


def _read(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while piece := file.read(PIECE_BYTES):
            yield piece
