"""A page of the office screen as HTML, from its template and values."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files
from typing import Any, Final

from jinja2 import Environment, FunctionLoader, StrictUndefined
from markupsafe import Markup

from fourpair_service.reports.drawing.as_svg import inline_svg
from fourpair_service.reports.drawing.shapes import Picture
from fourpair_service.reports.language import Language, printable

# What a browser may do with a page: load and send from here and to here, and run nothing that stands in it.
CONTENT_POLICY: Final = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
FILES: Final = {
    "office.css": "text/css; charset=utf-8",
    "office.js": "text/javascript; charset=utf-8",
    "mark.svg": "image/svg+xml",
}
LABEL_CHARACTERS: Final = 60


def file_content(name: str) -> bytes:
    """Return a file that pages load."""
    return files("fourpair_service.reports.office").joinpath(name).read_bytes()


def _template(name: str) -> str:
    return files("fourpair_service.reports.office").joinpath("templates", name).read_text(encoding="utf-8")


@lru_cache(maxsize=1)
def _environment() -> Environment:
    environment = Environment(
        autoescape=True,
        undefined=StrictUndefined,
        loader=FunctionLoader(_template),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["shown"] = printable
    return environment


def page_html(template: str, words: Language, **values: Any) -> str:
    """Return a page.

    Args:
        template: name of its file.
        words: the language it is written in.
        values: what the template asks for.
    """

    def drawn(picture: Picture) -> Markup:
        # Every text in a picture was escaped as it was written.
        return Markup(inline_svg(picture, words.code))

    return _environment().get_template(template).render(words=words, say=words.say, drawn=drawn, **values)
