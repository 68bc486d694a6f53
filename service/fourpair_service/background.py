"""What the service does beside answering: carrying runs on, and telling receivers of changes."""

from __future__ import annotations

import logging
import threading
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from fourpair_service.app import record_grader
from fourpair_service.carriers import Cluster, LocalPool, carrier_for, holder, is_gone
from fourpair_service.config import Settings
from fourpair_service.errors import ServiceError
from fourpair_service.http.handovers import asked_handover, write_handover
from fourpair_service.http.record_grader import RecordGrader
from fourpair_service.records.desk import Desk
from fourpair_service.records.errors import RunHeldError
from fourpair_service.records.handovers.commands import open_orders
from fourpair_service.records.handovers.making import claim_order, make
from fourpair_service.records.handovers.model import Order
from fourpair_service.records.model import Job
from fourpair_service.records.ports import Reader
from fourpair_service.records.runs.carrying import Carrier, InPlace, carry_on, claim
from fourpair_service.records.runs.commands import open_runs
from fourpair_service.records.runs.examining import Bench
from fourpair_service.records.runs.model import Run
from fourpair_service.records.subscriptions.delivering import Deliverer
from fourpair_service.records.subscriptions.model import Send
from fourpair_service.reports.handover.model import Progress
from fourpair_service.webhooks.sending import Sender
from fourpair_service.webhooks.signing import signed_headers

# How long it sleeps between two looks. [s]
NAP_S: Final = 0.5
# So few are looked at sooner than further processes have begun.
FEW_RECORDS: Final = 200
# Receivers that are sent to at once.
MOST_RECEIVERS: Final = 8
LOGGER: Final = logging.getLogger("fourpair.background")


@dataclass
class Background:
    """Carries on whatever waits in a store.

    Attributes:
        settings: of the service.
        desk: over the store; its clock and ids are used for what is written.
        go_on: asked between chunks and deliveries; ``False`` ends the work soon.
    """

    settings: Settings
    desk: Desk
    go_on: Callable[[], bool] = lambda: True
    name: str = field(default_factory=holder)
    _carrier: Carrier | None = None
    _sender: Send | None = None

    @property
    def send(self) -> Send:
        """What sends messages."""
        if self._sender is None:
            own = self.settings
            self._sender = Sender(own.webhook_networks, own.webhook_authorities)
        return self._sender

    def _grader_for(self) -> Bench:
        own = self.desk.grade
        grader = own if isinstance(own, RecordGrader) else record_grader(self.settings)
        return Bench(self.desk.store, grader.for_question, own, grader.standing)

    def carry(self, run: Run) -> Run:
        """Carry a claimed run on."""
        bench = self._grader_for()
        carrier = self._carrier_of(run, bench)
        return carry_on(self.desk, run, carrier, bench.grader_for, holder=self.name, go_on=self.go_on)

    def _carrier_of(self, run: Run, bench: Bench) -> Carrier:
        if self._carrier is None and not self.settings.cluster and run.total - run.seen <= FEW_RECORDS:
            return InPlace(bench)
        if self._carrier is None:
            self._carrier = carrier_for(self.settings, bench)
        return self._carrier

    def runs(self) -> list[Run]:
        """Carry on every run that waits and that nobody else has; return them as they stand then."""
        found = []
        for run in open_runs(self.desk.store):
            try:
                with self.desk.store.writing() as writer:
                    taken = claim(writer, self.desk, run.id, self.name, is_gone)
            except RunHeldError:
                continue
            if taken is None:
                continue
            found.append(self.carry(taken))
            LOGGER.info("run=%s state=%s records=%s", run.id, found[-1].state.value, found[-1].seen)
        return found

    def handovers(self) -> list[Order]:
        """Make the papers that were ordered and that nobody else makes; return the orders as they stand then."""
        found = []
        for waiting in open_orders(self.desk.store):
            with self.desk.store.writing() as writer:
                taken = claim_order(writer, self.desk, waiting.id, self.name, is_gone)
            order = make(self.desk, taken, self._write_papers, self.go_on) if taken else None
            if order is not None:
                found.append(order)
                LOGGER.info("handover=%s state=%s links=%s", order.id, order.state.value, order.total)
        return found

    def _write_papers(
        self, reader: Reader, job: Job, form: Mapping[str, str], target: Path, progress: Progress
    ) -> None:
        own = self.desk.grade
        grader = own if isinstance(own, RecordGrader) else record_grader(self.settings)
        asked = asked_handover(form)
        write_handover(reader, job, asked, target, grader.catalogue, grader.limits, progress)

    def deliver(self) -> int:
        """Send what waits to receivers, a thread for each, and return how many messages were tried."""
        deliverer = Deliverer(
            self.desk, self.send, signed_headers, self.name, is_gone=is_gone, go_on=self.go_on
        )
        waiting = deliverer.waiting()
        if not waiting:
            return 0
        with ThreadPoolExecutor(min(len(waiting), MOST_RECEIVERS)) as pool:
            tried = list(pool.map(deliverer.deliver, (each.id for each in waiting)))
        LOGGER.info("subscriptions=%s messages=%s", len(waiting), sum(tried))
        return sum(tried)

    def round(self) -> None:
        """Do everything that waits, once."""
        self._deliver_and_run()
        self.handovers()

    def keep_on(self, sleep: Callable[[float], None]) -> None:
        """Do what waits, again and again, until told to end; a store that is away comes back.

        Papers are made in a thread of their own, so that messages and runs do not wait for them.
        """
        papers = threading.Thread(target=self._again, args=(self.handovers, sleep), daemon=True)
        papers.start()
        self._again(self._deliver_and_run, sleep)
        papers.join()

    def _deliver_and_run(self) -> None:
        self.deliver()
        self.runs()

    def _again(self, work: Callable[[], object], sleep: Callable[[float], None]) -> None:
        while self.go_on():
            try:
                work()
            except ServiceError as error:
                LOGGER.warning("trouble=%s detail=%r", error.code, str(error))
            except Exception:
                # A process or a cluster that broke down: what it held is claimed and begun anew.
                LOGGER.exception("trouble=unexpected")
                if work != self.handovers:
                    self.close()
            sleep(NAP_S)

    def close(self) -> None:
        """End the processes that were started."""
        if isinstance(self._carrier, LocalPool | Cluster):
            self._carrier.close()
        self._carrier = None
