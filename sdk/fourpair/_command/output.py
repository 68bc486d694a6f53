"""What a command writes: tables and sentences for people, lines of JSON for programs."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from typing import Any, Final, Protocol, TextIO

from fourpair._errors import FourpairError

DONE: Final = 0
REFUSED: Final = 2
INCOMPLETE: Final = 3
FAILS: Final = 4
BROKEN: Final = 5
UNREACHED: Final = 6
INTERRUPTED: Final = 130
STATUSES: Final = (
    "Exit status: 0 done (grade: all pass), 2 refused or not understood, 3 something graded is incomplete, "
    "4 something graded fails, 5 verify found a break, 6 the service could not be reached or failed: "
    "try again, 130 interrupted."
)
NOTHING: Final = "-"


class Shown(Protocol):
    """Shows how far something is."""

    def __call__(self, done: int, total: int | None = None, /) -> None:
        """Say how much is done, of how much where that is known."""
        ...


class Output:
    """Where a command writes.

    Args:
        out: results.
        err: complaints and progress.
        as_json: lines of JSON in place of text.
    """

    def __init__(self, out: TextIO, err: TextIO, *, as_json: bool) -> None:
        self._out, self._err, self.as_json = out, err, as_json

    def value(self, document: Mapping[str, Any], text: str) -> None:
        """Write one result, as a line of JSON or as text."""
        print(json.dumps(document) if self.as_json else text, file=self._out, flush=True)

    def text(self, text: str) -> None:
        """Write as it is."""
        print(text, file=self._out, flush=True)

    def table(
        self, header: Sequence[str], rows: Iterable[tuple[Mapping[str, Any], Sequence[object]]], empty: str
    ) -> None:
        """Write results as lines of JSON at once, or as a table once all are there.

        Args:
            header: of the columns.
            rows: each as a document, and as the cells of its row.
            empty: what to say where there is none.
        """
        if self.as_json:
            for document, _ in rows:
                print(json.dumps(document), file=self._out, flush=True)
            return
        cells = [tuple(told(cell) for cell in row) for _, row in rows]
        if not cells:
            print(empty, file=self._out)
            return
        for line in aligned([tuple(header), *cells]):
            print(line, file=self._out)

    def complain(self, error: Exception) -> None:
        """Write an error for a person: what happened, and what to quote of it."""
        lines = [f"fourpair: {_said(error)}"]
        if isinstance(error, FourpairError):
            if error.retryable and error.idempotency_key:
                lines.append(f"Whether it landed: ask with the key {error.idempotency_key}")
            if error.request_id:
                lines.append(f"Request: {error.request_id}")
        print("\n".join(lines), file=self._err)

    def note(self, text: str) -> None:
        """Write something beside the results."""
        print(text, file=self._err, flush=True)

    @contextmanager
    def progress(self, what: str, total: int | None) -> Iterator[Shown]:
        """Show how far something long has got, on a terminal; ``rich`` draws it where it is installed.

        What is given is called with how much is done, and with the total where that is known by then.
        """
        if not self._err.isatty():
            yield lambda done, total=None: None
            return
        try:
            from rich.console import Console  # noqa: PLC0415 - an extra
            from rich.progress import Progress  # noqa: PLC0415
        except ImportError:
            yield lambda done, of=total: print(f"\r{what}: {done} of {of or '?'}", end="", file=self._err)
            print(file=self._err)
            return
        with Progress(console=Console(file=self._err)) as bar:
            task = bar.add_task(what, total=total)
            yield lambda done, of=total: bar.update(task, completed=done, total=of)


def _said(error: Exception) -> str:
    if isinstance(error, OSError) and error.filename is not None and error.strerror:
        return f"{error.filename}: {error.strerror}"
    return str(error)


def told(cell: object) -> str:
    """Return a cell of a table.

    >>> told(None), told(-1.25), told(("next:far", "wire map"))
    ('-', '-1.2', 'next:far, wire map')
    """
    if cell is None or cell in ("", ()):
        return NOTHING
    if isinstance(cell, float):
        return f"{cell:.1f}"
    return ", ".join(map(str, cell)) if isinstance(cell, (tuple, list)) else str(cell)


def aligned(rows: Sequence[tuple[str, ...]]) -> Iterator[str]:
    """Yield rows as lines with aligned columns.

    >>> list(aligned([("label", "outcome"), ("A", "pass")]))
    ['label  outcome', 'A      pass']
    """
    widths = [max(len(row[i]) for row in rows) for i in range(len(rows[0]))]
    for row in rows:
        yield "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
