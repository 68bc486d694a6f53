"""What a handover says, in words and numbers, before any form is chosen."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from fourpair_service.records.assessments import assessment_at, said_beside
from fourpair_service.records.model import Assessment, Record
from fourpair_service.records.ports import Reader
from fourpair_service.records.views.handover import Plan
from fourpair_service.reports.language import Language
from fourpair_service.reports.paper import PaperSize
from fourpair_service.reports.sheet.model import Document, SheetSource

MISSING: Final = "missing"
# In which order a reader looks for them: what is well first, what is not known last.
STATES: Final = ("pass", "marginal_pass", "marginal_fail", "fail", "incomplete", MISSING)

Progress = Callable[[int, int], None]


class Kept(NamedTuple):
    """What is kept of a record, as far as its lines in the tables need it.

    Attributes:
        places: names of its ends.
    """

    verdict: Document
    assessment: Document | None
    places: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Handover:
    """A job to be handed over, and how.

    Attributes:
        reader: sees one state of the store for as long as it is written.
        sheet_source: gives what the sheet of a record is made from.
        progress: told how many links are done, of how many.
    """

    plan: Plan
    reader: Reader
    words: Language
    paper: PaperSize
    sheet_source: Callable[[Record], SheetSource]
    progress: Progress = lambda done, total: None

    def alive(self) -> None:
        """Show that something goes on before the first link is done."""
        self.progress(0, len(self.plan.records))

    def assessment(self, record: Record) -> Assessment | None:
        """Return what is said beside the verdict of a record."""
        return assessment_at(self.reader, record.id, record.revision, self.plan.as_of)

    def kept(self, record: Record) -> Kept:
        """Return what is kept of a record."""
        verdict = self.reader.verdict(record.id, record.revision) or {}
        measurement = self.reader.measurement(record.id, record.revision)
        ends: Mapping[str, Any] = (measurement.rest.get("ends") or {}) if measurement else {}
        places = {end: of["place"] for end, of in ends.items() if of and of.get("place")}
        return Kept(verdict, said_beside(self.assessment(record)), places)


@dataclass(frozen=True, slots=True)
class Remedy:
    """A link that is not fine: why, what is suspected, what to do.

    Attributes:
        reasons, suspected, steps: a sentence each.
    """

    reasons: tuple[str, ...]
    suspected: tuple[str, ...]
    steps: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LinkLine:
    """A link in the tables.

    Attributes:
        state: one of ``STATES``.
        group: fine, look again, redo, or missing.
        headroom_db: the smallest margin. [dB]
        where: of what that margin is, in words.
        length_m: as judged. [m]
        tested_at: an instant, as kept.
        failing: names of what fails.
        reservations: why it is provisional, as names of texts.
        cautions: of its verdict, in words.
        remedy: where it is not fine.
    """

    label: str
    state: str
    group: str
    is_scheduled: bool
    record: str | None = None
    revision: int | None = None
    requirement: str = ""
    basis: str | None = None
    headroom_db: float | None = None
    where: str = ""
    length_m: float | None = None
    tested_at: str | None = None
    failing: tuple[str, ...] = ()
    reservations: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    remedy: Remedy | None = None


@dataclass(frozen=True, slots=True)
class HistoryLine:
    """One revision of a link that has several.

    Attributes:
        kind: what was done, in words.
        before, after: outcomes, as the words of the verdict; the first has none before.
        at: an instant.
    """

    label: str
    number: int
    kind: str
    at: str
    before: str | None
    after: str
    headroom_before_db: float | None
    headroom_after_db: float | None
    reason: str
