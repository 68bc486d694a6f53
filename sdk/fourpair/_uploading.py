"""Many measurements, sent in parts that are safe to send again."""

from __future__ import annotations

import json
import os
import uuid
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from hashlib import sha256
from pathlib import Path
from typing import Any

from fourpair._errors import InvalidMeasurementError, InvalidSettingError, TooLargeError
from fourpair._kept import BatchItem
from fourpair._lines import line_of, refused_here

# A batch is sent in parts that stay below both. [bytes]
MOST_ITEMS = 50
MOST_BYTES = 7 * 1024 * 1024
# How often an item that the service could not keep just now is sent again.
ITEM_TRIES = 3

SendLines = Callable[[bytes, str], tuple[BatchItem, ...]]


@dataclass(frozen=True, slots=True)
class Part:
    """Some measurements in a row.

    Attributes:
        start: index of the first one.
        lines: what is sent of each; ``None`` where it was refused here.
        refused: by place, what was refused before it was sent.
        digest: of everything up to the end of this part.
    """

    start: int
    lines: tuple[bytes | None, ...]
    refused: Mapping[int, BatchItem]
    digest: str

    @property
    def end(self) -> int:
        """Index after the last one."""
        return self.start + len(self.lines)


def parts_of(measurements: Iterable[Mapping[str, Any]], most_items: int, most_bytes: int) -> Iterator[Part]:
    """Yield measurements in parts of at most so many items and bytes; one is never split."""
    total = sha256()
    lines: list[bytes | None] = []
    refused: dict[int, BatchItem] = {}
    size = start = 0
    for index, measurement in enumerate(measurements):
        line = None
        try:
            line = line_of(measurement)
        except InvalidMeasurementError as error:
            refusal = refused_here(index, measurement, error)
        length = 0 if line is None else len(line)
        if lines and (len(lines) >= most_items or size + length > most_bytes):
            yield Part(start, tuple(lines), refused, total.hexdigest())
            lines, refused, size, start = [], {}, 0, index
        if line is None:
            refused[index - start] = refusal
        total.update(b"\n" + (line or b""))
        lines.append(line)
        size += length
    if lines:
        yield Part(start, tuple(lines), refused, total.hexdigest())


class Checkpoint:
    """How far an upload got, in a small file that is replaced whole.

    Args:
        path: of the file; ``None`` remembers nothing.
    """

    def __init__(self, path: str | Path | None) -> None:
        self._path = None if path is None else Path(path)
        self.name, self.done, self.digest = uuid.uuid4().hex, 0, ""
        if self._path is not None and self._path.exists():
            try:
                kept = json.loads(self._path.read_bytes())
                self.name, self.done, self.digest = kept["name"], int(kept["done"]), kept["digest"]
            except (ValueError, KeyError, TypeError) as error:
                raise InvalidSettingError(
                    f"{self._path} is no checkpoint of an upload: give another file"
                ) from error
        elif self._path is not None:
            # The keys rest on the name: it must outlive whatever happens to the first part.
            self._write()

    def _write(self) -> None:
        if self._path is None:
            return
        text = json.dumps({"name": self.name, "done": self.done, "digest": self.digest})
        beside = self._path.with_name(self._path.name + ".new")
        with beside.open("w") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(self._path)

    def reached(self, part: Part) -> None:
        """Note that a part is dealt with."""
        self.done, self.digest = part.end, part.digest
        self._write()

    def passes(self, part: Part) -> bool:
        """Return whether a part was dealt with before.

        Raises:
            InvalidSettingError: the measurements or the sizes of parts are not those of before.
        """
        if (part.end == self.done and part.digest != self.digest) or part.start < self.done < part.end:
            raise InvalidSettingError(
                f"The checkpoint {self._path} is of other measurements or other parts: give those of before, "
                "or remove the file to start anew"
            )
        return part.end <= self.done

    def finished(self) -> None:
        """Forget: everything is dealt with."""
        if self._path is not None:
            self._path.unlink(missing_ok=True)


class Upload:
    """One upload.

    Args:
        send: sends lines under a key.
        checkpoint: file that remembers how far it got.
        most_items: of a part.
        most_bytes: of a part. [bytes]
        threads: how many parts are under way at once.
    """

    def __init__(
        self, send: SendLines, checkpoint: str | Path | None, most_items: int, most_bytes: int, threads: int
    ) -> None:
        if min(most_items, most_bytes, threads) < 1:
            raise InvalidSettingError("most_items, most_bytes and threads are 1 or more")
        self._send, self._checkpoint = send, Checkpoint(checkpoint)
        self._most, self._threads = (most_items, most_bytes), threads

    def run(self, measurements: Iterable[Mapping[str, Any]]) -> Iterator[BatchItem]:
        """Yield what became of each measurement, in order."""
        pool = ThreadPoolExecutor(self._threads, thread_name_prefix="upload")
        waiting: deque[tuple[Part, Future[list[BatchItem]]]] = deque()
        try:
            for part in parts_of(measurements, *self._most):
                if self._checkpoint.passes(part):
                    continue
                waiting.append((part, pool.submit(self._answered, part)))
                if len(waiting) >= self._threads:
                    yield from self._finished(*waiting.popleft())
            while waiting:
                yield from self._finished(*waiting.popleft())
            self._checkpoint.finished()
        finally:
            pool.shutdown(cancel_futures=True)

    def _finished(self, part: Part, future: Future[list[BatchItem]]) -> Iterator[BatchItem]:
        yield from future.result()
        # Only now has the caller seen all of it.
        self._checkpoint.reached(part)

    def _answered(self, part: Part) -> list[BatchItem]:
        found = dict(part.refused)
        wanted = [place for place, line in enumerate(part.lines) if line is not None]
        for attempt in range(ITEM_TRIES):
            answers = self._sent(part, wanted, attempt)
            found.update(answers)
            wanted = [place for place, item in answers.items() if _may_pass_later(item)]
            if not wanted:
                break
        return [replace(found[place], index=part.start + place) for place in range(len(part.lines))]

    def _sent(self, part: Part, places: list[int], attempt: int) -> dict[int, BatchItem]:
        if not places:
            return {}
        lines = b"\n".join(part.lines[place] or b"" for place in places)
        key = f"{self._checkpoint.name}-{part.start + places[0]}-{attempt}-{sha256(lines).hexdigest()[:16]}"
        try:
            items = self._send(lines, key)
        except TooLargeError:
            if len(places) == 1:
                raise
            middle = len(places) // 2
            return self._sent(part, places[:middle], attempt) | self._sent(part, places[middle:], attempt)
        return {place: item for place, item in zip(places, items, strict=True)}


def _may_pass_later(item: BatchItem) -> bool:
    status = (item.problem or {}).get("status")
    return isinstance(status, int) and (status >= 500 or status == 429)
