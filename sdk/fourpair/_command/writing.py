"""``fourpair submit`` and ``fourpair retest``."""

from __future__ import annotations

import json
import sys
from argparse import ArgumentParser, Namespace, _SubParsersAction
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any

from fourpair._client import Client
from fourpair._command import naming
from fourpair._command.argument_types import whole
from fourpair._command.output import DONE, REFUSED, Output
from fourpair._errors import InvalidMeasurementError, InvalidSettingError
from fourpair._kept import BatchItem, Written
from fourpair._measurement import Measurement
from fourpair._verdict_parts import OUTCOME_WORDS

LINES = (".ndjson", ".jsonl")
STDIN = "-"


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the commands."""
    submit = commands.add_parser("submit", help="keep measurements: new links and retests of known ones")
    submit.add_argument(
        "files",
        nargs="+",
        metavar="FILE",
        help="a document (JSON), one a line (.ndjson), or - for lines of stdin",
    )
    submit.add_argument("--job", help="the job, where the documents name none or another")
    _add_touchstone(submit, "sent as it is, with one document that says what it holds; of a new link")
    submit.add_argument("--dry-run", action="store_true", help="check and grade, keep nothing")
    submit.add_argument("--checkpoint", type=Path, help="file that remembers how far it got")
    submit.add_argument(
        "--threads", type=whole(1), metavar="N", default=1, help="parts under way at once (1)"
    )
    submit.set_defaults(run=run_submit)
    retest = commands.add_parser("retest", help="keep a new measurement of one link")
    retest.add_argument("record", help=naming.HELP)
    retest.add_argument("file", type=Path)
    _add_touchstone(retest, "sent as it is; the document says what it holds")
    retest.add_argument("--reason", help="why it was tested again, for the history")
    retest.add_argument("--dry-run", action="store_true", help="check and grade, keep nothing")
    retest.set_defaults(run=run_retest)


def _add_touchstone(parser: ArgumentParser, help: str) -> None:
    parser.add_argument("--touchstone", action="append", type=Path, default=[], metavar="FILE", help=help)


def _files(options: Namespace) -> dict[str, bytes] | None:
    return {path.name: path.read_bytes() for path in options.touchstone} or None


def _lines(name: str, lines: Iterable[str]) -> Iterator[Mapping[str, Any]]:
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        try:
            yield json.loads(line)
        except ValueError as error:
            detail = f"line {number} of {name} is no JSON: {error}"
            raise InvalidMeasurementError([{"pointer": "", "detail": detail}]) from error


def _documents(files: Iterable[str], job: str | None) -> Iterator[Mapping[str, Any]]:
    for name in files:
        if name == STDIN:
            found: Iterable[Mapping[str, Any]] = _lines("stdin", sys.stdin)
        elif name.endswith(LINES):
            with Path(name).open(encoding="utf-8") as lines:
                yield from (_of_job(each, job) for each in _lines(name, lines))
            continue
        else:
            found = [Measurement.from_json(name)]
        yield from (_of_job(each, job) for each in found)


def _of_job(document: Mapping[str, Any], job: str | None) -> Mapping[str, Any]:
    return {**document, "job": job} if job and isinstance(document, Mapping) else document


def _row(item: BatchItem) -> tuple[object, ...]:
    outcome = OUTCOME_WORDS.get(item.outcome, item.outcome) if item.outcome else None
    return item.label or f"(no. {item.index + 1})", item.result, outcome, item.reason or _refusal(item)


def _refusal(item: BatchItem) -> str:
    """Return why an item was refused: each place that is wrong, or what is wrong as a whole."""
    problem = item.problem or {}
    return "; ".join(_places(problem)) or str(problem.get("detail") or problem.get("title") or "")


def _places(problem: Mapping[str, Any]) -> list[str]:
    return [f"{each.get('pointer', '')}: {each.get('detail', '')}" for each in problem.get("errors") or ()]


def run_submit(client: Client, options: Namespace, output: Output) -> int:
    """Send every document, say what became of each."""
    if options.touchstone:
        return _submit_with_files(client, options, output)
    total = len(options.files)
    counts: Counter[str] = Counter()
    with output.progress(
        "submitted", total if not any(f.endswith(LINES) or f == STDIN for f in options.files) else None
    ) as show:
        items = client.records.upload(
            _documents(options.files, options.job),
            dry_run=options.dry_run,
            checkpoint=options.checkpoint,
            threads=options.threads,
            progress=show,
        )

        def rows() -> Iterator[tuple[Mapping[str, Any], tuple[object, ...]]]:
            for item in items:
                counts[item.result] += 1
                yield (
                    {**item.raw, "index": item.index, "label": item.label, "result": item.result},
                    _row(item),
                )

        output.table(("label", "result", "outcome", "why"), rows(), "Nothing was given.")
    if not output.as_json:
        kept = " (dry run: nothing was kept)" if options.dry_run else ""
        output.text(", ".join(f"{number} {word}" for word, number in counts.items()) + kept)
    return REFUSED if counts["refused"] else DONE


def _submit_with_files(client: Client, options: Namespace, output: Output) -> int:
    """Keep one new link whose sweeps are Touchstone files."""
    if len(options.files) != 1 or options.files[0] == STDIN or options.files[0].endswith(LINES):
        raise InvalidSettingError("--touchstone goes with one document (JSON): submit one link at a time")
    document = _of_job(Measurement.from_json(options.files[0]), options.job)
    return _tell(client.records.create(document, touchstone=_files(options), dry_run=options.dry_run), output)


def run_retest(client: Client, options: Namespace, output: Output) -> int:
    """Keep a new measurement of a link, say what it is worth."""
    record = naming.found(client, options.record)
    measurement = Measurement.from_json(options.file).with_changes(label=record.label, job=record.job)
    written = client.records.retest(
        record, measurement, touchstone=_files(options), reason=options.reason, dry_run=options.dry_run
    )
    return _tell(written, output)


def _tell(written: Written, output: Output) -> int:
    kept = "would be kept (dry run)" if written.dry_run else "kept"
    what = f"Revision {written.revision.number} of {written.record.id}: {kept}"
    output.value(written.raw, f"{written.verdict.summary()}\n{what}")
    return DONE
