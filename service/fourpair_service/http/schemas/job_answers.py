"""What is answered about jobs, described for the OpenAPI document and held against it in tests."""

from __future__ import annotations

from typing import Final

from marshmallow import fields

from fourpair_service.domain.verdict import Outcome
from fourpair_service.http.schemas.kept import (
    Answer,
    decimal,
    flag,
    listed,
    nested,
    string_map,
    text,
    texts,
    whole,
    word,
)
from fourpair_service.records.model import ChangeKind

GROUPS: Final = ("fine", "look_again", "redo")


class ScheduleLinkSchema(Answer):
    """A link that must exist."""

    label = text()
    item_code = text(nullable=True)


class AcceptedSchema(Answer):
    """Who took the job over."""

    by = text(nullable=True)
    on = text()
    seq = whole()


class JobAnswerSchema(Answer):
    """A job as it stands."""

    id = text()
    revision = whole()
    name = text()
    customer = text(nullable=True)
    site = text(nullable=True)
    requirement = string_map()
    configuration = text(nullable=True)
    applications = texts()
    power_type = text(nullable=True)
    cords = string_map()
    minimum_basis = text(nullable=True)
    marginal_pass_billable = flag()
    schedule = listed(ScheduleLinkSchema)
    external_ids = string_map()
    metadata = string_map()
    acceptance = nested(AcceptedSchema, nullable=True)
    changed_at = text()


class JobListSchema(Answer):
    """A page of jobs."""

    jobs = listed(JobAnswerSchema)
    next_cursor = text(nullable=True)


class LineReportSchema(Answer):
    """What became of one line of a schedule."""

    line = whole()
    label = text()
    result = word(("added", "changed", "same"))


class ScheduleAnswerSchema(Answer):
    """A schedule, and what became of each line where one was sent as CSV."""

    schedule = listed(ScheduleLinkSchema)
    lines = listed(LineReportSchema)
    removed = texts()


class AttachmentSchema(Answer):
    """A document of a job."""

    id = text()
    job = text()
    name = text()
    media_type = text()
    size = whole()
    digest = text()
    at = text()


class AttachmentListSchema(Answer):
    """The documents of a job."""

    attachments = listed(AttachmentSchema)


class SummaryLinkSchema(Answer):
    """A link, short."""

    label = text()
    record = text()
    outcome = word(Outcome)
    headroom_db = decimal()
    failing = texts()
    reason = text(nullable=True)


class WantedSchema(Answer):
    """What a job wants its links to carry: how many do without a condition, and which do not or may not."""

    what = word(("application", "power_type"))
    name = text()
    links = whole()
    others = texts()


class SameSchema(Answer):
    """Links with one measurement."""

    labels = texts()
    records = texts()


class ChangeLineSchema(Answer):
    """An entry of the feed, short."""

    seq = whole()
    kind = word(ChangeKind)
    at = text()
    record = text(nullable=True)
    label = text(nullable=True)
    outcome = word(Outcome, nullable=True)
    previous_outcome = word(Outcome, nullable=True)


class JobSummarySchema(Answer):
    """Where a job stands."""

    job = text()
    seq = whole()
    links = whole()
    scheduled = whole()
    counts = fields.Dict(keys=fields.String(), values=fields.Integer(), required=True)
    withdrawn = whole()
    done = whole()
    missing = texts()
    unscheduled = texts()
    first_pass_rate = decimal()
    provisional = flag()
    wanted = listed(WantedSchema)
    same_measurement = listed(SameSchema)
    worst = listed(SummaryLinkSchema)
    groups = fields.Nested(
        Answer.from_dict({name: listed(SummaryLinkSchema) for name in GROUPS}, name="LinkGroups"),
        required=True,
    )
    after_acceptance = listed(ChangeLineSchema)


class QuantitySchema(Answer):
    """A signed quantity."""

    item_code = text(nullable=True)
    quantity = whole()


class BillingLineSchema(Answer):
    """A link to bill, or to give back."""

    quantity = whole()
    item_code = text(nullable=True)
    record = text()
    label = text()
    outcome = word(Outcome)
    seq = whole()
    credits_seq = whole(nullable=True)
    reason = text()


class BillingSchema(Answer):
    """Quantities by item code; never prices."""

    job = text()
    since = whole()
    until = whole()
    lines = listed(BillingLineSchema)
    totals = listed(QuantitySchema)
    billable = listed(QuantitySchema)
    passed = whole()
    passed_marginally = whole()
    changes = fields.Dict(keys=fields.String(), values=fields.Integer(), required=True)
    accepted_seq = whole(nullable=True)
    after_acceptance = texts()
    state_digest = text()


class TicketSchema(Answer):
    """Text that is ready for a ticket."""

    title = text()
    body = text()


class ByProductSchema(Answer):
    """What fails because of the fault that it stands in; where it outlives that fault it is told alone, by its key."""

    key = text()
    state = word(("open", "closed"))
    what = text()
    title = text()
    detail = text()


class JobFaultSchema(Answer):
    """Something to mend, under a key that stays across retests."""

    key = text()
    state = word(("open", "closed"))
    what = text()
    by_products = listed(ByProductSchema)
    record = text()
    label = text()
    opened_seq = whole()
    seen_seq = whole()
    closed_seq = whole(nullable=True)
    ticket = nested(TicketSchema)


class JobFaultListSchema(Answer):
    """What is to be mended in a job."""

    job = text()
    seq = whole()
    faults = listed(JobFaultSchema)


class PartySchema(Answer):
    """A person or customer."""

    id = text()
    kind = word(("person", "customer"))
    name = text(nullable=True)
    erased_at = text(nullable=True)


class PartyListSchema(Answer):
    """People and customers."""

    parties = listed(PartySchema)
