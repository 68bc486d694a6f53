"""What is answered about jobs and records, described for the OpenAPI document and held against it in tests."""

from __future__ import annotations

from typing import Any, Final

from marshmallow import RAISE, Schema, fields, validate

from fourpair_service.domain.verdict import Outcome
from fourpair_service.http.schemas.verdict import VerdictSchema
from fourpair_service.records.model import ChangeKind, Kind

GROUPS: Final = ("fine", "look_again", "redo")


class Answer(Schema):
    """An answer; nothing undescribed is answered."""

    class Meta:
        """Refuse what is not described."""

        unknown = RAISE


def _word(words: Any, *, nullable: bool = False) -> fields.String:
    allowed: list[str | None] = [str(word) for word in words]
    if nullable:
        allowed.append(None)
    return fields.String(required=True, allow_none=nullable, validate=validate.OneOf(allowed))


def _text(*, nullable: bool = False) -> fields.String:
    return fields.String(required=True, allow_none=nullable)


def _whole(*, nullable: bool = False) -> fields.Integer:
    return fields.Integer(required=True, allow_none=nullable)


def _number() -> fields.Float:
    return fields.Float(required=True, allow_none=True)


def _flag() -> fields.Boolean:
    return fields.Boolean(required=True)


def _texts() -> fields.Field[Any]:
    return fields.List(fields.String(), required=True)


def _map() -> fields.Dict:
    return fields.Dict(keys=fields.String(), required=True)


def _list(schema: type[Schema]) -> fields.Field[Any]:
    return fields.List(fields.Nested(schema), required=True)


def nested(schema: type[Schema], *, nullable: bool = False) -> fields.Nested:
    """Return a field that holds an answer of its own."""
    return fields.Nested(schema, required=True, allow_none=nullable)


class RecordSchema(Answer):
    """Where a record stands."""

    id = _text()
    job = _text()
    label = _text()
    revision = _whole()
    kind = _word(Kind)
    outcome = _word(Outcome)
    first_outcome = _word(Outcome)
    headroom_db = _number()
    category = _text()
    rule_set = _text()
    provisional = _flag()
    withdrawn = _flag()
    tested_by = _text(nullable=True)
    tested_at = _text(nullable=True)
    created_at = _text()
    changed_at = _text()
    seq = _whole()
    digest = _text()
    measurement_digest = _text()
    external_ids = _map()
    categories_met = _texts()
    applications = _texts()
    power_types = _texts()
    failing = _texts()


class RevisionSchema(Answer):
    """One link of a record's chain."""

    record = _text()
    number = _whole()
    kind = _word(Kind)
    job = _text()
    label = _text()
    external_ids = _map()
    tester = _text(nullable=True)
    tested_at = _text(nullable=True)
    rule_set = _text()
    rule_set_digest = _text()
    measurement_digest = _text()
    verdict_digest = _text()
    outcome = _word(Outcome)
    headroom_db = _number()
    actor = _text()
    reason = _text(nullable=True)
    at = _text()
    previous_digest = _text(nullable=True)
    digest = _text()


class RecordAnswerSchema(Answer):
    """A record and the revision that was asked for."""

    record = nested(RecordSchema)
    revision = nested(RevisionSchema)


class WrittenSchema(Answer):
    """What a write did."""

    record = nested(RecordSchema)
    revision = nested(RevisionSchema)
    verdict = nested(VerdictSchema)
    result = _word(("created", "revised", "unchanged"))
    dry_run = _flag()


class RecordListSchema(Answer):
    """A page of records."""

    records = _list(RecordSchema)
    next_cursor = _text(nullable=True)


class RevisionListSchema(Answer):
    """The chain of a record."""

    revisions = _list(RevisionSchema)


class BatchItemSchema(Answer):
    """What became of one item."""

    index = _whole()
    label = _text(nullable=True)
    external_ids = _map()
    result = _word(("created", "revised", "unchanged", "refused"))
    record = _text(nullable=True)
    revision = _whole(nullable=True)
    outcome = _word(Outcome, nullable=True)
    problem = fields.Dict(keys=fields.String(), required=True, allow_none=True)


class BatchAnswerSchema(Answer):
    """What became of a batch."""

    kept = _flag()
    dry_run = _flag()
    items = _list(BatchItemSchema)


class ChangeSchema(Answer):
    """One entry of the change feed."""

    seq = _whole()
    previous_seq = _whole(nullable=True)
    kind = _word(ChangeKind)
    at = _text()
    job = _text(nullable=True)
    previous_job = _text(nullable=True)
    record = _text(nullable=True)
    revision = _whole()
    label = _text(nullable=True)
    outcome = _word(Outcome, nullable=True)
    previous_outcome = _word(Outcome, nullable=True)


class ChangesSchema(Answer):
    """A part of the change feed."""

    changes = _list(ChangeSchema)
    next_after = fields.Integer(
        required=True, metadata={"description": "ask on with this; never behind what was seen"}
    )
    last_seq = _whole()


class GroupSchema(Answer):
    """Records that have something in common."""

    values = fields.Dict(keys=fields.String(), values=fields.String(allow_none=True), required=True)
    records = _whole()
    worst_headroom_db = _number()


class StatsSchema(Answer):
    """Counts by group."""

    seq = _whole()
    groups = _list(GroupSchema)


class ScheduleLinkSchema(Answer):
    """A link that must exist."""

    label = _text()
    item_code = _text(nullable=True)


class AcceptedSchema(Answer):
    """Who took the job over."""

    by = _text(nullable=True)
    on = _text()
    seq = _whole()


class JobAnswerSchema(Answer):
    """A job as it stands."""

    id = _text()
    revision = _whole()
    name = _text()
    customer = _text(nullable=True)
    site = _text(nullable=True)
    requirement = _map()
    configuration = _text(nullable=True)
    applications = _texts()
    power_type = _text(nullable=True)
    cords = _map()
    minimum_basis = _text(nullable=True)
    marginal_pass_billable = _flag()
    schedule = _list(ScheduleLinkSchema)
    external_ids = _map()
    metadata = _map()
    acceptance = nested(AcceptedSchema, nullable=True)
    changed_at = _text()


class JobListSchema(Answer):
    """A page of jobs."""

    jobs = _list(JobAnswerSchema)
    next_cursor = _text(nullable=True)


class LineReportSchema(Answer):
    """What became of one line of a schedule."""

    line = _whole()
    label = _text()
    result = _word(("added", "changed", "same"))


class ScheduleAnswerSchema(Answer):
    """A schedule, and what became of each line where one was sent as CSV."""

    schedule = _list(ScheduleLinkSchema)
    lines = _list(LineReportSchema)
    removed = _texts()


class AttachmentSchema(Answer):
    """A document of a job."""

    id = _text()
    job = _text()
    name = _text()
    media_type = _text()
    size = _whole()
    digest = _text()
    at = _text()


class AttachmentListSchema(Answer):
    """The documents of a job."""

    attachments = _list(AttachmentSchema)


class SummaryLinkSchema(Answer):
    """A link, short."""

    label = _text()
    record = _text()
    outcome = _word(Outcome)
    headroom_db = _number()
    failing = _texts()


class SameSchema(Answer):
    """Links with one measurement."""

    labels = _texts()
    records = _texts()


class ChangeLineSchema(Answer):
    """An entry of the feed, short."""

    seq = _whole()
    kind = _word(ChangeKind)
    at = _text()
    record = _text(nullable=True)
    label = _text(nullable=True)
    outcome = _word(Outcome, nullable=True)
    previous_outcome = _word(Outcome, nullable=True)


class JobSummarySchema(Answer):
    """Where a job stands."""

    job = _text()
    seq = _whole()
    links = _whole()
    scheduled = _whole()
    counts = fields.Dict(keys=fields.String(), values=fields.Integer(), required=True)
    withdrawn = _whole()
    done = _whole()
    missing = _texts()
    unscheduled = _texts()
    first_pass_rate = _number()
    provisional = _flag()
    same_measurement = _list(SameSchema)
    worst = _list(SummaryLinkSchema)
    groups = fields.Nested(
        Answer.from_dict({name: _list(SummaryLinkSchema) for name in GROUPS}, name="LinkGroups"),
        required=True,
    )
    after_acceptance = _list(ChangeLineSchema)


class QuantitySchema(Answer):
    """A signed quantity."""

    item_code = _text(nullable=True)
    quantity = _whole()


class BillingLineSchema(Answer):
    """A link to bill, or to give back."""

    quantity = _whole()
    item_code = _text(nullable=True)
    record = _text()
    label = _text()
    outcome = _word(Outcome)
    seq = _whole()
    credits_seq = _whole(nullable=True)
    reason = _text()


class BillingSchema(Answer):
    """Quantities by item code; never prices."""

    job = _text()
    since = _whole()
    until = _whole()
    lines = _list(BillingLineSchema)
    totals = _list(QuantitySchema)
    billable = _list(QuantitySchema)
    passed = _whole()
    passed_marginally = _whole()
    changes = fields.Dict(keys=fields.String(), values=fields.Integer(), required=True)
    accepted_seq = _whole(nullable=True)
    after_acceptance = _texts()
    state_digest = _text()


class TicketSchema(Answer):
    """Text that is ready for a ticket."""

    title = _text()
    body = _text()


class JobFaultSchema(Answer):
    """Something to mend, under a key that stays across retests."""

    key = _text()
    state = _word(("open", "closed"))
    what = _text()
    record = _text()
    label = _text()
    opened_seq = _whole()
    seen_seq = _whole()
    closed_seq = _whole(nullable=True)
    ticket = nested(TicketSchema)


class JobFaultListSchema(Answer):
    """What is to be mended in a job."""

    job = _text()
    seq = _whole()
    faults = _list(JobFaultSchema)


class IdempotencySchema(Answer):
    """What became of an idempotency key."""

    key = _text()
    state = _word(("landed", "running", "not_landed"))
    subject = _text(nullable=True)
    subject_id = _text(nullable=True)
    revision = _whole(nullable=True)
    seq = _whole(nullable=True)
    at = _text(nullable=True)


class ReconciledItemSchema(Answer):
    """One external id."""

    external_id = _text()
    record = fields.String()
    revision = fields.Integer()
    measurement_digest = fields.String()


class ReconciledSchema(Answer):
    """Where two systems agree and where not."""

    same = _list(ReconciledItemSchema)
    changed = _list(ReconciledItemSchema)
    missing = _list(ReconciledItemSchema)
    extra = _list(ReconciledItemSchema)


class PartySchema(Answer):
    """A person or customer."""

    id = _text()
    kind = _word(("person", "customer"))
    name = _text(nullable=True)
    erased_at = _text(nullable=True)


class PartyListSchema(Answer):
    """People and customers."""

    parties = _list(PartySchema)


class KeptAssessmentSchema(Answer):
    """What is said beside a verdict."""

    version = _text()
    assessment = _map()
