"""``fourpair-service verify, backup, restore, export, import``: looking after the store."""

from __future__ import annotations

import sys
from argparse import Namespace, _SubParsersAction
from itertools import islice
from pathlib import Path
from typing import Any, Final

from fourpair_service.cli.existing import existing_store
from fourpair_service.config import InvalidSettingError, Settings
from fourpair_service.records.integrity import breaks, every_record_id
from fourpair_service.records.transfer import export_lines, import_lines
from fourpair_service.records.views.clock import set_back
from fourpair_service.storage.backup import backup, restore, whole_file
from fourpair_service.storage.opening import is_file, open_store, shown
from fourpair_service.storage.sqlite import SqliteStore

BROKEN: Final = 5
# Times that the clock was set back.
MOST_TOLD: Final = 20


def add_to(commands: _SubParsersAction[Any]) -> None:
    """Add the commands."""
    verify = commands.add_parser(
        "verify",
        help="walk every chain of the store",
        epilog=f"Exit status: 0 sound, {BROKEN} broken, 2 an error.",
    )
    verify.add_argument("--all", action="store_true", help="name every break and not only the first")
    verify.set_defaults(run=_verify)
    copy = commands.add_parser("backup", help="write a proven copy of the store, in use or not")
    copy.add_argument("file", type=Path)
    copy.set_defaults(run=_backup)
    back = commands.add_parser("restore", help="put a proven backup where there is no store yet")
    back.add_argument("file", type=Path)
    back.set_defaults(run=_restore)
    out = commands.add_parser("export", help="write the whole store as lines of JSON")
    out.add_argument("file", type=Path, nargs="?", help="without: standard output")
    out.set_defaults(run=_export)
    fill = commands.add_parser("import", help="fill an empty store from an export")
    fill.add_argument("file", type=Path)
    fill.set_defaults(run=_import)


def _path(settings: Settings) -> Path:
    if not is_file(settings.store):
        raise InvalidSettingError(
            f"FOURPAIR_STORE is {shown(settings.store)}, which is no file: a PostgreSQL database is copied by its "
            "own tools, or by export and import."
        )
    return Path(settings.store)


def _file_store(settings: Settings) -> SqliteStore:
    path = _path(settings)
    existing_store(settings).close()
    return SqliteStore(path)


def _verify(options: Namespace, settings: Settings) -> int:
    store = existing_store(settings)
    with store.reading() as reader:
        last, count = reader.last_change(), 0
        for found in breaks(reader, every_record_id(reader)):
            count += 1
            print(f"Broken: {found.told()}.")
            if not options.all:
                break
        turned = [] if count else [*islice(set_back(reader), MOST_TOLD)]
    for each in turned:
        print(f"{each.told()}.")
    if not count:
        print(f"Sound: {last.seq if last else 0} entries of the feed, every chain whole.")
    return BROKEN if count else 0


def _backup(options: Namespace, settings: Settings) -> int:
    proof = backup(_file_store(settings), options.file)
    print(f"{options.file}: {proof.records} records, proven up to entry {proof.seq} of the feed.")
    return 0


def _restore(options: Namespace, settings: Settings) -> int:
    path = _path(settings)
    proof = restore(options.file, path)
    print(f"{path}: {proof.records} records, proven up to entry {proof.seq} of the feed.")
    return 0


def _export(options: Namespace, settings: Settings) -> int:
    with existing_store(settings).reading() as reader:
        if options.file is None:
            for line in export_lines(reader):
                sys.stdout.buffer.write(line + b"\n")
            return 0
        with whole_file(options.file) as part, part.open("wb") as file:
            file.writelines(line + b"\n" for line in export_lines(reader))
    return 0


def _import(options: Namespace, settings: Settings) -> int:
    store = open_store(settings.store)
    with options.file.open("rb") as file:
        last = import_lines(store, file)
    print(f"{shown(settings.store)}: filled up to entry {last} of the feed.")
    return 0
