"""SVG elements as text. Looks are attributes, so that no style policy can take them away."""

from __future__ import annotations

from typing import Final
from xml.sax.saxutils import escape, quoteattr

from fourpair_service.reports.inks import INK, WHITE

FONT: Final = "system-ui, 'Segoe UI', 'Liberation Sans', 'DejaVu Sans', sans-serif"

Attribute = str | float


def element(name: str, content: str = "", /, **attributes: Attribute) -> str:
    """Return an element; ``_`` in attribute names stands for ``-``, content is markup."""
    written = "".join(
        f" {key.rstrip('_').replace('_', '-')}={quoteattr(_value(value))}"
        for key, value in attributes.items()
    )
    return f"<{name}{written}>{content}</{name}>" if content else f"<{name}{written}/>"


def _value(value: Attribute) -> str:
    return value if isinstance(value, str) else f"{value:.2f}".rstrip("0").rstrip(".")


def text(content: str, x: float, y: float, **attributes: Attribute) -> str:
    """Return a line of text, black and of 12 units unless told otherwise."""
    given: dict[str, Attribute] = {"x": x, "y": y, "font_size": 12, "fill": INK, **attributes}
    return element("text", escape(content), **given)


def line(x1: float, y1: float, x2: float, y2: float, **attributes: Attribute) -> str:
    """Return a straight line."""
    return element("line", x1=x1, y1=y1, x2=x2, y2=y2, **attributes)


def document(title: str, description: str, width: float, height: float, *parts: str) -> str:
    """Return a whole picture on white, with a title and description for readers that speak."""
    head = element("title", escape(title), id="title") + element(
        "desc", escape(description), id="description"
    )
    ground = element("rect", width=width, height=height, fill=WHITE)
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + element(
        "svg",
        "\n".join((head, ground, *parts)),
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {width:g} {height:g}",
        width=width,
        height=height,
        role="img",
        aria_labelledby="title description",
        font_family=FONT,
    )
