"""What is answered about records, described for the OpenAPI document and held against it in tests."""

from __future__ import annotations

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
from fourpair_service.http.schemas.verdict import VerdictSchema
from fourpair_service.records.model import Kind


class RecordSchema(Answer):
    """Where a record stands."""

    id = text()
    job = text()
    label = text()
    revision = whole()
    kind = word(Kind)
    outcome = word(Outcome)
    first_outcome = word(Outcome)
    headroom_db = decimal()
    category = text()
    rule_set = text()
    provisional = flag()
    withdrawn = flag()
    tested_by = text(nullable=True)
    tested_at = text(nullable=True)
    created_at = text()
    changed_at = text()
    seq = whole()
    digest = text()
    measurement_digest = text()
    external_ids = string_map()
    categories_met = texts()
    applications = texts()
    power_types = texts()
    failing = texts()


class RevisionSchema(Answer):
    """One link of a record's chain."""

    record = text()
    number = whole()
    seq = whole()
    kind = word(Kind)
    job = text()
    label = text()
    external_ids = string_map()
    tester = text(nullable=True)
    tested_at = text(nullable=True)
    rule_set = text()
    rule_set_digest = text()
    measurement_digest = text()
    verdict_digest = text()
    outcome = word(Outcome)
    headroom_db = decimal()
    actor = text()
    reason = text(nullable=True)
    at = text()
    previous_digest = text(nullable=True)
    digest = text()


class RecordAnswerSchema(Answer):
    """A record and the revision that was asked for."""

    record = nested(RecordSchema)
    revision = nested(RevisionSchema)


class WrittenSchema(Answer):
    """What a write did."""

    record = nested(RecordSchema)
    revision = nested(RevisionSchema)
    verdict = nested(VerdictSchema)
    result = word(("created", "revised", "unchanged"))
    dry_run = flag()


class RecordListSchema(Answer):
    """A page of records."""

    records = listed(RecordSchema)
    next_cursor = text(nullable=True)


class RevisionListSchema(Answer):
    """The chain of a record."""

    revisions = listed(RevisionSchema)


class BatchItemSchema(Answer):
    """What became of one item."""

    index = whole()
    label = text(nullable=True)
    external_ids = string_map()
    result = word(("created", "revised", "unchanged", "refused"))
    record = text(nullable=True)
    revision = whole(nullable=True)
    outcome = word(Outcome, nullable=True)
    reason = text(nullable=True)
    problem = fields.Dict(keys=fields.String(), required=True, allow_none=True)


class BatchAnswerSchema(Answer):
    """What became of a batch."""

    kept = flag()
    dry_run = flag()
    items = listed(BatchItemSchema)


class KeptAssessmentSchema(Answer):
    """What is said beside a verdict."""

    version = text()
    assessment = string_map()
