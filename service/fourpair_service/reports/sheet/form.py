"""The forms in which a link sheet is had, and a sheet written in one."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from fourpair_service.errors import ServiceError
from fourpair_service.reports.drawing.as_png import png
from fourpair_service.reports.drawing.as_svg import svg_document
from fourpair_service.reports.drawing.shapes import Picture
from fourpair_service.reports.language import Language, LengthUnit, Tongue, language
from fourpair_service.reports.paper import PaperSize
from fourpair_service.reports.sheet.html import sheet_html
from fourpair_service.reports.sheet.model import LinkSheet
from fourpair_service.reports.sheet.pdf import sheet_pdf
from fourpair_service.reports.sheet.plain import receipt_text, sheet_text
from fourpair_service.reports.sheet.receipt import receipt_pdf

PAGES: Final = {"html": "text/html", "pdf": "application/pdf", "text": "text/plain"}
PICTURES: Final = {"svg": "image/svg+xml", "png": "image/png"}
MEDIA: Final = PAGES | PICTURES
SHEET_VERSION: Final = "1"
LEAST_WIDTH_PX: Final = 100
MOST_WIDTH_PX: Final = 4000
WIDTH_PX: Final = 1000


class Extent(StrEnum):
    """How much is put on paper."""

    SHEET = "sheet"
    RECEIPT = "receipt"


class NoSuchPictureError(ServiceError):
    """The sheet of this link has no such picture."""


@dataclass(frozen=True, slots=True)
class SheetForm:
    """In which form a sheet is asked for.

    Attributes:
        media: a name in ``MEDIA``.
        picture: of one of ``PICTURES``, which one.
        width_px: of a PNG.
    """

    media: str
    extent: Extent = Extent.SHEET
    tongue: Tongue = Tongue.ENGLISH
    length_unit: LengthUnit = LengthUnit.METRES
    paper: PaperSize = PaperSize.A4
    picture: str | None = None
    width_px: int = WIDTH_PX

    @property
    def words(self) -> Language:
        """The language it is written in."""
        return language(self.tongue, self.length_unit)

    @property
    def kind(self) -> str:
        """The media type."""
        return MEDIA[self.media]

    @property
    def is_text(self) -> bool:
        """Whether it is written in characters."""
        return self.media not in ("pdf", "png")


def written(sheet: LinkSheet, form: SheetForm) -> bytes | str:
    """Return a sheet written in a form.

    Raises:
        NoSuchPictureError: it has no such picture.
    """
    keep = form.words.say("receipt.keep")
    if form.extent is Extent.RECEIPT:
        return receipt_pdf(sheet, keep, form.paper) if form.media == "pdf" else receipt_text(sheet, keep)
    if form.media == "pdf":
        return sheet_pdf(sheet, form.paper)
    if form.media == "text":
        return sheet_text(sheet)
    if form.media == "html":
        return sheet_html(sheet)
    picture = _picture(sheet, form.picture or "")
    return svg_document(picture) if form.media == "svg" else png(picture, form.width_px, sheet.language)


def _picture(sheet: LinkSheet, name: str) -> Picture:
    pictures = [p for p in (sheet.wires, sheet.run, *sheet.margins) if p is not None]
    for picture in pictures:
        if picture.name == name:
            return picture
    known = ", ".join(picture.name for picture in pictures) or "none at all"
    raise NoSuchPictureError(f"This link has no such picture; it has {known}.")
