"""What stands on a link sheet, in words and pictures, before any form is chosen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from fourpair_service.domain.grading.margin_curves import MarginCurve
from fourpair_service.domain.measurement import LinkMeasurement
from fourpair_service.reports.drawing.shapes import Picture

Document = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a sheet comes from; empty for a measurement that was graded and not kept.

    Attributes:
        job, customer, site: as the job names them.
        revision: number within the record.
        seq: of the newest change of the record, in the change feed.
        revision_digest: seals the revision.
        at: when the revision was made.
        withdrawn: whether the record counts no more.
    """

    job: str | None = None
    customer: str | None = None
    site: str | None = None
    record: str | None = None
    revision: int | None = None
    seq: int | None = None
    revision_digest: str | None = None
    at: str | None = None
    withdrawn: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class SheetSource:
    """Everything that a sheet is made from.

    Attributes:
        verdict: the verdict document; every number of the sheet is one of its.
        verdict_digest: of that document.
        assessment: what is said beside it, ``None`` where nothing is.
        measurement: the link as measured.
        curves: its margins; empty where its rule set is not known any more.
        provenance: where it is kept.
        notes: what the installer wrote.
    """

    verdict: Document
    verdict_digest: str
    assessment: Document | None
    measurement: LinkMeasurement
    curves: tuple[MarginCurve, ...] = ()
    provenance: Provenance = field(default_factory=Provenance)
    notes: str | None = None


@dataclass(frozen=True, slots=True)
class Answer:
    """One of the questions that a reader has.

    Attributes:
        name: ``sound``, ``carries``, ``above`` or ``do``.
        text: the answer in a sentence.
        more: what stands behind it, a sentence each.
    """

    name: str
    question: str
    text: str
    more: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class NumberRow:
    """One parameter at one end, in the order of the columns."""

    cells: tuple[str, ...]
    is_failing: bool
    is_shown_only: bool


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and its lines."""

    name: str
    heading: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class LinkSheet:
    """A whole sheet.

    Attributes:
        language: its tag.
        title: of the document.
        outcome: the word of the verdict.
        outcome_text: the same for people.
        facts: where, what cable, when and by whom, as name and value.
        notices: what must be read first.
        answers: sound, carries, above, do.
        wires: the wire map, ``None`` where it was not tested.
        wires_said: the same in words.
        run: the run to scale, ``None`` where no length is known.
        suspected: what is suspected, numbered as in the picture of the run.
        margins: one picture for each swept parameter.
        columns: heads of the table.
        rows: the table of numbers.
        numbers_note: how its columns are read.
        numbers_key: what the names of its rows mean.
        sections: power, port, categories, cautions, what was not tested.
        footer: rule set, basis, revision, digest, as name and value.
        safety: the cautions that always hold.
    """

    language: str
    title: str
    label: str
    outcome: str
    outcome_text: str
    facts: tuple[tuple[str, str], ...]
    notices: tuple[str, ...]
    answers: tuple[Answer, ...]
    wires: Picture | None
    wires_heading: str
    wires_said: tuple[str, ...]
    run: Picture | None
    run_heading: str
    run_said: str
    suspected: Section
    margins: tuple[Picture, ...]
    margins_heading: str
    columns: tuple[str, ...]
    numbers_heading: str
    numbers_note: str
    numbers_key: str
    rows: tuple[NumberRow, ...]
    sections: tuple[Section, ...]
    footer: tuple[tuple[str, str], ...]
    safety: str
    at: str | None

    @property
    def margin_columns(self) -> int:
        """How many pictures of margins stand in a row."""
        return 3 if len(self.margins) <= 6 else 4
