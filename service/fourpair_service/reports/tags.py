"""What each part of a page is, for readers that speak: heading, paragraph, picture, table.

fpdf2 marks figures alone, as a flat list. Here its builder is given nested elements; they use what
fpdf2 calls internal, so its version is bound in `pyproject.toml`, and tests read the structure back.
The rules are those of ISO 32000-1, 14.7 and 14.8.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from enum import Enum
from typing import Any

from fpdf import FPDF
from fpdf.structure_tree import StructureTreeBuilder
from fpdf.syntax import PDFArray, PDFObject, PDFString


class Kind(Enum):
    """What an element is (ISO 32000-1, 14.8.4), and of a head in a table what it is the head of."""

    TITLE = ("H1", None)
    HEADING = ("H2", None)
    PARAGRAPH = ("P", None)
    FIGURE = ("Figure", None)
    TABLE = ("Table", None)
    ROW = ("TR", None)
    COLUMN_HEAD = ("TH", "Column")
    ROW_HEAD = ("TH", "Row")
    CELL = ("TD", None)

    def __init__(self, name: str, scope: str | None) -> None:
        self.role, self.scope = name, scope


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


class Tags(StructureTreeBuilder):
    """The structure of a document, as it is written."""

    def __init__(self, pdf: FPDF) -> None:
        super().__init__()
        self._pdf = pdf
        self._within: list[Element] = []
        self._elements: list[Element] = []
        self._marks: Counter[int] = Counter()

    def __iter__(self) -> Iterator[PDFObject]:
        yield self.struct_tree_root
        yield self.doc_struct_elem
        yield self.struct_tree_root.parent_tree
        yield from self._elements

    @contextmanager
    def around(self, kind: Kind) -> Iterator[None]:
        """Hold the elements that are made within."""
        self._within.append(self._element(kind, None))
        yield
        self._within.pop()

    @contextmanager
    def mark(self, kind: Kind, alt: str | None = None) -> Iterator[None]:
        """Mark what is written within as an element; ``alt`` says in words what it shows."""
        page = self._pdf.page
        element = self._element(kind, alt)
        number = self._marks[page]
        self._marks[page] += 1
        element.k.append(number)
        parents = self.spid_per_page_number.setdefault(page, len(self.spid_per_page_number))
        self.struct_tree_root.parent_tree.nums[parents].append(element)
        self._pdf.pages[page].struct_parents = parents
        self._out(f"/{kind.role} <</MCID {number}>> BDC")
        yield
        self._out("EMC")

    @contextmanager
    def decoration(self) -> Iterator[None]:
        """Mark what is drawn within as saying nothing."""
        self._out("/Artifact BMC")
        yield
        self._out("EMC")

    def _element(self, kind: Kind, alt: str | None) -> Element:
        parent = self._within[-1] if self._within else self.doc_struct_elem
        top = self._within[0] if self._within else None
        element = Element(kind, parent, top, self._pdf.page, alt)
        parent.k.append(element)
        self._elements.append(element)
        return element

    def _out(self, operators: str) -> None:
        self._pdf._out(operators)


class NoTags(Tags):
    """No structure at all, for documents that are put together of parts."""

    @contextmanager
    def around(self, kind: Kind) -> Iterator[None]:
        """Do nothing."""
        yield

    @contextmanager
    def mark(self, kind: Kind, alt: str | None = None) -> Iterator[None]:
        """Do nothing."""
        yield

    @contextmanager
    def decoration(self) -> Iterator[None]:
        """Do nothing."""
        yield
