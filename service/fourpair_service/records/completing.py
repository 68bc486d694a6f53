"""Records of earlier releases, which kept no names of what their link supports: told once, so that search finds them.

What a record carries was kept only where its assessment said so. From the release
on that keeps the names with every record nothing is left to do here but to look at
what is new since the last time, which costs a look and no grading.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final

from fourpair_service.errors import ServiceError
from fourpair_service.records.curves import Document
from fourpair_service.records.desk import Desk, Grader
from fourpair_service.records.documents import with_cords
from fourpair_service.records.errors import RuleSetChangedError, StoreError
from fourpair_service.records.headline import tells_support
from fourpair_service.records.model import Assessment, Record
from fourpair_service.records.ports import Reader
from fourpair_service.records.runs.examining import measured_document, same_requirement
from fourpair_service.records.search import Filter, Position, Sort

DRAWER: Final = "completing"
REACHED: Final = "reached"
# So many are graded between two looks whether to go on, some tenths of a second.
CHUNK: Final = 100
EVERY_RECORD: Final = Filter(withdrawn=None)


@dataclass(frozen=True, slots=True)
class Refused:
    """A record that could not be graded again, and why."""

    record_id: str
    detail: str


@dataclass(frozen=True, slots=True)
class Completed:
    """What came of it.

    Attributes:
        records: how many were looked at.
        completed: of how many the names were kept now.
        refused: which could not be graded again; they stay as they were.
        is_ended: every record has been looked at.
    """

    records: int = 0
    completed: int = 0
    refused: tuple[Refused, ...] = ()
    is_ended: bool = False


def _reached(reader: Reader) -> int:
    found = dict(reader.drawer(DRAWER, limit=1)).get(REACHED)
    return 0 if found is None else int(found["row"])


def _page(reader: Reader, row: int) -> Sequence[Record]:
    return reader.records(EVERY_RECORD, Sort(), after=Position(row, row), limit=CHUNK)


def _told(reader: Reader, grade: Grader, record: Record) -> Assessment:
    """Return what is said of a record with the names of what its link supports.

    Raises:
        ServiceError: it cannot be graded again as it was.
    """
    revision = reader.revision(record.id, record.revision)
    verdict = reader.verdict(record.id, record.revision)
    assert revision is not None and verdict is not None, "a record has its newest revision"
    document = with_cords(measured_document(reader, record), reader.job(record.job_id))
    grading = grade(document, same_requirement(verdict))
    now = grading.verdict["rule_set"]["digest"]
    if now != revision.rule_set_digest:
        raise RuleSetChangedError(revision.rule_set_id, then=revision.rule_set_digest, now=now)
    assert grading.assessment is not None, "a grader of records tells the names"
    before = reader.assessment(record.id, record.revision)
    if before is None:
        return grading.assessment
    own: Document = {**grading.assessment.document, **before.document}
    return Assessment(before.version, own)


def _looked_at(
    reader: Reader, grade: Grader, page: Sequence[Record]
) -> tuple[list[tuple[Record, Assessment]], list[Refused]]:
    told, refused = [], []
    for record in page:
        if tells_support(reader.assessment(record.id, record.revision)):
            continue
        try:
            told.append((record, _told(reader, grade, record)))
        except StoreError:
            raise  # of the store that is away, not of the record
        except ServiceError as error:
            refused.append(Refused(record.id, str(error)))
    return told, refused


def complete(
    desk: Desk, grade: Grader, *, again: bool = False, go_on: Callable[[], bool] = lambda: True
) -> Completed:
    """Keep with every record that lacks them the names of what its link supports.

    No chain, feed or outcome is touched. What was reached is kept with each chunk,
    so that a run that was cut off goes on there.

    Args:
        desk: over the store.
        grade: grades a measurement and tells the names.
        again: from the first record on, also where an earlier run has been.
        go_on: asked before each chunk.

    Raises:
        StoreError: the store failed; what was reached before is kept.
    """
    done, row = Completed(), 0 if again else _reached(desk.store)
    while go_on():
        page = _page(desk.store, row)
        if not page:
            return replace(done, is_ended=True)
        told, refused = _looked_at(desk.store, grade, page)
        row = page[-1].row
        with desk.store.writing() as writer:
            # Where the record has moved on meanwhile, its new revision tells by itself.
            standing = [each for each in told if writer.record(each[0].id) == each[0]]
            for record, assessment in standing:
                writer.put_assessment(record.id, record.revision, assessment)
            writer.put_in(DRAWER, REACHED, {"row": row})
        done = Completed(done.records + len(page), done.completed + len(standing), (*done.refused, *refused))
    return done
