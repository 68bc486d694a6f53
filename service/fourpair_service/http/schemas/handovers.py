"""In which form a handover is asked for."""

from __future__ import annotations

from typing import Any, Final

from marshmallow import fields

from fourpair_service.http.handovers import MEDIA, CsvTable, PerLink
from fourpair_service.http.schemas.fields import Choice
from fourpair_service.http.schemas.sheets import SHEET_FIELDS
from fourpair_service.http.schemas.strict import StrictSchema

FILE: Final = {"type": "string", "contentMediaType": "application/octet-stream"}
HANDOVER_CONTENT: Final[dict[str, Any]] = {
    "responses": {200: {"content": {kind: {"schema": FILE} for kind in MEDIA.values()}}}
}


class HandoverQuery(StrictSchema):
    """In which form a handover is wanted."""

    format: fields.Field[Any] = Choice((*MEDIA,), metadata={"description": "goes before the Accept header"})
    language, length_unit, paper = (SHEET_FIELDS[name] for name in ("language", "length_unit", "paper"))
    per_link = Choice(PerLink, metadata={"description": "of a workbook: a row or a sheet of its own"})
    table = Choice(CsvTable, metadata={"description": "of a CSV: all links, or all results of all links"})
