"""What is answered to systems that follow, described for the OpenAPI document and held against it in tests."""

from __future__ import annotations

from marshmallow import fields

from fourpair_service.domain.verdict import Outcome
from fourpair_service.http.schemas.kept import Answer, decimal, listed, text, whole, word
from fourpair_service.records.model import ChangeKind


class ChangeSchema(Answer):
    """One entry of the change feed."""

    seq = whole()
    previous_seq = whole(nullable=True)
    kind = word(ChangeKind)
    at = text()
    job = text(nullable=True)
    previous_job = text(nullable=True)
    record = text(nullable=True)
    revision = whole()
    label = text(nullable=True)
    outcome = word(Outcome, nullable=True)
    previous_outcome = word(Outcome, nullable=True)


class ChangesSchema(Answer):
    """A part of the change feed."""

    changes = listed(ChangeSchema)
    next_after = fields.Integer(
        required=True, metadata={"description": "ask on with this; never behind what was seen"}
    )
    last_seq = whole()


class GroupSchema(Answer):
    """Records that have something in common."""

    values = fields.Dict(keys=fields.String(), values=fields.String(allow_none=True), required=True)
    records = whole()
    worst_headroom_db = decimal()


class StatsSchema(Answer):
    """Counts by group."""

    seq = whole()
    groups = listed(GroupSchema)


class IdempotencySchema(Answer):
    """What became of an idempotency key."""

    key = text()
    state = word(("landed", "running", "not_landed"))
    subject = text(nullable=True)
    subject_id = text(nullable=True)
    revision = whole(nullable=True)
    seq = whole(nullable=True)
    at = text(nullable=True)


class ReconciledItemSchema(Answer):
    """One external id."""

    external_id = text()
    record = fields.String()
    revision = fields.Integer()
    measurement_digest = fields.String()


class ReconciledSchema(Answer):
    """Where two systems agree and where not."""

    same = listed(ReconciledItemSchema)
    changed = listed(ReconciledItemSchema)
    missing = listed(ReconciledItemSchema)
    extra = listed(ReconciledItemSchema)
