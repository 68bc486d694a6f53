"""Parts of a PDF put together on disk, with bookmarks."""

from __future__ import annotations

from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path

import pikepdf

from fourpair_service.reports.handover.pages import Bookmark


def bind(
    parts: Sequence[Path], target: Path, bookmarks: Sequence[Bookmark], last_within: Sequence[Bookmark]
) -> None:
    """Write parts behind each other as one PDF; title, language and date are those of the first.

    What a part draws is copied from its file to the target without being held in memory.

    Args:
        parts: files, in order.
        target: file that is written.
        bookmarks: headings and the pages of the whole that they stand on.
        last_within: those within the last of them.
    """
    with ExitStack() as opened:
        whole = opened.enter_context(pikepdf.open(parts[0]))
        for path in parts[1:]:
            whole.pages.extend(opened.enter_context(pikepdf.open(path)).pages)
        with whole.open_outline() as outline:
            outline.root.extend(_item(bookmark) for bookmark in bookmarks)
            if last_within:
                outline.root[-1].children.extend(_item(bookmark) for bookmark in last_within)
                outline.root[-1].is_closed = True
        whole.Root.PageMode = pikepdf.Name.UseOutlines
        whole.save(target, deterministic_id=True, object_stream_mode=pikepdf.ObjectStreamMode.generate)


def _item(bookmark: Bookmark) -> pikepdf.OutlineItem:
    return pikepdf.OutlineItem(bookmark.title, bookmark.page - 1)
