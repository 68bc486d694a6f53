"""Where the clock was set back, as the feed shows it."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Final, NamedTuple

from fourpair_service.records.model import Change
from fourpair_service.records.ports import Reader

PAGE: Final = 1000
# Clocks of several machines differ; more than this is none of it. Common practice, no published source.
CLOCKS_APART: Final = timedelta(seconds=60)


class SetBack(NamedTuple):
    """Two entries that follow one another, of which the later is dated well before the earlier."""

    before: Change
    after: Change

    def told(self) -> str:
        """Return it as a sentence."""
        return (
            f"The clock was set back before entry {self.after.seq} of the feed: it is dated {self.after.at}, and "
            f"entry {self.before.seq} {self.before.at}. Entries count by their number, so nothing is broken by that"
        )


def _is_dated_before(change: Change, other: Change) -> bool:
    try:
        return datetime.fromisoformat(change.at) < datetime.fromisoformat(other.at) - CLOCKS_APART
    except (ValueError, TypeError):
        return False


def set_back(reader: Reader) -> Iterator[SetBack]:
    """Yield every place of the feed where the clock was set back."""
    latest: Change | None = None
    page = reader.changes(after=0, limit=PAGE)
    while page:
        for change in page:
            if latest is not None and _is_dated_before(change, latest):
                yield SetBack(latest, change)
            latest = change
        page = reader.changes(after=page[-1].seq, limit=PAGE)
