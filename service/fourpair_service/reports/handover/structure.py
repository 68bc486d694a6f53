"""What each part of a PDF is that was put together, written behind it (ISO 32000-1, 14.7).

A sheet has hundreds of elements, so that those of a long handover never are in memory together.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Final

import pikepdf

from fourpair_service.reports.handover.update import Update, Written, references
from fourpair_service.reports.tags import Noted

# Pages under one node of the tree that leads from pages to elements.
PAGES_TOGETHER: Final = 50


def write_notes(path: Path, noted: Sequence[Noted]) -> None:
    """Put the elements of a part into a file, a line each."""
    with path.open("w", encoding="utf-8") as file:
        file.writelines(json.dumps(each) + "\n" for each in noted)


def _notes(path: Path) -> list[Noted]:
    with path.open(encoding="utf-8") as file:
        return [Noted(*json.loads(line)) for line in file]


def make_room(whole: pikepdf.Pdf) -> None:
    """Give a document that is to be saved a place for its structure, and each page its place in it."""
    whole.Root.MarkInfo = pikepdf.Dictionary(Marked=True)
    whole.Root.StructTreeRoot = whole.make_indirect(pikepdf.Dictionary(Type=pikepdf.Name.StructTreeRoot))
    for number, page in enumerate(whole.pages):
        page.obj.StructParents = number


def add_structure(path: Path, notes: Sequence[Path], lengths: Sequence[int]) -> None:
    """Write the structure behind a document that was saved with room for it.

    Args:
        path: the document.
        notes: files with the elements of its parts, in order.
        lengths: how many pages each part has.
    """
    with pikepdf.open(path) as whole:
        root = whole.Root.StructTreeRoot.objgen[0]
        pages: list[int] = [page.obj.objgen[0] for page in whole.pages]
    with Update(path) as update:
        document = update.number()
        tops: list[int] = []
        lists: list[int] = []
        for part, length in zip(notes, lengths, strict=True):
            begin = len(lists)
            noted = _Part(update, _notes(part), pages[begin : begin + length], document)
            update.pack([*noted.elements(), *noted.lists])
            tops += noted.tops
            lists += [number for number, _ in noted.lists]
        leaves = _leaves(update, lists)
        update.pack(leaves)
        tree = references([number for number, _ in leaves])
        said = b"<</Type/StructElem/S/Document/P %d 0 R/K%b>>" % (root, references(tops))
        held = b"<</Type/StructTreeRoot/K[%d 0 R]/ParentTree<</Kids%b>>>>" % (document, tree)
        update.pack([(document, said), (root, held)])


def _leaves(update: Update, lists: Sequence[int]) -> list[Written]:
    """Return the nodes of a number tree (7.9.7) that leads from each page to its list."""
    leaves = []
    for start in range(0, len(lists), PAGES_TOGETHER):
        some = list(enumerate(lists[start : start + PAGES_TOGETHER], start))
        written = b" ".join(b"%d %d 0 R" % entry for entry in some)
        leaves.append((update.number(), b"<</Limits[%d %d]/Nums[%b]>>" % (some[0][0], some[-1][0], written)))
    return leaves


class _Part:
    """The elements of a part.

    Attributes:
        tops: numbers of those that no other one holds.
        lists: of each page, an object: its elements in the order of their marks.
    """

    def __init__(self, update: Update, noted: list[Noted], pages: Sequence[int], document: int) -> None:
        self._noted, self._pages, self._document = noted, pages, document
        self._numbers = [update.number() for _ in noted]
        self._kids: list[list[int]] = [[] for _ in noted]
        self.tops: list[int] = []
        marked: list[list[int]] = [[] for _ in pages]
        for number, each in zip(self._numbers, noted, strict=True):
            (self.tops if each.parent is None else self._kids[each.parent]).append(number)
            if each.number is not None:
                marked[each.page - 1].append(number)
        self.lists: list[Written] = [(update.number(), references(numbers)) for numbers in marked]

    def elements(self) -> list[Written]:
        """Return all elements."""
        return [(number, self._element(place)) for place, number in enumerate(self._numbers)]

    def _element(self, place: int) -> bytes:
        each = self._noted[place]
        parent = self._document if each.parent is None else self._numbers[each.parent]
        if each.number is None:
            held = references(self._kids[place])
        else:
            held = b"[%d]/Pg %d 0 R" % (each.number, self._pages[each.page - 1])
        alt = b"" if each.alt is None else b"/Alt" + pikepdf.String(each.alt).unparse()
        scope = b"" if each.scope is None else b"/A<</O/Table/Scope/%b>>" % each.scope.encode()
        return b"<</Type/StructElem/S/%b/P %d 0 R/K%b%b%b>>" % (
            each.role.encode(),
            parent,
            held,
            alt,
            scope,
        )
