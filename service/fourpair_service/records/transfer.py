"""A whole store as lines of JSON, and a store from such lines.

The lines name nothing of how a store keeps things, so that any store can be
moved into any other. People and keys come first, then the feed in its order,
each entry with what it made; the last line counts the lines before it and
carries their digest, so that a cut or changed export is refused.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import asdict
from hashlib import sha256
from itertools import chain
from typing import Any, Final

from fourpair_service.records.curves import Document, join, part
from fourpair_service.records.errors import ImportRefusedError
from fourpair_service.records.handovers.model import is_short_lived
from fourpair_service.records.integrity import PAGE, canonical_json, first_break
from fourpair_service.records.keys import ApiKey, Scope
from fourpair_service.records.model import (
    Acceptance,
    Assessment,
    Attachment,
    Change,
    ChangeKind,
    IdempotencyEntry,
    Job,
    Kind,
    Party,
    PartyKind,
    Revision,
    ScheduledLink,
)
from fourpair_service.records.ports import Reader, Store, Writer
from fourpair_service.records.sessions import DRAWER as SESSIONS

EVERY_FORMAT: Final = "fourpair export "
FORMAT: Final = f"{EVERY_FORMAT}1"


def job_of(document: Document) -> Job:
    """Return a job from the document of its fields."""
    acceptance = document["acceptance"]
    return Job(
        **{
            **document,
            "applications": tuple(document["applications"]),
            "schedule": tuple(ScheduledLink(**link) for link in document["schedule"]),
            "acceptance": Acceptance(**acceptance) if acceptance else None,
        }
    )


def _key_document(key: ApiKey) -> Document:
    jobs = None if key.jobs is None else sorted(key.jobs)
    return {**asdict(key), "scopes": sorted(key.scopes), "jobs": jobs}


def _key_of(document: Document) -> ApiKey:
    jobs = None if document["jobs"] is None else frozenset(document["jobs"])
    return ApiKey(
        **{**document, "scopes": frozenset(Scope(scope) for scope in document["scopes"]), "jobs": jobs}
    )


def _entry(reader: Reader, change: Change) -> Document:
    if change.record_id is None:
        job = reader.job_revision(change.job_id, change.number)
        return {"change": asdict(change), "job": None if job is None else asdict(job)}
    revision = reader.revision(change.record_id, change.number)
    measurement = reader.measurement(change.record_id, change.number)
    if revision is None or measurement is None:
        raise ImportRefusedError(
            f"Revision {change.number} of record {change.record_id} is gone; run verify."
        )
    assessment = reader.assessment(change.record_id, change.number)
    return {
        "change": asdict(change),
        "revision": asdict(revision),
        "measurement": join(measurement),
        "verdict": reader.verdict(change.record_id, change.number),
        "assessment": None if assessment is None else asdict(assessment),
    }


def _feed(reader: Reader) -> Iterator[Change]:
    page = reader.changes(after=0, limit=PAGE)
    while page:
        yield from page
        page = reader.changes(after=page[-1].seq, limit=PAGE)


def _drawer(reader: Reader, name: str) -> Iterator[tuple[str, Document]]:
    page = reader.drawer(name, limit=PAGE)
    while page:
        yield from page
        page = reader.drawer(name, after=page[-1][0], limit=PAGE)


def _contents(reader: Reader) -> Iterator[Document]:
    yield {"export": FORMAT}
    yield from ({"party": asdict(party)} for party in reader.parties())
    yield from ({"api_key": _key_document(key)} for key in reader.api_keys())
    jobs: dict[str, None] = {}
    for change in _feed(reader):
        if change.record_id is None:
            jobs[change.job_id] = None
        yield _entry(reader, change)
    for attachment in chain.from_iterable(reader.attachments(job_id) for job_id in jobs):
        content = reader.attachment_content(attachment.digest) or b""
        yield {"attachment": asdict(attachment), "content": content.hex()}
    yield from ({"idempotency": asdict(entry)} for entry in reader.idempotency_entries())
    # Who is signed in, and papers that can be made again, belong to the store that they were made at.
    for name in (name for name in reader.drawers() if name != SESSIONS and not is_short_lived(name)):
        for key, document in _drawer(reader, name):
            yield {"drawer": name, "key": key, "document": document}


def export_lines(reader: Reader) -> Iterator[bytes]:
    """Yield the whole store as lines; read it inside one block of reading."""
    total, count = sha256(), 0
    for document in _contents(reader):
        line = canonical_json(document)
        total.update(line + b"\n")
        count += 1
        yield line
    yield canonical_json({"end": {"lines": count, "digest": f"sha256:{total.hexdigest()}"}})


def _put_record(writer: Writer, document: Document) -> Change:
    own = {**document["revision"], "kind": Kind(document["revision"]["kind"])}
    assessment = document["assessment"]
    return writer.append(
        Revision(**own),
        part(document["measurement"]),
        document["verdict"],
        Assessment(**assessment) if assessment else None,
    )


def _put_change(writer: Writer, document: Document) -> None:
    told = Change(**{**document["change"], "kind": ChangeKind(document["change"]["kind"])})
    if "job" in document:
        made = writer.put_job(job_of(document["job"]), told.kind)
    else:
        made = _put_record(writer, document)
    if made != told:
        raise ImportRefusedError(f"Entry {told.seq} of the feed came out otherwise than it was exported.")


def _put(writer: Writer, document: Document) -> None:
    if "change" in document:
        _put_change(writer, document)
    elif "party" in document:
        own = document["party"]
        writer.put_party(Party(**{**own, "kind": PartyKind(own["kind"])}))
    elif "api_key" in document:
        writer.put_api_key(_key_of(document["api_key"]))
    elif "attachment" in document:
        writer.put_attachment(Attachment(**document["attachment"]), bytes.fromhex(document["content"]))
    elif "drawer" in document:
        writer.put_in(document["drawer"], document["key"], document["document"])
    elif "idempotency" in document:
        writer.put_idempotency(IdempotencyEntry(**document["idempotency"]))
    else:
        raise ImportRefusedError(f"A line holds nothing that is known here: {', '.join(document)[:80]}.")


def _documents(lines: Iterable[bytes]) -> Iterator[tuple[int, Document]]:
    """Yield every line but the first and last, once both were found in order."""
    total, count, ended = sha256(), 0, False
    for number, raw in enumerate(lines, 1):
        line = raw.rstrip(b"\n")
        document = _read(number, line)
        if ended:
            raise ImportRefusedError(
                f"Line {number} follows the end; the export is no longer as it was written."
            )
        if number == 1:
            told = document.get("export")
            if isinstance(told, str) and told.startswith(EVERY_FORMAT) and told != FORMAT:
                raise ImportRefusedError(
                    f"It was exported by a newer release: it says {told[:40]!r}, and this one reads {FORMAT!r}. "
                    "Nothing was kept. Import it with that release."
                )
            if told != FORMAT:
                raise ImportRefusedError(
                    f"The first line does not say {FORMAT!r}: this is no export that is read here."
                )
        elif "end" in document:
            ended = True
            if document["end"] != {"lines": count, "digest": f"sha256:{total.hexdigest()}"}:
                raise ImportRefusedError(
                    "The lines do not give the digest at the end; the export was changed or cut."
                )
            continue
        else:
            yield number, document
        total.update(line + b"\n")
        count += 1
    if not ended:
        raise ImportRefusedError("The export has no end; it was cut. Nothing was kept.")


def _read(number: int, line: bytes) -> Document:
    try:
        document: Any = json.loads(line)
    except ValueError as error:
        raise ImportRefusedError(f"Line {number} is no JSON ({error}).") from error
    if not isinstance(document, dict):
        raise ImportRefusedError(f"Line {number} is no JSON object.")
    return document


def import_lines(store: Store, lines: Iterable[bytes]) -> int:
    """Fill an empty store from an export and return the last ``seq``; all or nothing.

    Raises:
        ImportRefusedError: the store is not empty, or the export is damaged.
    """
    with store.writing() as writer:
        if writer.last_change() is not None or writer.parties():
            raise ImportRefusedError("The store is not empty; import into a new one.")
        for number, document in _documents(lines):
            try:
                _put(writer, document)
            except (KeyError, TypeError, ValueError) as error:
                raise ImportRefusedError(f"Line {number} does not hold what it should ({error}).") from error
        found = first_break(writer)
        if found is not None:
            raise ImportRefusedError(f"The chain is broken: {found.told()}.")
        last = writer.last_change()
        return last.seq if last else 0
