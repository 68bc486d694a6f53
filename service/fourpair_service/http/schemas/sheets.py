"""In which form a link sheet is asked for."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from marshmallow import fields

from fourpair_service.http.schemas.fields import Choice, Text
from fourpair_service.http.schemas.queries import AsOfQuery, WholeNumber
from fourpair_service.reports.sheet.form import LEAST_WIDTH_PX, MEDIA, MOST_WIDTH_PX, WIDTH_PX

TEXT: Final = {"schema": {"type": "string"}}
SHEET_CONTENT: Final = {
    200: {
        "content": {
            "text/html": TEXT,
            "application/pdf": {"schema": {"type": "string", "contentMediaType": "application/pdf"}},
            "text/plain": TEXT,
            "image/svg+xml": TEXT,
            "image/png": {"schema": {"type": "string", "contentMediaType": "image/png"}},
        }
    }
}
SHEET_FIELDS: Final[Mapping[str, fields.Field[Any]]] = {
    "format": Choice((*MEDIA,), metadata={"description": "goes before the Accept header"}),
    "extent": Choice(
        ("sheet", "receipt"), metadata={"description": "the whole page, or half a page for the site"}
    ),
    "language": Choice(("en", "de")),
    "length_unit": Choice(("m", "ft")),
    "paper": Choice(("a4", "letter")),
    "picture": Text(
        metadata={
            "description": "of an SVG or PNG: wires, run, or margin- and a parameter, such as margin-next"
        }
    ),
    "width_px": WholeNumber(
        low=LEAST_WIDTH_PX,
        high=MOST_WIDTH_PX,
        metadata={"description": f"width of a PNG, {WIDTH_PX} where it is left out"},
    ),
}


class SheetQuery(AsOfQuery):
    """In which form a sheet is wanted."""

    format, extent, language = (SHEET_FIELDS[name] for name in ("format", "extent", "language"))
    length_unit, paper, picture = (SHEET_FIELDS[name] for name in ("length_unit", "paper", "picture"))
    width_px = SHEET_FIELDS["width_px"]
