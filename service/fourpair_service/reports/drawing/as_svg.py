"""A picture as SVG."""

from __future__ import annotations

from functools import singledispatch
from xml.sax.saxutils import escape

from fourpair_service.reports import svg
from fourpair_service.reports.drawing.shapes import Area, Dot, Path, Picture, Place, Shape, Words


def _points(places: tuple[Place, ...]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in places)


@singledispatch
def _element(shape: Shape) -> str:
    raise TypeError(type(shape).__name__)


@_element.register
def _path(shape: Path) -> str:
    dash: dict[str, svg.Attribute] = (
        {"stroke_dasharray": " ".join(f"{d:g}" for d in shape.dash)} if shape.dash else {}
    )
    return svg.element(
        "polyline",
        points=_points(shape.places),
        fill="none",
        stroke=shape.ink,
        stroke_width=shape.width,
        stroke_linejoin="round",
        **dash,
    )


def _edge(ink: str | None, width: float) -> dict[str, svg.Attribute]:
    return {} if ink is None else {"stroke": ink, "stroke_width": width}


@_element.register
def _area(shape: Area) -> str:
    return svg.element(
        "polygon", points=_points(shape.places), fill=shape.fill, **_edge(shape.ink, shape.width)
    )


@_element.register
def _dot(shape: Dot) -> str:
    return svg.element(
        "circle", cx=shape.x, cy=shape.y, r=shape.radius, fill=shape.fill, **_edge(shape.ink, shape.width)
    )


@_element.register
def _words(shape: Words) -> str:
    weight: dict[str, svg.Attribute] = {"font_weight": "700"} if shape.bold else {}
    return svg.text(
        shape.text, shape.x, shape.y, font_size=shape.size, fill=shape.ink, text_anchor=shape.anchor, **weight
    )


def elements(picture: Picture) -> str:
    """Return the shapes of a picture as SVG elements."""
    return "\n".join(_element(shape) for shape in picture.shapes)


def inline_svg(picture: Picture, language: str) -> str:
    """Return a picture to stand within HTML; its ids carry its name."""
    title, description = f"{picture.name}-title", f"{picture.name}-text"
    head = svg.element("title", escape(picture.title), id=title) + svg.element(
        "desc", escape(picture.description), id=description
    )
    return svg.element(
        "svg",
        f"{head}\n{elements(picture)}",
        viewBox=f"0 0 {picture.width:g} {picture.height:g}",
        role="img",
        lang=language,
        aria_labelledby=f"{title} {description}",
        font_family=svg.FONT,
    )


def svg_document(picture: Picture) -> str:
    """Return a picture as a file of its own, on white."""
    return svg.document(picture.title, picture.description, picture.width, picture.height, elements(picture))
