"""In which form a handover is asked for."""

from __future__ import annotations

from typing import Any, Final

from marshmallow import fields, validate

from fourpair_service.http.handovers import MEDIA, CsvTable, PerLink
from fourpair_service.http.schemas.fields import Choice
from fourpair_service.http.schemas.kept import Answer
from fourpair_service.http.schemas.queries import AsOfQuery
from fourpair_service.http.schemas.sheets import SHEET_FIELDS
from fourpair_service.records.handovers.model import OrderState

FILE: Final = {"type": "string", "contentMediaType": "application/octet-stream"}
HANDOVER_CONTENT: Final[dict[str, Any]] = {
    "responses": {200: {"content": {kind: {"schema": FILE} for kind in MEDIA.values()}}}
}


def _text(*, nullable: bool = True) -> fields.String:
    return fields.String(required=True, allow_none=nullable)


def _whole(*, nullable: bool = False) -> fields.Integer:
    return fields.Integer(required=True, allow_none=nullable, strict=True)


class HandoverSchema(Answer):
    """An order for the papers of a job, and how far it has come."""

    id, job = _text(nullable=False), _text(nullable=False)
    form = fields.Dict(keys=fields.String(), values=fields.String(), required=True)
    state = fields.String(required=True, validate=validate.OneOf([s.value for s in OrderState]))
    done, total = _whole(), _whole()
    size, sha256 = _whole(nullable=True), _text()
    trouble = _text()
    actor, created_at = _text(nullable=False), _text(nullable=False)
    finished_at = _text()


class HandoverQuery(AsOfQuery):
    """In which form a handover is wanted, and of which moment."""

    format: fields.Field[Any] = Choice((*MEDIA,), metadata={"description": "goes before the Accept header"})
    language, length_unit, paper = (SHEET_FIELDS[name] for name in ("language", "length_unit", "paper"))
    per_link = Choice(PerLink, metadata={"description": "of a workbook: a row or a sheet of its own"})
    table = Choice(CsvTable, metadata={"description": "of a CSV: all links, or all results of all links"})
