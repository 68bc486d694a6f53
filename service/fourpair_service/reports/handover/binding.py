"""Parts of a PDF put together on disk, with bookmarks and a structure."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import NamedTuple

import pikepdf

from fourpair_service.reports.handover.pages import Bookmark
from fourpair_service.reports.handover.structure import add_structure, make_room


class Part(NamedTuple):
    """Some pages of a document.

    Attributes:
        pages: a PDF.
        notes: what each part of them is.
    """

    pages: Path
    notes: Path


def bind(
    parts: Sequence[Part], target: Path, bookmarks: Sequence[Bookmark], last_within: Sequence[Bookmark]
) -> None:
    """Write parts behind each other as one PDF; title, language and date are those of the first.

    What a part draws is copied from its file to the target without being held in memory.

    Args:
        parts: in order.
        target: file that is written.
        bookmarks: headings and the pages of the whole that they stand on.
        last_within: those within the last of them.
    """
    with ExitStack() as opened:
        whole = opened.enter_context(pikepdf.open(parts[0].pages))
        lengths = [len(whole.pages)]
        for part in parts[1:]:
            pages = opened.enter_context(pikepdf.open(part.pages)).pages
            lengths.append(len(pages))
            whole.pages.extend(pages)
        with whole.open_outline() as outline:
            outline.root.extend(_item(bookmark) for bookmark in bookmarks)
            if last_within:
                outline.root[-1].children.extend(_item(bookmark) for bookmark in last_within)
                outline.root[-1].is_closed = True
        whole.Root.PageMode = pikepdf.Name.UseOutlines
        make_room(whole)
        whole.save(target, deterministic_id=True, object_stream_mode=pikepdf.ObjectStreamMode.generate)
    add_structure(target, [part.notes for part in parts], lengths)


def _item(bookmark: Bookmark) -> pikepdf.OutlineItem:
    return pikepdf.OutlineItem(bookmark.title, bookmark.page - 1)
