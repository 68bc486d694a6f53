"""The list of jobs, and one job by outcome."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fourpair_service.records.curves import Document
from fourpair_service.records.label_order import label_key
from fourpair_service.records.model import Job, Record
from fourpair_service.records.search import Group
from fourpair_service.records.views.summary import OUTCOMES
from fourpair_service.reports.drawing.shapes import Picture
from fourpair_service.reports.language import Language, printable
from fourpair_service.reports.office import saying
from fourpair_service.reports.office.page import LABEL_CHARACTERS
from fourpair_service.reports.pictures.state import MISSING, state_picture

NAMED_TOGETHER: Final = 5


@dataclass(frozen=True, slots=True)
class Count:
    """How many links have an outcome.

    Attributes:
        outcome: the word of the verdict, or ``missing``.
        text: the same for people.
    """

    outcome: str
    text: str
    number: int


@dataclass(frozen=True, slots=True)
class JobLine:
    """A job in the list.

    Attributes:
        facts: customer and site, as far as they are known.
        counts: of each outcome that occurs.
        links: how many records it has.
        scheduled: how many links its schedule has.
    """

    id: str
    name: str
    facts: tuple[str, ...]
    counts: tuple[Count, ...]
    links: int
    scheduled: int


def in_order(labels: Iterable[str]) -> list[str]:
    """Return labels as people look for them."""
    return sorted(labels, key=label_key)


def outcome_text(outcome: str, words: Language) -> str:
    """Return an outcome, or that a link is missing, for people."""
    return words.say("office.missing") if outcome == MISSING else words.say(f"outcome.{outcome}")


def counted(counts: Mapping[str, int], words: Language, *, every: bool = False) -> tuple[Count, ...]:
    """Return counts in the order of the outcomes; those of nothing only where every one is asked for."""
    names = (*OUTCOMES, MISSING) if MISSING in counts else OUTCOMES
    return tuple(
        Count(name, outcome_text(name, words), counts.get(name, 0))
        for name in names
        if every or counts.get(name)
    )


def job_lines(
    jobs: Iterable[Job], customers: Mapping[str, str | None], groups: Iterable[Group], words: Language
) -> tuple[JobLine, ...]:
    """Return a line for each job.

    Args:
        jobs: in the order to be shown.
        customers: name by the id of the party.
        groups: how many links there are by job and outcome.
        words: the language.
    """
    by_job: dict[str, dict[str, int]] = {}
    for group in groups:
        job_id, outcome = group.values
        by_job.setdefault(job_id or "", {})[outcome or ""] = group.links
    return tuple(_line(job, customers, by_job.get(job.id, {}), words) for job in jobs)


def _line(
    job: Job, customers: Mapping[str, str | None], counts: Mapping[str, int], words: Language
) -> JobLine:
    facts = (customers.get(job.customer_id or ""), job.site)
    return JobLine(
        id=job.id,
        name=printable(job.name),
        facts=tuple(printable(fact) for fact in facts if fact),
        counts=counted(counts, words),
        links=sum(counts.values()),
        scheduled=len(job.schedule),
    )


@dataclass(frozen=True, slots=True)
class JobState:
    """Where a job stands.

    Attributes:
        counts: of every outcome, and of missing links where there is a schedule.
        strip: the same as a picture, ``None`` where there is nothing at all.
        missing: labels of the schedule without a record.
        unscheduled: labels of records without a place in the schedule.
        notes: what must be known besides, a sentence each.
    """

    counts: tuple[Count, ...]
    strip: Picture | None
    missing: tuple[str, ...]
    unscheduled: tuple[str, ...]
    has_schedule: bool
    done: str
    notes: tuple[str, ...]


def job_state(summary: Document, job: Job, accepted_by: str | None, words: Language) -> JobState:
    """Return where a job stands, from its summary."""
    numbers: dict[str, int] = dict(summary["counts"])
    if job.schedule:
        numbers[MISSING] = len(summary["missing"])
    total = sum(numbers.values())
    counts = counted(numbers, words, every=True)
    parts = ", ".join(f"{count.number} {count.text}" for count in counts if count.number)
    said = words.say("office.state_text", count=str(total), parts=parts or saying.NONE)
    return JobState(
        counts=counts,
        strip=state_picture(numbers, words, said) if total else None,
        missing=tuple(printable(label, LABEL_CHARACTERS) for label in in_order(summary["missing"])),
        unscheduled=tuple(printable(label, LABEL_CHARACTERS) for label in in_order(summary["unscheduled"])),
        has_schedule=bool(job.schedule),
        done=words.say("office.done_of", done=str(summary["done"]), all=str(max(total, summary["links"]))),
        notes=tuple(_notes(summary, job, accepted_by, words)),
    )


def _notes(summary: Document, job: Job, accepted_by: str | None, words: Language) -> Iterable[str]:
    if summary["provisional"]:
        yield words.say("office.provisional")
    if summary["withdrawn"]:
        yield words.say("office.withdrawn_left_out", count=str(summary["withdrawn"]))
    if job.acceptance is not None:
        name = printable(accepted_by or saying.NONE, LABEL_CHARACTERS)
        yield words.say("office.accepted", name=name, day=words.day(job.acceptance.on))
        later = len(summary["after_acceptance"])
        if later:
            yield words.say("office.after_acceptance", count=str(later))
    for same in summary["same_measurement"][:NAMED_TOGETHER]:
        labels = ", ".join(printable(label, LABEL_CHARACTERS) for label in same["labels"])
        yield words.say("office.same_measurement", labels=labels)


@dataclass(frozen=True, slots=True)
class LinkLine:
    """A link in the list of a job."""

    record: str
    label: str
    outcome: str
    outcome_text: str
    headroom: str
    failing: str
    fails_nothing: bool
    tested: str
    changed: str
    is_withdrawn: bool


def link_lines(records: Sequence[Record], words: Language) -> tuple[LinkLine, ...]:
    """Return a line for each link."""
    return tuple(
        LinkLine(
            record=record.id,
            label=printable(record.label, LABEL_CHARACTERS),
            outcome=record.outcome,
            outcome_text=words.say(f"outcome.{record.outcome}"),
            headroom=saying.headroom(record.headroom_db, words),
            failing=saying.failing_of(record.failing, words),
            fails_nothing=not record.failing,
            tested=saying.moment(record.tested_at, words),
            changed=saying.moment(record.changed_at, words),
            is_withdrawn=record.withdrawn,
        )
        for record in records
    )
