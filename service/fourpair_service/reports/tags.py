"""What each part of a page is, for readers that speak: heading, paragraph, picture, table.

fpdf2 marks figures alone, as a flat list. Here its builder is given nested elements; they use what
fpdf2 calls internal, so its version is bound in `pyproject.toml`, and tests read the structure back.
A document that is put together of parts notes its elements instead, and they are written behind it.
The rules are those of ISO 32000-1, 14.7 and 14.8.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from enum import Enum
from typing import Any, NamedTuple

from fpdf import FPDF
from fpdf.structure_tree import StructureTreeBuilder
from fpdf.syntax import PDFArray, PDFObject, PDFString


class Kind(Enum):
    """What an element is (ISO 32000-1, 14.8.4), and of a head in a table what it is the head of."""

    SECTION = ("Sect", None)
    TITLE = ("H1", None)
    HEADING = ("H2", None)
    SUBHEADING = ("H3", None)
    MINOR_HEADING = ("H4", None)
    PARAGRAPH = ("P", None)
    SPAN = ("Span", None)
    FIGURE = ("Figure", None)
    CONTENTS = ("TOC", None)
    CONTENTS_ITEM = ("TOCI", None)
    LIST = ("L", None)
    ITEM = ("LI", None)
    ITEM_BODY = ("LBody", None)
    TABLE = ("Table", None)
    ROW = ("TR", None)
    COLUMN_HEAD = ("TH", "Column")
    ROW_HEAD = ("TH", "Row")
    CELL = ("TD", None)
    # What only repeats or adorns: no part of the structure (14.8.2.2).
    DECORATION = ("Artifact", None)

    def __init__(self, name: str, scope: str | None) -> None:
        self.role, self.scope = name, scope


HEADINGS = (Kind.TITLE, Kind.HEADING, Kind.SUBHEADING, Kind.MINOR_HEADING)


class Marks(ABC):
    """Marks what is written on a document, part by part."""

    def __init__(self, pdf: FPDF) -> None:
        self._pdf = pdf
        self._numbers: Counter[int] = Counter()

    @contextmanager
    def around(self, kind: Kind) -> Iterator[None]:
        """Hold the elements that are made within."""
        self._open(kind)
        yield
        self._close()

    @contextmanager
    def mark(self, kind: Kind, alt: str | None = None) -> Iterator[None]:
        """Mark what is written within as an element; ``alt`` says in words what it shows."""
        if kind is Kind.DECORATION:
            with self.decoration():
                yield
            return
        page = self._pdf.page
        number = self._numbers[page]
        self._numbers[page] += 1
        self._out(f"/{self._leaf(kind, number, alt)} <</MCID {number}>> BDC")
        yield
        self._out("EMC")

    @contextmanager
    def decoration(self) -> Iterator[None]:
        """Mark what is drawn within as saying nothing."""
        self._out("/Artifact BMC")
        yield
        self._out("EMC")

    @abstractmethod
    def _open(self, kind: Kind) -> None:
        """Begin an element that holds others."""

    @abstractmethod
    def _close(self) -> None:
        """End the element that was begun last."""

    @abstractmethod
    def _leaf(self, kind: Kind, number: int, alt: str | None) -> str:
        """Make an element of marked content; return what it is called."""

    def _out(self, operators: str) -> None:
        self._pdf._out(operators)


class Element(PDFObject):
    """One part, with the marked content or the elements in it."""

    def __init__(
        self, kind: Kind, parent: PDFObject, top: Element | None, page: int, alt: str | None
    ) -> None:
        super().__init__()
        self._kind, self._parent, self._top, self._page, self._alt = kind, parent, top, page, alt
        self.k = PDFArray([])
        self.pg: PDFObject | None = None

    def page_number(self) -> int:
        """Return the page that it is on."""
        return self._page

    def serialize(self, obj_dict: Any = None, _security_handler: Any = None) -> str:
        """Return it as an object of a PDF."""
        page = (self._top or self).pg
        written: dict[str, object] = {
            "/Type": "/StructElem",
            "/S": f"/{self._kind.role}",
            "/P": self._parent.ref,
            "/K": self.k.serialize(),
            "/Pg": page.ref if page is not None else None,
        }
        if self._alt is not None:
            written["/Alt"] = PDFString(self._alt).serialize()
        if self._kind.scope is not None:
            written["/A"] = f"<</O /Table /Scope /{self._kind.scope}>>"
        return str(super().serialize(written))


class Tags(Marks, StructureTreeBuilder):
    """The structure of a document that fpdf2 writes with it."""

    def __init__(self, pdf: FPDF) -> None:
        Marks.__init__(self, pdf)
        StructureTreeBuilder.__init__(self)
        self._within: list[Element] = []
        self._elements: list[Element] = []
        pdf.struct_builder = self

    def __iter__(self) -> Iterator[PDFObject]:
        yield self.struct_tree_root
        yield self.doc_struct_elem
        yield self.struct_tree_root.parent_tree
        yield from self._elements

    def _open(self, kind: Kind) -> None:
        self._within.append(self._element(kind, None))

    def _close(self) -> None:
        self._within.pop()

    def _leaf(self, kind: Kind, number: int, alt: str | None) -> str:
        page = self._pdf.page
        element = self._element(kind, alt)
        element.k.append(number)
        parents = self.spid_per_page_number.setdefault(page, len(self.spid_per_page_number))
        self.struct_tree_root.parent_tree.nums[parents].append(element)
        self._pdf.pages[page].struct_parents = parents
        return kind.role

    def _element(self, kind: Kind, alt: str | None) -> Element:
        parent = self._within[-1] if self._within else self.doc_struct_elem
        top = self._within[0] if self._within else None
        element = Element(kind, parent, top, self._pdf.page, alt)
        parent.k.append(element)
        self._elements.append(element)
        return element


class Noted(NamedTuple):
    """An element that is noted, to be written later.

    Attributes:
        role: its name.
        scope: of a head in a table.
        parent: place among all that are noted of the element that holds it; none within the document itself.
        page: counted from 1.
        number: of its marked content on that page; none where it holds other elements.
        alt: words in the place of a picture.
    """

    role: str
    scope: str | None
    parent: int | None
    page: int
    number: int | None
    alt: str | None


class Notes(Marks):
    """The structure of a part of a document, noted in the order in which it is read.

    Attributes:
        noted: its elements, each behind the one that holds it.
    """

    def __init__(self, pdf: FPDF, below: int = 0) -> None:
        """Begin; headings count as so many levels below what they are by themselves."""
        super().__init__(pdf)
        self.noted: list[Noted] = []
        self._within: list[int] = []
        self._below = below

    def _open(self, kind: Kind) -> None:
        self._note(kind, None, None)
        self._within.append(len(self.noted) - 1)

    def _close(self) -> None:
        self._within.pop()

    def _leaf(self, kind: Kind, number: int, alt: str | None) -> str:
        return self._note(kind, number, alt)

    def _note(self, kind: Kind, number: int | None, alt: str | None) -> str:
        role = HEADINGS[HEADINGS.index(kind) + self._below].role if kind in HEADINGS else kind.role
        parent = self._within[-1] if self._within else None
        self.noted.append(Noted(role, kind.scope, parent, self._pdf.page, number, alt))
        return role
