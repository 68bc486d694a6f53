"""The records of a job, all of them."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final

from fourpair_service.records.model import Record
from fourpair_service.records.ports import Reader
from fourpair_service.records.search import Filter, Sort, position

PAGE: Final = 1000


def records_of(reader: Reader, wanted: Filter) -> Iterator[Record]:
    """Yield every record that a filter wants, in the order of creation."""
    sort, after = Sort(), None
    while True:
        page = reader.records(wanted, sort, after=after, limit=PAGE)
        yield from page
        if len(page) < PAGE:
            return
        after = position(page[-1], sort)
