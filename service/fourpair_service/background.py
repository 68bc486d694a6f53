"""What the service does beside answering: carrying runs on."""

from __future__ import annotations

import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Final

from fourpair_service.app import record_grader
from fourpair_service.carriers import LocalPool, carrier_for, holder, is_gone
from fourpair_service.config import Settings
from fourpair_service.errors import ServiceError
from fourpair_service.records.desk import Desk
from fourpair_service.records.errors import RunHeldError
from fourpair_service.records.runs.carrying import Carrier, carry_on, claim
from fourpair_service.records.runs.commands import open_runs
from fourpair_service.records.runs.examining import Bench
from fourpair_service.records.runs.model import Run

# How long it sleeps between two looks. [s]
NAP_S: Final = 0.5
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

    def _grader_for(self) -> Bench:
        grader = self.desk.grade
        own = getattr(grader, "for_question", None) or record_grader(self.settings).for_question
        return Bench(self.desk.store, own)

    def carry(self, run: Run) -> Run:
        """Carry a claimed run on."""
        bench = self._grader_for()
        if self._carrier is None:
            self._carrier = carrier_for(self.settings, bench)
        return carry_on(self.desk, run, self._carrier, bench.grader_for, holder=self.name, go_on=self.go_on)

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

    def round(self) -> None:
        """Do everything that waits, once."""
        self.runs()

    def keep_on(self, sleep: Callable[[float], None]) -> None:
        """Do what waits, again and again, until told to end; a store that is away comes back."""
        while self.go_on():
            try:
                self.round()
            except ServiceError as error:
                LOGGER.warning("trouble=%s detail=%r", error.code, str(error))
            sleep(NAP_S)

    def close(self) -> None:
        """End the processes that were started."""
        if isinstance(self._carrier, LocalPool):
            self._carrier.close()
