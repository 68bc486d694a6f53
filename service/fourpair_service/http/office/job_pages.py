"""The list of jobs, and one job with its links."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from flask import Blueprint, Response, request

from fourpair_service.http.auth import caller, needs
from fourpair_service.http.handovers import HandoverForm
from fourpair_service.http.office.framing import Frame, frame, shown
from fourpair_service.http.resources.handovers import sent_handover
from fourpair_service.http.services import services
from fourpair_service.records.desk import visible_job
from fourpair_service.records.job_commands import job_names
from fourpair_service.records.keys import Scope
from fourpair_service.records.model import Job, Record
from fourpair_service.records.ports import Reader
from fourpair_service.records.search import Filter, GroupBy, Sort, cursor, position_of, sort_of
from fourpair_service.records.views.summary import OUTCOMES, summary
from fourpair_service.reports.language import Language, Tongue, printable
from fourpair_service.reports.office.jobs import job_lines, job_state, link_lines

JOBS_SHOWN: Final = 30
LINKS_SHOWN: Final = 50
# Beside the outcomes: the links that count no more.
WITHDRAWN: Final = "withdrawn"
# The forms of a handover that people open; programs have CSV.
PAPERS: Final = ("pdf", "xlsx", "zip")
ORDERS: Final = ("label", "headroom_db", "-changed", "created")
NAMES_OF_ORDERS: Final = ("order_label", "order_worst", "order_newest", "order_created")


@dataclass(frozen=True, slots=True)
class Pages:
    """Where else a list goes on."""

    first: str
    next: str | None
    is_later: bool


@dataclass(frozen=True, slots=True)
class Asked:
    """What of a job's links is asked for; what is not known is passed over."""

    label: str
    outcome: str
    order: str

    @property
    def is_narrowed(self) -> bool:
        """Whether some links may be left out."""
        return bool(self.label or self.outcome)

    @property
    def sort(self) -> Sort:
        """The order of the links."""
        return sort_of(self.order)

    def filter(self, job_id: str) -> Filter:
        """Return the same within a job, as far as the caller sees it."""
        is_withdrawn = self.outcome == WITHDRAWN
        return Filter(
            visible_jobs=caller().jobs,
            job_id=job_id,
            label_prefix=self.label or None,
            outcomes=frozenset({self.outcome}) if self.outcome and not is_withdrawn else None,
            withdrawn=is_withdrawn,
        )


def last_seq(reader: Reader) -> int:
    """Return how far the feed has come."""
    last = reader.last_change()
    return last.seq if last else 0


@needs(Scope.READ)
def show_jobs() -> Response:
    """List the jobs that the key sees."""
    after = request.args.get("after", "")
    with services().desk.store.reading() as reader:
        found = reader.jobs(after=after, limit=JOBS_SHOWN + 1, visible=caller().jobs)
        jobs = found[:JOBS_SHOWN]
        ids = frozenset(job.id for job in jobs)
        groups = reader.stats(Filter(visible_jobs=ids), (GroupBy.JOB, GroupBy.OUTCOME)) if ids else ()
        around = frame(last_seq(reader))
        lines = job_lines(jobs, _customers(reader, jobs), groups, around.words)
    following = around.to(after=jobs[-1].id) if len(found) > JOBS_SHOWN else None
    return shown("jobs.html", around, lines=lines, pages=Pages(around.to(), following, bool(after)))


def _customers(reader: Reader, jobs: Iterable[Job]) -> dict[str, str | None]:
    ids = {job.customer_id for job in jobs if job.customer_id}
    parties = [reader.party(party_id) for party_id in ids]
    return {party.id: party.name for party in parties if party is not None}


def _asked() -> Asked:
    outcome, order = request.args.get("outcome", ""), request.args.get("order", "")
    return Asked(
        label=request.args.get("label", "")[:200],
        outcome=outcome if outcome in (*OUTCOMES, WITHDRAWN) else "",
        order=order if order in ORDERS else ORDERS[0],
    )


@needs(Scope.READ)
def show_job(job_id: str) -> Response:
    """Show where a job stands, and its links."""
    asked = _asked()
    with services().desk.store.reading() as reader:
        job = visible_job(reader, caller(), job_id)
        around = frame(last_seq(reader), job=job.id)
        names = job_names(reader, job)
        state = job_state(summary(reader, job), job, names["accepted_by"], around.words)
        records, following = _links(reader, job, asked)
    return shown(
        "job.html",
        around,
        job_id=job.id,
        job_name=printable(job.name),
        facts=_facts(job, names["customer"], around.words),
        state=state,
        papers=[(media, around.words.say(f"office.papers_{media}")) for media in PAPERS],
        asked=asked,
        orders=[(o, around.words.say(f"office.{n}")) for o, n in zip(ORDERS, NAMES_OF_ORDERS, strict=True)],
        lines=link_lines(records, around.words),
        pages=_pages(job, asked, following, around),
    )


def _links(reader: Reader, job: Job, asked: Asked) -> tuple[list[Record], str | None]:
    """Return the links of a page, and what continues after them."""
    given = request.args.get("cursor")
    after = position_of(given, asked.sort) if given else None
    found = reader.records(asked.filter(job.id), asked.sort, after=after, limit=LINKS_SHOWN + 1)
    following = cursor(found[LINKS_SHOWN - 1], asked.sort) if len(found) > LINKS_SHOWN else None
    return list(found[:LINKS_SHOWN]), following


def _pages(job: Job, asked: Asked, following: str | None, around: Frame) -> Pages:
    own = {"label": asked.label, "outcome": asked.outcome, "order": asked.order}
    later = around.to("jobs", job.id, **own, cursor=following) if following else None
    return Pages(around.to("jobs", job.id, **own), later, "cursor" in request.args)


def _facts(job: Job, customer: str | None, words: Language) -> list[tuple[str, str]]:
    wanted = " ".join(str(job.requirement[n]) for n in ("rule_set", "category") if n in job.requirement)
    given = {"customer": customer, "site": job.site, "asked": wanted}
    return [(words.say(f"office.{name}"), printable(value)) for name, value in given.items() if value]


@needs(Scope.READ)
def give_papers(job_id: str, media: str) -> Response:
    """Give the papers of a job as a file."""
    words = frame().words
    form = HandoverForm(media, tongue=Tongue(words.code), length_unit=words.length_unit)
    response = sent_handover(job_id, form)
    response.vary.update(("Accept-Language", "Cookie"))
    return response


def add_to(blueprint: Blueprint) -> None:
    """Put the pages at their addresses."""
    blueprint.add_url_rule("", "jobs", show_jobs)
    blueprint.add_url_rule("/", "jobs_too", show_jobs)
    blueprint.add_url_rule("/jobs/<job_id>", "job", show_job)
    blueprint.add_url_rule(f"/jobs/<job_id>/handover.<any({', '.join(PAPERS)}):media>", "papers", give_papers)
