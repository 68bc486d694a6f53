"""Lists that are read as they are needed."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping
from typing import Any, Generic, TypeVar

from fourpair._transport import Send

T = TypeVar("T")


class Listing(Iterator[T], Generic[T]):
    """The entries of a list, whose pages are fetched as they are needed.

    After an error, going on with the same listing asks for the page that did not
    arrive; nothing is missed and nothing comes twice.

    Attributes:
        cursor: of the page that comes next; ``None`` at the first and after the last one.

    >>> listing = client.records.list(job="clinic", limit=1)
    >>> next(listing).label, listing.cursor is not None
    ('A-01', True)
    >>> [record.label for record in listing]
    ['A-02']
    """

    def __init__(
        self, send: Send, path: str, query: Mapping[str, Any], name: str, make: Callable[[Any], T]
    ) -> None:
        self._send, self._path, self._query, self._name, self._make = send, path, dict(query), name, make
        self._page: deque[Any] = deque()
        self._is_over = False
        self.cursor: str | None = self._query.pop("cursor", None)

    def __next__(self) -> T:
        while not self._page:
            if self._is_over:
                raise StopIteration
            self._fetch()
        return self._make(self._page.popleft())

    def _fetch(self) -> None:
        document = self._send("GET", self._path, params={**self._query, "cursor": self.cursor}).json()
        self._page.extend(document[self._name])
        self.cursor = document.get("next_cursor")
        self._is_over = self.cursor is None
