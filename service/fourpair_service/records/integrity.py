"""Canonical bytes, the chain of digests, and where it breaks.

A revision's digest covers its own fields; those hold the digests of measurement
and verdict and of the revision before. Whoever alters anything must therefore
re-seal every later revision and the record's own row as well.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import fields, replace
from hashlib import sha256
from operator import itemgetter
from typing import TYPE_CHECKING, Any, Final, NamedTuple

import numpy as np
import orjson

from fourpair_service.records.curves import Curve, Document, Parted
from fourpair_service.records.errors import ContentUnreadableError, InvalidRecordError
from fourpair_service.records.headline import record_after
from fourpair_service.records.model import Change, Record, Revision
from fourpair_service.records.search import Filter, GroupBy

if TYPE_CHECKING:
    from fourpair_service.records.ports import Reader

# What says how a measurement is named and where it belongs, not what was measured.
CIRCUMSTANCES: Final = frozenset(
    {"label", "job", "ends", "cable", "tested_by", "tested_at", "notes", "external_ids", "requirement"}
)
# What a revision's digest covers.
SEALED: Final = tuple(field.name for field in fields(Revision) if field.name != "digest")
PAGE: Final = 1000


class Break(NamedTuple):
    """The first place where the store no longer holds what was sealed.

    Attributes:
        record_id: ``None`` where the feed itself is broken, or what is counted from records.
        number: the revision, or the ``seq`` where the feed is broken; 0 for counts.
        what: a sentence.
    """

    record_id: str | None
    number: int
    what: str

    def told(self) -> str:
        """Return it as a sentence without its stop."""
        if self.record_id is None and not self.number:
            return self.what
        if self.record_id is None:
            return f"entry {self.number} of the feed: {self.what}"
        return f"record {self.record_id}, revision {self.number}: {self.what}"


_canonical = json.JSONEncoder(
    sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
).encode


def canonical_json(value: Any) -> bytes:
    """Return the one byte string of a value: sorted keys, no spaces, UTF-8.

    Raises:
        InvalidRecordError: the value holds what JSON cannot carry.

    >>> canonical_json({"b": 1, "a": 2.0})
    b'{"a":2.0,"b":1}'
    """
    try:
        return _canonical(value).encode()
    except (TypeError, ValueError) as error:
        raise InvalidRecordError("", f"the document is no JSON: {error}") from error


def digest(content: bytes) -> str:
    """Return ``sha256:`` and the hexadecimal digest."""
    return f"sha256:{sha256(content).hexdigest()}"


def curves_digest(curves: Iterable[Curve]) -> str:
    """Return the digest of all curves: path, numbers as IEEE 754 bytes, which are integers.

    Bytes and not text: one machine's shortest decimal is another's choice, the
    64 bits are everybody's, and it takes a tenth of the time.
    """
    total = sha256(b"fourpair curves 1\n")
    # Of keys and indices both writers make the same bytes, and this one is twenty times faster.
    for path, curve in sorted(((orjson.dumps(curve.path), curve) for curve in curves), key=itemgetter(0)):
        total.update(b"%b\n%d\n" % (path, len(curve.values)))
        # The array's own bytes, where it holds them as they are digested; a copy where not.
        total.update(np.ascontiguousarray(curve.values, dtype="<f8").data)
        if curve.integers is not None:
            total.update(np.packbits(curve.integers).tobytes())
    return f"sha256:{total.hexdigest()}"


NO_CURVES: Final = curves_digest(())


def measurement_digest(rest: Document, curves: str) -> str:
    """Return the digest of a measurement from its rest and the digest of its curves."""
    return measurement_digests(rest, curves)[0]


def measurement_digests(rest: Document, curves: str) -> tuple[str, str]:
    """Return the digest of a measurement and that of what was measured, under whatever label.

    Without curves nothing tells two links apart but their names, so these count.
    """
    parts = {name: b"%b:%b" % (canonical_json(name), canonical_json(rest[name])) for name in sorted(rest)}
    whole = _digest_of_parts(parts.values(), curves)
    if curves == NO_CURVES:
        return whole, whole
    return whole, _digest_of_parts((own for name, own in parts.items() if name not in CIRCUMSTANCES), curves)


def _digest_of_parts(parts: Iterable[bytes], curves: str) -> str:
    return digest(b'[{%b},"%b"]' % (b",".join(parts), curves.encode()))


def envelope(revision: Revision) -> Document:
    """Return all that a revision's digest covers."""
    return {name: getattr(revision, name) for name in SEALED} | {"external_ids": dict(revision.external_ids)}


def sealed(revision: Revision) -> Revision:
    """Return the revision with the digest of its canonical bytes."""
    return replace(revision, digest=digest(canonical_json(envelope(revision))))


def _content_break(revision: Revision, measurement: Parted, verdict: Document) -> str | None:
    curves = curves_digest(measurement.curves)
    whole, measured = measurement_digests(measurement.rest, curves)
    found = {
        "measurement_digest": whole,
        "measured_digest": measured,
        "verdict_digest": digest(canonical_json(verdict)),
        "outcome": verdict.get("outcome"),
        "headroom_db": verdict.get("headroom_db"),
    }
    for name, value in found.items():
        if getattr(revision, name) != value:
            return f"its {name} is {getattr(revision, name)}, what is stored gives {value}"
    return None


def _unreadable(what: str, error: ContentUnreadableError) -> str:
    return f"{what} cannot be read any more ({error.__cause__ or error})"


def _own_break(reader: Reader, revision: Revision, attested: str) -> str | None:
    again = sealed(revision).digest
    if again != attested:
        return f"it was sealed as {attested}, what is stored gives {again}"
    try:
        measurement = reader.measurement(revision.record_id, revision.number)
        verdict = reader.verdict(revision.record_id, revision.number)
    except ContentUnreadableError as error:
        return _unreadable("its measurement or verdict", error)
    if measurement is None or verdict is None:
        return "its measurement or verdict is gone"
    return _content_break(revision, measurement, verdict)


def _chain_break(reader: Reader, record: Record, revisions: Sequence[Revision]) -> Break | None:
    """Walk down from the newest: what stands above has been found sound and vouches for what is below."""
    numbers = [revision.number for revision in revisions]
    if numbers != list(range(1, record.revision + 1)):
        missing = next(n for n in range(1, max([record.revision, *numbers]) + 1) if numbers[n - 1 : n] != [n])
        return Break(record.id, missing, "it is missing, or beyond the newest that the record knows")
    attested: str | None = record.digest
    broken: Break | None = None
    for revision in reversed(revisions):
        what = _own_break(reader, revision, attested or "the first of its record")
        if what:
            broken = Break(record.id, revision.number, what)
        # A broken revision vouches for nothing: the next one stands for itself.
        below = revisions[revision.number - 2].digest if revision.number > 1 else None
        attested = below if what else revision.previous_digest
        if not what and revision.number == 1 and attested is not None:
            broken = Break(record.id, 1, "it names a revision before the first")
    return broken


# These are found out anew by each release, and have no digest to be held against.
TOLD_BY_RELEASES: Final = ("applications", "power_types", "failing")


def _head_break(reader: Reader, record: Record, revisions: Sequence[Revision]) -> Break | None:
    """Return where the record's row, by which it is listed and found, tells otherwise than its revisions."""
    first, newest = revisions[0], revisions[-1]
    verdict = reader.verdict(record.id, newest.number)
    assert verdict is not None, "the chain was found whole"
    seqs = reader.revision_seqs(record.id)
    again = replace(
        record_after(None, newest, verdict, None, seqs[newest.number]),
        row=seqs[first.number],
        first_outcome=first.outcome,
        created_at=first.at,
        **{name: getattr(record, name) for name in TOLD_BY_RELEASES},
    )
    for name in (each.name for each in fields(Record)):
        if getattr(record, name) != getattr(again, name):
            return Break(record.id, newest.number, f"the record's row shows another {name} than the revision")
    return None


def _entry_break(reader: Reader, change: Change) -> Break | None:
    if change.record_id is None:
        known = reader.job_revision(change.job_id, change.number)
        return None if known else Break(None, change.seq, "the feed names a revision of a job that is gone")
    revision = reader.revision(change.record_id, change.number)
    if revision is None:
        return Break(change.record_id, change.number, "the feed names it and it is gone")
    told = (change.kind, change.at, change.job_id, change.label, change.outcome)
    kind = f"record.{revision.kind.value}"
    if told != (kind, revision.at, revision.job_id, revision.label, revision.outcome):
        return Break(
            None, change.seq, f"the feed tells otherwise than revision {change.number} of {change.record_id}"
        )
    return None


def _feed_breaks(reader: Reader) -> Iterator[Break]:
    expected = 1
    while True:
        try:
            page = reader.changes(after=expected - 1, limit=PAGE)
        except ContentUnreadableError as error:
            yield Break(None, expected, _unreadable("it or one behind it", error))
            return
        if not page:
            return
        for change in page:
            if change.seq != expected:
                yield Break(None, expected, f"the feed goes on with {change.seq}")
            expected = change.seq + 1
            try:
                found = _entry_break(reader, change)
            except ContentUnreadableError as error:
                found = Break(None, change.seq, _unreadable("what it names", error))
            if found:
                yield found


def _record_break(reader: Reader, record_id: str, tally: Counter[tuple[str, str]]) -> Break | None:
    try:
        record, revisions = reader.record(record_id), reader.revisions(record_id)
    except ContentUnreadableError as error:
        return Break(record_id, 1, _unreadable("its row or a revision", error))
    if record is None:
        return Break(record_id, 1, "the feed names it and it is gone")
    if not record.withdrawn:
        tally[record.job_id, record.outcome] += 1
    return _chain_break(reader, record, revisions) or _head_break(reader, record, revisions)


def breaks(reader: Reader, record_ids: Iterable[str]) -> Iterator[Break]:
    """Yield every break: first of the feed, then record by record, then of what is counted.

    Args:
        reader: of the store, in one state.
        record_ids: of all its records, each once.
    """
    yield from _feed_breaks(reader)
    tally: Counter[tuple[str, str]] = Counter()
    is_whole = True
    for record_id in record_ids:
        found = _record_break(reader, record_id, tally)
        if found:
            is_whole = False
            yield found
    told = reader.stats(Filter(), (GroupBy.JOB, GroupBy.OUTCOME))
    if is_whole and {group.values: group.links for group in told} != tally:
        yield Break(None, 0, "the counts of jobs by outcome are not those of their records")


def every_record_id(reader: Reader) -> Iterator[str]:
    """Yield the id of every record that the feed names, in the order of creation."""
    seen: set[str] = set()
    page = reader.changes(after=0, limit=PAGE)
    while page:
        for change in page:
            if change.record_id is not None and change.record_id not in seen:
                seen.add(change.record_id)
                yield change.record_id
        page = reader.changes(after=page[-1].seq, limit=PAGE)


def first_break(reader: Reader) -> Break | None:
    """Return the first break of a store, or ``None`` when it holds what was sealed."""
    return next(breaks(reader, every_record_id(reader)), None)
