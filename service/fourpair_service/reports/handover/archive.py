"""Everything of a handover in one ZIP: papers, tables, what is kept of each link, attachments, and a manifest."""

from __future__ import annotations

import re
import zipfile
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

from fourpair_service.records.assessments import said_beside
from fourpair_service.records.documents import stored_document
from fourpair_service.records.integrity import canonical_json
from fourpair_service.records.job_commands import attached_bytes
from fourpair_service.records.model import Record
from fourpair_service.reports.handover.model import Handover
from fourpair_service.reports.handover.pdf import write_pdf
from fourpair_service.reports.handover.tables import write_links_csv, write_results_csv
from fourpair_service.reports.handover.workbook import write_workbook

FORMAT: Final = "fourpair handover 1"
MANIFEST: Final = "manifest.json"
PAPERS: Final[tuple[tuple[str, Callable[[Handover, Path], None]], ...]] = (
    ("handover.pdf", write_pdf),
    ("handover.xlsx", write_workbook),
    ("links.csv", write_links_csv),
    ("results.csv", write_results_csv),
)
# These are packed already.
PACKED: Final = frozenset({".pdf", ".xlsx", ".docx", ".zip", ".gz", ".jpg", ".jpeg", ".png"})
PIECE_BYTES: Final = 1 << 16
MOST_NAME_CHARACTERS: Final = 40
MOST_SUFFIX_CHARACTERS: Final = 10
_UNSAFE: Final = re.compile(r"[^A-Za-z0-9._-]+")
_SUFFIX: Final = re.compile(rf"\.[A-Za-z0-9]{{1,{MOST_SUFFIX_CHARACTERS}}}\Z")


def folder_of(number: int, label: str) -> str:
    """Return the folder of a link: its number in label order, and as much of the label as every disk takes.

    >>> folder_of(7, "A/1 b")
    'links/00007-A_1_b'
    """
    return f"links/{number:05}-{_safe(label)}"


def attachment_path(number: int, name: str) -> str:
    """Return the path of an attachment: its number as they came, and as much of its name as every disk takes.

    >>> attachment_path(2, "../ground floor.PDF")
    'attachments/00002-_ground_floor.PDF'
    """
    suffix = _SUFFIX.search(name)
    end = suffix.group() if suffix else ""
    return f"attachments/{number:05}-{_safe(name.removesuffix(end))}{end}"


def _safe(name: str) -> str:
    return _UNSAFE.sub("_", name)[:MOST_NAME_CHARACTERS].strip(".") or "_"


@dataclass
class Packing:
    """A ZIP that is being written.

    Attributes:
        moment: that every file in it is dated; ZIP knows no earlier one than 1980.
        files: path, size and digest of what is in it so far.
    """

    archive: zipfile.ZipFile
    moment: datetime
    files: list[dict[str, Any]] = field(default_factory=list)

    def add(self, path: str, pieces: Iterator[bytes]) -> None:
        """Write a file of pieces, one in memory at a time."""
        info = zipfile.ZipInfo(path, self.moment.timetuple()[:6])
        info.external_attr = 0o644 << 16
        is_packed = Path(path).suffix in PACKED
        info.compress_type = zipfile.ZIP_STORED if is_packed else zipfile.ZIP_DEFLATED
        seal, size = sha256(), 0
        with self.archive.open(info, "w", force_zip64=True) as file:
            for piece in pieces:
                seal.update(piece)
                size += len(piece)
                file.write(piece)
        self.files.append({"path": path, "bytes": size, "sha256": seal.hexdigest()})


def write_archive(handover: Handover, target: Path) -> None:
    """Write everything; the same state gives the same bytes. The manifest is the last file."""
    plan, parts = handover.plan, len(PAPERS) + 1
    moment = datetime.fromisoformat(plan.at).astimezone(UTC)
    with zipfile.ZipFile(target, "w") as archive, TemporaryDirectory(prefix="fourpair-archive-") as place:
        packing = Packing(archive, moment)
        for number, (name, write) in enumerate(PAPERS):
            paper = Path(place) / name
            write(_part_of(handover, number, parts), paper)
            packing.add(name, _read(paper))
            paper.unlink()
        links = _add_links(_part_of(handover, len(PAPERS), parts), packing)
        attachments = _add_attachments(handover, packing)
        manifest = _manifest(handover, links, attachments, packing.files)
        packing.add(MANIFEST, iter([manifest]))


def _part_of(handover: Handover, number: int, parts: int) -> Handover:
    """Return the handover with a progress that tells of all parts together, as links."""

    def progress(done: int, total: int) -> None:
        handover.progress((number * total + done) // parts, total)

    return replace(handover, progress=progress)


def _read(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while piece := file.read(PIECE_BYTES):
            yield piece


def _add_links(handover: Handover, packing: Packing) -> list[dict[str, Any]]:
    records, links = handover.plan.records, []
    for number, record in enumerate(records, 1):
        folder = folder_of(number, record.label)
        for name, document in _documents(handover, record):
            packing.add(f"{folder}/{name}.json", iter([canonical_json(document)]))
        links.append(
            {
                "label": record.label,
                "record": record.id,
                "revision": record.revision,
                "revision_digest": record.digest,
                "outcome": record.outcome,
                "folder": folder,
            }
        )
        handover.progress(number, len(records))
    return links


def _add_attachments(handover: Handover, packing: Packing) -> list[dict[str, Any]]:
    """Write the attachments, one in memory at a time."""
    told, links = [], len(handover.plan.records)
    for number, attachment in enumerate(handover.plan.attachments, 1):
        path = attachment_path(number, attachment.name)
        packing.add(path, iter([attached_bytes(handover.reader, attachment)]))
        told.append(
            {
                "id": attachment.id,
                "name": attachment.name,
                "media_type": attachment.media_type,
                "at": attachment.at,
                "digest": attachment.digest,
                "path": path,
            }
        )
        handover.progress(links, links)
    return told


def _documents(handover: Handover, record: Record) -> Iterator[tuple[str, object]]:
    reader, number = handover.reader, record.revision
    yield "verdict", reader.verdict(record.id, number)
    assessment = handover.assessment(record)
    if assessment is not None and said_beside(assessment) is not None:
        yield "assessment", {"version": assessment.version, "assessment": assessment.document}
    yield "measurement", stored_document(reader, record.id, number)


def _manifest(
    handover: Handover,
    links: list[dict[str, Any]],
    attachments: list[dict[str, Any]],
    files: list[dict[str, Any]],
) -> bytes:
    plan = handover.plan
    return canonical_json(
        {
            "format": FORMAT,
            "job": plan.job.id,
            "name": plan.job.name,
            "seq": plan.seq,
            "at": plan.at,
            "state_digest": plan.state_digest,
            "missing": plan.summary["missing"],
            "links": links,
            "attachments": attachments,
            "files": files,
        }
    )
