"""Pages: their size, their type, and text that always fits."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, datetime
from enum import StrEnum
from functools import lru_cache
from importlib.resources import as_file, files
from typing import Any, Final, cast
from xml.sax.saxutils import escape

from fontTools.ttLib import TTFont
from fpdf import FPDF
from fpdf.enums import XPos, YPos
from fpdf.fonts import TTFFont
from fpdf.prefs import ViewerPreferences

from fourpair_service.reports.inks import INK, RULE
from fourpair_service.reports.tags import Kind, Marks, Tags

FAMILY: Final = "sheet"
FONTS: Final = {"": "DejaVuSansCondensed.ttf", "B": "DejaVuSansCondensed-Bold.ttf"}
# What a document without any time of its own is dated: the same bytes every time.
UNDATED: Final = datetime(2000, 1, 1, tzinfo=UTC)
# What readers of the packet in a document (XMP, ISO 16684-1) look for in place of the older entries.
PACKET: Final = """<x:xmpmeta xmlns:x="adobe:ns:meta/">
<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/" xmlns:xmp="http://ns.adobe.com/xap/1.0/">
<dc:title><rdf:Alt><rdf:li xml:lang="x-default">{title}</rdf:li></rdf:Alt></dc:title>
<dc:language><rdf:Bag><rdf:li>{language}</rdf:li></rdf:Bag></dc:language>
<xmp:CreatorTool>fourpair</xmp:CreatorTool>
<xmp:CreateDate>{at}</xmp:CreateDate>
</rdf:Description>
</rdf:RDF>
</x:xmpmeta>"""


class PaperSize(StrEnum):
    """The size of a page."""

    A4 = "a4"
    LETTER = "letter"


# Width and height. [mm]
SIZES_MM: Final = {PaperSize.A4: (210.0, 297.0), PaperSize.LETTER: (215.9, 279.4)}


@lru_cache(maxsize=1)
def known_characters() -> frozenset[int]:
    """Return the characters that the type has."""
    with as_file(files("fourpair_service.reports").joinpath("fonts", FONTS[""])) as path:
        font = TTFont(path, lazy=True)
        try:
            return frozenset(font["cmap"].getBestCmap())
        finally:
            font.close()


def drawable(text: str) -> str:
    """Return text in characters that the type has; another one is written by its number.

    >>> drawable("A🧬")
    'A[U+1F9EC]'
    """
    known = known_characters()
    return "".join(c if ord(c) in known else f"[U+{ord(c):04X}]" for c in text)


class Paper(FPDF):
    """A document of pages with our type; every text goes through :func:`drawable`.

    Attributes:
        tags: what its parts are.
    """

    def __init__(
        self,
        size: PaperSize,
        *,
        title: str,
        language: str,
        at: str | None,
        is_half: bool = False,
    ) -> None:
        width, height = SIZES_MM[size]
        super().__init__(format=(width, height / 2 if is_half else height))
        for style, name in FONTS.items():
            with as_file(files("fourpair_service.reports").joinpath("fonts", name)) as path:
                self.add_font(FAMILY, style, path)
        self.tags: Marks = Tags(self)
        self.set_auto_page_break(False)
        self.set_margin(11)
        self.c_margin = 0
        self.set_title(drawable(title))
        self.set_lang(language)
        self.set_creator("fourpair")
        made = UNDATED if at is None else datetime.fromisoformat(at)
        self.set_creation_date(made)
        packet = PACKET.format(title=escape(drawable(title)), language=language, at=made.isoformat())
        self.set_xmp_metadata(packet)
        self.viewer_preferences = ViewerPreferences(display_doc_title=True)
        self.set_font(FAMILY, size=8)

    @property
    def inner_width(self) -> float:
        """The width between the margins. [mm]."""
        return float(self.epw)

    def output(self, *arguments: Any, **named: Any) -> Any:
        """Return or write the document, after which nothing can be written on it any more."""
        written = super().output(*arguments, **named)
        self.close_type()
        return written

    def close_type(self) -> None:
        """Let go of the files of the type."""
        for font in self.fonts.values():
            if isinstance(font, TTFFont):
                font.close()

    def type(self, size: float, *, bold: bool = False, ink: str = INK) -> None:
        """Choose size, weight and colour of what is written next. [pt]."""
        self.set_font(FAMILY, "B" if bold else "", size)
        self.set_text_color(ink)

    def fitted(self, text: str, width: float) -> str:
        """Return text as it fits on a line of a width, cut with a mark where it is longer. [mm]."""
        shown = drawable(text)
        if self.get_string_width(shown) <= width:
            return shown
        low, high = 0, len(shown)
        while low < high:
            middle = (low + high + 1) // 2
            if self.get_string_width(shown[:middle].rstrip() + "…") <= width:
                low = middle
            else:
                high = middle - 1
        return shown[:low].rstrip() + "…"

    def words(
        self, text: str, x: float, y: float, width: float, *, align: str = "L", kind: Kind = Kind.PARAGRAPH
    ) -> None:
        """Write one line, ``y`` its baseline. [mm]."""
        with self.tags.mark(kind):
            self.put(text, x, y, width, align=align)

    def put(self, text: str, x: float, y: float, width: float, *, align: str = "L") -> None:
        """Write one line within a part that was begun, ``y`` its baseline. [mm]."""
        shown = self.fitted(text, width)
        left = x if align == "L" else x + width - self.get_string_width(shown)
        self.text(left, y, shown)

    def lines(self, text: str, width: float) -> list[str]:
        """Return text broken into the lines of a paragraph. [mm]."""
        found = self.multi_cell(width, 4, drawable(text), dry_run=True, output="LINES", align="L")
        return cast(list[str], found)

    def paragraph(
        self,
        text: str,
        x: float,
        y: float,
        width: float,
        line_height: float,
        *,
        most: int = 99,
        kind: Kind = Kind.PARAGRAPH,
    ) -> float:
        """Write a paragraph of at most ``most`` lines; return where the next one begins. [mm]."""
        text = drawable(text)
        lines = self.lines(text, width)
        shown = spaced(lines, text)[:most]
        if len(lines) > most:
            shown[-1] = self.fitted(shown[-1] + " " + lines[most], width)
        with self.tags.mark(kind):
            for line in shown:
                self.set_xy(x, y)
                self.cell(width, line_height, line, new_x=XPos.LEFT, new_y=YPos.NEXT)
                y += line_height
        return y

    def ground(self, ink: str, x: float, y: float, width: float, height: float) -> None:
        """Fill a rectangle that says nothing. [mm]."""
        with self.tags.decoration():
            self.set_fill_color(ink)
            self.rect(x, y, width, height, style="F")

    def rule(self, y: float, *, thick: bool = False) -> None:
        """Draw a line across the page. [mm]."""
        self.set_draw_color(INK if thick else RULE)
        self.set_line_width(0.5 if thick else 0.2)
        with self.tags.decoration():
            self.line(self.l_margin, y, self.w - self.r_margin, y)


def spaced(lines: list[str], text: str) -> list[str]:
    """Return lines with the space at their end that they were broken at, for whoever copies or hears them."""
    spaced, at = [], 0
    for line in lines:
        # A line that lost a soft hyphen is not found again; it stays as it is.
        begin = text.find(line, at)
        at = begin + len(line) if begin >= 0 else at
        spaced.append(line + " " if begin >= 0 and text[at : at + 1] == " " else line)
    return spaced


def joined(pairs: Iterable[tuple[str, str]]) -> str:
    """Return names and values on a line."""
    return "  ·  ".join(f"{name}: {value}" for name, value in pairs)
