"""Runs over many records: what is asked, and what is answered."""

from __future__ import annotations

from typing import Final

from marshmallow import Schema, fields, validate

from fourpair_service.domain.verdict import Outcome
from fourpair_service.http.schemas.fields import Flag, Integer, Text
from fourpair_service.http.schemas.kept import Answer
from fourpair_service.http.schemas.queries import CursorQuery, RecordsQuery, YesNo
from fourpair_service.http.schemas.strict import StrictSchema
from fourpair_service.records.runs.model import RunState

PAGING: Final = frozenset({"cursor", "limit", "sort"})
SUPPORT: Final = ("supported", "conditional", "not_supported", "not_evaluated")
FORMS: Final = ("json", "ndjson", "csv")


class RunQuery(
    Schema.from_dict({n: f for n, f in RecordsQuery._declared_fields.items() if n not in PAGING}),  # type: ignore[misc] # made of another
    StrictSchema,
):
    """Which records a run is about: the words of the list of records."""

    dry_run = YesNo(load_default=False, metadata={"description": "find out everything, move no record"})


class FindingsQuery(CursorQuery):
    """Which part of what was found, in which form."""

    format = fields.String(
        validate=validate.OneOf(FORMS),
        metadata={"description": "json gives a page; ndjson and csv all that follows the cursor"},
    )


class RegradeSchema(StrictSchema):
    """Under which rule set the records are graded again."""

    rule_set = Text(
        required=True,
        metadata={"description": "id of a rule set that supersedes others; records of those are concerned"},
    )
    reason = Text(metadata={"description": "why, for the records' history"})


class AskedRequirementSchema(StrictSchema):
    """A standard and a category or class of it."""

    rule_set = Text(required=True)
    category = Text(required=True)


class AssessmentRequestSchema(StrictSchema):
    """What is asked of each record: exactly one of requirement, application and power_type."""

    requirement = fields.Nested(AskedRequirementSchema)
    application = Text(metadata={"description": "an Ethernet application, such as 10GBASE-T"})
    power_type = Integer(low=1, high=4, metadata={"description": "type of power over Ethernet, 1 to 4"})
    keep = Flag(
        metadata={"description": "keep what the links carry beside their revisions, to be searched by"}
    )


def _text(*, nullable: bool = True) -> fields.String:
    return fields.String(required=True, allow_none=nullable)


def _number() -> fields.Float:
    return fields.Float(required=True, allow_none=True)


def _flag() -> fields.Boolean:
    return fields.Boolean(required=True, allow_none=True)


def _whole() -> fields.Integer:
    return fields.Integer(required=True)


class MoveSchema(Answer):
    """How many records went from one outcome to another, or to an answer."""

    before = _text()
    after = _text(nullable=False)
    records = _whole()


class CountsSchema(Answer):
    """How many records are settled, by what was found."""

    changed = _whole()
    unchanged = _whole()
    not_concerned = _whole()
    answered = _whole()
    refused = _whole()


class AskedSchema(Answer):
    """What is asked of each record."""

    rule_set = _text()
    requirement = fields.Nested(AskedRequirementSchema, required=True, allow_none=True)
    application = _text()
    power_type = fields.Integer(required=True, allow_none=True)
    keep = fields.Boolean(required=True)


class RunSchema(Answer):
    """A run and how far it has come."""

    id = _text(nullable=False)
    state = fields.String(required=True, validate=validate.OneOf([s.value for s in RunState]))
    dry_run = fields.Boolean(required=True)
    asked = fields.Nested(AskedSchema, required=True)
    filter = fields.Dict(keys=fields.String(), required=True)
    reason = _text()
    actor = _text(nullable=False)
    created_at = _text(nullable=False)
    finished_at = _text()
    records = _whole()
    settled = _whole()
    counts = fields.Nested(CountsSchema, required=True)
    moves = fields.List(fields.Nested(MoveSchema), required=True)


class RunListSchema(Answer):
    """A page of runs in the order in which they began."""

    runs = fields.List(fields.Nested(RunSchema), required=True)
    next_cursor = _text()


class CauseSchema(Answer):
    """One parameter's part in a difference; the limits hold at the two worst points."""

    parameter = _text(nullable=False)
    title = _text()
    end = _text()
    unit = _text()
    pairs = _text()
    outcome_before = _text()
    outcome_after = _text()
    margin_before = _number()
    margin_after = _number()
    limit_before = _number()
    limit_after = _number()
    frequency_before_mhz = _number()
    frequency_after_mhz = _number()
    basis_before = _text()
    basis_after = _text()
    source = _text()


class CategoryMoveSchema(Answer):
    """A category or class that is met now and was not, or the other way round."""

    category = _text(nullable=False)
    state_before = _text()
    state_after = _text()


class FindingSchema(Answer):
    """Of which record something was found; refused says why it could not be graded."""

    record = _text(nullable=False)
    label = _text(nullable=False)
    job = _text(nullable=False)
    revision = _whole()
    refused = _text()


class ChangeFoundSchema(FindingSchema):
    """What another rule set changes of one record, by how much, and because of which limits."""

    rule_set_before = _text()
    rule_set_after = _text()
    outcome_before = _text()
    outcome_after = _text()
    headroom_before_db = _number()
    headroom_after_db = _number()
    change_db = _number()
    basis_before = _text()
    basis_after = _text()
    provisional_before = _flag()
    provisional_after = _flag()
    categories = fields.List(fields.Nested(CategoryMoveSchema), required=True)
    because = fields.List(fields.Nested(CauseSchema), required=True)


class LimitedBySchema(Answer):
    """What limits an answer."""

    parameter = _text()
    end = _text()
    pairs = _text()
    frequency_mhz = _number()
    margin_db = _number()


class AnswerFoundSchema(FindingSchema):
    """What one record answers."""

    outcome = _text()
    answer = fields.String(
        required=True, allow_none=True, validate=validate.OneOf([*SUPPORT, *(o.value for o in Outcome), None])
    )
    headroom_db = _number()
    because = fields.Nested(LimitedBySchema, required=True, allow_none=True)
    provisional = _flag()
    text = _text()


class ChangesFoundSchema(Answer):
    """A page of what a re-grading found, in the order in which the records were made."""

    findings = fields.List(fields.Nested(ChangeFoundSchema), required=True)
    next_cursor = _text()


class AnswersFoundSchema(Answer):
    """A page of what an assessment found, in the order in which the records were made."""

    findings = fields.List(fields.Nested(AnswerFoundSchema), required=True)
    next_cursor = _text()
