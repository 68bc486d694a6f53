"""``fourpair-service handover``: the papers of a whole job, without a server."""

from __future__ import annotations

import sys
from argparse import ArgumentParser, ArgumentTypeError, Namespace, _SubParsersAction
from dataclasses import replace
from pathlib import Path
from typing import Any, Final, TextIO

from fourpair_service.app import record_grader
from fourpair_service.cli.existing import existing_store
from fourpair_service.config import Settings
from fourpair_service.errors import ServiceError
from fourpair_service.http.handovers import (
    MEDIA,
    CsvTable,
    HandoverForm,
    PerLink,
    asked_handover,
    write_handover,
)
from fourpair_service.records.desk import Caller, visible_job
from fourpair_service.reports.language import LengthUnit, Tongue
from fourpair_service.reports.paper import PaperSize

ACTOR: Final = Caller("handover")
# Where nobody watches a line that changes, so many lines tell how far it is.
TENTHS: Final = 10


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the command."""
    parser: ArgumentParser = commands.add_parser(
        "handover", help="write the papers of a whole job: summary, exceptions, every link sheet"
    )
    parser.add_argument("job", help="id of the job")
    parser.add_argument(
        "--output", "-o", type=Path, required=True, metavar="FILE", help=f"ends in .{', .'.join(MEDIA)}"
    )
    parser.add_argument("--store", help="file or URL of the store; FOURPAIR_STORE where it is left out")
    parser.add_argument("--language", choices=[t.value for t in Tongue])
    parser.add_argument("--length-unit", choices=[u.value for u in LengthUnit])
    parser.add_argument("--paper", choices=[p.value for p in PaperSize])
    parser.add_argument("--per-link", choices=[p.value for p in PerLink], help="of a workbook (row)")
    parser.add_argument("--table", choices=[t.value for t in CsvTable], help="of a CSV (links)")
    parser.add_argument("--as-of", type=_seq, metavar="SEQ", help="as it stood when the feed had come so far")
    parser.set_defaults(run=run)


def _seq(text: str) -> int:
    if not (text.isascii() and text.isdigit()):
        raise ArgumentTypeError(f"{text!r} is no number of the feed")
    return int(text)


def run(options: Namespace, settings: Settings) -> int:
    """Write the papers into a file that appears only when it is whole."""
    form = _form(options)
    store = existing_store(replace(settings, store=options.store) if options.store else settings)
    grader = record_grader(settings)
    beside = options.output.with_name(f".{options.output.name}.part")
    progress = Shown(sys.stderr)
    try:
        with store.reading() as reader:
            job = visible_job(reader, ACTOR, options.job)
            write_handover(reader, job, form, beside, grader.catalogue, grader.limits, progress)
        beside.replace(options.output)
    except OSError as error:
        raise ServiceError(f"{options.output}: it cannot be written ({error.strerror or error}).") from error
    finally:
        beside.unlink(missing_ok=True)
        progress.end()
        store.close()
    print(f"{options.output}: {options.output.stat().st_size} bytes")
    return 0


def _form(options: Namespace) -> HandoverForm:
    media = options.output.suffix.lower().removeprefix(".")
    if media not in MEDIA:
        raise ServiceError(f"{options.output}: end the name of the file in one of .{', .'.join(MEDIA)}.")
    return asked_handover({**vars(options), "format": media})


class Shown:
    """Progress on a stream: a line that changes on a terminal, else a line for each tenth."""

    def __init__(self, stream: TextIO) -> None:
        self._stream, self._is_watched = stream, stream.isatty()
        self._tenth = -1

    def __call__(self, done: int, total: int) -> None:
        """Say how many links are done."""
        if self._is_watched:
            print(f"\r{done} of {total} links", end="", file=self._stream, flush=True)
            return
        tenth = TENTHS * done // total if total else TENTHS
        if tenth > self._tenth:
            self._tenth = tenth
            print(f"{done} of {total} links", file=self._stream, flush=True)

    def end(self) -> None:
        """Leave the line."""
        if self._is_watched:
            print(file=self._stream)
