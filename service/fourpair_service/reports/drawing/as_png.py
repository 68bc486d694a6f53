"""A picture as PNG: its SVG, drawn in the type that is carried along."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import as_file, files
from struct import pack
from typing import Final
from zlib import crc32

from resvg_py import svg_to_bytes

from fourpair_service.reports.drawing.as_svg import svg_document
from fourpair_service.reports.drawing.shapes import Picture, Words
from fourpair_service.reports.paper import FONTS, drawable

TYPE: Final = "DejaVu Sans Condensed"
# The mark of a PNG and its first chunk, which must stay the first (PNG, third edition, 5.6).
HEAD_BYTES: Final = 8 + 25


def png(picture: Picture, width_px: int, language: str) -> bytes:
    """Return a picture as PNG on white, its title and description among its texts.

    Args:
        picture: what to draw.
        width_px: its width; the height follows.
        language: the tag of its texts.
    """
    shapes = tuple(replace(s, text=drawable(s.text)) if isinstance(s, Words) else s for s in picture.shapes)
    folder = files("fourpair_service.reports").joinpath("fonts")
    with as_file(folder) as fonts:
        drawn = svg_to_bytes(
            svg_string=svg_document(replace(picture, shapes=shapes)),
            width=width_px,
            # No type of the machine's: the same picture everywhere.
            skip_system_fonts=True,
            font_files=[str(fonts / name) for name in FONTS.values()],
            font_family=TYPE,
            sans_serif_family=TYPE,
        )
    texts = {"Title": picture.title, "Description": picture.description}
    told = b"".join(_text(name, text, language) for name, text in texts.items())
    return drawn[:HEAD_BYTES] + told + drawn[HEAD_BYTES:]


def _text(name: str, text: str, language: str) -> bytes:
    """Return a chunk of international text (PNG, third edition, 11.3.3.4), not compressed."""
    plain = b"\0\0"
    content = name.encode("latin-1") + b"\0" + plain + language.encode("ascii") + b"\0\0" + text.encode()
    chunk = b"iTXt" + content
    return pack(">I", len(content)) + chunk + pack(">I", crc32(chunk))
