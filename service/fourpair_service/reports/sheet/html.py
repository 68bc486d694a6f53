"""A link sheet as one HTML file that needs nothing else, and prints on one page."""

from __future__ import annotations

from base64 import b64encode
from functools import lru_cache
from hashlib import sha256
from importlib.resources import files

from jinja2 import Environment, StrictUndefined, Template
from markupsafe import Markup

from fourpair_service.reports.drawing.as_svg import inline_svg
from fourpair_service.reports.drawing.shapes import Picture
from fourpair_service.reports.sheet.model import LinkSheet


def _file(name: str) -> str:
    return files("fourpair_service.reports.sheet").joinpath(name).read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def _template() -> Template:
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=False)
    return environment.from_string(_file("page.html"))


@lru_cache(maxsize=1)
def style() -> str:
    """Return the style sheet of a link sheet."""
    return _file("page.css")


@lru_cache(maxsize=1)
def content_policy() -> str:
    """Return the content security policy of a sheet: nothing but its own style, known by its digest."""
    seal = b64encode(sha256(style().encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{seal}'; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    )


def sheet_html(sheet: LinkSheet) -> str:
    """Return the sheet as an HTML document."""

    def drawn(picture: Picture) -> Markup:
        # Every text in a picture was escaped as it was written.
        return Markup(inline_svg(picture, sheet.language))

    return _template().render(sheet=sheet, style=Markup(style()), drawn=drawn)
