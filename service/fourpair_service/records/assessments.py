"""What is said beside a verdict: a newer assessment takes the place of an older one, which is still read as of then."""

from __future__ import annotations

from dataclasses import asdict
from typing import Final

from fourpair_service.records.curves import Document
from fourpair_service.records.model import Assessment
from fourpair_service.records.ports import Reader, Writer

# By record, revision, and how far the feed had come when another took its place.
REPLACED: Final = "assessments-replaced"


def _key(record_id: str, number: int, seq: int) -> str:
    return f"{_of(record_id, number)}{seq:016}"


def _of(record_id: str, number: int) -> str:
    return f"{record_id}/{number:08}/"


def said_beside(assessment: Assessment | None) -> Document | None:
    """Return what an assessment says; one of ``assessment=none`` holds names to be searched by, and says nothing."""
    document = None if assessment is None else assessment.document
    return document if document is not None and "diagnosis" in document else None


def replace_assessment(writer: Writer, record_id: str, number: int, assessment: Assessment) -> None:
    """Keep an assessment of a revision; it holds from the next change of the feed on."""
    before, last = writer.assessment(record_id, number), writer.last_change()
    if before == assessment:
        return
    key = _key(record_id, number, last.seq if last else 0)
    # Of two that are replaced before anything else changes the first one held.
    if writer.drawn(REPLACED, key) is None:
        writer.put_in(REPLACED, key, {"assessment": None if before is None else asdict(before)})
    writer.put_assessment(record_id, number, assessment)


def assessment_at(reader: Reader, record_id: str, number: int, seq: int | None) -> Assessment | None:
    """Return the assessment of a revision, or the one it had when the feed had reached ``seq``."""
    if seq is not None:
        # Above the key of the seq before it.
        found = reader.drawer(REPLACED, after=_key(record_id, number, seq - 1), limit=1)
        if found and found[0][0].startswith(_of(record_id, number)):
            kept = found[0][1]["assessment"]
            return None if kept is None else Assessment(**kept)
    return reader.assessment(record_id, number)
