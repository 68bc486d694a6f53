"""A picture on a page of a PDF."""

from __future__ import annotations

from functools import singledispatch
from typing import Final

from fpdf import FPDF
from fpdf.enums import RenderStyle

from fourpair_service.reports.drawing.shapes import Area, Dot, Path, Picture, Place, Shape, Words

POINTS_PER_MM: Final = 72 / 25.4


class _Canvas:
    """Where a picture goes on the page, and how large. [mm]."""

    def __init__(self, pdf: FPDF, x: float, y: float, scale: float) -> None:
        self.pdf, self._x, self._y, self.scale = pdf, x, y, scale

    def at(self, place: Place) -> Place:
        return self._x + place[0] * self.scale, self._y + place[1] * self.scale

    def all_at(self, places: tuple[Place, ...]) -> list[Place]:
        return [self.at(place) for place in places]

    def pen(self, ink: str, width: float) -> None:
        self.pdf.set_draw_color(ink)
        self.pdf.set_line_width(width * self.scale)

    def edge(self, fill: str, ink: str | None, width: float) -> RenderStyle:
        self.pdf.set_fill_color(fill)
        if ink is None:
            return RenderStyle.F
        self.pen(ink, width)
        return RenderStyle.DF


@singledispatch
def _draw(shape: Shape, on: _Canvas) -> None:
    raise TypeError(type(shape).__name__)


@_draw.register
def _path(shape: Path, on: _Canvas) -> None:
    on.pen(shape.ink, shape.width)
    if shape.dash:
        on.pdf.set_dash_pattern(shape.dash[0] * on.scale, shape.dash[-1] * on.scale)
    on.pdf.polyline(on.all_at(shape.places))
    if shape.dash:
        on.pdf.set_dash_pattern()


@_draw.register
def _area(shape: Area, on: _Canvas) -> None:
    on.pdf.polygon(on.all_at(shape.places), style=on.edge(shape.fill, shape.ink, shape.width))


@_draw.register
def _dot(shape: Dot, on: _Canvas) -> None:
    x, y = on.at((shape.x, shape.y))
    on.pdf.circle(x, y, shape.radius * on.scale, style=on.edge(shape.fill, shape.ink, shape.width))


@_draw.register
def _words(shape: Words, on: _Canvas) -> None:
    pdf = on.pdf
    pdf.set_font(style="B" if shape.bold else "", size=shape.size * on.scale * POINTS_PER_MM)
    pdf.set_text_color(shape.ink)
    x, y = on.at((shape.x, shape.y))
    width = pdf.get_string_width(shape.text)
    pdf.text(x - {"start": 0.0, "middle": width / 2, "end": width}[shape.anchor], y, shape.text)


def draw_picture(pdf: FPDF, picture: Picture, x: float, y: float, width: float) -> float:
    """Draw a picture with its upper left corner at a place; return its height. [mm]."""
    canvas = _Canvas(pdf, x, y, width / picture.width)
    # As SVG ends and joins its lines; the square ends of fpdf2 would fill the gaps of dashes.
    with pdf.local_context(stroke_cap_style="butt", stroke_join_style="round"):
        for shape in picture.shapes:
            _draw(shape, canvas)
    return picture.height * canvas.scale
