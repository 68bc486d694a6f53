"""``fourpair show``, ``list``, ``export`` and ``verify``."""

from __future__ import annotations

import json
import os
from argparse import Namespace, _SubParsersAction
from collections.abc import Iterator, Mapping
from itertools import islice
from pathlib import Path
from typing import Any

from fourpair._client import Client
from fourpair._command import naming
from fourpair._command.argument_types import whole
from fourpair._command.output import BROKEN, DONE, Output
from fourpair._errors import NotFoundError
from fourpair._kept import Record
from fourpair._models import Verdict
from fourpair._verdict_parts import OUTCOME_WORDS

FILTERS = {
    "job": "of this job",
    "label_prefix": "whose labels begin so",
    "outcome": "pass, marginal_pass, marginal_fail, fail, incomplete; several with commas",
    "category_met": "that meet this category or class",
    "fault": "with this failure, such as next:far",
    "tested_by": "by this person",
    "external_id": "with this external id (with --external-system)",
    "external_system": "known to this other system",
    "sort": "label, -changed_at, headroom_db and others",
}


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the commands."""
    show = commands.add_parser("show", help="show a record with its verdict and its history")
    show.add_argument("record", help=naming.HELP)
    show.set_defaults(run=run_show)
    records = commands.add_parser("list", help="list records")
    _add_filters(records)
    records.add_argument("--most", type=whole(1), metavar="N", help="at most so many")
    records.set_defaults(run=run_list)
    export = commands.add_parser("export", help="write records with measurements and verdicts to a file")
    _add_filters(export)
    export.add_argument(
        "--output", "-o", type=Path, required=True, help="file of lines of JSON; replaced whole"
    )
    export.set_defaults(run=run_export)
    verify = commands.add_parser("verify", help="make the digests of records again and compare")
    verify.add_argument("records", nargs="*", metavar="record", help=naming.HELP)
    verify.add_argument("--job", help="all records of this job; without it and without records, of all")
    verify.set_defaults(run=run_verify)


def _add_filters(parser: Any) -> None:
    for name, told in FILTERS.items():
        parser.add_argument(f"--{name.replace('_', '-')}", help=told)


def _filters(options: Namespace) -> dict[str, Any]:
    return {name: getattr(options, name) for name in FILTERS if getattr(options, name) is not None}


def _row(record: Record) -> tuple[object, ...]:
    outcome = OUTCOME_WORDS.get(record.outcome, record.outcome)
    return record.job, record.label, outcome, record.headroom_db, record.revision, record.id, record.failing


def run_list(client: Client, options: Namespace, output: Output) -> int:
    """List records as they are found."""
    found = islice(client.records.list(**_filters(options)), options.most)
    header = ("job", "label", "outcome", "headroom dB", "revision", "id", "failing")
    output.table(header, ((record.raw, _row(record)) for record in found), "No record is like that.")
    return DONE


def _verdict(client: Client, record: Record) -> Verdict:
    """Return the newest verdict with what was kept beside it, where there is something."""
    verdict = client.records.verdict(record.id)
    try:
        beside = client.records.assessment(record.id)
    except NotFoundError:
        return verdict
    return Verdict.from_document(verdict.raw, assessment=beside, response=verdict.response)


def run_show(client: Client, options: Namespace, output: Output) -> int:
    """Show a record."""
    record = naming.found(client, options.record)
    verdict, revisions = _verdict(client, record), client.records.revisions(record.id)
    history = [
        f"  {r.number} {r.kind} {r.at} seq {r.seq} {OUTCOME_WORDS.get(r.outcome)} {r.reason or ''}".rstrip()
        for r in revisions
    ]
    head = f"{record.job}/{record.label}, record {record.id}, revision {record.revision}"
    text = "\n".join([head, verdict.summary(), "History:", *history])
    told = {"verdict": verdict.raw, "assessment": verdict.assessment}
    document = {"record": record.raw, **told, "revisions": [r.raw for r in revisions]}
    output.value(document, text)
    return DONE


def run_export(client: Client, options: Namespace, output: Output) -> int:
    """Write records to a file that appears only when it is whole."""
    beside = options.output.with_name(options.output.name + ".part")
    count = 0
    try:
        with output.progress("exported", None) as show, beside.open("w", encoding="utf-8") as file:
            for count, record in enumerate(client.records.list(**_filters(options)), 1):
                document = {
                    "record": record.raw,
                    "measurement": client.records.measurement(record.id).to_dict(),
                    "verdict": client.records.verdict(record.id).raw,
                }
                file.write(json.dumps(document) + "\n")
                show(count)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(options.output)
    finally:
        beside.unlink(missing_ok=True)
    output.value({"records": count, "file": str(options.output)}, f"{count} records in {options.output}")
    return DONE


def run_verify(client: Client, options: Namespace, output: Output) -> int:
    """Verify records; say which are not as they were sealed."""
    if options.records:
        ids: Iterator[str] = (naming.found(client, name).id for name in options.records)
    else:
        ids = (record.id for record in client.records.list(job=options.job, withdrawn="also"))
    looked_at = broken = 0
    for record_id in ids:
        looked_at += 1
        breaks = client.records.verify(record_id)
        broken += bool(breaks)
        for told in breaks:
            output.value({"record": record_id, "break": told}, f"record {record_id}: {told}")
    document: Mapping[str, Any] = {"records": looked_at, "broken": broken}
    output.value(document, f"{looked_at} records, {broken} not as they were sealed")
    return BROKEN if broken else DONE
